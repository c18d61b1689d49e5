from math import radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mould.standin import Pastry
from shapely import MultiPoint

from moulddesign.artwork.outline import outline_of_points
from moulddesign.artwork.outline import round_outline as circle
from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould.plans import plate_ends_mm
from moulddesign.mould.press_joint import slide_joint
from moulddesign.mould.press_layout import drop_mm, press_layout

PIECE = Pastry(circle(60.0), 21.0)


def laid(pastry=PIECE, *, low_mm=0.0, **values):
    design = Design().with_values({k if "." in k else f"mould.{k}": v for k, v in values.items()})
    return press_layout(design.mould, design.printer, pastry, low_mm=low_mm)


@given(width=st.floats(20, 200), clearance=st.floats(0.05, 2), guide=st.floats(5, 300))
def test_drop_is_the_lean_of_a_rod_in_a_gap(width, clearance, guide):
    # A rod leans until its ends touch opposite walls: tan(lean) = 2 c / length.
    lean = 2.0 * clearance / guide
    assert drop_mm(width_mm=width, clearance_mm=clearance, guide_length_mm=guide) == pytest.approx(
        width * lean
    )


WIDTHS = (25.0, 30.0, 40.0, 60.0, 85.0, 120.0)


@pytest.mark.parametrize("error_mm", [None, 0.0, 0.1, 0.2])
def test_defaults_hold_the_drop_under_a_millimetre_at_every_usual_size(error_mm):
    for width in WIDTHS:
        layout = laid(Pastry(circle(width), 0.4 * width), **{"printer.print_error_mm": error_mm})
        assert layout.drop_mm < 1.0


@pytest.mark.parametrize(("error_mm", "gap_mm"), [(None, 0.6), (0.0, 0.2), (0.1, 0.4)])
def test_gaps_leave_a_tenth_where_both_parts_are_too_large(error_mm, gap_mm):
    # The error and 0.05 mm, on both sides, and 0.1 mm of air.
    layout = laid(**{"printer.print_error_mm": error_mm})
    assert layout.clearance_mm == pytest.approx(gap_mm)
    assert layout.joint.gap_mm == pytest.approx(gap_mm)


def test_a_plate_ends_at_its_faces_on_a_round_outline_and_in_its_middle_on_a_waist():
    # Pythagoras, in circles of 20 mm: around the origin, and two that are 15 mm off it.
    discs = MultiPoint([(0.0, -15.0), (0.0, 15.0)]).buffer(20.0, quad_segs=64)
    waist = outline_of_points("drawn", np.array(discs.exterior.coords)[:-1])
    for outline, far_mm, side_mm in (
        (circle(40.0), 20.0, sqrt(20.0**2 - 2.0**2)),
        (waist, sqrt(20.0**2 - 13.0**2), sqrt(20.0**2 - 15.0**2)),
    ):
        for end in plate_ends_mm(outline, 0.0, 2.0):
            # A circle's chords lie less than 0.01 mm inside it.
            assert (end.far_mm, end.side_mm) == pytest.approx((far_mm, side_mm), abs=0.01)


def test_a_measured_printer_makes_a_shorter_sleeve():
    assert laid(**{"printer.print_error_mm": 0.1}).sleeve_height_mm < laid().sleeve_height_mm - 15


@pytest.mark.parametrize("height", [12.0, 21.0, 40.0])
def test_stamp_and_vanes_stay_guided_from_heavy_press_to_eject(height):
    layout = laid(Pastry(circle(60.0), height))
    straight_bore = layout.sleeve_height_mm - layout.lead_in_height_mm
    assert layout.vane_top_mm + 0.1 * height <= straight_bore + 1e-9
    # At the eject the vanes are lowered by the stroke less the lip, and are still in the bore.
    low = layout.stroke_mm - 1.6
    assert low - height == pytest.approx(1.6, abs=0.2)
    assert layout.vane_top_mm - low > layout.guide_length_mm - 2.0


@pytest.mark.parametrize("low_mm", [-0.3, 0.0, 0.07, 0.5, 1.9])
@pytest.mark.parametrize("layer_mm", [0.1, 0.16, 0.2, 0.3])
def test_stop_is_whole_layers_and_never_too_high(low_mm, layer_mm):
    layout = laid(low_mm=low_mm, **{"printer.layer_height_mm": layer_mm})
    layers = layout.stop_height_mm / layer_mm
    assert layers == pytest.approx(round(layers))
    lower = layout.height_mm - layout.stopped_height_mm
    assert low_mm - 1e-6 < lower < low_mm + layer_mm + 1e-6


def test_heights_are_whole_layers():
    layout = laid(Pastry(circle(60.0), 21.37))
    for length in (
        layout.sleeve_height_mm,
        layout.stamp_thickness_mm,
        layout.disc_low_mm - layout.back_mm,
    ):
        assert length / 0.2 == pytest.approx(round(length / 0.2))


def test_slot_leaves_the_skin_over_the_deepest_engraving():
    layout = laid(Pastry(circle(60.0), 21.0, depth_above_mm=3.0))
    ceiling = layout.back_mm - layout.joint.depth_mm
    assert 0.0 <= ceiling - (21.0 + 3.0) - layout.mould.skin_mm < 0.2


def test_slot_opens_above_the_land_where_there_is_no_relief():
    layout = laid(Pastry(circle(60.0), 21.0, depth_above_mm=0.0))
    assert layout.back_mm - layout.joint.depth_mm >= layout.land_top_mm + 0.2 - 1e-9


@pytest.mark.parametrize("radius_mm", [8.0, 9.0, 10.5, 12.0, 25.0])
@pytest.mark.parametrize("gap_mm", [0.2, 0.4, 0.6])
def test_joint_fits_its_stamp_and_holds_by_its_lugs(radius_mm, gap_mm):
    joint = slide_joint(radius_mm, gap_mm)
    assert joint.closed_end_mm + 2.0 <= radius_mm + 1e-9
    assert joint.stem_radius_mm <= radius_mm - 1.5
    # Half of what the gap leaves of a lug holds still where both parts are too small by it.
    assert joint.lug_mm - joint.gap_mm >= 1.0
    # The lift is what the flanks leave: they stand a gap apart along the slide, and the foot's
    # lower end stays clear of the roof.
    assert joint.depth_mm - joint.foot_depth_mm > joint.gap_mm * sin(radians(45.0))
    assert joint.ledge_mm - joint.lip_mm > 1.0


def test_a_stamp_too_narrow_for_the_smallest_joint_is_refused():
    with pytest.raises(SpecError, match=r"pastry\.width_mm.*no room for the joint.* 13\.8 mm"):
        slide_joint(6.8, 0.6)
    assert slide_joint(6.91, 0.6).half_length_mm == pytest.approx(4.0, abs=0.02)


@pytest.mark.parametrize(
    ("pastry", "values", "says"),
    [
        (Pastry(circle(14.0), 10.0), {}, r"pastry\.width_mm = 11\.8: leaves a stamp of this width"),
        (Pastry(circle(30.0), 4.0), {"flange_thickness_mm": 20.0, "guide_to_width": 0.2},
         r"mould\.flange_thickness_mm"),
        (Pastry(circle(30.0), 4.0), {"past_rim_mm": 20.0}, r"mould\.past_rim_mm = 20.*at most"),
        (PIECE, {"vane_thickness_mm": 11.0}, r"mould\.vane_thickness_mm.*stem's radius of 10"),
    ],
)  # fmt: skip
def test_sizes_that_contradict_each_other_are_refused_by_name(pastry, values, says):
    with pytest.raises(SpecError, match=says):
        laid(pastry, **values)


def test_a_thick_stamp_lengthens_the_guide():
    thick = laid(Pastry(circle(30.0), 12.0, depth_above_mm=9.0), guide_to_width=0.2)
    assert thick.guide_length_mm == pytest.approx(thick.stamp_thickness_mm + 6.0)
