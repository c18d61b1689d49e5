"""What a folder was made from: any file that is not as it was written, or other asking, is seen."""

import hashlib
import json

import pytest
from export.builds import built

from moulddesign.design import Design, Paper, parse_formats, save_readings
from moulddesign.export import (
    ExportOptions,
    asked_digest,
    design_as_written,
    design_without_digests,
    is_made_from,
    whole_report,
)
from moulddesign.export.publishing import publish_failing

OPTIONS = ExportOptions(formats=parse_formats("stl"))
DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M1 1H8V8Z"/></svg>'


@pytest.fixture
def made(tmp_path):
    publish_failing(built("little"), tmp_path / "made", OPTIONS)
    return tmp_path / "made"


def asked(design=None, options=OPTIONS):
    return asked_digest(*design_as_written(design or built("little").design), options)


def test_files_have_the_digests_that_others_compute(made):
    report = json.loads((made / "report.json").read_text("utf-8"))
    digests = report["digests"]["files"]
    assert set(digests) == {path.name for path in made.iterdir()} - {"report.json"}
    for name, digest in digests.items():
        if name != "set.toml":  # without readings
            assert digest == hashlib.sha256((made / name).read_bytes()).hexdigest()
    assert whole_report(made, asked()) is not None


def test_a_bit_that_flipped_in_any_file_is_seen(made):
    for path in made.iterdir():
        whole = path.read_bytes()
        place = whole.rindex(b"0")
        path.write_bytes(whole[:place] + b"1" + whole[place + 1 :])
        assert whole_report(made, asked()) is None, path
        path.write_bytes(whole[:place])
        assert whole_report(made, asked()) is None, path
        path.unlink()
        assert whole_report(made, asked()) is None, path
        assert is_made_from(made, asked()) == (path.name != "report.json")
        path.write_bytes(whole)
    assert whole_report(made, asked()) is not None


def test_what_is_added_by_hand_does_not_count(made):
    (made / "stamp.gcode").write_text("of a slicer")
    save_readings(made, {"stop_mm": 23.7})
    assert whole_report(made, asked()) is not None


@pytest.mark.parametrize(
    "changed",
    [
        {"name": "another"},
        {"portion.finished_weight_g": 30.1},
        {"scale.resolution_g": 0.1},
        {"printer.shrink": 0.004},
    ],
)
def test_another_design_is_another(made, changed):
    assert whole_report(made, asked(built("little").design.with_values(changed))) is None


@pytest.mark.parametrize("options", [{"formats": parse_formats("3mf")}, {"paper": Paper.LETTER}])
def test_other_files_are_others(made, options):
    assert (
        whole_report(made, asked(options=ExportOptions(**{"formats": OPTIONS.formats} | options)))
        is None
    )


def test_a_drawing_counts_by_what_it_holds(tmp_path):
    path = tmp_path / "kite.svg"
    path.write_text(DRAWING)
    design = Design.of({"relief": {"layers": [{"pattern": str(path)}]}})
    first = asked(design)
    assert asked(design) == first
    path.write_text(DRAWING.replace("8V8", "7V8"))
    assert asked(design) != first


def test_another_version_makes_it_anew(made, monkeypatch):
    monkeypatch.setattr("moulddesign.design.design.__version__", "0.0.1")
    assert whole_report(made, asked()) is None


def test_no_folder_and_no_report_are_nothing(tmp_path):
    assert whole_report(tmp_path / "none", "") is None
    (tmp_path / "report.json").write_text('{"digests": 3}')
    assert whole_report(tmp_path, "") is None
    assert not is_made_from(tmp_path, "")


@pytest.mark.parametrize("text", ["{", "", "[]", "3", '{"moulddesign": "0.2.0"}'])
def test_the_design_beside_a_damaged_report_is_found(made, text):
    assert design_without_digests(made) is None
    (made / "report.json").write_text(text)
    assert design_without_digests(made) == Design.read(made / "design.toml")
    (made / "design.toml").write_text("{")
    assert design_without_digests(made) is None
