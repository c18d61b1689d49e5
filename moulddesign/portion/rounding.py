"""Masses rounded to what a scale shows, so that their total is right."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, fsum, isclose
from typing import Final

from moulddesign.design import CountsIn, PortionTable
from moulddesign.errors import SpecError
from moulddesign.portion.limits import not_negative, positive
from moulddesign.portion.portion import Portion

DECIMALS: Final = 9
GRAIN_G: Final = 10.0**-DECIMALS
"""No scale's step is finer than what masses are rounded to; our choice [g]."""


def rounded_keeping_total(masses_g: Sequence[float], step_g: float) -> tuple[float, ...]:
    """Return masses in whole steps of the scale whose sum is as near as it can be.

    Parameters
    ----------
    masses_g : sequence of float
        Masses to round [g].
    step_g : float
        Smallest step of the scale [g].

    Returns
    -------
    tuple of float
        Each mass one of its two neighbours on the scale; the sum is within half a step of the
        exact sum. Those whose remainder is largest go up, the first of equals first [g].

    Raises
    ------
    SpecError
        A mass is negative or not a number, or the step is not above 0.

    Examples
    --------
    >>> rounded_keeping_total([22.4, 37.4, 10.3], 1.0)  # 70.1 in all
    (23.0, 37.0, 10.0)
    """
    positive("resolution_g", step_g, "g")
    steps = [_steps(not_negative("mass_g", mass, "g"), step_g) for mass in masses_g]
    down = [floor(count) for count in steps]
    missing = floor(fsum(steps) + 0.5) - sum(down)
    order = sorted(range(len(steps)), key=lambda i: (down[i] - steps[i], i))
    up = set(order[:missing])
    return tuple(on_scale_g(count + (i in up), step_g) for i, count in enumerate(down))


def on_scale_g(count: int, step_g: float) -> float:
    """Return a number of steps in grams, without the noise of binary fractions.

    Parameters
    ----------
    count : int
        Number of steps.
    step_g : float
        The step [g].

    Returns
    -------
    float
        As the scale shows it [g].

    Examples
    --------
    >>> on_scale_g(3, 0.1)
    0.3
    """
    return round(count * step_g, DECIMALS)


def up_to_step_g(mass_g: float, step_g: float) -> float:
    """Return the least mass on the scale that is not below a mass.

    Parameters
    ----------
    mass_g, step_g : float
        The mass, and the scale's step [g].

    Examples
    --------
    >>> up_to_step_g(76.2, 0.5), up_to_step_g(76.5, 0.5)
    (76.5, 76.5)
    """
    return on_scale_g(-floor(-_steps(mass_g, step_g)), step_g)


def _steps(mass_g: float, step_g: float) -> float:
    """Return the steps in a mass; a whole number where only binary fractions keep it from one."""
    if step_g < GRAIN_G:
        raise SpecError("resolution_g", step_g, f"must be at least {GRAIN_G:g}")
    count = mass_g / step_g
    return float(round(count)) if isclose(count, round(count), rel_tol=1e-12) else count


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """What to set on the scale for one piece.

    Parameters
    ----------
    crust_g, paste_g : float
        Crust dough and paste, in whole steps of the scale [g].
    centre_g : float
        All centres together, which are counted and not weighed [g].
    raw_g : float
        The three together [g].
    off_g : float
        By how much that is above the exact raw mass [g].
    crust_share : float
        Crust as a share of crust and filling after rounding.
    """

    crust_g: float
    paste_g: float
    centre_g: float
    raw_g: float
    off_g: float
    crust_share: float

    @property
    def ratio(self) -> str:
        """Crust to filling after rounding, in parts of 10."""
        return f"{10 * self.crust_share:.2f}:{10 * (1 - self.crust_share):.2f}"


def split_on_scale(piece: Portion, table: PortionTable, step_g: float) -> Split:
    """Return the piece's masses rounded to the scale.

    Parameters
    ----------
    piece : Portion
        The exact masses.
    table : PortionTable
        What they come from: which centres count in the filling.
    step_g : float
        Smallest step of the scale [g].

    Raises
    ------
    SpecError
        The scale is so coarse that crust or paste would round to nothing.
    """
    crust_g, paste_g = rounded_keeping_total((piece.crust_g, piece.paste_g), step_g)
    for field, rounded, exact in (
        ("crust", crust_g, piece.crust_g),
        ("paste", paste_g, piece.paste_g),
    ):
        if rounded == 0.0:
            raise SpecError(
                "scale.resolution_g",
                step_g,
                f"must be finer, for the {field} of {exact:.3g} g would round to nothing",
            )
    inside_g = fsum(c.count * c.mass_g for c in table.centres if c.counts_in is CountsIn.FILLING)
    return Split(
        crust_g=crust_g,
        paste_g=paste_g,
        centre_g=piece.centre_g,
        raw_g=crust_g + paste_g + piece.centre_g,
        off_g=crust_g + paste_g + piece.centre_g - piece.raw_g,
        crust_share=crust_g / (crust_g + paste_g + inside_g),
    )
