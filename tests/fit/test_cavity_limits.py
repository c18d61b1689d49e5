"""The ends of what a cavity's shape can be asked, against closed forms."""

from math import inf, nextafter, pi, sqrt

import numpy as np
import pytest

from moulddesign.artwork.outline import polygon_outline, round_outline
from moulddesign.core import SpecError
from moulddesign.fit.cavities import SizedShape, uniform_crust_mm
from moulddesign.fit.mesh_cavities import SampledShape

CHORDS = 2e-4
"""An arc's chords lie within 0.002 mm: 2 x 0.002 / 25 mm of a round's area, rounded up."""


def box(width_mm=40.0, height_mm=20.0, **more):
    return SizedShape(outline=polygon_outline("square", width_mm, 0.0), height_mm=height_mm, **more)


@pytest.mark.parametrize("thickness_mm", [0.0, 1.0, 9.0, 9.999])
def test_a_box_less_its_crust_is_a_box(thickness_mm):
    across, high = 40.0 - 2 * thickness_mm, 20.0 - 2 * thickness_mm
    found = box().inset_volume_mm3(thickness_mm)
    assert found == pytest.approx(across**2 * high, rel=1e-9)


@pytest.mark.parametrize("thickness_mm", [10.0, 10.001, 15.0, 100.0])
def test_nothing_is_left_where_the_crusts_of_floor_and_mouth_meet(thickness_mm):
    assert box().inset_volume_mm3(thickness_mm) == 0.0


@pytest.mark.parametrize(("thickness_mm", "left"), [(9.9, 0.2**2 * 40.2), (10.0, 0.0), (20.0, 0.0)])
def test_nothing_is_left_where_the_crusts_of_the_sides_meet(thickness_mm, left):
    narrow = box(width_mm=20.0, height_mm=60.0)
    assert narrow.inset_volume_mm3(thickness_mm) == pytest.approx(left, rel=1e-9, abs=1e-9)


def test_a_sunk_relief_may_be_nearly_as_deep_as_the_cavity():
    assert box(relief_depth_mm=-19.99).relief_depth_mm == -19.99
    with pytest.raises(SpecError, match=r"relief_depth_mm = 20.0: cuts through .* 20 mm"):
        box(relief_depth_mm=-20.0)
    assert box(relief_depth_mm=20.0).relief_depth_mm == 20.0  # raised into the mould's floor


def test_a_shoulder_may_be_nearly_as_deep_as_the_cavity():
    """An arc of 45 deg from the flat down goes down by r (1 - cos 45)."""
    drop_mm = 10.0 * (1.0 - sqrt(0.5))
    low = box(height_mm=nextafter(drop_mm, inf) + 1e-9, shoulder_radius_mm=10.0)
    assert low.top_mm2 == pytest.approx((40.0 - 2 * 10.0 * sqrt(0.5)) ** 2, rel=1e-9)
    with pytest.raises(SpecError, match=r"shoulder_radius_mm = 10.0: is deeper than the cavity"):
        box(height_mm=drop_mm - 1e-9, shoulder_radius_mm=10.0)


def test_a_flat_top_may_be_nearly_a_point():
    """A side that leans by the angle of 3:4 takes 0.75 of the height off on each side."""
    lean_deg = 36.86989764584402  # atan(3 / 4)
    assert box(height_mm=26.6, draft_deg=lean_deg).top_mm2 == pytest.approx(0.1**2, rel=1e-6)
    with pytest.raises(SpecError, match=r"draft_deg = 36.8.*: leaves no flat top"):
        box(height_mm=26.7, draft_deg=lean_deg)
    with pytest.raises(SpecError, match=r"shoulder_radius_mm = 28.3: leaves no flat top"):
        box(shoulder_radius_mm=28.3)  # 28.3 / sqrt(2) is 0.01 more than half the width
    assert box(shoulder_radius_mm=28.2).top_mm2 == pytest.approx((40 - 28.2 * sqrt(2)) ** 2)


def test_width_is_the_lesser_extent_half_way_up():
    lean_deg = 36.86989764584402
    assert box(height_mm=20.0, draft_deg=lean_deg).width_mm == pytest.approx(40.0 - 15.0)


@pytest.mark.parametrize("draft_deg", [0.0, 10.0])
@pytest.mark.parametrize("thickness_mm", [0.0, 1.0, 3.0, 9.0])
def test_a_crust_under_a_shoulder_lies_inside_all_tangent_planes(draft_deg, thickness_mm):
    """What is deeper than t is what lies deeper than t under each plane that touches the body."""
    mouth, height, radius = 30.0, 25.0, 8.0
    shape = SizedShape(
        outline=round_outline(2 * mouth), height_mm=height,
        draft_deg=draft_deg, shoulder_radius_mm=radius,
    )  # fmt: skip
    lean = np.radians(draft_deg)
    z = np.linspace(thickness_mm, height - thickness_mm, 2001)
    side = mouth - z * np.tan(lean) - thickness_mm / np.cos(lean)
    # The arc's centre: a radius below the top, and in from where the arc ends at 45 deg.
    middle = height - radius
    axis = mouth - (middle + radius * sqrt(0.5)) * np.tan(lean) - radius * sqrt(0.5)
    angles = np.linspace(0.0, pi / 4, 401)[1:, None]
    planes = (radius - thickness_mm - (z - middle) * np.cos(angles)) / np.sin(angles)
    across = np.minimum(side, axis + planes.min(axis=0)).clip(min=0.0)
    expected = np.trapezoid(pi * across**2, z)
    # The planes are 0.11 deg apart: they leave r (1 - cos 0.06 deg) of the arc, 4e-6 mm.
    assert shape.inset_volume_mm3(thickness_mm) == pytest.approx(expected, rel=2 * CHORDS)


SLAB = SampledShape(
    volume_mm3=1000.0,
    width_mm=100.0,
    height_mm=10.0,
    distances_mm=np.linspace(0.0, 5.0, 10_001)[1:],
)
"""Between two planes 10 mm apart all distances up to 5 mm are alike."""


@pytest.mark.parametrize(
    ("thickness_mm", "left"), [(0.0, 1000.0), (1.25, 750.0), (2.5, 500.0), (5.0, 0.0)]
)
def test_a_slab_loses_volume_in_proportion_to_its_crust(thickness_mm, left):
    assert SLAB.inset_volume_mm3(thickness_mm) == pytest.approx(left, abs=1e-9)


@pytest.mark.parametrize(
    ("filled_mm3", "thickness_mm"), [(999.0, 0.005), (500.0, 2.5), (1.0, 4.995), (0.0, 5.0)]
)
def test_the_crust_of_a_slab_is_what_its_filling_leaves(filled_mm3, thickness_mm):
    assert uniform_crust_mm(SLAB, filled_mm3) == pytest.approx(thickness_mm, abs=1e-5)


def test_a_filling_that_takes_all_of_the_room_leaves_no_crust():
    assert uniform_crust_mm(SLAB, 1000.0) is None
    assert uniform_crust_mm(box(), box().inset_volume_mm3(0.0) * 1.001) is None
