"""Several designs in one batch: what they share is mixed once, and one day bakes them all."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, fsum
from typing import Any

from moulddesign.core import Message, SpecError, say
from moulddesign.design import BlockTable, CastTable, Design, OwnTable
from moulddesign.kitchen.batch import Batch, Cost, OnHand, batch, cost_of, is_baked
from moulddesign.kitchen.price import price
from moulddesign.kitchen.recipe import Recipe, RecipeLine, RecipePart, scaled
from moulddesign.kitchen.schedule import (
    Day,
    DayPlan,
    calendar,
    day_plan,
    filled_trays,
    oven_loads,
    without_mixing,
    work_minutes,
)
from moulddesign.portion import AllergenList


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOrder:
    """One design of a joint batch."""

    design: Design
    recipe: Recipe | None = None
    pieces: int | None = None
    """None is as many as the design says."""

    @property
    def says_no_pieces(self) -> bool:
        """Whether neither order nor design gives a number of pieces."""
        return self.pieces is None and self.design.batch.pieces is None


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedDough:
    """A crust dough or a paste that is mixed once for all designs that take it."""

    part: str
    """crust or filling."""
    designs: tuple[str, ...]
    ready_g: float
    missing_share: float
    """Share of it that is not on hand."""
    mixed_g: float
    lines: tuple[RecipeLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointBatch:
    """Several designs in one batch."""

    pieces: int
    batches: tuple[tuple[str, Batch], ...]
    """Each design by its name; its price carries its share of work and oven."""
    doughs: tuple[SharedDough, ...]
    cost: Cost | None
    allergens: AllergenList
    days: tuple[Day, ...]
    plan: DayPlan | None
    rounds: tuple[int, ...]
    """How often the mould of each design is filled."""
    left_over: Mapping[str, float]
    """What remains of crust and filling on hand, where the numbers of pieces follow from it [g]."""


def joint_batch(orders: Sequence[BatchOrder], on_hand: OnHand | None = None) -> JointBatch:
    """Return the totals of several designs: doughs of the same ingredients are mixed once.

    Parameters
    ----------
    orders : sequence of BatchOrder
        At least one. Where designs have no recipe, those of the same density share a dough.
    on_hand : OnHand or None
        Crust dough and paste that are ready, each where all designs share one. Where no design says
        a number of pieces, it decides how many there are of each.

    Raises
    ------
    SpecError
        A design gives no number of pieces, two have one name, their bake days, currencies or
        finishes differ, or something is on hand and it is not known for which dough.
    """
    designs = [order.design for order in orders]
    _refuse_differences(designs)
    have = OnHand() if on_hand is None else on_hand
    if have.centres is not None:
        raise SpecError("centres", have.centres, say("kitchen.centres-of-which-design"))
    left_over: Mapping[str, float] = {}
    if have.is_given and all(each.says_no_pieces for each in orders):
        from moulddesign.kitchen.counts_on_hand import (  # noqa: PLC0415 (light verbs load no numpy)
            counts_on_hand,
            left_over_g,
        )

        counts = counts_on_hand(designs, have)
        orders = [replace(each, pieces=n) for each, n in zip(orders, counts, strict=True)]
        left_over = left_over_g(designs, counts, have)
    made = [batch(each.design, each.recipe, pieces=each.pieces) for each in orders]
    doughs = (
        *_doughs("crust", orders, made, have.crust_g),
        *_doughs("filling", orders, made, have.filling_g),
    )
    pieces = sum(each.pieces for each in made)
    day, baked = designs[0].bake_day, is_baked(designs[0])
    trays = [
        tray
        for design, each in zip(designs, made, strict=True)
        for tray in filled_trays(each.pieces, design.batch.pieces_per_tray)
    ]
    # A day without mixing is another value, so the days tell where a dough is mixed on it.
    mixed_before = without_mixing(day, None, 0.0)
    dough_g = {name: d.mixed_g for d in doughs if d.part == "crust" for name in d.designs}
    fresh = [
        without_mixing(day, each.recipe, dough_g.get(each.design.name, 0.0)) != mixed_before
        for each in orders
    ]
    batches = []
    for design, each in zip(designs, made, strict=True):
        share = each.pieces / pieces
        shared = price(
            design.price,
            pieces=each.pieces,
            ingredients=0.0 if each.cost is None else each.cost.total,
            work_min=work_minutes(day, pieces) * share,
            oven_loads=oven_loads(day, len(trays)) * share if baked else 0.0,
        )
        prices = () if design.price.wage_per_hour is None else (shared,)
        batches.append((design.name, replace(each, prices=prices)))
    return JointBatch(
        pieces=pieces,
        batches=tuple(batches),
        doughs=doughs,
        cost=_cost(designs, made, doughs),
        allergens=AllergenList(
            found=_union([each.allergens.found for each in made]),
            unknown=_union([each.allergens.unknown for each in made]),
        ),
        days=_days(orders, made, doughs),
        plan=day_plan(day if any(fresh) else mixed_before, trays, baked=baked),
        rounds=tuple(rounds(d, each.pieces) for d, each in zip(designs, made, strict=True)),
        left_over=left_over,
    )


def _refuse_differences(designs: Sequence[Design]) -> None:
    first = designs[0]
    for place, design in enumerate(designs):
        if design.name in [other.name for other in designs[:place]]:
            raise SpecError("name", design.name, say("kitchen.designs-of-one-name"))
        for field, one, other in (
            ("bake_day", first.bake_day, design.bake_day),
            ("batch.currency", first.batch.currency, design.batch.currency),
            ("portion.finish", first.portion.finish, design.portion.finish),
        ):
            if one != other:
                need = say("kitchen.designs-differ", first=first.name, field=field)
                raise SpecError("designs", design.name, need)


def _doughs(
    part: str, orders: Sequence[BatchOrder], made: Sequence[Batch], have_g: float | None
) -> list[SharedDough]:
    """Return the doughs of one part, in the order in which designs first take them."""
    groups: dict[RecipePart | float, list[int]] = {}
    for place, order in enumerate(orders):
        if not getattr(made[place], part).ready_g:  # a piece without filling
            continue
        density = getattr(order.design.portion, f"{part}_density_g_per_ml")
        key = density if order.recipe is None else getattr(order.recipe, part)
        groups.setdefault(key, []).append(place)
    if have_g is not None and len(groups) > 1:
        raise SpecError(f"{part} on hand", have_g, say("kitchen.of-which-dough", count=len(groups)))
    doughs = []
    for key, places in groups.items():
        taken = [getattr(made[place], part) for place in places]
        ready_g = fsum(each.ready_g for each in taken)
        missing = max(0.0, 1.0 - (have_g or 0.0) / ready_g)
        mixed_g = missing * fsum(each.mixed_g for each in taken)
        step_g = min(orders[place].design.scale.resolution_g for place in places)
        lines = scaled(key, mixed_g, step_g) if isinstance(key, RecipePart) and mixed_g else ()
        doughs.append(
            SharedDough(
                part=part,
                designs=tuple(orders[place].design.name for place in places),
                ready_g=ready_g,
                missing_share=missing,
                mixed_g=mixed_g,
                lines=lines,
            )
        )
    return doughs


def _cost(
    designs: Sequence[Design], made: Sequence[Batch], doughs: Sequence[SharedDough]
) -> Cost | None:
    lines = [line for dough in doughs for line in dough.lines]
    priced = [line for line in lines if line.price is not None]
    apart = [cost_of(design, (), each.pieces) for design, each in zip(designs, made, strict=True)]
    if not priced and not any(apart):
        return None
    total = fsum(line.price or 0.0 for line in priced) + fsum(c.total for c in apart if c)
    unpriced = [line.food for line in lines if line.price is None]
    return Cost(
        total=total,
        each=total / sum(each.pieces for each in made),
        unpriced=_union([unpriced, *(c.unpriced for c in apart if c)]),
    )


def _days(
    orders: Sequence[BatchOrder], made: Sequence[Batch], doughs: Sequence[SharedDough]
) -> tuple[Day, ...]:
    """Return the calendar: designs that are served and rest alike have their days together."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for place, order in enumerate(orders):
        serving, recipe = order.design.batch.serving_date, order.recipe
        if serving is not None:
            rests = None if recipe is None else (recipe.days, recipe.rests)
            groups.setdefault((serving, rests), []).append(place)
    missing = {(d.part, name): d.missing_share for d in doughs for name in d.designs}

    def mixed_g(part: str, place: int) -> float:
        whole = getattr(made[place], part).mixed_g
        return float(missing.get((part, orders[place].design.name), 0.0) * whole)

    days = [
        day
        for (serving, _), places in groups.items()
        for day in calendar(
            orders[places[0]].recipe,
            serving,
            pieces=sum(made[place].pieces for place in places),
            paste_g=fsum(mixed_g("filling", place) for place in places),
            dough_g=fsum(mixed_g("crust", place) for place in places),
            baked=is_baked(orders[0].design),
        )
    ]
    return tuple(sorted(days, key=lambda day: day.date))


def _union(lists: Sequence[Sequence[str]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for names in lists for name in names))


def pressed_at_once(design: Design) -> int:
    """Return how many pieces the mould of a design makes in a round."""
    mould = design.mould
    if isinstance(mould, OwnTable):
        return mould.cavities * mould.copies
    return mould.cavities if isinstance(mould, BlockTable | CastTable) else 1


def rounds(design: Design, pieces: int) -> int:
    """Return how often a mould is filled for a number of pieces."""
    return ceil(pieces / pressed_at_once(design))


FREE_OF = re.compile(r"\b([a-z]+)[- ]free\b", re.IGNORECASE)
"""A mark that names an allergen."""


def mark_remarks(design: Design, allergens: AllergenList, *, known: bool) -> Iterator[Message]:
    """Yield what the marks of a design's own mould say against its dough.

    Parameters
    ----------
    allergens : AllergenList
        Of crust, filling and centres.
    known : bool
        Whether a recipe told them.
    """
    mould = design.own_mould
    if mould is None or mould.marks is None:
        return
    free_of = [word.lower() for word in FREE_OF.findall(mould.marks)]
    held = [(word, found) for word in free_of for found in allergens.found if word in found.lower()]
    for word, found in held:
        mark = f"{word}-free"
        yield say("kitchen.marked-for-allergen", mould=mould.name, mark=mark, allergen=found)
    if not (held or (free_of and known and not allergens.unknown)):
        yield say("kitchen.marked-mould", mould=mould.name, marks=mould.marks)
