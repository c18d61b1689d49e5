"""What `make` says of a mesh before it is written, `inspect` says of the file."""

import pytest
from hypothesis import HealthCheck, given, reject, settings
from strategies import any_kind

from moulddesign.building import shaped
from moulddesign.core import MouldError, Verdict
from moulddesign.design import Design
from moulddesign.export.formats import stl_bytes
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.mould import make_mould
from moulddesign.verify.soundness import soundness

CASES = {
    "knot on fourteen lobes": {
        "portion.finished_weight_g": 59.3,
        "pastry.outline": "scalloped",
        "pastry.lobes": 14,
        "relief.layers": [{"pattern": "knot", "size_mm": 26.668}],
        "relief.draft_deg": 29.946,
        "relief.depth_mm": 1.026,
    },
    "apple sunk in a master of three": {
        "mould.kind": "cast",
        "mould.cavities": 3,
        "relief.layers": [{"pattern": "apple"}],
        "relief.sense": "sunk",
        "relief.depth_mm": 2.981,
    },
    "bevelled and sunk": {
        "relief.sense": "sunk",
        "relief.profile": "bevel",
        "relief.depth_mm": 1.5,
    },
}


def assert_one_verdict(design, folder):
    """Judge the meshes of a design, then what is read back from the files; return the verdicts."""
    shape = shaped(design)
    mould = make_mould(design, shape.pastry, shape.further)
    meshes = {part.name: part.printed for part in mould.parts} | {"pastry": shape.pastry.mesh}
    verdicts = set()
    for name, mesh in meshes.items():
        path = folder / f"{name}.stl"
        path.write_bytes(stl_bytes(mesh))
        before, after = soundness(mesh, part=name), soundness(read_mesh(path), part=name)
        told = [[(f.id, f.verdict) for f in found] for found in (before, after)]
        assert told[0] == told[1]
        verdicts |= {f.verdict for f in before}
    return verdicts


@pytest.mark.parametrize("values", CASES.values(), ids=CASES)
def test_what_was_judged_two_ways_is_sound_in_both(values, tmp_path):
    assert assert_one_verdict(Design().with_values(values), tmp_path) == {Verdict.GOOD}


@pytest.mark.parametrize(
    "count", [2, pytest.param(49, marks=pytest.mark.slow)], ids=["two", "forty-nine"]
)
def test_designs_that_nobody_picked_have_one_verdict(count, tmp_path):
    @given(design=any_kind())
    @settings(
        max_examples=count, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
    )
    def judge(design):
        try:
            verdicts = assert_one_verdict(design, tmp_path)
        except MouldError:
            reject()
        assert verdicts == {Verdict.GOOD}

    judge()
