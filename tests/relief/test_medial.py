"""The medial axis against shapely's distances and circles, and against axes drawn by hand."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyvoronoi import Pyvoronoi
from strategies import polygons, regular, star, strokes

import moulddesign.relief.medial_axis as module
from moulddesign.relief.medial_axis import NO_SITE, medial_axis, medial_axis_near_edge
from moulddesign.relief.voronoi import (
    VORONOI_GRID_MM,
    boundary_of,
    snapped_to_grid,
    voronoi_diagram,
)


def checked(shape):
    """Return the axis of a region, after what holds of every axis was asserted."""
    region = snapped_to_grid(shape)
    axis = medial_axis(region)
    count = len(axis.corners)
    # Corners lie on the grid, and every distance is what shapely measures to the boundary.
    np.testing.assert_allclose(axis.vertices[:count], axis.corners, atol=0.0)
    measured = shapely.distance(region.boundary, shapely.points(axis.vertices))
    # Boost's vertices are exact to its output's double: some 64 steps of 1e-16 of the extent,
    # and shapely's own distance as much.
    reach = float(np.ptp(axis.corners, axis=0).max())
    np.testing.assert_allclose(
        axis.distances, measured, atol=1e-12 * reach + 1e-3 * VORONOI_GRID_MM
    )
    assert (axis.distances[:count] == 0.0).all()
    # Every vertex lies inside, and so does every straight edge's middle.
    inside = region.buffer(2.0 * VORONOI_GRID_MM)
    assert shapely.covers(inside, shapely.points(axis.vertices)).all()
    # An edge is no nearer to any other site than to its own two.
    assert len(np.unique(np.sort(axis.edges, axis=1), axis=0)) == len(axis.edges)
    return region, axis


@pytest.mark.parametrize(
    "shape",
    [
        pytest.param(shapely.box(0, 0, 10, 4), id="box"),
        pytest.param(star(5, 10, 4), id="star"),
        pytest.param(regular(90, 5.0).difference(regular(60, 3.0)), id="annulus"),
        pytest.param(
            shapely.MultiPolygon([shapely.box(0, 0, 5, 5), shapely.box(5, 5, 9, 9)]),
            id="squares that touch in a corner",
        ),
    ],
)
def test_distances_are_those_that_shapely_measures(shape):
    checked(shape)


def test_a_rectangles_axis_is_its_ridge_and_four_bisectors():
    _, axis = checked(shapely.box(0, 0, 10, 4))
    ends = {tuple(np.round(point, 6)) for point in axis.vertices}
    assert ends >= {(2.0, 2.0), (8.0, 2.0), (0.0, 0.0), (10.0, 0.0), (10.0, 4.0), (0.0, 4.0)}
    lengths = np.linalg.norm(np.diff(axis.vertices[axis.edges], axis=1)[:, 0], axis=1)
    # Ridge of 6, four bisectors of 2 sqrt(2).
    assert lengths.sum() == pytest.approx(6.0 + 8.0 * 2.0**0.5, rel=1e-9)


def test_a_circles_axis_ends_in_its_centre():
    _, axis = checked(regular(48, 5.0))
    deepest = axis.vertices[axis.distances.argmax()]
    assert deepest == pytest.approx([0.0, 0.0], abs=2e-3)
    # The inscribed circle of a regular polygon has the radius R cos(pi / n).
    assert axis.distances.max() == pytest.approx(
        5.0 * np.cos(np.pi / 48), abs=2.0 * VORONOI_GRID_MM
    )


def test_the_diagram_has_the_edges_that_the_library_lists_one_by_one():
    edge = boundary_of(snapped_to_grid(star(5, 10, 4).difference(regular(7, 2.0))))
    machine = Pyvoronoi(1)
    for segment in edge.corners[edge.segments].astype(int).tolist():
        machine.AddSegment(segment)
    machine.Construct()
    listed = [machine.GetEdge(number) for number in range(machine.CountEdges())]
    places = [(vertex.X, vertex.Y) for vertex in machine.GetVertices()]
    finite = [e for e in listed if e.start >= 0 and e.end >= 0]
    found = voronoi_diagram(edge.corners, edge.segments)
    ends = found.vertices[np.concatenate([found.ends, found.ends[:, ::-1]])]
    expected = np.array([(places[e.start], places[e.end]) for e in finite])
    # A vertex on a corner takes its whole number, within a hundredth of a grid step.
    assert sorted(np.rint(ends).reshape(-1, 4).tolist()) == sorted(
        np.rint(expected).reshape(-1, 4).tolist()
    )
    assert 2 * found.square.sum() == sum(not e.is_primary for e in finite)
    assert all(listed[e.twin].twin == number for number, e in enumerate(listed))


def nearer(axis, reach_mm):
    """Return the axis's vertices nearer to the edge than a distance, sorted, in 1e-7 mm."""
    used = np.unique(axis.edges)
    rows = used[axis.distances[used] < reach_mm]
    found = np.column_stack([axis.vertices[rows], axis.distances[rows]])
    return np.unique(np.rint(found * 1e7), axis=0)


@pytest.mark.parametrize("reach_mm", [0.05, 0.41, 1.3, 30.0])
@pytest.mark.parametrize(
    "shape",
    [
        pytest.param(shapely.box(0, 0, 10, 4), id="box"),
        pytest.param(star(5, 10, 4).difference(regular(7, 2.0)), id="star with a hole"),
        pytest.param(regular(90, 5.0).difference(regular(60, 3.0)), id="annulus"),
        pytest.param(
            shapely.MultiPolygon([shapely.box(0, 0, 5, 5), shapely.box(5, 5, 9, 9)]),
            id="squares that touch in a corner",
        ),
        pytest.param(
            shapely.LineString([(0, 0), (9, 3), (18, 0), (18, 9)]).buffer(0.4, quad_segs=3)
            | shapely.box(0, 0, 4, 4),
            id="narrow stroke from a wide place",
        ),
    ],
)
def test_near_the_edge_the_axis_is_the_whole_ones(shape, reach_mm):
    region, whole = checked(shape)
    found = medial_axis_near_edge(region, reach_mm)
    # `checked` holds the whole axis against shapely; lines that halve a straight angle may end
    # in other places, so what is at the reach itself is not compared.
    np.testing.assert_allclose(nearer(found, reach_mm), nearer(whole, reach_mm), atol=1.0)


def test_where_no_seam_is_found_the_whole_diagram_is_taken(monkeypatch):
    region, whole = checked(star(5, 10, 4))
    monkeypatch.setattr(module, "_seams_complete", lambda *_, **__: False)
    taken = medial_axis_near_edge(region, 0.41)
    assert (taken.sites != NO_SITE).all()
    np.testing.assert_array_equal(taken.vertices, whole.vertices)


def test_a_tree_for_a_region_without_holes_and_a_loop_for_each_hole():
    for holes in range(4):
        shape = shapely.box(0, 0, 40, 10)
        for number in range(holes):
            shape = shape.difference(shapely.box(4 + 9 * number, 4, 7 + 9 * number, 6))
        _, axis = checked(shape)
        used = np.unique(axis.edges)
        # Euler: a connected graph has edges - vertices + 1 loops.
        assert len(axis.edges) - len(used) + 1 == holes


SAMPLED = settings(max_examples=30)


@given(shape=st.one_of(strokes(), polygons()))
@SAMPLED
def test_any_area_has_an_axis_whose_distances_are_true(shape):
    assume(not snapped_to_grid(shape).is_empty)
    region, axis = checked(shape)
    circles = shapely.length(shapely.maximum_inscribed_circle(shapely.get_parts(region), 1e-4))
    # The largest circle that shapely finds, to its own tolerance, is the axis's deepest place.
    assert axis.distances.max() >= circles.max() - 2.0 * VORONOI_GRID_MM
    assert axis.distances.max() <= circles.max() + 1e-4 + 2.0 * VORONOI_GRID_MM


@given(shape=st.one_of(strokes(), polygons()))
@SAMPLED
def test_the_grid_moves_nothing_further_than_its_step(shape):
    snapped = snapped_to_grid(shape)
    areas = [part for part in shapely.get_parts(shape) if part.area > 0.0]
    whole = shapely.union_all(areas)
    assert snapped.is_valid
    assert snapped.symmetric_difference(whole).area <= 2.0 * VORONOI_GRID_MM * (whole.length + 1.0)
    coords = shapely.get_coordinates(snapped) / VORONOI_GRID_MM
    assert coords == pytest.approx(np.rint(coords), abs=1e-4)
    assert all(part.exterior.is_ccw for part in shapely.get_parts(snapped))
