from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.portion import (
    ball_diameter_mm,
    balls,
    block_for_bore,
    cylinder_for_bore,
    disc_diameter_mm,
    portion,
    roll_for,
    shell_thickness_mm,
)

VOLUMES = st.floats(1.0, 500.0)


@given(volume_ml=VOLUMES)
def test_ball_holds_its_volume(volume_ml):
    radius_mm = ball_diameter_mm(volume_ml) / 2
    # Ellipsoid 4/3 pi a b c with three equal axes
    assert 4 / 3 * pi * radius_mm**3 / 1000 == pytest.approx(volume_ml, rel=1e-12)


@given(volume_ml=VOLUMES, thickness_mm=st.floats(0.5, 10.0))
def test_disc_holds_the_crust(volume_ml, thickness_mm):
    diameter_mm = disc_diameter_mm(volume_ml, thickness_mm)
    volume = pi / 4 * diameter_mm**2 * thickness_mm / 1000
    assert volume == pytest.approx(volume_ml, rel=1e-12)


@given(volume_ml=VOLUMES, bore_mm=st.floats(20.0, 150.0), room_mm=st.floats(0.0, 9.0))
def test_rolls_enter_the_bore_and_hold_the_piece(volume_ml, bore_mm, room_mm):
    cylinder = cylinder_for_bore(volume_ml, bore_mm, room_mm)
    block = block_for_bore(volume_ml, bore_mm, room_mm)
    assert cylinder.across_mm == block.across_mm == bore_mm - 2 * room_mm
    held = pi / 4 * cylinder.across_mm**2 * cylinder.length_mm / 1000
    assert held == pytest.approx(volume_ml, rel=1e-12)
    assert block.across_mm**2 * block.length_mm / 1000 == pytest.approx(volume_ml, rel=1e-12)


def test_balls_of_a_piece():
    piece = portion(Design.of({"portion": {"centres": [{"mass_g": 8.0}]}}).portion)
    made = balls(piece)
    assert made.wrapped_mm == pytest.approx(made.filling_mm + 2 * made.shell_mm, rel=1e-12)
    assert made.disc_mm > made.filling_mm
    assert ball_diameter_mm(piece.crust_ml) == made.crust_mm


def test_trapped_air_swells_the_wrapped_ball_alone():
    solid = balls(portion(Design().portion))
    airy = balls(portion(Design.of({"portion": {"trapped_air": 0.1}}).portion))
    assert airy.shell_mm == solid.shell_mm
    assert airy.wrapped_mm == pytest.approx(solid.wrapped_mm / 0.9 ** (1 / 3), rel=1e-12)


@pytest.mark.parametrize("outline", ["round", "square"])
def test_what_is_rolled_for_a_bore(outline):
    design = Design.of({"pastry": {"outline": outline}, "portion": {"bore_room_mm": 2.0}})
    piece = portion(design.portion)
    ball_mm = ball_diameter_mm(piece.volume_ml)
    assert roll_for(design, piece, ball_mm + 4.0001) is None
    roll = roll_for(design, piece, ball_mm + 3.0)
    area_mm2 = roll.across_mm**2 * (1.0 if outline == "square" else pi / 4)
    assert roll.across_mm == pytest.approx(ball_mm - 1.0, rel=1e-12)
    assert area_mm2 * roll.length_mm / 1000 == pytest.approx(piece.volume_ml, rel=1e-12)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: ball_diameter_mm(0.0), "volume_ml = 0.0"),
        (lambda: disc_diameter_mm(10.0, 0.0), "crust_thickness_mm = 0.0"),
        (lambda: disc_diameter_mm(float("nan"), 2.0), "crust_ml = nan"),
        (lambda: shell_thickness_mm(3.0, 2.0), "inside_ml = 3.0: must be at most the whole 2 mL"),
        (lambda: cylinder_for_bore(10.0, 3.0, 1.5), "bore_room_mm = 1.5: must be below half"),
        (lambda: block_for_bore(10.0, -3.0, 1.5), "bore_mm = -3.0"),
        (lambda: block_for_bore(10.0, 30.0, -1.0), "bore_room_mm = -1.0"),
    ],
)
def test_what_cannot_be_is_refused(make, sentence):
    with pytest.raises(SpecError, match=sentence):
        make()
