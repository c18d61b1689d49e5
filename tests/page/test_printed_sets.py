"""A set that was printed, on the page: what the command line makes for it, the page makes too."""

import zipfile

import pytest
import tomli_w
from command_line import ran
from page.person import drawn, violations

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.page.own_list import uploaded_set
from moulddesign.page.printed_sets import judge_prints, make_part
from moulddesign.page.uploads import UploadStore

# A prism without relief, 1000 mm2 and 30 mm high: 30 mL of 1.25 g/mL finished.
PRISM = {
    "name": "lantern-set", "sleeve_height_mm": 90.0,
    "bore": {"outline": "round", "width_mm": 40.0},
    "piece": {
        "finished_g": 37.5, "volume_ml": 30.0, "height_mm": 30.0, "area_mm2": 1000.0,
        "stopped_mm": 29.0, "guide_mm": 50.0, "clearance_mm": 0.4, "least_g": 30.0, "most_g": 42.0,
    },
    "sizes": [
        {"key": key, "part": part, "mm": mm, "within_mm": 0.2}
        for key, part, mm in (
            ("bore_mm", "sleeve", 40.0), ("sleeve_mm", "sleeve", 90.0), ("stamp_mm", "stamp", 39.2),
            ("thickness_mm", "stamp", 15.0), ("stop_mm", "stop", 28.0),
        )
    ],
}  # fmt: skip


def judged(opened, readings):
    ((_, found),) = judge_prints(None, {}, readings, *opened.arguments)
    return found


def test_readings_of_an_uploaded_set_join_those_before_and_ask_for_a_part(tmp_path):
    text = tomli_w.dumps(PRISM | {"readings": {"bore_mm": 40.1}})
    opened = uploaded_set(text, "", {}, UploadStore(tmp_path))
    # Higher by 0.9 mm, in a bore that lets it end at 29 / 1.0025^2 mm: 1.05 mm, five layers.
    found = judged(opened, {"stop_mm": 28.9})
    assert found.to_do == {"part": "stop", "lower_stop_mm": 1.0}
    kept = uploaded_set(found.text, "", {}, UploadStore(tmp_path)).found
    assert kept.readings.plain() == {"bore_mm": 40.1, "stop_mm": 28.9}
    assert judged(opened, {"stop_mm": 27.5}).to_do == {"part": "shim"}
    # 0.05 mm instead of 0.4: as wide again, the stamp needs 0.4 + 0.35.
    sticks = judged(opened, {"bore_mm": 39.7, "stamp_mm": 39.6})
    assert sticks.to_do == {"part": "stamp", "new_clearance_mm": 0.75}
    with pytest.raises(SpecError, match="stop_mm"):
        judged(opened, {"stop_mm": 2.8})


def test_a_set_may_not_name_files_of_this_disk(tmp_path):
    strange = PRISM | {"bore": {"outline": "/etc/heart.svg", "width_mm": 40.0}}
    with pytest.raises(SpecError, match="was not uploaded here"):
        uploaded_set(tomli_w.dumps(strange), "", {}, UploadStore(tmp_path))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return the folder of a set that the command line made."""
    made = tmp_path_factory.mktemp("sets")
    asked = ("--weight", "75", "--pattern", "chestnut", "--formats", "stl", "--out", "first")
    assert ran("make", *asked, folder=made)[0] == 0
    return made / "first"


@pytest.mark.slow
def test_the_page_makes_the_parts_for_a_set_that_the_command_line_makes(folder, tmp_path):
    texts = [(folder / name).read_text("utf-8") for name in ("set.toml", "design.toml")]
    opened = uploaded_set(*texts, {}, UploadStore(tmp_path))
    for asked, options in (
        ({"part": "stamp"}, ("--only", "stamp")),
        ({"part": "stamp", "new_pattern": "blossom"}, ("--only", "stamp", "--pattern", "blossom")),
        ({"part": "stop", "lower_stop_mm": 0.4}, ("--only", "stop", "--lower-stop", "0.4")),
    ):
        ((_, made),) = make_part(lambda: None, Design().plain(), asked, *opened.arguments)
        own = tmp_path / made.design.name / asked["part"]
        assert ran("make", "--for", folder, *options, "--out", own, folder=tmp_path)[0] == 0
        meshes = {path.name: path.read_bytes() for path in own.glob("*.stl")}
        assert meshes == {name: each for name, each in made.files.items() if name.endswith(".stl")}


@pytest.mark.slow
def test_a_set_is_opened_measured_and_gets_the_part_that_its_prints_ask_for(
    visit, folder, tmp_path
):
    with zipfile.ZipFile(tmp_path / "set.zip", "w") as archive:
        for path in folder.iterdir():
            archive.write(path, f"first/{path.name}")
    page = visit()
    drawn(page)
    page.click("nav >> text=My moulds")
    page.set_input_files("#open-set", tmp_path / "set.zip")
    page.wait_for_selector(".printed-set >> text=75g-round-chestnut: bore round")
    for field, value in (("bore_mm", "52.1"), ("stop_mm", "31")):
        page.fill(f"#prints-{field}", value)
    page.keyboard.press("Tab")
    page.click("text=Judge the prints")
    page.wait_for_selector(".printed-set .answer table")
    page.locator(".printed-set .answer >> text=set.toml with these readings").wait_for()
    assert violations(page) == []
    page.select_option("#part-part", "stamp")
    page.select_option("#part-new_pattern", "blossom")
    page.click("text=Make this part")
    with page.expect_download() as made:
        page.click(".printed-set .files >> text=stamp.stl")
    assert made.value.suggested_filename == "75g-round-blossom-stamp.stl"
    page.click("text=Draw a new stamp for it")
    page.wait_for_selector("#results .verdict-line")
