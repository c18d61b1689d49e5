"""When what is done: the days before serving, and the hours of the bake day.

The calendar counts back from serving: pieces rest after baking, dough, paste and syrup before it.

On the bake day shaping takes a person, pressing a person and a mould. People change between the two
as needed, so pieces come off at the rate of whichever is scarcer:

    rate = min(hands / (shaping + pressing), moulds / pressing).

Trays fill one after the other, wait for a full oven load, bake, cool, and are free again. Packing
begins when all are shaped, for it takes the same hands.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from math import ceil, fsum
from typing import Final

from moulddesign.core import Message, say
from moulddesign.design import BakeDayTable
from moulddesign.kitchen.recipe import Recipe, RestDays


class Step(StrEnum):
    """What a day before serving, or the serving day, is for."""

    SYRUP = "syrup"
    PASTE = "paste"
    DOUGH = "dough"
    BAKE = "bake"
    MAKE = "make"
    """Of pieces that are not baked."""
    REST = "rest"
    SERVE = "serve"


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """A day of the calendar."""

    date: date
    step: Step
    what: Message | str
    """What to do; of a recipe's own list of rests, its own words."""


def calendar(
    recipe: Recipe | None,
    serving: date,
    *,
    pieces: int,
    paste_g: float,
    dough_g: float,
    baked: bool = True,
) -> tuple[Day, ...]:
    """Return every day on which something is to be done, for pieces served on a day.

    Parameters
    ----------
    recipe : Recipe or None
        Says how long things rest; the usual times where it does not.
    serving : date
        Day of serving.
    pieces : int
        Pieces of the batch.
    paste_g, dough_g : float
        What has to be mixed; what is ready, 0, needs no day [g].
    baked : bool
        Whether pieces are baked.

    Returns
    -------
    tuple of Day
        In order of time; parts of a day are counted back as whole days.
    """
    served = Day(date=serving, step=Step.SERVE, what=say("kitchen.day-serve", pieces=pieces))
    if recipe is not None and recipe.rests:
        left = [fsum(rest.days for rest in recipe.rests[i:]) for i in range(len(recipe.rests))]
        days = [
            Day(date=_before(serving, ahead), step=Step.REST, what=rest.what)
            for ahead, rest in zip(left, recipe.rests, strict=True)
        ]
        return (*days, served)
    rest = RestDays() if recipe is None or recipe.days is None else recipe.days
    baking = _before(serving, rest.pieces)
    dough = _before(baking, rest.dough)
    bake = Day(date=baking, step=Step.BAKE, what=say("kitchen.day-bake", pieces=pieces))
    make = Day(date=baking, step=Step.MAKE, what=say("kitchen.day-make", pieces=pieces))
    days = [
        bake if baked else make,
        Day(date=baking, step=Step.REST, what=say("kitchen.day-rest", days=rest.pieces)),
        served,
    ]
    if dough_g:
        days.insert(
            0, Day(date=dough, step=Step.DOUGH, what=say("kitchen.day-dough", mass_g=dough_g))
        )
    if paste_g:
        paste = _before(baking, rest.paste)
        days.insert(
            0, Day(date=paste, step=Step.PASTE, what=say("kitchen.day-paste", mass_g=paste_g))
        )
    if dough_g and rest.syrup is not None:
        syrup = _before(dough, rest.syrup)
        what = say("kitchen.day-syrup", days=rest.syrup)
        days.insert(0, Day(date=syrup, step=Step.SYRUP, what=what))
    return tuple(sorted(days, key=lambda day: day.date))


def _before(day: date, days: float) -> date:
    # A sum such as 0.1 + 0.9 may lie a step of binary fractions above a whole day.
    return day - timedelta(days=ceil(days - 1e-9))


WORTH_MINUTES: Final = 5.0
"""Least time by which one more of something has to shorten the day to be told; our choice [min]."""


MOST_LOADS: Final = 100
"""Most oven loads of a day that is planned; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenLoad:
    """One load of the oven, in minutes from the start of the day."""

    pieces: int
    trays: int
    ready_min: float
    """Its last tray is full."""
    in_min: float
    out_min: float


MIXING: Final = say("kitchen.stretch-dough")
ONE_MORE: Final = {
    "hands": say("kitchen.one-more-hands"),
    "moulds": say("kitchen.one-more-mould"),
    "trays": say("kitchen.one-more-tray"),
    "oven_trays": say("kitchen.one-more-in-oven"),
}
"""What one more of may shorten a bake day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """A bake day, in minutes from its start."""

    start_minute: int
    """From midnight [min]."""
    shaping_min: float
    """When shaping begins: the dough is mixed and rested."""
    shaped_min: float
    """When the last piece is pressed."""
    loads: tuple[OvenLoad, ...]
    packing_min: float
    end_min: float
    trays: int
    """How many trays are in use at once."""
    work_min: float
    """Work of all people together: mixing, shaping, pressing, packing [min]."""
    shorter: tuple[str, float] | None
    """What one more of shortens the day most (hands, moulds, trays, oven_trays), and by how much
    [min]; None where nothing does."""

    @property
    def hours(self) -> tuple[tuple[str, Message], ...]:
        """What begins when, as clock times; "+1" is the day after."""
        events = [(0.0, say("kitchen.hour-mix"))] if self.shaping_min else []
        events.append((self.shaping_min, say("kitchen.hour-shape")))
        for number, load in enumerate(self.loads, start=1):
            inside = say("kitchen.hour-in", load=number, pieces=load.pieces, trays=load.trays)
            events.append((load.in_min, inside))
            events.append((load.out_min, say("kitchen.hour-out", load=number)))
        events.append((self.packing_min, say("kitchen.hour-pack")))
        events.append((self.end_min, say("kitchen.hour-end")))
        return tuple((self._clock(minute), what) for minute, what in sorted(events, key=_minute))

    @property
    def remarks(self) -> tuple[Message, ...]:
        """What takes the longest, and the smallest changes that shorten the day."""
        oven_min = max((load.out_min for load in self.loads), default=self.shaped_min)
        stretches = {
            MIXING: self.shaping_min,
            say("kitchen.stretch-shaping"): self.shaped_min - self.shaping_min,
            say("kitchen.stretch-oven"): oven_min - self.shaped_min,
            say("kitchen.stretch-packing"): self.end_min - oven_min,
        }
        longest = max(stretches, key=lambda what: stretches[what])
        hours, day_hours = stretches[longest] / 60.0, self.end_min / 60.0
        said = [say("kitchen.longest-stretch", what=longest, hours=hours, day_hours=day_hours)]
        if self.shorter is not None:
            more, minutes = self.shorter
            said.append(say("kitchen.shorter-with", minutes=minutes, more=ONE_MORE[more]))
        if longest is MIXING:
            said.append(say("kitchen.dough-before", minutes=self.shaping_min))
        return tuple(said)

    def _clock(self, minute: float) -> str:
        days, rest = divmod(self.start_minute + round(minute), 24 * 60)
        return f"{f'+{days} ' if days else ''}{rest // 60:02d}:{rest % 60:02d}"


def _minute(event: tuple[float, Message]) -> float:
    return event[0]


def without_mixing(day: BakeDayTable, recipe: Recipe | None, dough_g: float) -> BakeDayTable:
    """Return a bake day, without mixing where the dough is ready or is mixed on a day before."""
    rest = RestDays() if recipe is None or recipe.days is None else recipe.days
    if dough_g and not rest.dough:
        return day
    return day.model_copy(update={"mixing_minutes": 0.0, "dough_rest_minutes": 0.0})


def filled_trays(pieces: int, each: int) -> tuple[int, ...]:
    """Return the pieces on each tray.

    Examples
    --------
    >>> filled_trays(26, 12)
    (12, 12, 2)
    """
    full, rest = divmod(pieces, each)
    return (each,) * full + ((rest,) if rest else ())


def oven_loads(day: BakeDayTable, trays: int) -> int:
    """Return how many loads of the oven a number of trays takes."""
    return ceil(trays / _trays_at_once(day))


def work_minutes(day: BakeDayTable, pieces: int) -> float:
    """Return the work of all people together: mixing, shaping, pressing, packing [min]."""
    each = day.shaping_minutes + day.pressing_minutes + day.packing_minutes
    return day.mixing_minutes + pieces * each


def _trays_at_once(day: BakeDayTable) -> int:
    return day.oven_trays if day.trays is None else min(day.oven_trays, day.trays)


def day_plan(day: BakeDayTable, trays: Sequence[int], *, baked: bool = True) -> DayPlan | None:
    """Return the plan of a bake day; None for more oven loads than a day has room for.

    Parameters
    ----------
    day : BakeDayTable
        People, moulds, trays, oven, and how long each step takes.
    trays : sequence of int
        Pieces on each tray, at least one.
    baked : bool
        Whether pieces are baked; without an oven they are packed once they are pressed.
    """
    if not baked:
        day = day.model_copy(update={"baking_minutes": 0.0, "cooling_minutes": 0.0})
    elif oven_loads(day, len(trays)) > MOST_LOADS:
        return None
    made = _planned(day, trays)
    saved = {
        name: made.end_min - _planned(more, trays).end_min for name, more in _with_one_more(day)
    }
    best = max(saved, key=lambda name: saved[name])
    made = replace(made, shorter=(best, saved[best]) if saved[best] >= WORTH_MINUTES else None)
    return made if baked else replace(made, loads=(), trays=len(trays))


def _with_one_more(day: BakeDayTable) -> Iterator[tuple[str, BakeDayTable]]:
    for name in ("hands", "moulds", "oven_trays", "trays"):
        there = getattr(day, name)
        if there is not None:
            yield name, day.model_copy(update={name: there + 1})


def _planned(day: BakeDayTable, trays: Sequence[int]) -> DayPlan:
    person = day.shaping_minutes + day.pressing_minutes
    minutes_per_piece = max(person / day.hands, day.pressing_minutes / day.moulds)
    begin = day.mixing_minutes + day.dough_rest_minutes
    at_once = _trays_at_once(day)
    loads: list[OvenLoad] = []
    free: deque[float] = deque()  # when each tray that was used comes back
    now, used, oven = begin, 0, 0.0
    for first in range(0, len(trays), at_once):
        together = trays[first : first + at_once]
        for on_tray in together:
            if day.trays is not None and used == day.trays:
                now = max(now, free.popleft())
            elif free and free[0] <= now:
                free.popleft()
            else:
                used += 1
            now += on_tray * minutes_per_piece
        oven = max(oven, now)
        out = oven + day.baking_minutes
        loads.append(
            OvenLoad(
                pieces=sum(together), trays=len(together), ready_min=now, in_min=oven, out_min=out
            )
        )
        free += [out + day.cooling_minutes] * len(together)
        oven = out
    end, packing = now, None
    for load in loads:
        end = max(end, load.out_min + day.cooling_minutes)
        packing = end if packing is None else packing
        end += load.pieces * day.packing_minutes / day.hands
    return DayPlan(
        start_minute=day.start_minute,
        shaping_min=begin,
        shaped_min=now,
        loads=tuple(loads),
        packing_min=packing or 0.0,
        end_min=end,
        trays=used,
        work_min=work_minutes(day, sum(trays)),
        shorter=None,
    )
