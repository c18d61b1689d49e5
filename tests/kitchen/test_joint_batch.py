"""Several designs in one batch, against the same designs alone."""

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import OnHand, batch
from moulddesign.kitchen.joint_batch import BatchOrder, joint_batch

SYRUP = {
    "ingredients": [
        {"food": "wheat flour", "percent": 100, "price_per_kg": 1.0},
        {"food": "golden syrup", "percent": 60, "price_per_kg": 4.0},
    ]
}
CHESTNUT = {"ingredients": [{"food": "cooked chestnut", "mass_g": 1, "price_per_kg": 8.0}]}
DATE = {"ingredients": [{"food": "date", "mass_g": 1}]}
PRICE = {"wage_per_hour": 12.0, "energy_per_oven_load": 1.0}


def order(name, weight_g, filling, pieces=24, **more):
    batch_table = {"pieces": pieces, "serving_date": "2026-11-14", "box_price": 0.5}
    design = {"name": name, "portion": {"finished_weight_g": weight_g}, "batch": batch_table}
    recipe = Recipe.of({"crust": SYRUP, "filling": filling})
    return BatchOrder(design=Design.of(design | more), recipe=recipe)


BEE, SUN, MOON = (
    order("bee", 50, CHESTNUT, price=PRICE), order("sun", 75, DATE, price=PRICE),
    order("moon", 100, CHESTNUT, 12, price=PRICE),
)  # fmt: skip


def test_doughs_of_the_same_ingredients_are_mixed_once():
    made = joint_batch([BEE, SUN, MOON])
    alone = [batch(each.design, each.recipe) for each in (BEE, SUN, MOON)]
    assert [(dough.part, dough.designs) for dough in made.doughs] == [
        ("crust", ("bee", "sun", "moon")), ("filling", ("bee", "moon")), ("filling", ("sun",)),
    ]  # fmt: skip
    crust, chestnut, _ = made.doughs
    assert crust.mixed_g == pytest.approx(sum(each.crust.mixed_g for each in alone))
    assert sum(line.scaled_g for line in crust.lines) == pytest.approx(crust.mixed_g, abs=0.5)
    assert chestnut.mixed_g == pytest.approx(alone[0].filling.mixed_g + alone[2].filling.mixed_g)
    assert made.pieces == 60
    # Rounding to whole grams apart, the dough costs what it costs alone: a gram of each ingredient.
    assert made.cost.total == pytest.approx(sum(each.cost.total for each in alone), abs=0.05)
    assert made.cost.unpriced == ("date",)
    assert made.plan.loads[-1].pieces == 12
    assert len(made.plan.loads) == 5


def test_work_and_oven_are_shared_by_pieces():
    made = joint_batch([BEE, SUN])
    prices = [each.prices[0] for _, each in made.batches]
    # one mixing of 30 min for 48 pieces, 2.75 min a piece, four loads
    assert prices[0].work == pytest.approx(12 / 60 * (30 / 48 + 2.75))
    assert prices[0].energy == pytest.approx(4 / 48)
    assert prices[0].work == prices[1].work


def test_what_is_ready_is_taken_off_the_dough_that_all_share():
    needed = joint_batch([BEE, SUN]).doughs[0]
    half = OnHand(crust_g=needed.ready_g / 2)
    crust = joint_batch([BEE, SUN], half).doughs[0]
    assert crust.mixed_g == pytest.approx(needed.mixed_g / 2)
    assert sum(line.scaled_g for line in crust.lines) == pytest.approx(crust.mixed_g, abs=0.5)
    made = joint_batch([BEE, SUN], OnHand(crust_g=2 * needed.ready_g))
    assert (made.doughs[0].mixed_g, made.doughs[0].lines) == (0.0, ())
    assert "dough" not in [day.step for day in made.days]
    assert made.plan.shaping_min == 0.0
    with pytest.raises(SpecError, match="could be any of the 2 that these designs take"):
        joint_batch([BEE, SUN], OnHand(filling_g=500.0))
    with pytest.raises(SpecError, match="could be of any of the designs"):
        joint_batch([BEE, SUN], OnHand(centres=5))


def test_days_of_the_same_rests_are_one_day():
    steps = [day.step.value for day in joint_batch([BEE, SUN, MOON]).days]
    assert steps == ["paste", "dough", "bake", "rest", "serve"]


@pytest.mark.parametrize(
    ("other", "sentence"),
    [
        (order("bee", 60, DATE, price=PRICE), "is the name of another design"),
        (order("sun", 60, DATE, price=PRICE, bake_day={"hands": 3}), "differs from bee in bake_"),
        (order("sun", 60, DATE, None, price=PRICE), "batch.pieces = 'not given'"),
    ],
)
def test_what_makes_no_one_batch_is_refused(other, sentence):
    with pytest.raises(SpecError, match=sentence):
        joint_batch([BEE, other])
