"""Pieces without a filling: one dough, or a mass that is poured."""

from math import hypot, pi, sqrt

import pytest

from moulddesign.building import build
from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import OnHand, batch
from moulddesign.portion import cautions_of, figures, finished_filling_g

SOLID = Design.of(
    {
        "portion": {
            "composition": "solid", "finished_weight_g": 90.0, "loss": 0.1,
            "crust_density_g_per_ml": 1.25,
        }
    }
)  # fmt: skip


def test_all_of_it_is_dough():
    made = figures(SOLID)
    piece = made.piece
    assert (piece.raw_g, piece.crust_g, piece.paste_g) == pytest.approx((100.0, 100.0, 0.0))
    assert piece.volume_ml == pytest.approx(80.0)  # 100 g at 1.25 g/mL
    assert (made.split.crust_g, made.split.paste_g) == (100.0, 0.0)
    assert made.balls.wrapped_mm == pytest.approx((6.0 * 80_000.0 / pi) ** (1 / 3))
    assert (made.balls.filling_mm, made.balls.disc_mm) == (None, None)


def test_one_part_is_weighed_once():
    # A step of 1 g and a hand of 0.5 g; the step is spread evenly
    assert figures(SOLID).spread.raw_g == pytest.approx(hypot(1.0 / sqrt(12.0), 0.5))


def test_it_fills_a_volume_by_its_density_alone():
    assert finished_filling_g(SOLID.portion, 80.0) == pytest.approx(90.0)


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ({"ratio": "1:0"}, r'portion.ratio = .* must have a filling; .* composition = "solid"'),
        ({"ratio": "4:6", "composition": "solid"}, "solid pieces have no filling"),
        ({"filling_paste": "nut", "composition": "poured"}, "poured pieces have no filling"),
        ({"centres": [{"name": "date"}], "composition": "solid"}, "portion.centres = 'date'"),
        ({"composition": "rolled"}, "must be one of wrapped, solid, poured"),
    ],
)
def test_what_only_a_filling_has_is_refused_without_one(table, sentence):
    with pytest.raises(SpecError, match=sentence):
        Design.of({"portion": table})


@pytest.mark.parametrize("ratio", ["1:0", "3:7"])
def test_a_file_may_hold_the_ratio_that_says_nothing(ratio):
    table = {"composition": "solid", "ratio": ratio}
    assert Design.of({"portion": table}).portion.crust_share == 1.0


def test_another_composition_takes_the_filling_along():
    filled = Design.of({"portion": {"ratio": "4:6", "centres": [{"name": "date"}]}})
    solid = filled.with_values({"portion.composition": "solid"})
    assert (solid.portion.ratio, solid.portion.centres) == ("1:0", ())
    assert solid.with_values({"portion.composition": "wrapped"}).portion.ratio == "3:7"


@pytest.mark.parametrize(
    "table", [{"composition": "poured"}, {"purpose": "not-food"}], ids=["poured", "not food"]
)
def test_what_is_poured_or_no_food_goes_through_silicone_only(table):
    with pytest.raises(SpecError, match=r"mould.kind = 'press': must be cast"):
        build(Design.of({"portion": table}))


def test_what_is_no_food_says_so_and_not_how_to_keep_it():
    (caution,) = cautions_of(Design.of({"portion": {"purpose": "not-food"}}).portion)
    assert "no food" in str(caution)


DOUGH = Recipe.of({"crust": {"ingredients": [{"food": "wheat flour", "mass_g": 100.0}]}})


def test_a_batch_mixes_the_dough_alone():
    made = batch(SOLID.with_values({"batch.pieces": 10}), DOUGH)
    assert made.crust.pieces_g == pytest.approx(1000.0)
    assert (made.filling.pieces_g, made.filling.lines) == (0.0, ())


def test_a_filled_piece_wants_a_recipe_of_its_filling():
    with pytest.raises(SpecError, match="filling = 'not given': must be a part of the recipe"):
        batch(Design().with_values({"batch.pieces": 10}), DOUGH)


def test_a_filling_on_hand_is_refused_where_none_is_needed():
    with pytest.raises(SpecError, match="solid pieces have no filling"):
        batch(SOLID, None, OnHand(filling_g=500.0))
