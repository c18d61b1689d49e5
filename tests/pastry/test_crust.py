"""Crust thickness against closed forms of a cylinder and a square block."""

from math import pi, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.artwork.outline import outline_of_width, round_outline
from moulddesign.core import SpecError
from moulddesign.design import PastryTable
from moulddesign.pastry.interior import crust_thickness_mm


@given(
    width=st.floats(20.0, 120.0),
    height_share=st.floats(0.2, 1.5),
    crust_share=st.floats(0.02, 0.95),
)
@settings(max_examples=60)
def test_a_round_crust_solves_the_cylinders_equation(width, height_share, crust_share):
    outline, height = round_outline(width), width * height_share
    thickness = crust_share * min(width, height) / 2.0
    # An n-gon with apothem a has the area n tan(pi / n) a^2, and so has its inset with a - t.
    sides = len(outline.points)
    apothem = width / 2.0 * np.cos(pi / sides)
    filled = sides * tan(pi / sides) * (apothem - thickness) ** 2 * (height - 2.0 * thickness)
    # brentq's own 1e-9 mm, and shapely's offset within a few float steps of 1e-14 mm.
    assert crust_thickness_mm(outline, height, filled) == pytest.approx(thickness, abs=2e-9)


@given(width=st.floats(20.0, 120.0), height=st.floats(8.0, 200.0), share=st.floats(0.02, 0.98))
@settings(max_examples=60)
def test_a_sharp_square_crust_solves_the_blocks_equation(width, height, share):
    table = PastryTable(outline="square", corner_radius_mm=0.0)
    thickness = share * min(width, height) / 2.0
    filled = (width - 2.0 * thickness) ** 2 * (height - 2.0 * thickness)
    found = crust_thickness_mm(outline_of_width(table, width), height, filled)
    assert found == pytest.approx(thickness, abs=2e-9)


@pytest.mark.parametrize("outline", ["round", "square", "hexagon", "octagon", "scalloped"])
@pytest.mark.parametrize("height_mm", [10.0, 30.0, 90.0])
@pytest.mark.parametrize("share", [0.001, 0.3, 0.7, 0.97, 0.9999])
def test_every_outline_takes_every_share(outline, height_mm, share):
    made = outline_of_width(PastryTable(outline=outline), 50.0)
    room = made.area_mm2 * height_mm
    found = crust_thickness_mm(made, height_mm, share * room)
    assert 0.0 < found < min(25.0, height_mm / 2.0)
    # More filling, thinner crust.
    assert crust_thickness_mm(made, height_mm, 0.99 * share * room) > found


def test_a_filling_larger_than_the_piece_is_refused():
    outline = round_outline(50.0)
    with pytest.raises(SpecError, match=r"leaves no crust in a pastry of .* mL"):
        crust_thickness_mm(outline, 20.0, outline.area_mm2 * 20.0)
