"""Coupons, judged by trimesh, by closed forms, and by letters that FreeType draws."""

from functools import cache
from math import radians, tan

import numpy as np
import pytest
import shapely
from mould.judge import body, ceiling_boxes_mm, cross_section, shared_mm3, steepest_overhang_deg
from PIL import Image, ImageDraw, ImageFont
from shapely.affinity import scale

from moulddesign.artwork.font_files import default_font
from moulddesign.core import SpecError
from moulddesign.design import Design, library
from moulddesign.mould import coupons
from moulddesign.mould.coupon import coupon_layout

GAPS_MM = (0.4, 0.3, 0.2, 0.1)
"""0.3 mm, and each wall moved by -0.1, 0, +0.1, +0.2 mm."""
WIDTHS_MM = (0.6, 0.8, 1.0, 1.3, 1.6)
DEPTHS_MM = (0.6, 1.0, 1.4, 1.8)
PAIR_GAPS_MM = (0.4, 0.6, 0.8, 1.2)
PAIR_WIDTH_MM = 1.2
MOUTH_MM = 0.001
"""Level of the cut: walls of 15 deg draft stand 3e-4 mm further in there than at the mouth."""


@cache
def made():
    return coupons(Design())


def mesh(name):
    return made().part(name).mesh


def reached_mm(depth, width, draft_deg):
    """Return where the walls of a stroke meet: half the width over the tangent of the draft."""
    return min(depth, width / 2.0 / tan(radians(draft_deg)))


@pytest.mark.parametrize("name", ["gauge", "key", "sampler"])
def test_each_is_one_closed_body_that_prints_without_support(name):
    part = made().part(name)
    seen = body(part.printed)
    assert seen.bounds[0, 2] == 0.0
    if name == "sampler":
        # A plate: nothing leans outwards but slivers, which float32 turns over on the flat.
        over = seen.face_normals[:, 2] < 0.0
        assert seen.area_faces[over & (seen.triangles[:, :, 2].min(axis=1) > 0.0)].sum() < 1e-3
        return
    # 44 deg from the upright: a slicer that supports what lies flatter than 40 deg adds nothing.
    assert steepest_overhang_deg(part.printed) <= 45.0
    # The ridge of a slot's roof is level, and narrower than a printed line.
    assert all(min(size) < 0.42 for size in ceiling_boxes_mm(part.printed))


def test_they_are_light():
    grams = {
        name: body(made().part(name).printed).volume / 1000.0
        * max(plastic.density_g_per_ml for plastic in library(None).materials.values())
        for name in ("gauge", "key", "sampler")
    }  # fmt: skip
    assert grams["gauge"] + grams["key"] < 10.0
    assert grams["sampler"] < 20.0


def test_each_ring_leaves_its_gap_on_each_side_of_the_round():
    holes = [
        np.array(ring.coords)
        for part in cross_section(mesh("gauge"), -2.5)
        for ring in part.interiors
    ]
    (round_,) = cross_section(mesh("key"), 4.0)
    # Chords lie within 0.005 mm of the circles.
    assert np.linalg.norm(round_.exterior.coords, axis=1) == pytest.approx(7.5, abs=0.005)
    rings = made().layout.rings_mm
    assert tuple(gap for *_, gap in rings) == GAPS_MM
    for x, y, gap in rings:
        (hole,) = [ring for ring in holes if abs(ring[:, 1].mean() - y) < 1.0]
        assert np.linalg.norm(hole - (x, y), axis=1) == pytest.approx(7.5 + gap, abs=0.005)


@pytest.mark.parametrize("number", range(4))
def test_the_foot_has_its_gap_in_each_slot_at_every_depth(number):
    _, y, gap = made().layout.slots_mm[number]
    x = -4.05  # the foot, 8 mm long, ends before the spine at 0
    key, gauge = mesh("key"), mesh("gauge")
    # Seated, and lifted until half of the play of a press is used.
    for lift in (0.0, 0.15):
        for side, meets in ((gap - 0.005, False), (gap + 0.02, True)):
            for sign in (-1.0, 1.0):
                shared = shared_mm3(gauge, key.moved((x, y + sign * side, lift + 0.001)))
                assert (shared > 0.01) == meets, (gap, lift, side)


@pytest.mark.parametrize(("name", "level"), [("slots_mm", "top"), ("rings_mm", "side")])
def test_as_many_bars_as_the_number_stand_out_beside_each(name, level):
    gauge = mesh("gauge")
    for number, (x, y, _) in enumerate(getattr(made().layout, name), start=1):
        if level == "top":
            found = cross_section(gauge, gauge.bounds[0, 2] + 0.5)
            bars = [bar for bar in found if abs(bar.centroid.y - y) < 6.0]
        else:
            # Outside the ring's own wall: 7.5 + 0.4 + 1.6 mm from its middle.
            ring = shapely.Point(x, y).buffer(9.55, quad_segs=64)
            whole = shapely.union_all(cross_section(gauge, -2.5)).difference(ring)
            beside = shapely.box(x + 5.0, y - 6.0, x + 20.0, y + 6.0)
            others = [shapely.Point(x, y + dy).buffer(9.55) for dy in (-17.6, 17.6)]
            found = whole.intersection(beside).difference(shapely.union_all(others))
            bars = [bar for bar in shapely.get_parts(found) if bar.area > 0.2]
        assert len(bars) == number
        places = sorted((bar.bounds[1] + bar.bounds[3]) / 2.0 for bar in bars)
        # Dots of braille are 2.5 mm apart; from memory.
        assert np.diff(places) == pytest.approx(2.5, abs=0.01)
        for bar in bars:
            assert bar.bounds[3] - bar.bounds[1] == pytest.approx(1.2, abs=0.01)


def depth_at(corners, x, y):
    """Return how deep the sampler's underside is engraved at a place [mm]."""
    a, b, c = np.moveaxis(corners, 1, 0)
    u, v, w = b[:, :2] - a[:, :2], c[:, :2] - a[:, :2], (x, y) - a[:, :2]
    with np.errstate(divide="ignore", invalid="ignore"):
        twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / twice
        t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / twice
        inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    heights = a[:, 2] + s * (b[:, 2] - a[:, 2]) + t * (c[:, 2] - a[:, 2])
    return heights[inside].min()


def test_strokes_are_as_deep_as_their_width_lets_them():
    seen, draft_deg = body(mesh("sampler")).triangles, Design().relief.draft_deg
    singles, pairs = made().layout.singles, made().layout.pairs
    cells = [(depth, width) for depth in DEPTHS_MM for width in WIDTHS_MM]
    for one, (depth, width) in zip(singles, cells, strict=True):
        expected = reached_mm(depth, width, draft_deg)
        assert one.reached_mm == pytest.approx(expected, abs=1e-12)
        # A ray beside the ridge by 0.001 mm; facets keep the draft at 0.01 mm less depth.
        assert depth_at(seen, one.x_mm + 0.013, one.y_mm + 0.001) == pytest.approx(
            expected, abs=0.016
        )
    cells = [(depth, gap) for depth in DEPTHS_MM for gap in PAIR_GAPS_MM]
    for one, (depth, gap) in zip(pairs, cells, strict=True):
        expected = reached_mm(depth, PAIR_WIDTH_MM, draft_deg)
        for side in (-1.0, 1.0):
            x = one.x_mm + side * (gap + PAIR_WIDTH_MM) / 2.0 + 0.001
            assert depth_at(seen, x, one.y_mm + 0.013) == pytest.approx(expected, abs=0.016)


def test_depths_that_a_draft_of_15_deg_lets_strokes_reach():
    # Worked by hand: 0.3, 0.4 and 0.5 mm over tan 15 deg = 0.26795.
    deepest = {one.head_mm: one.reached_mm for one in made().layout.singles}
    assert deepest[0.6] == pytest.approx(1.12, abs=0.005)
    assert deepest[0.8] == pytest.approx(1.49, abs=0.005)
    deep = [one.reached_mm for one in coupon_layout(10.0).singles if one.head_mm == 0.6]
    assert deep == pytest.approx([0.6, 1.0, 1.4, 1.70], abs=0.002)  # 0.3 / 0.17633


@cache
def mouths():
    """Return what is engraved at the sampler's underside, as it reads on the dough."""
    seen = body(mesh("sampler"))
    loops = seen.section(plane_origin=(0.0, 0.0, MOUTH_MM), plane_normal=(0.0, 0.0, 1.0)).discrete
    plate = shapely.build_area(shapely.MultiLineString([loop[:, :2] for loop in loops]))
    outside = [shapely.Polygon(part.exterior) for part in shapely.get_parts(plate)]
    return shapely.union_all(outside).difference(plate)


def engraved(x, y, half_x, half_y):
    return mouths().intersection(shapely.box(x - half_x, y - half_y, x + half_x, y + half_y))


def test_strokes_and_gaps_are_as_wide_as_their_heads():
    for number, one in enumerate(made().layout.singles):
        stroke = mouths().intersection(shapely.Point(one.x_mm, one.y_mm).buffer(1.8))
        _, low, _, high = stroke.bounds
        assert high - low == pytest.approx(WIDTHS_MM[number % 5], abs=1e-3)
    for number, one in enumerate(made().layout.pairs):
        left, right = shapely.get_parts(
            mouths().intersection(
                shapely.box(one.x_mm - 3, one.y_mm - 1, one.x_mm + 3, one.y_mm + 1)
            )
        )
        left, right = sorted((left, right), key=lambda part: part.bounds[0])
        assert right.bounds[0] - left.bounds[2] == pytest.approx(PAIR_GAPS_MM[number % 4], abs=1e-3)
        for part in (left, right):
            assert part.bounds[2] - part.bounds[0] == pytest.approx(PAIR_WIDTH_MM, abs=1e-3)


def agreement(found, text, height_mm):
    """Return how much of a shape and of text as FreeType draws it are in both."""
    font = ImageFont.truetype(str(default_font()), 200, layout_engine=ImageFont.Layout.BASIC)
    left, top, right, low = font.getbbox(text)
    image = Image.new("1", (right - left, low - top))
    ImageDraw.Draw(image).text((-left, -top), text, fill=1, font=font)
    asked = np.asarray(image)
    rows, columns = asked.nonzero()
    asked = asked[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    pixel_mm = height_mm / len(asked)
    x0, y0, x1, y1 = found.bounds
    x = (x0 + x1) / 2.0 + (np.arange(asked.shape[1]) + 0.5 - asked.shape[1] / 2.0) * pixel_mm
    y = (y0 + y1) / 2.0 - (np.arange(len(asked)) + 0.5 - len(asked) / 2.0) * pixel_mm
    inside = shapely.contains_xy(found, *np.meshgrid(x, y))
    both = (inside & asked).sum() * pixel_mm**2
    return both / (found.area + asked.sum() * pixel_mm**2 - both)


def test_each_figure_reads_right_on_the_dough_and_states_the_depth_reached():
    cells = [(depth, width) for depth in DEPTHS_MM for width in WIDTHS_MM]
    for one, (depth, width) in zip(made().layout.singles, cells, strict=True):
        text = f"{reached_mm(depth, width, 15.0):.2f}"
        under = engraved(one.x_mm, one.y_mm - 3.5, 5.6, 1.7)
        assert agreement(under, text, 3.0) > 0.95, text
    for row, depth in enumerate(DEPTHS_MM):
        first = made().layout.pairs[4 * row]
        before = engraved(first.x_mm - 11.2, first.y_mm, 5.6, 1.7)
        assert agreement(before, f"{depth:.2f}", 3.0) > 0.95
    heads = [*zip(made().layout.singles, WIDTHS_MM, strict=False),
             *zip(made().layout.pairs, PAIR_GAPS_MM, strict=False)]  # fmt: skip
    for one, head in heads:
        above = engraved(one.x_mm, one.y_mm + 6.0, 5.6, 2.2)
        assert agreement(above, f"{head:.1f}", 4.0) > 0.95
    # The judge can say no: what reads mirrored agrees less.
    assert agreement(scale(under, -1.0, 1.0), text, 3.0) < 0.8


def test_a_bed_that_is_too_small_is_refused():
    design = Design().with_values({"printer.bed_mm": [70.0, 70.0, 100.0]})
    with pytest.raises(SpecError, match=r"printer.bed_mm = .* is smaller than the gauge along y"):
        coupons(design)
