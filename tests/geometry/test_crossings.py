"""Facets that pass through each other, against depths that are known from how they were placed."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from verify.shapes import cylinder, mesh_of, primitive

from moulddesign.geometry import Mesh, box, joined
from moulddesign.geometry.topology import _overlapping, crossing_facets, tolerance_mm, welded

ROUND_OFF_MM = 1e-9
"""Double precision at 20 mm has steps of 4e-15 mm; products of lengths lose a few digits."""
CUBE = box((0, 0, 0), (10, 10, 10))
BALL = welded(primitive("icosphere", subdivisions=3, radius=20))


@pytest.mark.parametrize(
    ("shift", "crossing"),
    [
        pytest.param((20, 0, 0), False, id="apart"),
        pytest.param((5, 5, 5), True, id="through a corner"),
        pytest.param((3, 4, 10.5), False, id="over it"),
        pytest.param((5, 5, 10), False, id="standing on it"),
    ],
)
def test_a_rod_passes_through_a_cube_or_not(shift, crossing):
    rod = mesh_of(cylinder(4, 0, 10, 16)).moved(shift)
    assert (len(crossing_facets(joined([CUBE, rod]), over_mm=ROUND_OFF_MM)) > 0) is crossing


def spike(depth_mm):
    """Return a cube and a pyramid whose tip reaches so deep through the cube's top."""
    tip = np.array([[5.2, 4.1, 10.0 - depth_mm]])
    foot = np.array([[4.0, 3.0, 12.0], [7.0, 3.0, 12.0], [5.0, 6.0, 12.0]])
    sides = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    return joined([CUBE, Mesh(np.vstack([tip, foot]), sides)])


@pytest.mark.parametrize("depth_mm", [1e-5, 1e-3, 0.1, 1.0])
def test_a_tip_is_as_deep_as_it_reaches_through(depth_mm):
    assert len(crossing_facets(spike(depth_mm), over_mm=0.999 * depth_mm))
    assert not len(crossing_facets(spike(depth_mm), over_mm=1.001 * depth_mm))


def test_a_tip_that_does_not_reach_is_none():
    assert not len(crossing_facets(spike(-1e-6), over_mm=ROUND_OFF_MM))


def test_an_edge_that_runs_off_the_rim_is_as_deep_as_its_overhang():
    # A bar 10 mm long lies across the cube's upper edge, 0.3 mm over its rim on both sides.
    bar = box((9.7, 2.0, 9.7), (10.3, 8.0, 10.3))
    assert len(crossing_facets(joined([CUBE, bar]), over_mm=0.29))
    assert not len(crossing_facets(joined([CUBE, bar]), over_mm=0.31))


def test_facets_that_share_a_corner_count_where_they_pass_through_each_other():
    fan = Mesh(
        np.array([[0, 0, 0], [10, -5, 0], [10, 5, 0], [5, 0, -3], [5, 0, 3]], dtype=float),
        np.array([[0, 1, 2], [0, 3, 4]]),
    )
    assert crossing_facets(fan, over_mm=1.0).tolist() == [0, 1]


def test_cubes_whose_sides_meet_on_their_diagonals_pass_through_each_other():
    # Each side of one pierces the other on the line between two facets.
    pair = joined([CUBE, CUBE.moved((5.0, 5.0, 5.0))])
    assert len(crossing_facets(pair, over_mm=1.0)) >= 6  # of three faces each


@pytest.mark.parametrize("mesh", [CUBE, BALL], ids=["cube", "ball"])
def test_a_sound_body_does_not_pass_through_itself(mesh):
    assert not len(crossing_facets(mesh, over_mm=ROUND_OFF_MM))


def test_the_tolerance_is_a_few_steps_of_float32_and_never_a_layer():
    # IEEE 754: from 32 to 64 single precision has steps of 2^-18, at 1e6 of 1/16.
    assert tolerance_mm(box((0, 0, 0), (50, 20, 10))) == 4 * 2.0**-18
    assert tolerance_mm(box((0, 0, 0), (1e6, 20, 10))) == 0.01


def test_a_mesh_of_nothing_has_no_crossing():
    nothing = Mesh(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64))
    assert not len(crossing_facets(nothing, over_mm=ROUND_OFF_MM))


BOXES = st.lists(
    st.tuples(*[st.integers(0, 12).map(float)] * 3, *[st.integers(0, 5).map(float)] * 3),
    min_size=1,
    max_size=40,
)


@given(boxes=BOXES)
def test_the_tree_finds_the_pairs_that_all_against_all_finds(boxes):
    rows = np.array(boxes)
    low, high = rows[:, :3], rows[:, :3] + rows[:, 3:]
    one, two = _overlapping(low, high)
    share = np.all((low[:, None] < high) & (low < high[:, None]), axis=2)
    every = {(a, b) for a, b in np.argwhere(share).tolist() if a < b}
    assert sorted(map(tuple, np.sort(np.stack([one, two], axis=1)).tolist())) == sorted(every)


def test_a_facet_that_begins_inside_and_ends_outside_is_found():
    turn = trimesh.transformations.rotation_matrix(0.7, (1.0, 2.0, 0.5))[:3, :3]
    small = Mesh(BALL.vertices * 0.2 @ turn.T + (3.0, 4.0, 9.0), BALL.triangles)
    pair = joined([CUBE, small])
    found = crossing_facets(pair, over_mm=ROUND_OFF_MM)
    # A facet with one corner in the cube and one outside passes through the cube's surface.
    inside = np.all((small.vertices > 0.0) & (small.vertices < 10.0), axis=1)
    mixed = inside[small.triangles].any(axis=1) & ~inside[small.triangles].all(axis=1)
    assert set(np.flatnonzero(mixed) + len(CUBE.triangles)) <= set(found.tolist())
