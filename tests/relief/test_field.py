"""Labelled fields and the signed distance, against the geometry library's own."""

import numpy as np
import pytest
import shapely

from moulddesign.artwork.outline import polygon_outline, scalloped_outline
from moulddesign.relief.field import EdgeDistance, FoldedDistance, highest, lowest, piece_of

POINTS = np.random.default_rng(7).uniform(-14.0, 14.0, (4000, 2))


@pytest.mark.parametrize(
    "shape",
    [
        pytest.param(shapely.box(-10, -6, 10, 6), id="long edges"),
        pytest.param(shapely.Point(0, 0).buffer(9, quad_segs=64), id="many corners"),
        pytest.param(
            shapely.Point(0, 0).buffer(11).difference(shapely.box(-3, -2, 5, 4)), id="a hole"
        ),
        pytest.param(
            shapely.Polygon([(-12, -1), (12, -0.02), (12, 0.02), (-12, 1)]), id="a thin spike"
        ),
    ],
)
def test_signed_distance_is_that_of_shapely(shape):
    points = shapely.points(POINTS)
    expected = shapely.distance(points, shape.boundary)
    signed = np.where(shapely.contains(shape, points), expected, -expected)

    assert EdgeDistance(shape)(POINTS) == pytest.approx(signed, abs=1e-9)


@pytest.mark.parametrize(
    "outline",
    [
        pytest.param(polygon_outline("square", 24.0, 0.0), id="sharp corners"),
        pytest.param(polygon_outline("hexagon", 24.0, 4.0), id="round corners"),
        pytest.param(scalloped_outline(25.0, 12, 1.6), id="lobes"),
        pytest.param(scalloped_outline(25.0, 3, 2.0), id="three lobes"),
    ],
)
def test_the_distance_to_arcs_is_that_of_shapely_to_their_chords(outline):
    points, shape = shapely.points(POINTS), outline.shape
    expected = shapely.distance(points, shape.boundary)
    signed = np.where(shapely.contains(shape, points), expected, -expected)

    # Chords are within 0.002 mm of the arcs.
    assert FoldedDistance(outline.arcs)(POINTS) == pytest.approx(signed, abs=0.002)


def test_distances_end_at_the_reach():
    shape = shapely.box(-10, -6, 10, 6)
    whole = EdgeDistance(shape)(POINTS)

    assert EdgeDistance(shape, reach_mm=2.5)(POINTS) == pytest.approx(np.clip(whole, -2.5, 2.5))


def test_no_points_have_no_distances():
    assert len(EdgeDistance(shapely.box(0, 0, 1, 1))(np.empty((0, 2)))) == 0


def test_the_higher_and_the_lower_piece_win_with_their_numbers():
    slope, level = piece_of(np.array([-1.0, 0.0, 2.0]), 4), piece_of(np.zeros(3), 9)

    top, low = highest(slope, level), lowest(slope, level)

    assert top.height.tolist() == [0.0, 0.0, 2.0]
    assert top.piece.tolist() == [9, 4, 4]
    assert low.height.tolist() == [-1.0, 0.0, 0.0]
    assert low.piece.tolist() == [4, 4, 9]
