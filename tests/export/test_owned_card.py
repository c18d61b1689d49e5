"""The bench card of a mould that exists, held against weights worked out by hand."""

import io
import re

import pytest
from pypdf import PdfReader

from moulddesign.core import BENCH_CAUTIONS
from moulddesign.design import Design, OwnedMould, Paper
from moulddesign.export.owned_card import owned_card
from moulddesign.fit import fit, fitted_design
from moulddesign.kitchen import Recipe

# Crust and paste of 1.25 g/mL, and a loss of a tenth: 64 mL weigh 80 g raw and 72 g finished.
EVEN = Design.of(
    {
        "portion": {
            "ratio": "3:7",
            "crust_density_g_per_ml": 1.25,
            "filling_density_g_per_ml": 1.25,
            "loss": 0.1,
        }
    }
)
RECIPE = Recipe.of(
    {
        "crust": {"ingredients": [{"food": "wheat flour", "mass_g": 100}]},
        "filling": {"ingredients": [{"food": "sesame paste", "mass_g": 100}]},
    }
)


def text_of(design, mould, finished_g=None, recipe=None):
    """Text of each page, in one line, without the marks at which long words may break."""
    made = fit(design, OwnedMould.of(mould))
    card = owned_card(fitted_design(design, made, finished_g), made, recipe, Paper.A4)
    pages = PdfReader(io.BytesIO(card.pdf())).pages
    return [re.sub(r"\s+", " ", p.extract_text().replace("\u200b", "")) for p in pages]


def test_the_card_of_a_block_has_split_and_crust_and_nothing_to_print():
    cube = {"name": "cube", "outline": "square", "width_mm": 40, "height_mm": 40}
    bench, last = text_of(EVEN, cube, recipe=RECIPE)
    assert "one piece of 72 g finished, crust to filling 3:7 by mass" in bench
    assert re.search(r"Crust dough 24\.00 g 24 g Filling paste 56\.00 g 56 g Raw piece 80 g", bench)
    # A cube of 40 mm whose inside is 0.7 of it: crust (40 - 40 0.7^(1/3)) / 2 = 2.24 mm.
    assert "Crust all round 2.2 mm" in bench
    # Readings to 0.5 mm either way: 2 sd are 2 x 64 mL x hypot(2 x 0.289 / 40, 0.289 / 40).
    assert "The mould holds 64.0 +- 2.1 mL" in bench
    for caution in BENCH_CAUTIONS:
        assert str(caution) in last
    assert "wheat or another cereal with gluten, sesame" in last
    assert "filament" not in bench + last


def test_a_press_mould_is_pressed_to_the_height_of_the_weight():
    press = {"outline": "square", "width_mm": 40, "most_height_mm": 50}
    bench, _ = text_of(EVEN, press, finished_g=72.0)
    assert "Pressed height, to the flat top 40.0 mm" in bench
    assert "Heights that the press takes 4.0 to 50.0 mm" in bench


def test_a_mould_known_by_water_alone_says_that_its_crust_is_not_known():
    bench, last = text_of(EVEN, {"water_g": [63.8, 64.0]})
    assert "Crust all round shape not known" in bench
    assert "The crust's thickness needs the shape" in last


@pytest.mark.parametrize("scale_g", [1.0, 0.1])
def test_what_rounding_adds_stands_over_the_rim(scale_g):
    design = EVEN.with_values({"scale.resolution_g": scale_g, "portion.ratio": "1:2"})
    bench, _ = text_of(design, {"outline": "square", "width_mm": 40, "height_mm": 40.2})
    # 64.32 mL are 80.4 g: a scale of whole grams shows 80 g, 0.32 mL or 0.2 mm less.
    assert ("0.20 mm" in bench) == (scale_g == 1.0)


def test_a_solid_piece_has_a_dough_and_no_crust():
    solid = EVEN.with_values({"portion.composition": "solid", "portion.ratio": "1:0"})
    bench, last = text_of(solid, {"water_g": [64.0]})
    assert re.search(r"Dough [\d.]+ g [\d.]+ g Raw piece", bench)
    assert "density of the dough" in last
    for word in ("crust", "paste", "1:0"):
        assert word not in bench + last
