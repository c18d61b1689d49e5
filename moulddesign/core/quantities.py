"""Units, and what a number has to be before anything is computed from it."""

from enum import StrEnum
from math import isfinite
from typing import Final

from moulddesign.core.errors import SpecError
from moulddesign.core.messages import Message, say, word

MM3_PER_ML: Final = 1000.0
"""Cubic millimetres in a millilitre, exact [mm^3/mL]."""

G_PER_KG: Final = 1000.0
"""Grams in a kilogram, exact [g/kg]."""


def ml_from_mm3(volume_mm3: float) -> float:
    """Return a volume in millilitres, exact.

    Examples
    --------
    >>> ml_from_mm3(60_000.0)
    60.0
    """
    return volume_mm3 / MM3_PER_ML


def mm3_from_ml(volume_ml: float) -> float:
    """Return a volume in cubic millimetres, exact.

    Examples
    --------
    >>> mm3_from_ml(60.0)
    60000.0
    """
    return volume_ml * MM3_PER_ML


class LengthUnit(StrEnum):
    """Unit of the lengths in a file that does not name it."""

    MM = "mm"
    INCH = "inch"
    CM = "cm"
    M = "m"

    @property
    def in_mm(self) -> float:
        """Length of one unit [mm]; the inch is 25.4 mm exactly (ISO 80000-3)."""
        return {"mm": 1.0, "inch": 25.4, "cm": 10.0, "m": 1000.0}[self.value]


# Each of the following returns the value that it was given, so that it can stand where the value
# is used. NaN fails every comparison, and so every check.


def require_positive(field: str, value: float, unit: str) -> float:
    """Return the value, which must be finite and above 0.

    Parameters
    ----------
    field : str
        Name of the value in the sentence.
    value : float
        What was given, in `unit`.
    unit : str
        Unit in the sentence; empty for a pure number.

    Raises
    ------
    SpecError
        The value is 0, negative, infinite or not a number.

    Examples
    --------
    >>> require_positive("mass_g", 12.0, "g")
    12.0
    """
    if not (isfinite(value) and value > 0.0):
        need = say("core.above-0-in", unit=word(unit)) if unit else say("core.above-0")
        raise SpecError(field, value, need)
    return value


def require_not_negative(field: str, value: float, unit: str) -> float:
    """Return the value, which must be finite and at least 0; see `require_positive`.

    Raises
    ------
    SpecError
        The value is negative, infinite or not a number.
    """
    if not (isfinite(value) and value >= 0.0):
        need = say("core.at-least-0-in", unit=word(unit)) if unit else say("core.at-least-0")
        raise SpecError(field, value, need)
    return value


def require_ratio(field: str, value: float) -> float:
    """Return the value, which must be at least 0 and below 1.

    Raises
    ------
    SpecError
        The value lies outside, or is not a number.
    """
    if not 0.0 <= value < 1.0:
        raise SpecError(field, value, say("core.ratio-below-1"))
    return value


def require_between(field: str, value: float, *, least: float, most: float, need: Message) -> float:
    """Return the value, which must lie between two limits; both are allowed.

    Parameters
    ----------
    field : str
        Name of the value in the sentence.
    value : float
        What was given.
    least, most : float
        The limits, in the unit of the value.
    need : Message
        End of the sentence: what is needed and what to try.

    Raises
    ------
    SpecError
        The value lies outside, or is not a number.
    """
    if not least <= value <= most:
        raise SpecError(field, value, need)
    return value
