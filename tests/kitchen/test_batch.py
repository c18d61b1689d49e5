import tomllib
from datetime import date

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import OnHand, batch

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
    assert [(day.date, day.step) for day in made.days] == [
        (date(2026, 11, 28), "rest"), (date(2026, 11, 30), "serve"),
    ]  # fmt: skip
    assert made.days[0].what == "soften"


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
    assert made.filling.lines == ()
    # no recipe says how long things rest: paste a day, pieces two; common practice, no source
    assert [(day.date.day, day.step) for day in made.days] == [
        (27, "paste"), (28, "dough"), (28, "bake"), (28, "rest"), (30, "serve"),
    ]  # fmt: skip


def test_what_is_on_hand_decides():
    made = batch(DESIGN, RECIPE, OnHand(crust_g=301.0, centres=40))
    assert (made.pieces, made.runs_short) == (10, "crust")
    assert made.left_over == {"crust": 1.0, "centres": 30}


def test_what_is_ready_is_neither_mixed_nor_paid_again():
    # by hand: 3000 g of crust are needed and 1000 g there, so two thirds are mixed: 1.2 kg x 1 +
    # 0.8 kg x 10; the paste is all there; 100 centres are needed and 30 there
    have = OnHand(crust_g=1000.0, filling_g=6500.0, centres=30)
    made = batch(DESIGN, RECIPE, have, 100)
    assert (made.pieces, made.runs_short) == (100, None)
    assert made.crust.mixed_g == pytest.approx(2000.0, rel=1e-12)
    assert (made.filling.mixed_g, made.filling.lines) == (0.0, ())
    assert made.left_over == {"crust": 0.0, "filling": pytest.approx(500.0), "centres": 0.0}
    assert made.cost.total == pytest.approx(1.2 + 8.0 + 70 * 0.5 + 17.0, rel=1e-12)


def test_a_dough_that_is_ready_costs_nothing_where_it_decides_the_number():
    made = batch(DESIGN, RECIPE, OnHand(crust_g=301.0))
    assert (made.pieces, made.crust.mixed_g) == (10, 0.0)
    # 0.6 kg x 5 + 10 centres x 0.5 + 2 boxes
    assert made.cost.total == pytest.approx(3.0 + 5.0 + 2.0, rel=1e-12)
    assert "dough" not in [day.step for day in batch(DESIGN, None, OnHand(crust_g=301.0)).days]


def test_each_kind_of_centre_has_its_price():
    # 100 pieces with two dates at 0.1 and a walnut at the batch's 0.5, and 17 boxes
    centres = [
        {"name": "date", "mass_g": 4.0, "count": 2, "price": 0.1},
        {"name": "walnut", "mass_g": 3.0},
    ]
    made = batch(DESIGN.with_values({"portion.centres": centres}))
    assert made.centres == (("date", 200), ("walnut", 100))
    assert made.cost.total == pytest.approx(200 * 0.1 + 100 * 0.5 + 17.0, rel=1e-12)
    assert made.allergens.found == ("nuts",)


def test_allergens_are_listed_and_what_is_unknown_is_named():
    plain = RECIPE.plain()
    jam = {"food": "orchard jam", "mass_g": 1.0, "water": 35.0, "carbohydrate": 65.0}
    plain["filling"]["ingredients"].append(jam)
    found = batch(DESIGN, Recipe.of(plain)).allergens
    assert found.found == ("wheat or another cereal with gluten",)
    assert found.unknown == ("orchard jam", "centre")
    assert batch(DESIGN).allergens.unknown == ("crust", "filling", "centre")


def test_a_batch_knows_the_names_of_centres_that_the_portion_knows():
    named = DESIGN.with_values({"portion.centres": [{"name": "piece of date"}]})
    assert batch(named, RECIPE).allergens.unknown == ()


def test_boxes_keep_the_rule_of_the_label():
    # six of 50 g under one declared weight: 9 g on 300 g, Directive 76/211/EEC, Annex I, 2.4
    packed = DESIGN.with_values(
        {"label.weight_g": 50.0, "label.pieces_per_pack": 6, "batch.pieces_per_box": None}
    )
    made = batch(packed)
    assert made.boxes.each == 6
    packs = made.packs
    assert (packs.pieces, packs.count, packs.over) == (6, 16, 4)
    assert (packs.label_g, packs.few_below_g, packs.none_below_g) == (300.0, 291.0, 282.0)
    assert packs.mean_g >= 300.0
    with pytest.raises(SpecError, match="must hold whole packs of 6 pieces"):
        batch(packed.with_values({"batch.pieces_per_box": 4}))
    assert batch(DESIGN).packs is None


def test_the_price_of_a_piece_by_hand():
    # 100 pieces on 7 trays of 15, two at once: 4 loads. Work (30 + 100 x (2 + 0.5 + 0.25)) min at
    # 24 an hour; ingredients as in the cost by hand above; the mould 50 over 500 pieces.
    priced = DESIGN.with_values(
        {"price": {"wage_per_hour": 24.0, "energy_per_oven_load": 0.5, "mould_price": 50.0,
                   "mould_pieces": 500, "unsold_share": 0.2, "tax_share": 0.1},
         "bake_day.oven_trays": 2}
    )  # fmt: skip
    made = {each.pieces: each for each in batch(priced, RECIPE).prices}
    assert set(made) == {30, 100, 200}
    of = made[100]
    assert of.work == pytest.approx(24 / 60 * (30 + 275) / 100)
    assert of.energy == pytest.approx(4 * 0.5 / 100)
    cost = (1.8 + 12.0 + 30.0 + 50.0 + 17.0) / 100 + of.work + of.energy + 0.1
    assert of.shelf_price == pytest.approx(cost / 0.8 * 1.1)
    assert batch(DESIGN, RECIPE).prices == ()


def test_neither_pieces_nor_anything_on_hand_is_refused():
    with pytest.raises(SpecError, match=r"batch.pieces = .*try --pieces 24"):
        batch(Design())


@pytest.mark.parametrize("day", ["30.11.2026", "2026-02-30", "soon"])
def test_a_serving_date_that_is_none_is_refused(day):
    with pytest.raises(SpecError, match="must be a day written as year-month-day"):
        Design.of({"batch": {"serving_date": day}})


def test_the_design_with_a_date_is_read_back():
    assert Design.of(tomllib.loads(DESIGN.toml())) == DESIGN


def test_what_is_not_baked_needs_no_oven():
    chilled = DESIGN.with_values(
        {"portion.finish": "set", "price": {"wage_per_hour": 10.0, "energy_per_oven_load": 9.0}}
    )
    made = batch(chilled, None)
    assert [day.step for day in made.days] == ["paste", "dough", "make", "rest", "serve"]
    assert made.plan.loads == ()
    assert [what.id for _, what in made.plan.hours] == [
        f"kitchen.hour-{step}" for step in ("mix", "shape", "pack", "end")
    ]
    # by hand: 90 min of dough, 100 x 2.5 min of shaping, 100 x 0.25 min of packing
    assert made.plan.end_min == pytest.approx(90 + 250 + 25)
    assert {each.energy for each in made.prices} == {0.0}
