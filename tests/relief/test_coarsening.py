"""Coarsened triangulations against planes and arcs, whose facets can be counted."""

import numpy as np
import pytest
from scipy.spatial import Delaunay

from moulddesign.relief.coarsening import coarsened

SIDE = 12


def grid(height_of):
    """Return corners and triangles over a square, inner corners off the lines of a grid."""
    axis = np.linspace(0.0, 6.0, SIDE)
    plan = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    inner = ((plan > 0.0) & (plan < 6.0)).all(axis=1)
    plan[inner] += np.random.default_rng(5).uniform(-0.1, 0.1, (int(inner.sum()), 2))
    triangles = Delaunay(plan).simplices.astype(np.int64)
    return np.column_stack([plan, height_of(plan)]), triangles, inner


def area_mm2(vertices, triangles):
    a, b, c = np.moveaxis(vertices[triangles, :2], 1, 0)
    along, out = b - a, c - a
    return (along[:, 0] * out[:, 1] - along[:, 1] * out[:, 0]) / 2.0


def test_a_plane_keeps_hardly_more_than_the_corners_of_its_rim():
    vertices, triangles, inner = grid(lambda at: 0.3 * at[:, 0] - 0.2 * at[:, 1])
    made, source = coarsened(
        vertices,
        triangles.copy(),
        may_go=inner,
        steepest=3.7,
        bound_mm=1e-6,
        are_off=[lambda rows: np.zeros(len(rows), dtype=bool)],
    )
    areas = area_mm2(vertices, made)

    # Euler: n - 2 triangles over n corners of the rim, two more for each corner inside. Few of
    # those see none of their neighbours' facets whole, or would leave a sliver.
    left = int(inner[np.unique(made)].sum())
    assert len(made) == len(source) == 4 * (SIDE - 1) - 2 + 2 * left
    assert left <= 0.05 * inner.sum()
    assert areas.min() > 0.0
    assert areas.sum() == pytest.approx(36.0, rel=1e-12)


def test_a_corner_stays_where_a_measure_needs_it():
    peak = 5 * SIDE + 6
    vertices, triangles, inner = grid(lambda at: np.where(np.arange(len(at)) == peak, 1.0, 0.0))
    made, _ = coarsened(
        vertices,
        triangles.copy(),
        may_go=inner,
        steepest=3.7,
        bound_mm=0.01,
        are_off=[lambda rows: np.zeros(len(rows), dtype=bool)],
    )

    assert peak in made
    assert area_mm2(vertices, made).min() > 0.0


def test_nothing_goes_where_every_new_facet_is_off():
    vertices, triangles, inner = grid(lambda at: 0.0 * at[:, 0])
    made, source = coarsened(
        vertices,
        triangles.copy(),
        may_go=inner,
        steepest=3.7,
        bound_mm=0.01,
        are_off=[lambda rows: np.ones(len(rows), dtype=bool)],
    )

    assert (made == triangles).all()
    assert (source == np.arange(len(triangles))).all()
