import tomllib
from datetime import date

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen import OnHand, Recipe, batch

RECIPE = Recipe.of(
    {
        "crust": {
            "ingredients": [
                {"food": "wheat flour", "mass_g": 60.0, "price_per_kg": 1.0},
                {"food": "honey", "mass_g": 40.0, "price_per_kg": 10.0},
            ]
        },
        "filling": {
            "cooking_loss": 0.2,
            "ingredients": [
                {"food": "cooked chestnut", "mass_g": 80.0, "price_per_kg": 5.0},
                {"food": "white sugar", "mass_g": 20.0},
            ],
        },
        "rests": [{"what": "soften", "days": 2.0}],
    }
)
DESIGN = Design.of(
    {
        "portion": {"finished_weight_g": 98.0, "loss": 0.02, "centres": [{"mass_g": 10.0}]},
        "batch": {
            "pieces": 100,
            "mixing_loss": 0.0,
            "hand_loss": 0.0,
            "pieces_per_tray": 15,
            "pieces_per_box": 6,
            "centre_price": 0.5,
            "box_price": 1.0,
            "serving_date": "2026-11-30",
        },
    }
)


def test_totals_by_hand():
    # raw 100: crust 30, filling 70 with a centre of 10, paste 60; a fifth of the paste cooks off
    made = batch(DESIGN, RECIPE)
    assert (made.crust.pieces_g, made.crust.mixed_g) == (3000.0, 3000.0)
    assert (made.filling.pieces_g, made.filling.ready_g) == (6000.0, 6000.0)
    assert made.filling.mixed_g == pytest.approx(7500.0, rel=1e-12)
    assert [line.scaled_g for line in made.filling.lines] == [6000.0, 1500.0]
    assert made.centres == (("centre", 100),)
    assert (made.trays.count, made.trays.last, made.trays.mass_g) == (7, 10, 1500.0)
    assert (made.boxes.count, made.boxes.last) == (17, 4)
    assert made.boxes.mass_g == pytest.approx(6 * 98.0, rel=1e-12)
    assert made.days == ((date(2026, 11, 28), "soften"),)


def test_cost_by_hand():
    # 1.8 kg x 1 + 1.2 kg x 10 + 6 kg x 5 + 100 centres x 0.5 + 17 boxes
    cost = batch(DESIGN, RECIPE).cost
    assert cost.total == pytest.approx(1.8 + 12.0 + 30.0 + 50.0 + 17.0, rel=1e-12)
    assert cost.each == pytest.approx(cost.total / 100, rel=1e-12)
    assert cost.unpriced == ("white sugar",)


def test_no_price_no_cost():
    bare = DESIGN.with_values({"batch.centre_price": None, "batch.box_price": None})
    assert batch(bare).cost is None


def test_losses_on_the_way_are_mixed_in():
    lossy = DESIGN.with_values(
        {"batch.mixing_loss": 0.1, "batch.hand_loss": 0.2, "batch.trimming_loss": 0.5}
    )
    made = batch(lossy)
    assert made.crust.ready_g == pytest.approx(3000.0 / 0.8 / 0.5, rel=1e-12)
    assert made.crust.mixed_g == pytest.approx(3000.0 / 0.8 / 0.5 / 0.9, rel=1e-12)
    assert made.filling.mixed_g == pytest.approx(6000.0 / 0.8 / 0.9, rel=1e-12)


def test_without_a_recipe_the_table_says_what_cooks_off():
    made = batch(DESIGN.with_values({"batch.cooking_loss": 0.25}))
    assert made.filling.mixed_g == pytest.approx(8000.0, rel=1e-12)
    assert made.filling.lines == made.days == ()


def test_what_is_on_hand_decides():
    made = batch(DESIGN, RECIPE, OnHand(crust_g=301.0, centres=40))
    assert (made.pieces, made.runs_short) == (10, "crust")
    assert made.left_over == {"crust": 1.0, "centres": 30}


def test_neither_pieces_nor_anything_on_hand_is_refused():
    with pytest.raises(SpecError, match=r"batch.pieces = .*try --pieces 24"):
        batch(Design())


@pytest.mark.parametrize("day", ["30.11.2026", "2026-02-30", "soon"])
def test_a_serving_date_that_is_none_is_refused(day):
    with pytest.raises(SpecError, match="must be a day written as year-month-day"):
        Design.of({"batch": {"serving_date": day}})


def test_the_design_with_a_date_is_read_back():
    assert Design.of(tomllib.loads(DESIGN.toml())) == DESIGN
