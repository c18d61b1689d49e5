"""Which files are written, in which order, and that they are the same bytes each time."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import ClassVar

import pytest
from export.builds import built
from kept_designs import PRESS_PARTS

from moulddesign.core import SpecError
from moulddesign.design import Format, parse_formats, parse_paper
from moulddesign.export import BuildFiles, ExportOptions, publish_failing

ROOT = Path(__file__).parents[2]
STLS = [f"{name}.stl" for name in (*PRESS_PARTS, "pastry")]
ALWAYS = {*STLS, "report.json", "design.toml", "set.toml"}
FILES = {
    Format.STL: set(),
    Format.STEP: {"sleeve.step", "stamp-blank.step", "plunger.step", "stop.step"},
    Format.DRAWING: {"drawing.dxf", "drawing.svg"},
    Format.GLB: {"set.glb"},
    Format.PICTURES: {"pastry.png", "parts.png", "relief.png"},
    Format.THREEMF: {"set.3mf"},
    Format.CARD: {"card.html", "card.pdf", "card-1.png", "card-2.png", "card-3.png"},
    Format.APPROVAL: {"approval.pdf"},
}
WORKSHOP = {
    Format.HEIGHTMAP: {"heightmap.png"},
    Format.ENGRAVING: {"engraving.png"},
    Format.TEMPLATES: {"templates.dxf", "templates.svg"},
}
"""What `all` leaves out."""
WRITER = Path(__file__).with_name("writer.py")


def names(folder):
    return {path.name for path in folder.iterdir()}


class Shared(BuildFiles):
    """Files that are made once for all tests, whatever the formats that ask for them."""

    made: ClassVar[dict[str, bytes]] = {}
    volumes: ClassVar[dict[str, float]] = {}

    def __init__(self, build, options):
        super().__init__(build, options)
        self.exact_mm3 = self.volumes

    def file(self, name):
        return self.made.get(name) or self.made.setdefault(name, super().file(name))


def published(folder, **options):
    """Publish the little build; return it."""
    asked = ExportOptions(**options)
    return publish_failing(built("little"), folder, asked, files=Shared(built("little"), asked))


@pytest.mark.parametrize("kind", Format)
def test_a_format_brings_its_files_and_no_others(kind, tmp_path):
    made = published(tmp_path / "out", formats=parse_formats(kind))
    assert names(tmp_path / "out") == ALWAYS | (FILES | WORKSHOP)[kind]
    assert set(made.written) == ALWAYS | (FILES | WORKSHOP)[kind]


def test_each_file_is_told_before_it_is_made(tmp_path):
    said = []
    options = ExportOptions(formats=parse_formats("glb"))
    publish_failing(built("little"), tmp_path / "out", options, progress=said.append)
    assert said == [*STLS, "set.glb"]


def test_the_report_names_every_file_and_each_parts_own(tmp_path):
    published(tmp_path / "out", formats=parse_formats("step, drawing"))
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    assert set(report["files"]) == names(tmp_path / "out")
    own = {part["name"]: part["files"] for part in report["parts"]}
    assert own == {
        "sleeve": ["sleeve.stl", "sleeve.step"],
        "stamp": ["stamp.stl", "stamp-blank.step"],
        "plunger": ["plunger.stl", "plunger.step"],
        "stop": ["stop.stl", "stop.step"],
        **{shim: [f"{shim}.stl"] for shim in PRESS_PARTS[4:]},
        "pastry": ["pastry.stl"],
    }


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("pdf", r"formats = 'pdf': must name some of stl, step, .* the nearest is"),
        ("3mf,stepp", r"formats = 'stepp': .* the nearest is step\."),
        ("", r"formats = '': must name some of"),
    ],
)
def test_an_unknown_format_is_one_sentence(text, match):
    with pytest.raises(SpecError, match=match):
        parse_formats(text)


def test_all_is_what_is_usual_and_other_workshops_are_named():
    assert set(parse_formats("all")) == {*FILES}
    assert set(parse_formats("all, heightmap")) == {*FILES, Format.HEIGHTMAP}


def test_an_unknown_paper_is_one_sentence():
    with pytest.raises(SpecError, match="paper = 'a5': must be a4 or letter"):
        parse_paper("a5")


@pytest.fixture(scope="module")
def twice(tmp_path_factory):
    """Return what this process writes, and what one with another hash seed does."""
    folder = tmp_path_factory.mktemp("twice")
    published(folder / "here")
    # Of the seeds 0 to 7, 4 and 7 put ezdxf's classes in another order than the rest do.
    done = subprocess.run(  # noqa: S603 (our own program)
        [sys.executable, str(WRITER), "little", folder / "there"],
        env=os.environ | {"PYTHONHASHSEED": "4", "PYTHONPATH": str(ROOT)},
        timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    return folder / "here", folder / "there"


def test_two_processes_with_other_hash_seeds_write_the_same_bytes(twice):
    one, two = twice
    assert names(one) == names(two) == ALWAYS.union(*FILES.values())
    different = [
        name
        for name in sorted(names(one))
        if (one / name).read_bytes() != (two / name).read_bytes()
    ]
    assert different in ([], ["report.json"])


def test_reports_differ_in_seconds_alone(twice):
    one, two = (json.loads((folder / "report.json").read_text("utf-8")) for folder in twice)
    assert one.pop("seconds").keys() == two.pop("seconds").keys()
    assert [report["digests"].pop("report") for report in (one, two)]
    assert one == two
