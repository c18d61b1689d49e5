"""How many pieces of each of several designs what is on hand makes.

Of all numbers of pieces that crust and paste on hand allow, those are taken that leave little and
lie close together: at least one of each, no more left over than the least possible and a hundredth
of what is there; among those the least difference between the numbers, then the least left over.

It loads numpy, so whoever needs it imports it late.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from moulddesign.core import SpecError, say
from moulddesign.design import MOST_PIECES, Design
from moulddesign.kitchen.batch import OnHand, kept_of_crust, kept_of_filling
from moulddesign.portion import figures

LEFT_SHARE: Final = 0.01
"""Share of what is on hand that may be left over for numbers that lie closer together; our choice:
hands and bowls keep as much."""


def counts_on_hand(designs: Sequence[Design], on_hand: OnHand) -> tuple[int, ...]:
    """Return how many pieces of each design crust and paste on hand make.

    Parameters
    ----------
    designs : sequence of Design
        At least one; they share crust dough and paste.
    on_hand : OnHand
        Crust or paste, or both [g].

    Returns
    -------
    tuple of int
        Exact by branch and bound (HiGHS, through SciPy's milp).

    Raises
    ------
    SpecError
        It is not enough for one piece of each, or far too much.
    """
    needs_g, have_g = _needs(designs, on_hand)
    _refuse_too_little(needs_g, have_g, [f"{name} on hand" for name in _named(on_hand)])
    weights = needs_g.sum(axis=0)
    most_g = _solved(-weights, needs_g, have_g, weights, least_g=0.0)[0] @ weights
    # Two more unknowns, the largest and the smallest number, whose difference is to be least.
    least_g = float(most_g - LEFT_SHARE * have_g.sum())
    spread = np.array([*np.zeros(len(designs)), 1.0, -1.0])
    _, gap = _solved(spread, needs_g, have_g, weights, least_g=least_g)
    most_of_all = np.array([*-weights, 0.0, 0.0])
    counts, _ = _solved(most_of_all, needs_g, have_g, weights, least_g=least_g, most_gap=gap)
    return tuple(int(count) for count in counts)


def left_over_g(
    designs: Sequence[Design], counts: Sequence[int], on_hand: OnHand
) -> dict[str, float]:
    """Return what remains of crust and paste on hand [g]."""
    needs_g, have_g = _needs(designs, on_hand)
    left = have_g - needs_g @ np.array(counts, dtype=float)
    return dict(zip(_named(on_hand), map(float, left), strict=True))


def _named(on_hand: OnHand) -> list[str]:
    given = {"crust": on_hand.crust_g, "filling": on_hand.filling_g}
    return [name for name, mass_g in given.items() if mass_g is not None]


def _needs(designs: Sequence[Design], on_hand: OnHand) -> tuple[Any, Any]:
    """Return what a piece of each design takes, shape (parts, designs), and what there is [g]."""
    splits = [figures(design).split for design in designs]
    takes = {
        "crust": [s.crust_g / kept_of_crust(d) for d, s in zip(designs, splits, strict=True)],
        "filling": [s.paste_g / kept_of_filling(d) for d, s in zip(designs, splits, strict=True)],
    }
    there = {"crust": on_hand.crust_g, "filling": on_hand.filling_g}
    names = _named(on_hand)
    return np.array([takes[name] for name in names]), np.array([there[name] for name in names])


def _refuse_too_little(needs_g: Any, have_g: Any, fields: Sequence[str]) -> None:  # noqa: ANN401 (arrays)
    for need_g, there_g, field in zip(needs_g, have_g, fields, strict=True):
        if need_g.sum() > there_g:
            need = say("kitchen.not-enough-for-each", need=float(need_g.sum()))
            raise SpecError(field, float(there_g), need)
        least_g = need_g[need_g > 0.0].min(initial=np.inf)
        if there_g / least_g > MOST_PIECES:
            reason = say("kitchen.too-much-on-hand", most=MOST_PIECES, need=float(least_g))
            raise SpecError(field, float(there_g), reason)


def _solved(
    cost: Any,  # noqa: ANN401 (an array)
    needs_g: Any,  # noqa: ANN401 (the same)
    have_g: Any,  # noqa: ANN401 (the same)
    weights: Any,  # noqa: ANN401 (the same)
    *,
    least_g: float,
    most_gap: float = np.inf,
) -> tuple[Any, float]:
    """Return the numbers of least cost, and the difference of the largest and the smallest.

    The unknowns are the numbers, then an upper and a lower bound of them all.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 (half a second)

    kinds = len(weights)
    within = np.hstack([needs_g, np.zeros((len(needs_g), 2))])
    used = np.array([[*weights, 0.0, 0.0]])
    below = np.hstack([np.eye(kinds), -np.ones((kinds, 1)), np.zeros((kinds, 1))])
    above = np.hstack([np.eye(kinds), np.zeros((kinds, 1)), -np.ones((kinds, 1))])
    gap = np.array([[*np.zeros(kinds), 1.0, -1.0]])
    solved = milp(
        np.concatenate([cost, np.zeros(kinds + 2 - len(cost))]),
        constraints=[
            LinearConstraint(within, ub=have_g * (1.0 + 1e-9)),  # round-off of decimal grams
            LinearConstraint(used, lb=least_g * (1.0 - 1e-9)),
            LinearConstraint(below, ub=np.zeros(kinds)),
            LinearConstraint(above, lb=np.zeros(kinds)),
            LinearConstraint(gap, ub=most_gap + 0.5),
        ],
        integrality=np.ones(kinds + 2, dtype=np.int64),
        bounds=Bounds(lb=1.0, ub=float(MOST_PIECES)),
        options={"mip_rel_gap": 0.0},
    )
    assert solved.x is not None  # noqa: S101 (one of each is a solution, and was looked for)
    counts = np.round(solved.x[:kinds])
    return counts, float(counts.max() - counts.min())
