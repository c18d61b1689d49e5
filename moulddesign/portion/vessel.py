"""Density of dough by scale and water: a cup, or a piece held under."""

from math import hypot, sqrt
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.portion.density import ROOM_C, Density
from moulddesign.portion.limits import not_negative, positive
from moulddesign.portion.water import water_density_g_per_ml

LEVEL_SPREAD: Final = 0.005
"""Of a cup levelled with water, as a share of its volume; from memory, measure your own."""

PACKING_SPREAD: Final = 0.01
"""Of a cup packed and levelled with dough, as a share; from memory, measure your own."""

WATER_LINE_G: Final = 0.5
"""Of the water that a hand-held piece displaces [g]; from memory, measure your own."""


def density_from_cup(
    *,
    water_g: float,
    filled_g: float,
    resolution_g: float,
    empty_g: float = 0.0,
    at_c: float = ROOM_C,
) -> Density:
    """Return the density of dough from a cup weighed full of water and full of dough.

    Parameters
    ----------
    water_g, filled_g, empty_g : float
        Cup full of water, full of dough, and empty (0 where the scale was set to zero with it)
        [g].
    resolution_g : float
        Smallest step of the scale [g].
    at_c : float
        Temperature of the water, 0 to 100 [deg C].

    Returns
    -------
    Density
        (filled - empty) / (water - empty) times the density of water; the buoyancy of air cancels.

    Raises
    ------
    SpecError
        A mass is not a number or negative, a cup is lighter full than empty, or the water is
        ice or steam.

    Examples
    --------
    >>> cup = density_from_cup(water_g=200.0, filled_g=250.0, resolution_g=1.0)
    >>> round(cup.density_g_per_ml, 4), round(cup.uncertainty_g_per_ml, 3)
    (1.2478, 0.014)
    """
    not_negative("empty_g", empty_g, "g")
    step = positive("resolution_g", resolution_g, "g") / sqrt(12.0)
    water = _content_g("water_g", water_g, empty_g)
    dough = _content_g("filled_g", filled_g, empty_g)
    cup = step * abs(1.0 / water - 1.0 / dough) if empty_g > 0.0 else 0.0
    spread = hypot(step / water, step / dough, cup, LEVEL_SPREAD, PACKING_SPREAD)
    density = water_density_g_per_ml(at_c) * dough / water
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * spread,
        at_c=at_c,
        method="cup full of water and full of dough",
    )


def density_from_displacement(
    *, mass_g: float, displaced_g: float, resolution_g: float, at_c: float = ROOM_C
) -> Density:
    """Return the density of a wrapped piece from the water that it displaces.

    Parameters
    ----------
    mass_g : float
        Mass of the piece [g].
    displaced_g : float
        Mass of the water that ran over; or by how much a bowl of water on the scale grew heavier
        while the piece was held under without touching it [g].
    resolution_g : float
        Smallest step of the scale [g].
    at_c : float
        Temperature of the water, 0 to 100 [deg C].

    Returns
    -------
    Density
        mass / displaced times the density of water; the film's volume is left out.

    Raises
    ------
    SpecError
        A mass is not above 0, or the water is ice or steam.

    Examples
    --------
    >>> piece = density_from_displacement(mass_g=75.0, displaced_g=60.0, resolution_g=0.1)
    >>> round(piece.density_g_per_ml, 3)
    1.248
    """
    mass = positive("mass_g", mass_g, "g")
    displaced = positive("displaced_g", displaced_g, "g")
    step = positive("resolution_g", resolution_g, "g") / sqrt(12.0)
    spread = hypot(step / mass, step / displaced, WATER_LINE_G / displaced)
    density = water_density_g_per_ml(at_c) * mass / displaced
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * spread,
        at_c=at_c,
        method="water displaced by a wrapped piece",
    )


def _content_g(field: str, full_g: float, empty_g: float) -> float:
    positive(field, full_g, "g")
    if full_g <= empty_g:
        raise SpecError(
            field,
            full_g,
            f"must be above the empty cup's {empty_g:g} g; weigh again, or leave the empty cup "
            "out where the scale was set to zero with it",
        )
    return full_g - empty_g
