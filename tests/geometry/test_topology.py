"""How facets hang together, against NumPy's and trimesh's own answers."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from verify.shapes import primitive

from moulddesign.geometry import Mesh
from moulddesign.geometry import topology as module
from moulddesign.geometry.topology import bounds_a_solid, topology, welded

BALL = primitive("icosphere", subdivisions=3, radius=20)
FACETS = st.integers(1, 40).flatmap(
    lambda n: arrays(np.float64, (3 * n, 3), elements=st.sampled_from([-1.5, -0.0, 0.0, 0.1, 7.0]))
)


def soup(corners):
    return Mesh(corners, np.arange(len(corners)).reshape(-1, 3))


@given(corners=FACETS)
@pytest.mark.parametrize("mixers", [module.MIXERS, (0, 0, 0)], ids=["as it is", "a useless hash"])
def test_welding_is_numpy_s_unique(corners, mixers):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "MIXERS", mixers)
        made = welded(soup(corners))
    places, rows = np.unique(corners + 0.0, axis=0, return_inverse=True)
    assert np.array_equal(made.vertices, places)
    assert np.array_equal(made.triangles.reshape(-1), rows.reshape(-1))


CHANGES = {
    "whole": lambda t: t,
    "a hole": lambda t: t[1:],
    "a facet turned over": lambda t: np.vstack([t[:1, ::-1], t[1:]]),
    "all turned over": lambda t: t[:, ::-1],
    "a facet twice": lambda t: np.vstack([t, t[:1]]),
    "a facet twice, once turned": lambda t: np.vstack([t, t[:1, ::-1]]),
    "two shells": lambda t: np.vstack([t, t]),
    "nothing": lambda t: t[:0],
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_solid_is_one_by_trimesh_s_judgement(change):
    mesh = Mesh(BALL.vertices, change(BALL.triangles))
    body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    closed = body.is_watertight and body.is_winding_consistent if len(mesh.triangles) else True
    assert bounds_a_solid(mesh) == closed == topology(mesh).solid


def test_a_collapsed_facet_does_no_harm():
    mesh = Mesh(BALL.vertices, np.vstack([BALL.triangles, [[0, 0, 1]]]))
    assert bounds_a_solid(mesh)
    assert topology(mesh).collapsed == 1
