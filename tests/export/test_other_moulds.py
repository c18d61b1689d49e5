"""Moulds of other parts than a press: nothing that is written knows a part by its name."""

import io
import json
from dataclasses import replace
from types import MappingProxyType

import ezdxf
import numpy as np
import pytest
import trimesh
from export.builds import built
from pypdf import PdfReader

from moulddesign.building import PASTRY
from moulddesign.export import ExportOptions, publish_failing
from moulddesign.export.build_files import scenes
from moulddesign.geometry import box, difference
from moulddesign.mould import Part
from moulddesign.mould.mould_set import Pose


@pytest.fixture(scope="module")
def block_build():
    """Return a build whose mould is one block with a cavity, without exact surfaces."""
    made = built("little")
    pastry = made.meshes[PASTRY]
    low, high = pastry.bounds
    around = box(low - np.array([8.0, 8.0, -1.0]), high + 8.0)
    mesh = difference(around, [pastry.moved((0.0, 0.0, -0.5))], "a block")
    part = Part(
        name="block", mesh=mesh,
        pose=Pose(half_turns=1, shift_mm=(110.0, 110.0, float(mesh.bounds[1, 2]))),
    )  # fmt: skip
    meshes = MappingProxyType({"block": part.printed, PASTRY: pastry})
    return replace(made, mould=replace(made.mould, parts=(part,), layout=None), meshes=meshes)


@pytest.fixture(scope="module")
def folder(block_build, tmp_path_factory):
    target = tmp_path_factory.mktemp("block") / "out"
    publish_failing(block_build, target)
    return target


def test_every_format_is_written_but_step_which_it_has_no_body_for(folder):
    assert {path.name for path in folder.iterdir()} == {
        "block.stl", "pastry.stl", "drawing.dxf", "drawing.svg", "set.glb", "pastry.png",
        "parts.png", "relief.png", "set.3mf", "card.html", "card.pdf", "card-1.png",
        "card-2.png", "card-3.png", "approval.pdf", "report.json", "design.toml",
    }  # fmt: skip
    report = json.loads((folder / "report.json").read_text("utf-8"))
    assert [part["files"] for part in report["parts"]] == [
        ["block.stl"],
        ["pastry.stl", "pastry.png"],
    ]


def test_a_block_is_shown_with_its_cavity_up_behind_its_piece():
    drafted = built("drafted block")
    pastry, block = (one.mesh for one in scenes(drafted, ExportOptions())["parts.png"].bodies)
    assert block.bounds[0, 1] > pastry.bounds[1, 1]
    corners = block.corners
    crosses = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2.0
    below = corners[:, :, 2].max(axis=1) < block.bounds[1, 2] - 1.0
    seen_mm2 = crosses[below & (crosses[:, 2] > 0.0), 2].sum()
    # what shows of the floor from above is the plan of the piece, or its top where it leans in
    assert seen_mm2 > 0.8 * np.prod(pastry.size_mm[:2]) * np.pi / 4.0


def test_each_file_names_the_part(folder, block_build):
    volume = block_build.meshes["block"].volume_mm3
    threemf = trimesh.load(io.BytesIO((folder / "set.3mf").read_bytes()), file_type="3mf")
    glb = trimesh.load(io.BytesIO((folder / "set.glb").read_bytes()), file_type="glb")
    assert threemf.geometry["block"].volume == pytest.approx(volume, rel=1e-6)
    assert glb.geometry["block"].volume * 1e9 == pytest.approx(volume, rel=1e-5)
    drawing = ezdxf.readfile(folder / "drawing.dxf")
    assert "block" in {text.dxf.text for text in drawing.modelspace().query("TEXT")}
    lengths = [one.get_measurement() for one in drawing.modelspace().query("DIMENSION")]
    style = drawing.dimstyles.get("dimension")
    for size_mm in block_build.meshes["block"].size_mm:
        assert any(abs(one * style.dxf.dimlfac - size_mm) < 0.0051 for one in lengths)
    assert drawing.audit().errors == []
    assert "block" in PdfReader(folder / "card.pdf").pages[1].extract_text()
