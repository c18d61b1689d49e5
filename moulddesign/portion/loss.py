"""Loss in baking and resting: as given, from the water of each part, or unmeasured.

Baking takes water and leaves the rest, so a part of mass m that goes from the water share w0 to w1
keeps its dry mass m (1 - w0) and ends with m (1 - w0) / (1 - w1). Its own loss is therefore
(w0 - w1) / (1 - w1), and the piece loses the sum of these, each times the part's share of the raw
mass. Centres lie in the filling and are taken to lose nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import fsum, hypot
from typing import Final

from moulddesign.core import SpecError, require_positive, require_ratio, say
from moulddesign.design import (
    CountsIn,
    Dough,
    Finish,
    PortionTable,
)
from moulddesign.portion.centres import centres_g, known_centres

DRY_ON_THE_TABLE: Final = 0.005
"""Standard uncertainty of the loss of what is not baked: a skin dries; from memory."""
UNMEASURED: Final = 0.02
UNMEASURED_UNCERTAINTY: Final = 0.015
"""Loss where neither it nor the crust dough is given: from memory, for a thin syrup crust. No
published loss of small filled pastries was found."""


class LossSource(StrEnum):
    """Where a loss comes from."""

    GIVEN = "given"
    DOUGHS = "named doughs"
    UNMEASURED = "unmeasured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Share of the raw mass that is lost, and its standard uncertainty, the same for all pieces."""

    ratio: float
    uncertainty: float
    source: LossSource = LossSource.DOUGHS


@dataclass(frozen=True, slots=True, kw_only=True)
class Drying:
    """A part of the piece that dries: its share of the raw mass, and its water before and after."""

    mass_share: float
    water_before: float
    water_after: float
    water_after_sd: float = 0.0


def loss_from_water(raw_water: float, finished_water: float) -> float:
    """Return the loss that a dry-matter balance gives.

    Parameters
    ----------
    raw_water, finished_water : float
        Water as a share of the mass, before baking and when eaten, below 1.

    Returns
    -------
    float
        1 - (1 - raw) / (1 - finished), exact where only water leaves.

    Raises
    ------
    SpecError
        A share is out of range, or there is more water afterwards than before.

    Examples
    --------
    >>> round(loss_from_water(0.99, 0.98), 12)  # the potato paradox: half of it goes
    0.5
    """
    require_ratio("raw_water", raw_water)
    require_ratio("finished_water", finished_water)
    if finished_water > raw_water:
        need = say("portion.wetter-than-raw", raw_water=raw_water)
        raise SpecError("finished_water", finished_water, need)
    return 1.0 - (1.0 - raw_water) / (1.0 - finished_water)


def mixed_water(parts: Sequence[tuple[float, float]]) -> float:
    """Return the water in parts put together.

    Parameters
    ----------
    parts : sequence of (float, float)
        Mass [g] and water as a share of that mass, for each of crust, paste and centres.

    Returns
    -------
    float
        Water as a share of the whole mass, exact.

    Raises
    ------
    SpecError
        There is no part, a mass is not above 0 or a share is out of range.

    Examples
    --------
    >>> mixed_water([(30.0, 0.25), (70.0, 0.25)])
    0.25
    """
    if not parts:
        raise SpecError("parts", "none", say("portion.no-parts"))
    whole_g = fsum(require_positive("mass_g", mass_g, "g") for mass_g, _ in parts)
    return fsum(mass_g * require_ratio("water", water) for mass_g, water in parts) / whole_g


def loss_from_weighing(raw_g: float, finished_g: float) -> float:
    """Return the loss of one piece weighed before and after.

    Returns
    -------
    float
        1 - finished / raw, exact.

    Raises
    ------
    SpecError
        A mass is not above 0, or the piece gained weight.

    Examples
    --------
    >>> loss_from_weighing(80.0, 76.0)
    0.050000000000000044
    """
    require_positive("raw_g", raw_g, "g")
    require_positive("finished_g", finished_g, "g")
    if finished_g > raw_g:
        raise SpecError("finished_g", finished_g, say("portion.gains-weight", raw_g=raw_g))
    return 1.0 - finished_g / raw_g


def loss_of_parts(parts: Iterable[Drying]) -> Loss:
    """Return the loss of a piece from the water of its parts.

    Parameters
    ----------
    parts : iterable of Drying
        Crust, paste, centres; what is left out loses nothing.

    Returns
    -------
    Loss
        sum of share (w0 - w1) / (1 - w1), exact; the uncertainty to first order, each part's
        water by itself: share (1 - w0) / (1 - w1)^2 times its standard deviation.

    Raises
    ------
    SpecError
        A share of water is not at least 0 and below 1, or a part ends wetter than it began.

    Examples
    --------
    >>> round(loss_of_parts([Drying(mass_share=0.4, water_before=0.25, water_after=0.0)]).ratio, 6)
    0.1
    """
    ratios, uncertainties = [], []
    for part in parts:
        before, after = part.water_before, part.water_after
        ratios.append(part.mass_share * loss_from_water(before, after))
        slope = part.mass_share * (1.0 - before) / (1.0 - after) ** 2
        uncertainties.append(slope * part.water_after_sd)
    return Loss(ratio=fsum(ratios), uncertainty=hypot(*uncertainties))


def loss_of(table: PortionTable, *, raw_g: float, crust_g: float, paste_g: float) -> Loss:
    """Return the loss of a piece: as given, from its named doughs, or unmeasured.

    Parameters
    ----------
    table : PortionTable
        What is given and named.
    raw_g, crust_g, paste_g : float
        Raw masses of the piece and of the parts that dry [g].
    """
    named = named_doughs(table)
    if named is None:
        return _same_for_all(table)
    shares = (crust_g / raw_g, paste_g / raw_g)
    return loss_of_parts(
        Drying(
            mass_share=share,
            water_before=dough.water_before,
            water_after=dough.water_after,
            water_after_sd=dough.water_after_sd,
        )
        for share, dough in zip(shares, named, strict=True)
    )


def named_doughs(table: PortionTable) -> tuple[Dough, Dough] | None:
    """Return the doughs of crust and paste that a loss follows from; None where none does.

    Only baking takes the water that the names tell of. The crust decides: where it is named and the
    paste is not, the paste dries as fillings do.
    """
    if table.loss is not None or table.crust_dough is None or table.finish is not Finish.BAKED:
        return None
    return table.usual_crust, table.usual_filling


def raw_from_finished_g(table: PortionTable, finished_g: float) -> float:
    """Return the mass to scale for a mass that is left after baking and resting.

    Returns
    -------
    float
        finished / (1 - loss); with named doughs, whose shares change with the mass of the centres,
        the solution of the same balance. Exact [g].
    """
    fixed_g, factor = _finished_of_raw(table)
    return (finished_g - fixed_g) / factor


def finished_from_raw_g(table: PortionTable, raw_g: float) -> float:
    """Return what is left of a raw piece after baking and resting, exact [g]."""
    fixed_g, factor = _finished_of_raw(table)
    return fixed_g + factor * raw_g


def _finished_of_raw(table: PortionTable) -> tuple[float, float]:
    """Return a and b of finished = a + b raw."""
    named = named_doughs(table)
    if named is None:
        return 0.0, 1.0 - _same_for_all(table).ratio
    # With the centres i inside the filling and a apart, the crust is c (raw - a) and the paste
    # (1 - c) (raw - a) - i. They lose l_c and l_p of themselves, the centres nothing:
    # finished = raw - (c l_c + (1 - c) l_p) (raw - a) + l_p i.
    crust, paste = (loss_from_water(dough.water_before, dough.water_after) for dough in named)
    mean = table.crust_share * crust + (1.0 - table.crust_share) * paste
    centres = known_centres(table)
    apart_g, inside_g = (centres_g(centres, where) for where in (CountsIn.APART, CountsIn.FILLING))
    return mean * apart_g + paste * inside_g, 1.0 - mean


def _same_for_all(table: PortionTable) -> Loss:
    """Return the loss that is given for the whole piece, or that nobody measured."""
    if table.loss is None:
        baked = table.finish is Finish.BAKED
        return Loss(
            ratio=UNMEASURED if baked else 0.0,
            uncertainty=UNMEASURED_UNCERTAINTY if baked else DRY_ON_THE_TABLE,
            source=LossSource.UNMEASURED,
        )
    return Loss(ratio=table.loss, uncertainty=table.loss_uncertainty, source=LossSource.GIVEN)
