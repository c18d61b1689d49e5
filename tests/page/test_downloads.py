"""What is downloaded is what the command line writes: the same bytes, and the volume asked for."""

import re
import zipfile
from math import radians, tan

import pytest
import trimesh
from command_line import ran
from page.person import drawn, figures, settings, shot, typed

from moulddesign.design import Design
from moulddesign.portion import portion

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect x="2" y="2" width="6" '
    'height="6"/></svg>'
)
ASKED = (
    'name = "mine"\n\n[portion]\nfinished_weight_g = 60\nratio = "4:6"\n\n[relief]\n'
    'layers = [{ pattern = "artwork-mine.svg", size_mm = 20 }]\n'
    "[mould]\nlettering = false\n"  # quicker
)
# six tenths of 20 mm square, 1.6 mm or eight layers high, each wall leaning 15 deg: a frustum
LOW, HIGH = 12.0, 12.0 - 2.0 * 1.6 * tan(radians(15.0))
FRUSTUM_ML = 1.6 * (LOW**2 + HIGH**2 + LOW * HIGH) / 3.0 / 1000.0


def opened_with(page, *files):
    drawn(page)
    page.set_input_files(".actions input[type=file]", files)
    page.wait_for_function("document.querySelector('#design-name').value === 'mine'")
    settings(page)
    page.wait_for_selector(".choice:has(:checked) >> text=own file")
    figures(page)
    page.wait_for_selector(f".sizes tr:has-text('relief') >> text={FRUSTUM_ML:.2f} mL")


def found_again_until_changed(page, archive):
    """See that a reload finds files by their design, and a change takes them away until undone."""
    page.reload()
    page.wait_for_selector("a.download-all")
    assert page.inner_text("#make") == "Make again"
    with page.expect_download() as awaited:
        page.click("a.download-all")
    assert awaited.value.path().read_bytes() == archive
    typed(page, "portion.finished_weight_g", "61")
    page.wait_for_selector(".files-status >> text=of the earlier design")
    assert not page.locator("a.download-all").is_visible()
    page.click("#make")
    page.wait_for_selector("#make:disabled")
    assert not page.locator("a.download-all").is_visible()
    page.click(".making button")
    page.wait_for_selector("#make:enabled")
    page.click("#undo")
    page.wait_for_selector("a.download-all")
    assert page.inner_text(".files-status") == ""


def test_a_set_is_made_once_is_the_command_lines_and_comes_back_with_its_drawing(visit, tmp_path):
    asked = tmp_path / "design.toml"
    asked.write_text(ASKED)
    (tmp_path / "artwork-mine.svg").write_text(SQUARE)
    page = visit()
    opened_with(page, tmp_path / "artwork-mine.svg", asked)
    page.wait_for_timeout(1000)
    page.wait_for_selector(".verdict-line")
    page.dblclick("#make")
    page.wait_for_selector("#make:disabled")
    page.wait_for_selector("a.download-all")
    page.wait_for_selector("#make:enabled")
    page.wait_for_function("document.activeElement.id === 'results'")  # keys go on from there
    assert page.inner_text(".files-status") == ""
    # How to press with it is drawn beneath, as on the card: six pictures, shown after the files.
    page.wait_for_function(
        "[...document.querySelectorAll('.press-steps img')].filter(i => i.naturalWidth > 0).length"
        " === 6"
    )
    with page.expect_download() as awaited:
        page.click("a.download-all")
    awaited.value.save_as(tmp_path / "set.zip")
    assert page.locator("a.download").count() == 4
    shot(page, "wide-made")
    found_again_until_changed(page, (tmp_path / "set.zip").read_bytes())
    again = visit()
    opened_with(again, tmp_path / "set.zip")

    with zipfile.ZipFile(tmp_path / "set.zip") as archive:
        archive.extractall(tmp_path)
    design, own = Design.read(asked), Design.read(tmp_path / "mine" / "design.toml")
    (layer,) = own.relief.layers
    assert re.fullmatch(r".*artwork-own-[0-9a-f]{16}\.svg", layer.pattern)
    named = [{"pattern": layer.pattern, "size_mm": 20.0}]
    assert own == design.with_values({"relief.layers": named})
    code, _, said = ran(
        "make", "mine/design.toml", "--formats", "all,heightmap", "--out", "made", folder=tmp_path
    )
    assert code == 0, said
    found, made = (
        {path.name: path.read_bytes() for path in (tmp_path / folder).iterdir()}
        for folder in ("mine", "made")
    )
    assert found.keys() == made.keys()
    del found["report.json"], made["report.json"]  # it tells how many seconds each stage took
    assert [name for name in found if found[name] != made[name]] == []
    mesh = trimesh.load(tmp_path / "mine" / "pastry.stl")
    asked_ml = portion(design.portion).volume_ml
    assert mesh.is_watertight
    assert mesh.volume / 1000.0 == pytest.approx(asked_ml, rel=1e-3)  # 0.1 % is the promise


def test_the_design_file_comes_back(visit, tmp_path):
    page = visit()
    drawn(page)
    settings(page)
    page.fill("#design-portion-ratio", "5:5")
    page.keyboard.press("Tab")
    page.wait_for_function("decodeURI(location.href).includes('design=')")
    with page.expect_download() as awaited:
        page.click("a.download-design")
    awaited.value.save_as(tmp_path / "design.toml")
    assert Design.read(tmp_path / "design.toml").portion.ratio == "5:5"
