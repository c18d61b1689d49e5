"""Strokes and gaps of known width, and every bundled pattern where it lies on a pastry."""

import re
from math import hypot
from xml.etree import ElementTree as ET

import pytest
import shapely
from shapely import MultiPolygon, Point

from moulddesign.artwork.artwork_check import check_artwork
from moulddesign.artwork.bundled_patterns import pattern_names, patterns_folder
from moulddesign.artwork.legibility import (
    least_gap_mm,
    least_stroke_mm,
    thickened,
    thin_gaps,
    thin_strokes,
)
from moulddesign.design import Design
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import portion

# a width is found within a hundredth of it, and a 48-gon stands for a circle
NEAR = 0.015
TEETH = ((1, 0.5), (2, 0.7), (3, 0.3), (4, 2.0))
# a chestnut's burr and leaves have saw edges
SAW_EDGED = {"chestnut"}


def ring(outer, inner):
    return Point(0, 0).buffer(outer, quad_segs=64) - Point(0, 0).buffer(inner, quad_segs=64)


@pytest.mark.parametrize("width", [0.02, 0.05, 0.3, 0.55, 0.9, 1.4])
def test_annulus_is_as_thin_as_its_radii_differ(width):
    found = least_stroke_mm(ring(10, 10 - width), below_mm=2.0)
    assert found.width_mm == pytest.approx(width, rel=NEAR)
    assert hypot(found.x_mm, found.y_mm) == pytest.approx(10 - width / 2, abs=0.02)


@pytest.mark.parametrize("width", [0.02, 0.05, 0.3, 0.55, 0.9, 1.4])
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


def test_a_hairline_beside_a_body_is_found_and_ringed():
    shape = MultiPolygon([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 20.01, 9)])
    found = least_stroke_mm(shape, below_mm=2.0)
    assert (found.width_mm, found.x_mm) == pytest.approx((0.01, 20.005), abs=1e-3)
    assert [thin.x_mm for thin in thin_strokes(shape, below_mm=2.0)] == [found.x_mm]


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


@pytest.fixture(scope="module")
def volume_ml():
    return portion(Design().portion).volume_ml


WIDTHS_MM = {"round": 54.0, "square": 50.0}


@pytest.mark.parametrize(
    ("name", "outline"),
    [  # in the usual run each pattern lies on one of the two, in turn
        pytest.param(name, outline, marks=pytest.mark.slow if (n + m) % 2 else ())
        for n, name in enumerate(pattern_names())
        for m, outline in enumerate(WIDTHS_MM)
    ],
)
def test_bundled_pattern_prints_and_fills_where_it_lies_on_a_pastry(name, outline, volume_ml):
    changes = {
        "pastry.outline": outline,
        "pastry.width_mm": WIDTHS_MM[outline],
        "relief.layers": [{"pattern": name}],
    }
    made = pastry(Design().with_values(changes), volume_ml)
    ((shape, _),) = made.artwork
    assert least_stroke_mm(shape, below_mm=0.65) is None
    assert least_gap_mm(shape, below_mm=0.86) is None
    assert 0.12 < shape.area / made.outline.area_mm2 < 0.6


@pytest.mark.parametrize("name", pattern_names())
def test_bundled_pattern_is_balanced_and_fills_its_frame(name, tmp_path):
    found = check_artwork(name, tmp_path, size_mm=1.0)
    hull = shapely.convex_hull(found.shape)
    left, low, right, high = found.shape.bounds
    # the middle of what is seen lies within a twentieth of the frame from its centre
    assert hypot((left + right) / 2, (low + high) / 2) < 0.05
    assert hypot(hull.centroid.x, hull.centroid.y) < 0.05
    assert max(right - left, high - low) > 0.75


@pytest.mark.parametrize("name", pattern_names())
def test_bundled_pattern_is_drawn_with_curves_and_described(name):
    text = (patterns_folder() / f"{name}.svg").read_text()
    root = ET.fromstring(text)  # noqa: S314 (our own file)
    assert [child.tag.rpartition("}")[2] for child in root][:2] == ["title", "desc"]
    assert len(text) < 10_000
    # a patch traced from pixels is a path of many short straight lines
    runs = re.findall(r"(?:L-?[0-9.]+ -?[0-9.]+){12,}", text)
    assert [run for run in runs if name not in SAW_EDGED] == []


def test_every_thin_place_is_found_once_and_the_thinnest_first():
    comb = shapely.union_all(
        [shapely.box(0, 0, 40, 6), *(shapely.box(6 * k, 6, 6 * k + w, 14) for k, w in TEETH)]
    )
    found = thin_strokes(comb, below_mm=0.9)
    assert [thin.width_mm for thin in found] == pytest.approx([0.3, 0.5, 0.7], rel=NEAR)
    assert [round(thin.x_mm / 6) for thin in found] == [3, 1, 2]
    assert thin_strokes(comb, below_mm=0.25) == ()


def test_every_thin_gap_is_found():
    bars = shapely.union_all([shapely.box(x, 0, x + 5, 20) for x in (0, 5.4, 10.9, 17)])
    found = thin_gaps(bars, below_mm=0.9)
    assert [thin.width_mm for thin in found] == pytest.approx([0.4, 0.5], rel=NEAR)
    assert [thin.x_mm for thin in found] == pytest.approx([5.2, 10.65], abs=0.02)
    assert thin_gaps(MultiPolygon(), below_mm=0.9) == ()
