"""What is downloaded is what the command line writes: the same bytes, and the volume asked for."""

import io
import zipfile

import pytest
import trimesh
from command_line import ran
from page.person import drawn

from moulddesign.design import Design
from moulddesign.portion import portion

ASKED = (
    '[portion]\nfinished_weight_g = 60\nratio = "4:6"\n\n[relief]\nlayers = [{ motif = "rings" }]\n'
    "[mould]\nlettering = false\n"  # quicker
)


@pytest.fixture
def design_file(tmp_path):
    path = tmp_path / "asked.toml"
    path.write_text(f'name = "rings"\n\n{ASKED}', encoding="utf-8")
    return path


def test_the_whole_set_is_the_command_lines(visit, design_file, tmp_path):
    page = visit()
    drawn(page)
    page.set_input_files(".actions input[type=file]", design_file)
    page.wait_for_function("document.querySelector('#design-name').value === 'rings'")
    page.wait_for_timeout(1000)
    page.wait_for_selector(".verdict-counts", timeout=120_000)
    page.click("text=Make files")
    page.wait_for_selector("a.download-all", timeout=120_000)
    with page.expect_download() as awaited:
        page.click("a.download-all")
    archive = zipfile.ZipFile(io.BytesIO(awaited.value.path().read_bytes()))
    code, _, said = ran("make", design_file, "--out", "made", folder=tmp_path)
    assert code == 0, said
    made = {path.name: path.read_bytes() for path in (tmp_path / "made").iterdir()}
    found = {name.removeprefix("rings/"): archive.read(name) for name in archive.namelist()}
    assert found.keys() == made.keys()
    del found["report.json"], made["report.json"]  # it tells how many seconds each stage took
    assert [name for name in found if found[name] != made[name]] == []
    mesh = trimesh.load(io.BytesIO(found["pastry.stl"]), file_type="stl")
    asked_ml = portion(Design.read(design_file).portion).volume_ml
    assert mesh.is_watertight
    assert mesh.volume / 1000.0 == pytest.approx(asked_ml, rel=1e-3)  # 0.1 % is the promise


def test_the_design_file_comes_back(visit, tmp_path):
    page = visit()
    drawn(page)
    page.fill("#design-portion-ratio", "5:5")
    page.keyboard.press("Tab")
    page.wait_for_function("decodeURI(location.href).includes('design=')")
    with page.expect_download() as awaited:
        page.click("a.download-design")
    awaited.value.save_as(tmp_path / "design.toml")
    assert Design.read(tmp_path / "design.toml").portion.ratio == "5:5"
