"""Strokes and gaps of known width, and every bundled pattern at 60 mm."""

from math import hypot, pi

import pytest
import shapely
from shapely import MultiPolygon, Point

from moulddesign.pastry.artwork import pattern_names
from moulddesign.pastry.artwork_check import check_artwork
from moulddesign.pastry.legibility import least_gap_mm, least_stroke_mm, thickened

# a width is found within a hundredth of it, and a 48-gon stands for a circle
NEAR = 0.015


def ring(outer, inner):
    return Point(0, 0).buffer(outer, quad_segs=64) - Point(0, 0).buffer(inner, quad_segs=64)


@pytest.mark.parametrize("width", [0.3, 0.55, 0.9, 1.4])
def test_annulus_is_as_thin_as_its_radii_differ(width):
    found = least_stroke_mm(ring(10, 10 - width), below_mm=2.0)
    assert found.width_mm == pytest.approx(width, rel=NEAR)
    assert hypot(found.x_mm, found.y_mm) == pytest.approx(10 - width / 2, abs=0.02)


@pytest.mark.parametrize("width", [0.3, 0.55, 0.9, 1.4])
def test_gap_between_rings_is_as_thin_as_drawn(width):
    both = ring(10, 7).union(ring(7 - width, 3))
    assert least_gap_mm(both, below_mm=2.0).width_mm == pytest.approx(width, rel=NEAR)
    assert least_gap_mm(both, below_mm=width * 0.95) is None


def test_whisker_of_a_thick_body_is_found_where_it_is():
    shape = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(10, 4, 16, 4.7)])
    found = least_stroke_mm(shape, below_mm=2.0)
    assert found.width_mm == pytest.approx(0.7, rel=NEAR)
    assert 10 < found.x_mm < 16
    assert found.y_mm == pytest.approx(4.35, abs=0.02)


@pytest.mark.parametrize(
    "shape",
    [
        pytest.param(shapely.box(0, 0, 5, 5), id="square corners"),
        pytest.param(shapely.Polygon([(0, 0), (6, 0), (3, 5.2)]), id="60 deg corners"),
        pytest.param(shapely.Polygon([(0, 0), (12, 2.5), (12, -2.5)]), id="24 deg point"),
        pytest.param(Point(0, 0).buffer(3), id="disc"),
    ],
)
def test_corners_and_points_are_no_strokes(shape):
    assert least_stroke_mm(shape, below_mm=2.0) is None


def test_dot_is_as_thin_as_it_is_wide():
    dots = MultiPolygon([Point(0, 0).buffer(3), Point(9, 0).buffer(0.4, quad_segs=64)])
    found = least_stroke_mm(dots, below_mm=2.0)
    assert (found.width_mm, found.x_mm) == pytest.approx((0.8, 9.0), abs=0.02)


def test_thickened_strokes_reach_the_least_width():
    thin = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(10, 4, 20, 4.5)])
    thick = thickened(thin, 1.0)
    assert thick.is_valid
    assert least_stroke_mm(thick, below_mm=0.99) is None
    # a quarter of the whisker's 0.5 over the 1.0 at most, about the same middle line
    cut = thick.intersection(shapely.LineString([(15, 0), (15, 10)]))
    assert 1.0 - 0.01 <= cut.length <= 1.125 + 0.01
    assert cut.centroid.y == pytest.approx(4.25, abs=0.02)
    assert shapely.symmetric_difference(thickened(shapely.box(0, 0, 5, 5), 1.0),
                                        shapely.box(0, 0, 5, 5)).area < 1e-6  # fmt: skip


@pytest.mark.parametrize("name", pattern_names())
def test_bundled_pattern_reads_at_60_mm_on_round_and_square(name, tmp_path):
    found = check_artwork(name, tmp_path, size_mm=60.0)
    assert found.reads, (found.thin_stroke, found.thin_gap)
    assert found.width_mm <= 60
    assert found.height_mm <= 60
    assert 0.1 < found.covered < pi / 4
