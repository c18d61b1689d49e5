# ruff: noqa: E501 (a drawing stands on one line)
import json

import pytest
from command_line import run
from PIL import Image

from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.export.flat_pictures import RING_COLOURS, THICKENED_COLOUR

DISC = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60"><circle cx="30" cy="30" r="20"/></svg>'
THIN = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60"><rect x="9" y="9" width="40" height="{}"/></svg>'


def test_list_has_a_title_for_each_of_at_least_twelve(monkeypatch, capsys):
    code, out, err = run(monkeypatch, capsys, "patterns", "--json")
    found = json.loads(out)["patterns"]
    assert (code, err) == (0, "")
    assert len(found) >= 12
    assert all(row["title"] and row["description"] for row in found)
    faces = json.loads(out)["faces"]
    assert len(faces) >= 12
    assert all(row["title"] for row in faces)
    code, out, _ = run(monkeypatch, capsys, "patterns")
    assert code == 0
    assert all(row["name"] in out for row in found)
    assert max(map(len, out.splitlines())) <= 80


def test_sheet_is_a_picture_and_is_not_written_over(monkeypatch, capsys, tmp_path):
    sheet = tmp_path / "sheet.png"
    monkeypatch.setattr("moulddesign.cli.file_commands.face_names", lambda: ("bee", "harvest"))
    few = pattern_names()[:5]
    monkeypatch.setattr("moulddesign.export.flat_pictures.pattern_names", lambda: few)
    code, _, err = run(monkeypatch, capsys, "patterns", "--sheet", sheet)
    assert code == 0
    assert err.startswith("Written: ")
    with Image.open(sheet) as image:
        assert (image.format, image.mode) == ("PNG", "RGB")
        assert image.size == (5 * 300, 2 * 334)  # seven in rows of five
    code, _, err = run(monkeypatch, capsys, "patterns", "--sheet", sheet)
    assert code == 2
    assert "add --overwrite" in err
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.png"]


def test_check_measures_a_disc(monkeypatch, capsys, tmp_path):
    file = tmp_path / "disc.svg"
    file.write_text(DISC)
    code, out, _ = run(monkeypatch, capsys, "patterns", "check", file, "--size", 90, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["size_mm"] == pytest.approx([60, 60], abs=0.01)  # 40 of 60 units at 90 mm
    assert (found["regions"], found["depth_shares"], found["reads"]) == (1, [1.0], True)
    code, out, _ = run(monkeypatch, capsys, "patterns", "check", file)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80


def test_check_fails_on_a_thin_stroke_and_says_where(monkeypatch, capsys, tmp_path):
    file = tmp_path / "thin.svg"
    file.write_text(THIN.format(0.6))
    code, out, _ = run(monkeypatch, capsys, "patterns", "check", file, "--json")
    found = json.loads(out)
    assert code == 1
    assert found["thin_stroke"]["width_mm"] == pytest.approx(0.6, abs=0.01)
    assert found["thin_stroke"]["y_mm"] == pytest.approx(30 - 9.3, abs=0.05)


def test_check_rings_thin_places_in_a_picture(monkeypatch, capsys, tmp_path):
    file, picture = tmp_path / "thin.svg", tmp_path / "thin.png"
    file.write_text(THIN.format(0.6))
    arguments = ("patterns", "check", file, "--picture", picture)
    code, _, err = run(monkeypatch, capsys, *arguments)
    assert (code, err) == (1, f"Written: {picture}\n")
    first = picture.read_bytes()
    assert ringed(picture) == {"stroke"}
    code, out, err = run(monkeypatch, capsys, *arguments)
    assert (code, out) == (2, "")
    assert "add --overwrite" in err
    code, _, _ = run(monkeypatch, capsys, *arguments, "--overwrite")
    assert code == 1
    assert picture.read_bytes() == first
    file.write_text(DISC)
    code, _, _ = run(monkeypatch, capsys, *arguments, "--overwrite")
    assert code == 0
    assert ringed(picture) == set()


def ringed(picture):
    """Return what is ringed, by the rings' colours."""
    with Image.open(picture) as image:
        colours = {colour for _, colour in image.getcolors(1 << 24)}
    return {kind for kind in RING_COLOURS if RING_COLOURS[kind] in colours}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("check", "lantern", "--picture", "thin.jpg"), "must end in .png"),
        (("check", "lantern", "--picture", "no-folder/thin.png"), "cannot be written"),
        (("check", "lanten"), "the nearest is lantern"),
        (("check", "missing.svg"), "is not a file"),
        (("check", "lantern", "--size", 0), "above 0 mm"),
        (("check", "lantern", "--size", "nan"), "must be a number such as 12.5 mm"),
        (("--sheet", "sheet.jpg"), "must end in .png"),
        (("--sheet", "no-folder/sheet.png"), "cannot be written"),
    ],
)
def test_bad_input_is_one_sentence(monkeypatch, capsys, tmp_path, arguments, says):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(monkeypatch, capsys, "patterns", *arguments)
    assert code in (1, 2)
    assert out == ""
    assert says in err
    assert err.count("\n") == 1


def test_check_says_the_least_size_and_thickens(monkeypatch, capsys, tmp_path):
    # a stroke of 0.6 mm in a frame of 60 mm is 0.9 mm wide in one of 90 mm
    file, picture = tmp_path / "thin.svg", tmp_path / "thick.png"
    file.write_text(THIN.format(0.6))
    _, out, _ = run(monkeypatch, capsys, "patterns", "check", file, "--json")
    assert json.loads(out)["least_size_mm"] == pytest.approx(90.0, rel=0.01)
    arguments = ("check", file, "--thicken", 1.2, "--picture", picture, "--json")
    code, out, _ = run(monkeypatch, capsys, "patterns", *arguments)
    assert (code, json.loads(out)["reads"]) == (0, True)
    with Image.open(picture) as image:
        assert THICKENED_COLOUR in {colour for _, colour in image.getcolors(1 << 20)}
