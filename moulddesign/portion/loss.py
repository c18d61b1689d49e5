"""The share of the raw mass that baking and resting take away."""

from collections.abc import Sequence
from math import fsum

from moulddesign.errors import SpecError
from moulddesign.portion.limits import positive, share


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
    share("raw_water", raw_water)
    share("finished_water", finished_water)
    if finished_water > raw_water:
        raise SpecError(
            "finished_water",
            finished_water,
            f"must be at most the raw water of {raw_water:.4g}, for baking takes water away; "
            "check which figure is which",
        )
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
        raise SpecError("parts", "none", "must hold at least one mass with its water")
    whole_g = fsum(positive("mass_g", mass_g, "g") for mass_g, _ in parts)
    return fsum(mass_g * share("water", water) for mass_g, water in parts) / whole_g


def loss_from_weighing(raw_g: float, finished_g: float) -> float:
    """Return the loss of one piece weighed before and after.

    Parameters
    ----------
    raw_g, finished_g : float
        Mass before baking and when eaten [g].

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
    positive("raw_g", raw_g, "g")
    positive("finished_g", finished_g, "g")
    if finished_g > raw_g:
        raise SpecError(
            "finished_g",
            finished_g,
            f"must be at most the raw {raw_g:g} g, for a piece does not gain weight in baking; "
            "weigh again, and weigh glaze with the raw piece",
        )
    return 1.0 - finished_g / raw_g
