"""Doughs and fillings by name, and the loss that follows from the water of each part.

Baking takes water and leaves the rest, so a part of mass m that goes from the water share w0 to w1
keeps its dry mass m (1 - w0) and ends with m (1 - w0) / (1 - w1). Its own loss is therefore
(w0 - w1) / (1 - w1), and the piece loses the sum of these, each times the part's share of the raw
mass.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from math import fsum, hypot
from types import MappingProxyType

from moulddesign.core import SpecError, bundled_toml, say
from moulddesign.portion.portion import loss_from_water


@dataclass(frozen=True, slots=True, kw_only=True)
class Dough:
    """A dough or a filling by name: its water before and after baking, and its density."""

    name: str
    says: str
    water_before: float
    water_after: float
    water_after_sd: float
    density_g_per_ml: float
    density_sd_g_per_ml: float
    density_source: str
    water_source: str = (
        "a filling dries by about a point under its crust; our choice, weigh a trial"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drying:
    """A part of the piece that dries: its share of the raw mass, and its water before and after."""

    mass_share: float
    water_before: float
    water_after: float
    water_after_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Share of the raw mass that is lost, and its standard uncertainty, the same for all pieces."""

    ratio: float
    uncertainty: float


def crusts() -> Mapping[str, Dough]:
    """Return the crust doughs that have a name."""
    return _doughs()["crust"]


def fillings() -> Mapping[str, Dough]:
    """Return the fillings that have a name."""
    return _doughs()["filling"]


def named(field: str, name: str, doughs: Mapping[str, Dough]) -> Dough:
    """Return a dough by its name.

    Raises
    ------
    SpecError
        There is none of that name; the sentence names the nearest and lists all.
    """
    if name not in doughs:
        near = get_close_matches(name, doughs, n=1)
        raise SpecError(
            field,
            name,
            say("portion.dough-meant", near=near[0], names=tuple(doughs))
            if near
            else say("portion.dough-unknown", names=tuple(doughs)),
        )
    return doughs[name]


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


@cache
def _doughs() -> Mapping[str, Mapping[str, Dough]]:
    return MappingProxyType(
        {
            part: MappingProxyType({name: Dough(name=name, **row) for name, row in rows.items()})
            for part, rows in bundled_toml("data", "doughs.toml").items()
        }
    )
