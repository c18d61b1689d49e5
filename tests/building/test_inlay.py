"""Coloured dough in the engraving: what it weighs, and what is left of the crust."""

from math import pi, radians, tan

import pytest

from moulddesign.building import inlays, shaped
from moulddesign.core import SpecError
from moulddesign.design import Design

DISC = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
    '<circle cx="50" cy="50" r="50"/></svg>'
)


@pytest.fixture
def disc(tmp_path):
    path = tmp_path / "disc.svg"
    path.write_text(DISC)
    return str(path)


def of_layers(*layers, **relief):
    return Design.of({"relief": {"depth_mm": 2.0, "draft_deg": 20.0, "layers": layers} | relief})


def test_an_inlay_is_the_cone_frustum_of_its_engraving(disc):
    made = shaped(of_layers({"pattern": disc, "size_mm": 20.0, "colour": "red"}))
    (inlay,) = inlays(made.pastry, made.portion)
    foot = 10.0
    top = foot - 2.0 * tan(radians(20.0))
    volume_ml = pi * 2.0 * (foot**2 + foot * top + top**2) / 3.0 / 1000.0
    # The circle is a polygon that leaves the arc by some micrometres: less than 0.1 % of its area.
    assert inlay.mass_g == pytest.approx(1.29 * volume_ml, rel=2e-3)
    assert inlay.crust_g == pytest.approx(made.portion.split.crust_g - inlay.mass_g)
    assert f"{inlay.mass_g:.2f} g of red dough" in str(inlay.said)


def test_each_colour_is_weighed_by_itself_and_plain_layers_not_at_all(disc):
    layers = [
        {"pattern": disc, "size_mm": 8.0, "colour": colour, "x_mm": x_mm, "y_mm": y_mm}
        for colour, x_mm, y_mm in [("red", -9.0, 0.0), ("red", 9.0, 0.0), ("green", 0.0, 9.0)]
    ]
    made = shaped(of_layers(*layers, {"pattern": disc, "size_mm": 8.0, "y_mm": -9.0}))
    red, green = inlays(made.pastry, made.portion)
    assert (red.colour, green.colour) == ("red", "green")
    assert red.mass_g == pytest.approx(2.0 * green.mass_g, rel=1e-6)
    assert red.crust_g == green.crust_g


def test_without_colours_there_is_no_inlay(disc):
    made = shaped(of_layers({"pattern": disc, "size_mm": 20.0}))
    assert inlays(made.pastry, made.portion) == ()


def test_a_sunk_layer_takes_no_coloured_dough(disc):
    with pytest.raises(SpecError, match=r"relief.layers.colour = 'red': must be left out where"):
        shaped(of_layers({"pattern": disc, "size_mm": 20.0, "colour": "red"}, sense="sunk"))
