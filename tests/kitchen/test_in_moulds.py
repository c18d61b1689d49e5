"""Several moulds at once: how many of each, held against all numbers there are."""

from itertools import product

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen.batch import OnHand
from moulddesign.kitchen.counts_on_hand import counts_on_hand
from moulddesign.kitchen.joint_batch import mark_remarks, rounds
from moulddesign.portion import AllergenList


def piece(raw_g, ratio="3:7", **mould):
    """Return a piece without any loss: crust and paste are its weight by the ratio."""
    own = {"kind": "own", "name": "tin"} | mould
    return Design.of(
        {
            "portion": {"finished_weight_g": raw_g, "loss": 0.0, "ratio": ratio},
            "batch": {"trimming_loss": 0.0, "hand_loss": 0.0},
            "mould": own,
        }
    )


def by_trying(pieces, crust_g, paste_g):
    """Return the mass and the difference of the numbers that the rule takes: all are tried."""
    takes = [(crust, raw - crust) for raw, crust in pieces]
    weights = [raw for raw, _ in pieces]
    most = [int((crust_g + paste_g) / raw) for raw in weights]
    fitting = [
        counts
        for counts in product(*(range(1, n + 1) for n in most))
        if sum(n * c for n, (c, _) in zip(counts, takes, strict=True)) <= crust_g
        and sum(n * p for n, (_, p) in zip(counts, takes, strict=True)) <= paste_g
    ]

    def used(counts):
        return sum(n * w for n, w in zip(counts, weights, strict=True))

    least = max(map(used, fitting)) - 0.01 * (crust_g + paste_g)
    gap = min(max(c) - min(c) for c in fitting if used(c) >= least)
    return max(used(c) for c in fitting if max(c) - min(c) == gap), gap


@pytest.mark.parametrize(
    ("shares", "crust_g", "paste_g"),
    [
        (((100, 40), (100, 20)), 600, 1200),
        (((80, 24), (60, 18)), 1200, 2800),
        (((90, 45), (50, 10), (70, 21)), 500, 700),
        (((60, 18), (59, 20)), 78, 95),
    ],
)
def test_what_is_on_hand_makes_as_much_and_as_evenly_as_trying_all_finds(shares, crust_g, paste_g):
    designs = [piece(raw, f"{crust}:{raw - crust}") for raw, crust in shares]
    found = counts_on_hand(designs, OnHand(crust_g=crust_g, filling_g=paste_g))
    used_g = sum(n * raw for n, (raw, _) in zip(found, shares, strict=True))
    assert (used_g, max(found) - min(found)) == by_trying(shares, crust_g, paste_g)


def test_two_ratios_use_up_both_doughs():
    # 6 of 80 + 120 g and 9 of 80 + 232 g of crust and paste take 1200 and 2808 g, by hand.
    designs = [piece(200, "80:120"), piece(312, "80:232")]
    assert counts_on_hand(designs, OnHand(crust_g=1200, filling_g=2808)) == (6, 9)


def test_there_is_enough_for_one_of_each_or_none():
    designs = [piece(100, "40:60"), piece(100, "20:80")]
    with pytest.raises(SpecError, match=r"crust on hand = 59\.0: must be enough for one"):
        counts_on_hand(designs, OnHand(crust_g=59.0))
    with pytest.raises(SpecError, match=r"filling on hand = 1e\+300: must be for at most"):
        counts_on_hand(designs, OnHand(filling_g=1e300))


def test_a_mould_is_filled_as_often_as_its_cavities_ask():
    assert rounds(piece(75), 25) == 25
    assert rounds(piece(75, cavities=4, copies=3), 25) == 3  # of 12
    assert rounds(Design().with_values({"mould.kind": "block", "mould.cavities": 6}), 25) == 5


@pytest.mark.parametrize(
    ("marks", "found", "unknown", "said"),
    [
        ("gluten-free only", ("wheat or another cereal with gluten",), (), "marked-for-allergen"),
        ("gluten-free only", ("sesame",), (), None),
        ("gluten-free only", (), ("flour of ours",), "marked-mould"),
        ("for the lantern night", (), (), "marked-mould"),
    ],
)
def test_a_mark_speaks_where_the_dough_is_another_or_not_known(marks, found, unknown, said):
    allergens = AllergenList(found=found, unknown=unknown)
    told = [each.id for each in mark_remarks(piece(75, marks=marks), allergens, known=True)]
    assert told == ([] if said is None else [f"kitchen.{said}"])
