import numpy as np
import pytest
from manifold3d import Manifold, Mesh64

from moulddesign.geometry import Mesh, box
from moulddesign.geometry.sampling import first_hits

BALL = Manifold.sphere(10.0, 64) - Manifold.cube([6.0, 6.0, 30.0], center=True)


def ball():
    raw = BALL.to_mesh64()
    return Mesh(raw.vert_properties[:, :3], np.asarray(raw.tri_verts, dtype=np.int64))


def test_lines_meet_the_first_facet():
    lines = np.array([[[1, 1, 9], [1, 1, -9]], [[5, 5, 9], [5, 5, -9]]], dtype=float)
    distances, normals = first_hits(box((0, 0, 0), (2, 2, 2)), lines)
    assert distances.tolist() == [7.0, np.inf]
    assert normals.tolist() == [[0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]


@pytest.mark.parametrize("length", [pytest.param(k, id=f"lines of {k} mm") for k in (2.0, 40.0)])
def test_lines_meet_what_the_kernel_says(length):  # manifold3d's own ray_cast, exact predicates
    random = np.random.default_rng(7)
    starts = random.uniform(-12.0, 12.0, (4000, 3))
    ways = random.normal(size=(4000, 3))
    ways *= length / np.linalg.norm(ways, axis=1, keepdims=True)
    lines = np.stack([starts, starts + ways], axis=1)
    mesh = ball()
    distances, normals = first_hits(mesh, lines)
    body = Manifold(Mesh64(mesh.vertices.copy(), mesh.triangles.astype(np.uint64)))
    for line, distance, normal in zip(lines.tolist(), distances, normals, strict=True):
        hits = sorted(body.ray_cast(*line), key=lambda hit: hit.distance)
        assert bool(hits) == np.isfinite(distance)
        if hits:
            # A hit nearly along its facet loses digits by the sine of the angle: 1e-4 here.
            assert distance == pytest.approx(length * hits[0].distance, abs=1e-9)
            np.testing.assert_allclose(normal, hits[0].normal, atol=1e-9)


@pytest.mark.parametrize(
    ("through", "reach"),
    [
        pytest.param((1.0, 1.0, 2.0), 7.0, id="on the diagonal of a face"),
        pytest.param((0.0, 1.0, 2.0), 7.0, id="on an edge"),
        pytest.param((2.0, 2.0, 2.0), 7.0, id="on a corner"),
    ],
)
def test_no_line_slips_between_two_facets(through, reach):
    start = np.add(through, (0.0, 0.0, 7.0))
    lines = np.array([[start, np.subtract(start, (0.0, 0.0, 20.0))]])
    assert first_hits(box((0, 0, 0), (2, 2, 2)), lines)[0].tolist() == [reach]


def test_a_line_that_ends_short_of_a_facet_meets_none():
    lines = np.array([[[1.0, 1.0, 9.0], [1.0, 1.0, 2.5]], [[1.0, 1.0, 0.5], [1.0, 1.0, 1.5]]])
    assert first_hits(box((0, 0, 0), (2, 2, 2)), lines)[0].tolist() == [np.inf, np.inf]


def test_no_lines_meet_nothing():
    distances, normals = first_hits(box((0, 0, 0), (2, 2, 2)), np.empty((0, 2, 3)))
    assert distances.shape == (0,)
    assert normals.shape == (0, 3)
