"""Doughs and fillings by name: water before and after baking, density, and how sure each is."""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import Final

from moulddesign.core import bundled_toml, say
from moulddesign.design.schema import RefusedError

UNNAMED_CRUST: Final = "syrup"
UNNAMED_FILLING: Final = "other"
"""Whose densities stand for parts that are not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dough:
    """A dough or a filling by name: its water before and after baking, and its density."""

    name: str
    says: str
    water_before: float
    """Share of the mass, as the next one."""
    water_after: float
    water_after_sd: float
    fat: float
    """Share of the raw mass, for how heat goes through it."""
    density_g_per_ml: float
    density_sd_g_per_ml: float
    density_source: str
    water_source: str = (
        "a filling dries by about a point under its crust; our choice, weigh a trial"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PartDensity:
    """Density of crust or paste, its standard uncertainty, and where it comes from."""

    g_per_ml: float
    sd_g_per_ml: float
    source: str


def crusts() -> Mapping[str, Dough]:
    """Return the crust doughs that have a name."""
    return _doughs()["crust"]


def fillings() -> Mapping[str, Dough]:
    """Return the fillings that have a name."""
    return _doughs()["filling"]


def known_name(name: str, doughs: Mapping[str, Dough]) -> str:
    """Return a name that is one of some doughs, or refuse it in a validator.

    Raises
    ------
    RefusedError
        There is none of that name; the sentence names the nearest and lists all.
    """
    if name in doughs:
        return name
    near = get_close_matches(name, doughs, n=1)
    need = (
        say("design.dough-meant", near=near[0], names=tuple(doughs))
        if near
        else say("design.dough-unknown", names=tuple(doughs))
    )
    raise RefusedError(need)


def density_of(
    dough: Dough, *, density_g_per_ml: float | None, density_sd_g_per_ml: float | None
) -> PartDensity:
    """Return the density of a part: what is given of it comes before its dough's."""
    given, sd = density_g_per_ml, density_sd_g_per_ml
    return PartDensity(
        g_per_ml=dough.density_g_per_ml if given is None else given,
        sd_g_per_ml=dough.density_sd_g_per_ml if sd is None else sd,
        source=f"{dough.name}: {dough.density_source}" if given is None else "the design",
    )


@cache
def _doughs() -> Mapping[str, Mapping[str, Dough]]:
    return MappingProxyType(
        {
            part: MappingProxyType({name: Dough(name=name, **row) for name, row in rows.items()})
            for part, rows in bundled_toml("data", "doughs.toml").items()
        }
    )
