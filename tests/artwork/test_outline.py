"""Outlines against the areas and widths that geometry gives them."""

from math import cos, pi, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from moulddesign.artwork.outline import (
    ARC_CHORD_MM,
    Outline,
    outline_of_width,
    rotational_symmetry,
    round_outline,
    width_for_area_mm,
    width_for_volume_mm,
)
from moulddesign.core import FileError, SpecError
from moulddesign.design import OUTLINES, Design, PastryTable

WIDTHS = st.floats(8.0, 150.0)
SIDES = {"square": 4, "hexagon": 6, "octagon": 8}
FEW = settings(max_examples=20)


def outline(name, width_mm, **values) -> Outline:
    return outline_of_width(PastryTable(outline=name, **values), width_mm)


def chord_loss(made):
    """Area that chords within `ARC_CHORD_MM` of their arcs may lose: two thirds of it a length."""
    return ARC_CHORD_MM * made.shape.length * 2.0 / 3.0


@given(width=WIDTHS)
def test_a_circle_has_its_area_and_width(width):
    made = round_outline(width)
    lost = pi * width**2 / 4.0 - made.area_mm2
    assert 0.0 < lost <= chord_loss(made)
    assert made.width_mm == pytest.approx(width, rel=1e-12)
    assert np.linalg.norm(made.points, axis=1) == pytest.approx(width / 2.0)


@pytest.mark.parametrize("name", SIDES)
@given(width=WIDTHS, share=st.floats(0.0, 1.0))
@FEW
def test_a_rounded_polygon_has_its_closed_form_area(name, width, share):
    n, radius = SIDES[name], share * width / 2.0
    made = outline(name, width, corner_radius_mm=radius)
    # The square's a^2 - (4 - pi) r^2 (Weisstein, Rounded Rectangle), and the same for n sides.
    exact = n * width**2 * tan(pi / n) / 4.0 - n * radius**2 * (tan(pi / n) - pi / n)
    # Corners nearer than a chord's sagitta are one, which may cost as much again.
    assert abs(exact - made.area_mm2) <= 2.0 * chord_loss(made)
    assert made.width_mm == pytest.approx(width, abs=2.0 * ARC_CHORD_MM)


def test_the_closed_form_of_the_square_is_the_published_one():
    made = outline("square", 50.0, corner_radius_mm=6.0)
    published = 50.0**2 - (4.0 - pi) * 6.0**2  # a^2 - (4 - pi) r^2
    # Only the arcs lose: a full turn of 6 mm.
    assert 0.0 <= published - made.area_mm2 <= 2.0 * pi * 6.0 * ARC_CHORD_MM * 2.0 / 3.0


@pytest.mark.parametrize("name", OUTLINES)
@given(width=st.floats(25.0, 150.0))
@FEW
def test_every_outline_is_one_simple_shape_around_the_origin(name, width):
    made = outline(name, width)
    assert made.shape.is_valid
    assert made.shape.exterior.is_ccw
    assert made.shape.contains(shapely.Point(0.0, 0.0))
    assert not made.points.flags.writeable
    low, high = made.points.min(axis=0), made.points.max(axis=0)
    assert (high - low).tolist() == pytest.approx([made.width_mm, made.depth_mm])
    assert made.circumradius_mm == pytest.approx(np.linalg.norm(made.points, axis=1).max())


@pytest.mark.parametrize("name", OUTLINES)
@given(width=st.floats(25.0, 150.0), by=st.floats(0.05, 1.5))
@FEW
def test_an_inset_runs_everywhere_at_its_distance(name, width, by):
    made = outline(name, width)
    inner = made.inset(by)
    # Both are within a chord's sagitta of the same arcs.
    away = shapely.distance(made.shape.exterior, shapely.points(inner.points))
    assert np.abs(away - by).max() <= 2.0 * ARC_CHORD_MM
    gaps = shapely.hausdorff_distance(inner.shape, made.shape.buffer(-by, quad_segs=64), 0.2)
    assert gaps <= 3.0 * ARC_CHORD_MM


@pytest.mark.parametrize("name", OUTLINES)
def test_an_outset_and_its_inset_are_the_same(name):
    made = outline(name, 60.0)
    again = made.inset(-1.0).inset(1.0)
    assert again.width_mm == pytest.approx(60.0, abs=2.0 * ARC_CHORD_MM)
    assert again.area_mm2 == pytest.approx(made.area_mm2, abs=2.0 * chord_loss(made))


@pytest.mark.parametrize("name", OUTLINES)
@given(width=st.floats(25.0, 150.0))
@FEW
def test_the_width_for_an_area_is_the_inverse_of_the_area(name, width):
    table = PastryTable(outline=name)
    made = outline_of_width(table, width)
    found = width_for_area_mm(table, made.area_mm2)
    # dA/dw is about half the length, so the area's loss moves the width by 2 loss / length.
    assert found == pytest.approx(width, abs=4.0 * ARC_CHORD_MM * 2.0 / 3.0 + 2e-5)


@pytest.mark.parametrize("name", OUTLINES)
@given(width=st.floats(25.0, 120.0), share=st.floats(0.1, 1.5))
@FEW
def test_the_width_for_a_volume_holds_it_at_the_proportion(name, width, share):
    table = PastryTable(outline=name)
    volume = outline_of_width(table, width).area_mm2 * share * width
    assert width_for_volume_mm(table, volume, share) == pytest.approx(width, abs=0.01)


def test_a_round_piece_of_a_proportion_is_a_cylinder():
    # V = pi / 4 w^2 h with h = w / 2, so w = (8 V / pi)^(1/3).
    assert width_for_volume_mm(PastryTable(), 60_000.0, 0.5) == pytest.approx(
        (8.0 * 60_000.0 / pi) ** (1 / 3), rel=1e-9
    )


def test_a_hexagon_has_flats_across_its_width():
    made = outline("hexagon", 50.0, corner_radius_mm=0.0)
    assert made.width_mm == pytest.approx(50.0)
    assert made.depth_mm == pytest.approx(2.0 * 50.0 / sqrt(3.0))
    assert made.circumradius_mm == pytest.approx(25.0 / cos(pi / 6.0))


@given(lobes=st.integers(3, 30), depth=st.floats(0.3, 4.0))
@FEW
def test_a_scalloped_outline_has_its_lobes_and_its_depth(lobes, depth):
    table = PastryTable(outline="scalloped", lobes=lobes, lobe_depth_mm=depth)
    try:
        made = outline_of_width(table, 80.0)
    except SpecError:
        assume(False)  # noqa: FBT003 (hypothesis)
    radii = np.linalg.norm(made.points, axis=1)
    assert radii.max() == pytest.approx(40.0, abs=ARC_CHORD_MM)
    # Valleys are rounded, so they lie inside by the depth at most.
    assert 40.0 - depth - ARC_CHORD_MM <= radii.min() < 40.0
    turned = shapely.affinity.rotate(made.shape, 360.0 / lobes, origin=(0, 0))
    assert made.shape.symmetric_difference(turned).area <= 4.0 * chord_loss(made)
    highest = radii > 40.0 - 0.25 * (40.0 - radii.min())
    assert int(np.sum(highest & ~np.roll(highest, 1))) == lobes


@pytest.mark.parametrize("side", ["reeded", "fluted"])
@pytest.mark.parametrize(("name", "count"), [("round", 34), ("square", 40), ("hexagon", 36)])
def test_flutes_and_reeds_touch_the_plain_outline_and_have_their_depth(name, count, side):
    made = outline(name, 60.0, side=side, side_count=count, side_depth_mm=0.7)
    plain = outline(name, 60.0)
    depths = shapely.distance(plain.shape.exterior, shapely.points(made.points))
    directions = np.diff(np.vstack([made.points, made.points[:2]]), axis=0)
    x, y = (directions / np.linalg.norm(directions, axis=1)[:, None]).T
    turns = np.abs(x[:-1] * y[1:] - y[:-1] * x[1:])

    assert made.shape.is_valid
    assert made.width_mm == pytest.approx(60.0, abs=ARC_CHORD_MM)
    assert made.plain.shape.equals_exact(plain.shape, 1e-9)
    assert depths.min() == pytest.approx(0.0, abs=ARC_CHORD_MM)
    assert depths.max() == pytest.approx(0.7, abs=2.0 * ARC_CHORD_MM)
    # Arcs meet without a corner: no two chords turn by more than those of one small arc do.
    assert turns.max() < 0.3
    low = depths > 0.35
    assert int(np.sum(low & ~np.roll(low, 1))) == count
    turned = shapely.affinity.rotate(made.shape, 360.0 / SIDES.get(name, count), origin=(0, 0))
    assert made.shape.symmetric_difference(turned).area <= 4.0 * chord_loss(made)


@pytest.mark.parametrize(
    ("name", "values", "width", "sentence"),
    [
        ("square", {"side": "reeded", "side_count": 30}, 50.0, "must be a multiple of 4"),
        ("round", {"side": "reeded", "side_depth_mm": 3.0}, 50.0, "must be at most 1.74 mm"),
        ("round", {"side": "fluted", "side_count": 6}, 50.0, "must be more than 3.35 mm for 6"),
        ("square", {"corner_radius_mm": 30.0}, 50.0, "must be at most half the width, 25 mm"),
        ("octagon", {"corner_radius_mm": 30.0}, 50.0, "must be at most half the width, 25 mm"),
        ("scalloped", {"lobe_depth_mm": 20.0}, 30.0, "does not go with 12 lobes on 30 mm"),
    ],
)
def test_what_does_not_fit_is_said(name, values, width, sentence):
    with pytest.raises(SpecError, match=sentence):
        outline(name, width, **values)


def test_a_fluted_circle_is_as_wide_as_its_area_asks():
    table = PastryTable(side="fluted")
    width = width_for_area_mm(table, 2000.0)
    assert outline_of_width(table, width).area_mm2 == pytest.approx(2000.0, abs=1e-3)
    with pytest.raises(SpecError, match="takes flutes or reeds only where it is one of round"):
        Design().with_values({"pastry.outline": "scalloped", "pastry.side": "reeded"})


def test_an_inset_that_leaves_nothing_is_said():
    with pytest.raises(SpecError, match="must be below half the width of 50 mm"):
        round_outline(50.0).inset(25.0)


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{}</svg>'


def test_a_drawn_outline_is_centred_and_scaled(tmp_path):
    path = tmp_path / "shape.svg"
    path.write_text(SVG.format('<path d="M10 10H90V50H50V90H10z"/>'))
    made = outline(str(path), 40.0)
    assert made.width_mm == pytest.approx(40.0)
    # An L of three quarters of the square.
    assert made.area_mm2 == pytest.approx(0.75 * 40.0**2, rel=1e-3)
    x, y = shapely.get_coordinates(made.shape.centroid)[0]
    assert (x, y) == pytest.approx((0.0, 0.0), abs=1e-9)
    # y is up: the missing quarter of the drawing is at the lower right.
    assert not made.shape.contains(shapely.Point(15.0, -15.0))
    assert made.shape.contains(shapely.Point(15.0, 10.0))
    table = PastryTable(outline=str(path))
    assert width_for_area_mm(table, made.area_mm2) == pytest.approx(40.0, rel=1e-9)


@pytest.mark.parametrize(
    "body",
    [
        '<path d="M0 0H40V40H0z M60 60H90V90H60z"/>',
        '<path fill-rule="evenodd" d="M0 0H90V90H0z M30 30H60V60H30z"/>',
    ],
)
def test_a_drawing_that_is_no_outline_is_refused(tmp_path, body):
    path = tmp_path / "shape.svg"
    path.write_text(SVG.format(body))
    with pytest.raises(FileError, match="one closed shape without holes"):
        outline(str(path), 40.0)


@pytest.mark.parametrize(
    ("name", "parts"),
    [  # a regular n-gon falls on itself n times in a turn; a disc always, which counts as once
        pytest.param("round", 1),
        pytest.param("square", 4),
        pytest.param("hexagon", 6),
        pytest.param("octagon", 8),
    ],
)
def test_regular_outlines_repeat_as_often_as_they_have_sides(name, parts):
    assert rotational_symmetry(outline_of_width(PastryTable(outline=name), 60.0).shape) == parts
