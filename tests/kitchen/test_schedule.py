"""The days before serving and the hours of the bake day, worked by hand and by their laws."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import BakeDayTable
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.schedule import calendar, day_plan, filled_trays

PARTS = {name: {"ingredients": [{"food": "honey", "mass_g": 1.0}]} for name in ("crust", "filling")}
SATURDAY = date(2026, 11, 14)


def days(more, **needed):
    recipe = Recipe.of(PARTS | more)
    needed = {"paste_g": 1.0, "dough_g": 1.0} | needed
    made = calendar(recipe, SATURDAY, pieces=1, **needed)
    return [(day.date.isoformat()[5:], day.step.value) for day in made]


def test_every_day_is_named():
    # By hand, back from Saturday the 14th: bake on Thursday, the paste a day before, the dough the
    # same day, the syrup two weeks before the dough.
    assert days({"days": {"syrup": 14, "paste": 1, "dough": 0, "pieces": 2}}) == [
        ("10-29", "syrup"), ("11-11", "paste"), ("11-12", "dough"), ("11-12", "bake"),
        ("11-12", "rest"), ("11-14", "serve"),
    ]  # fmt: skip


def test_what_is_ready_needs_no_day():
    rests = {"days": {"syrup": 14}}
    assert [step for _, step in days(rests, dough_g=0.0)] == ["paste", "bake", "rest", "serve"]
    assert [step for _, step in days(rests, paste_g=0.0)][:2] == ["syrup", "dough"]


def test_parts_of_a_day_count_as_a_day_and_round_off_does_not():
    assert days({"days": {"pieces": 0.5}})[-2:] == [("11-13", "rest"), ("11-14", "serve")]
    rests = [{"what": "a", "days": 0.1}, {"what": "b", "days": 0.9}]
    assert days({"rests": rests})[0] == ("11-13", "rest")


def test_a_recipes_own_rests_follow_one_another():
    rests = [
        {"what": "dough", "days": 0.2},
        {"what": "soften", "days": 3},
        {"what": "cool", "days": 0},
    ]
    # 3.2 days before the 14th is a part of the 10th
    assert days({"rests": rests}) == [
        ("11-10", "rest"), ("11-11", "rest"), ("11-14", "rest"), ("11-14", "serve"),
    ]  # fmt: skip


def test_days_and_a_list_of_rests_are_refused_together():
    with pytest.raises(SpecError, match="has days and rests"):
        days({"days": {}, "rests": [{"what": "a", "days": 1}]})


DAY = BakeDayTable(
    mixing_minutes=30, dough_rest_minutes=60, shaping_minutes=2, pressing_minutes=0.5,
    baking_minutes=20, cooling_minutes=60, packing_minutes=0.25,
)  # fmt: skip


def test_a_day_worked_by_hand():
    """One person, one mould, trays of 12, one in the oven: 24 pieces.

    dough until 9:30; a piece takes 2.5 min, so trays are full at 10:00 and 10:30; in the oven they
    are from 10:00 to 10:20 and 10:30 to 10:50, cool at 11:20 and 11:50; packing takes 3 min each.
    """
    plan = day_plan(DAY, filled_trays(24, 12))
    assert [(at, what.id.partition("hour-")[2]) for at, what in plan.hours] == [
        ("08:00", "mix"), ("09:30", "shape"), ("10:00", "in"), ("10:20", "out"), ("10:30", "in"),
        ("10:50", "out"), ("11:20", "pack"), ("11:53", "end"),
    ]  # fmt: skip
    assert plan.trays == 2
    assert plan.work_min == pytest.approx(30 + 24 * 2.75)
    # A second pair of hands fills the last tray at 10:00, but the oven is free at 10:05 only: it is
    # cool at 11:25, packed in 1.5 min. That is 26.5 min less.
    assert plan.shorter == ("hands", pytest.approx(26.5))
    # 90 min of dough, 60 of wrapping and pressing, 20 in the oven after that, 63 to the end.
    longest, hands, before = map(str, plan.remarks)
    assert "mix the dough and let it rest: 1.5 of 3.9 hours" in longest
    assert "26 min shorter with one more pair of hands" in hands
    assert "90 min shorter with the dough mixed the day before" in before


def test_a_single_tray_waits_until_it_is_cool():
    # full at 10:00, out at 10:20, cool at 11:20; full again at 11:50, out 12:10, cool 13:10
    plan = day_plan(DAY.model_copy(update={"trays": 1}), filled_trays(24, 12))
    assert [load.in_min for load in plan.loads] == [120.0, 230.0]
    assert plan.end_min == pytest.approx(313.0)
    assert (plan.trays, plan.shorter) == (1, ("trays", pytest.approx(80.0)))


def test_moulds_hold_up_many_hands():
    # eight people shape a piece in 0.31 min, one mould presses one in 0.5
    plan = day_plan(DAY.model_copy(update={"hands": 8}), filled_trays(120, 12))
    assert plan.shaped_min == pytest.approx(90 + 120 * 0.5)


def test_after_midnight_the_clock_says_so():
    plan = day_plan(DAY.model_copy(update={"start": "22:00"}), filled_trays(24, 12))
    assert plan.hours[-1][0] == "+1 01:53"


def test_more_loads_than_a_day_has_room_for_are_not_planned():
    assert day_plan(DAY, filled_trays(1212, 12)) is None


@given(
    pieces=st.integers(1, 300), each=st.integers(4, 30), hands=st.integers(1, 5),
    moulds=st.integers(1, 4), oven=st.integers(1, 4), trays=st.none() | st.integers(1, 6),
)  # fmt: skip
def test_no_law_of_the_kitchen_is_broken(pieces, each, hands, moulds, oven, trays):
    day = DAY.model_copy(
        update={"hands": hands, "moulds": moulds, "oven_trays": oven, "trays": trays}
    )
    plan = day_plan(day, filled_trays(pieces, each))
    assert sum(load.pieces for load in plan.loads) == pieces
    for load in plan.loads:
        assert load.trays <= oven
        assert load.ready_min <= load.in_min
        assert load.out_min == load.in_min + 20
    for one, other in zip(plan.loads, plan.loads[1:], strict=False):
        assert one.out_min <= other.in_min  # one oven
    least = 90 + pieces * max(2.5 / hands, 0.5 / moulds)
    assert plan.shaped_min >= least - 1e-9
    assert plan.trays <= (trays or 10**6)
    assert plan.end_min >= plan.loads[-1].out_min + 60
    assert plan.work_min <= hands * plan.end_min + 1e-9


@pytest.mark.parametrize("start", ["8", "24:00", "8:5", "noon"])
def test_a_start_that_is_no_time_is_refused(start):
    with pytest.raises(SpecError, match="must be a time of the day"):
        BakeDayTable.of({"start": start})
