"""A mesh checker that slicers were long fed through finds nothing to repair in any file."""

import re
import shutil
import subprocess

import pytest
import trimesh

from moulddesign.building import PASTRY, shaped
from moulddesign.design import Design
from moulddesign.export.formats import stl_bytes
from moulddesign.mould import coupons, make_mould

ADMESH = shutil.which("admesh")

CASES = {
    "a press with lettering": {"relief.layers": [{"text": "LANTERN\nNIGHT"}]},
    "a sunk relief under a shoulder, of a printer that was measured": {
        "pastry.outline": "square",
        "pastry.shoulder_radius_mm": 3.0,
        "relief.sense": "sunk",
        "relief.depth_mm": 1.0,
        "relief.layers": [{"text": "Fig & Date", "size_mm": 30.0}, {"motif": "beads"}],
        "printer.print_error_mm": 0.1,
    },
    "further stamps in a lobed sleeve": {
        "pastry.outline": "scalloped",
        "relief.profile": "bevel",
        "relief.layers": [{"pattern": "wreath"}],
        "further_stamps": [{"name": "bee", "layers": [{"pattern": "bee"}], "profile": "pillow"}],
    },
    "two in a block": {
        "mould.kind": "block",
        "mould.cavities": 2,
        "relief.layers": [{"pattern": "wren"}],
    },
    "two masters": {
        "mould.kind": "cast",
        "mould.cavities": 2,
        "relief.layers": [{"text": "Fig", "along": "upper-rim"}],
    },
}
REPAIRS = (
    "Degenerate facets",
    "Edges fixed",
    "Facets removed",
    "Facets added",
    "Facets reversed",
    "Backwards edges",
)


def meshes(design):
    shape = shaped(design)
    mould = make_mould(design, shape.pastry, shape.further)
    pressed = {PASTRY: shape.pastry.mesh}
    pressed |= {one.pastry_name: one.pastry.mesh for one in shape.further}
    return {part.name: part.printed for part in mould.parts} | pressed


def judged(path):
    """Return what admesh says of a file, by the words before the colon."""
    # It prints the header's 80 bytes and whatever lies behind them in its memory.
    done = subprocess.run(  # noqa: S603 (a program of the system)
        [ADMESH, path], capture_output=True, text=True, errors="replace", check=True
    )
    assert "All facets connected.  No nearby check necessary." in done.stdout
    pairs = re.findall(r"([A-Z][A-Za-z0-9 ]+?)\s*:\s*(-?[\d.]+)(?:\s+([\d.]+))?", done.stdout)
    return {name: tuple(float(n) for n in numbers if n) for name, *numbers in pairs}


def assert_needs_no_repair(mesh, path):
    path.write_bytes(stl_bytes(mesh))
    said = judged(path)
    count = len(mesh.triangles)
    assert said["Number of facets"] == (count, count), path.name
    assert said["Total disconnected facets"] == (0.0, 0.0), path.name
    assert {name: said[name] for name in REPAIRS} == dict.fromkeys(REPAIRS, (0.0,)), path.name
    assert said["Number of parts"] == (1.0,), path.name
    # It adds up in float32: each of the additions rounds by 2^-24 of the sum at the most.
    assert said["Volume"][0] == pytest.approx(mesh.volume_mm3, rel=count * 2.0**-24), path.name
    # The file's own numbers, added up in float64, differ from ours by the order of summing.
    assert trimesh.load_mesh(path).volume == pytest.approx(mesh.volume_mm3, rel=1e-9), path.name


@pytest.mark.skipif(ADMESH is None, reason="admesh is not installed")
@pytest.mark.parametrize("case", CASES)
def test_admesh_finds_nothing_to_repair(case, tmp_path):
    made = meshes(Design().with_values(CASES[case]))
    for name, mesh in made.items():
        assert_needs_no_repair(mesh, tmp_path / f"{name}.stl")


@pytest.mark.skipif(ADMESH is None, reason="admesh is not installed")
def test_admesh_finds_nothing_to_repair_in_the_coupons(tmp_path):
    for part in coupons(Design()).parts:
        assert_needs_no_repair(part.printed, tmp_path / f"{part.name}.stl")


@pytest.mark.skipif(ADMESH is None, reason="admesh is not installed")
def test_admesh_finds_what_is_missing(tmp_path):
    """The witness can say no: a box without one of its twelve facets has three open edges."""
    box = trimesh.creation.box((10.0, 10.0, 10.0))
    box.update_faces(range(11))
    box.export(tmp_path / "open.stl")
    done = subprocess.run(  # noqa: S603 (a program of the system)
        [ADMESH, tmp_path / "open.stl"],
        capture_output=True,
        text=True,
        errors="replace",
        check=True,
    )
    assert "All facets connected" not in done.stdout
