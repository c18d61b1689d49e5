from dataclasses import replace
from math import pi, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mould.standin import Pastry, square

from moulddesign.artwork.outline import round_outline as circle
from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould.press_layout import SCREWS, drop_mm, press_layout

PIECE = Pastry(circle(60.0), 21.0)


def laid(pastry=PIECE, **values):
    design = Design().with_values({f"mould.{k}": v for k, v in values.items()})
    return press_layout(design.mould, design.printer, pastry)


@given(width=st.floats(20, 200), clearance=st.floats(0.05, 2), guide=st.floats(5, 300))
def test_drop_is_the_lean_of_a_rod_in_a_gap(width, clearance, guide):
    # A rod leans until its ends touch opposite walls: tan(lean) = 2 c / length.
    lean = 2.0 * clearance / guide
    assert drop_mm(width_mm=width, clearance_mm=clearance, guide_length_mm=guide) == pytest.approx(
        width * lean
    )


def test_defaults_hold_the_drop_under_a_millimetre_at_every_usual_size():
    for width in (30.0, 40.0, 60.0, 85.0, 120.0):
        assert laid(Pastry(circle(width), 0.4 * width)).drop_mm < 1.0


@pytest.mark.parametrize("joint", ["peg", "bolt"])
@pytest.mark.parametrize("height", [12.0, 21.0, 40.0])
@pytest.mark.parametrize("band", [0.02, 0.1, 0.5])
def test_stamp_and_vanes_stay_guided_from_heavy_press_to_eject(joint, height, band):
    layout = laid(Pastry(circle(60.0), height), joint=joint, height_band=band)
    straight_bore = layout.sleeve_height_mm - layout.lead_in_height_mm
    light, nominal, heavy = layout.pressed_heights_mm
    assert light < nominal == height < heavy
    assert heavy + layout.guide_length_mm < straight_bore
    # At the eject the vanes are lowered by the stroke, and are still in the bore.
    left = layout.vane_top_mm - layout.stroke_mm
    assert left == pytest.approx(layout.guide_length_mm - layout.mould.past_rim_mm)
    assert layout.disc_low_mm - layout.stroke_mm == pytest.approx(layout.sleeve_height_mm)


@pytest.mark.parametrize("band", [0.02, 0.1, 0.5])
def test_rings_stand_apart_between_vanes_and_disc(band):
    layout = laid(height_band=band)
    light, nominal, heavy = layout.ring_heights_mm
    groove = layout.groove_mm
    assert light - nominal == pytest.approx(nominal - heavy) == pytest.approx(band * 21.0)
    assert nominal == layout.sleeve_height_mm
    assert nominal - heavy > 2.1 * groove
    assert heavy - 1.05 * groove > layout.back_mm
    assert light + 1.05 * groove < layout.disc_low_mm - layout.gusset_mm


def test_pocket_leaves_the_skin_over_the_deepest_engraving():
    layout = laid(Pastry(circle(60.0), 21.0, depth_above_mm=3.0))
    ceiling = layout.back_mm - layout.joint.depth_mm
    assert ceiling - (21.0 + 3.0) == pytest.approx(layout.mould.skin_mm)


def test_peg_is_a_cone_of_its_taper_and_its_ceiling_no_wider_than_the_bridge():
    peg = laid(peg_diameter_mm=16.0).joint
    assert peg.tip_radius_mm == pytest.approx(8.0 - 7.0 * tan(4.0 * pi / 180.0))
    assert peg.roof_radius_mm == pytest.approx(2.5)
    assert laid(peg_diameter_mm=6.0, bridge_mm=10.0).joint.roof_radius_mm < 3.0


def test_peg_follows_the_width_where_it_is_left_out():
    assert laid(Pastry(circle(40.0), 18.0)).joint.diameter_mm == pytest.approx(12.0)
    assert laid(Pastry(square(85.0), 28.0)).joint.diameter_mm == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("thread", "head", "head_height", "flats", "corners", "nut"),
    [  # as printed in two tables of the standards' values that agree
        pytest.param("M5", 8.72, 5.0, 8.0, 8.79, 4.7, id="ISO 4762 and ISO 4032, M5"),
        pytest.param("M6", 10.22, 6.0, 10.0, 11.05, 5.2, id="ISO 4762 and ISO 4032, M6"),
    ],
)
def test_bolt_has_the_sizes_of_the_standards(thread, head, head_height, flats, corners, nut):
    size = SCREWS[thread]
    assert (size.head_mm, size.head_height_mm) == (head, head_height)
    assert (size.flats_mm, size.corners_mm, size.nut_height_mm) == (flats, corners, nut)


@pytest.mark.parametrize("thread", ["M5", "M6"])
def test_bolt_ends_past_its_nut_and_short_of_the_ceiling(thread):
    layout = laid(Pastry(circle(85.0), 28.0), joint="bolt", bolt=thread)
    screw = layout.joint
    assert 4.0 + screw.size.nut_height_mm < screw.end_mm < screw.depth_mm
    room = layout.disc_high_mm - layout.back_mm
    head = screw.length_mm(room) - screw.end_mm + screw.size.head_height_mm
    assert head <= room


def test_no_bolt_is_short_enough_for_a_low_plunger():
    screw = laid(joint="bolt").joint
    with pytest.raises(SpecError, match=r"20 mm.*take joint = peg"):
        screw.length_mm(10.0)


@pytest.mark.parametrize(
    ("pastry", "values", "says"),
    [
        (
            PIECE,
            {"peg_diameter_mm": 55.0},
            r"mould\.peg_diameter_mm = 55.*60 mm across; at most 49",
        ),
        (Pastry(circle(15.0), 10.0), {}, r"pastry\.width_mm = 15.*needs 20 mm across"),
        (Pastry(circle(25.0), 10.0), {"joint": "bolt"}, r"mould\.bolt = 'M5'.*joint = peg"),
        (PIECE, {"lead_in_mm": 5.0, "wall_mm": 1.0, "flange_width_mm": 4.5}, r"mould\.lead_in_mm"),
        (PIECE, {"disc_rim_mm": 1.5}, r"mould\.disc_rim_mm = 1\.5: must be at least 1\.84 mm"),
        (Pastry(circle(30.0), 4.0), {"flange_thickness_mm": 20.0}, r"mould\.flange_thickness_mm"),
        (Pastry(circle(30.0), 4.0), {"past_rim_mm": 20.0}, r"mould\.past_rim_mm = 20.*at most"),
        (PIECE, {"vane_thickness_mm": 20.0}, r"mould\.vane_thickness_mm.*height rings"),
        (PIECE, {"peg_taper_deg": 15.0, "peg_length_mm": 30.0}, r"mould\.peg_taper_deg = 15"),
    ],
)
def test_sizes_that_contradict_each_other_are_refused_by_name(pastry, values, says):
    with pytest.raises(SpecError, match=says):
        laid(pastry, **values)


def test_largest_peg_that_the_refusal_names_is_taken():
    # 60 / 2 - 0.3 - 3 of cone under the disc - 2 of shoulder, twice.
    assert laid(peg_diameter_mm=49.4, bridge_mm=10.0).stem_radius_mm == pytest.approx(26.7)


def test_thicker_stamp_lengthens_the_guide():
    thick = laid(Pastry(circle(30.0), 12.0), peg_length_mm=20.0)
    assert thick.guide_length_mm == pytest.approx(thick.stamp_thickness_mm + 3.0)
    assert replace(thick, depth_above_mm=9.0).guide_length_mm > thick.guide_length_mm
