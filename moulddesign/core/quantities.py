"""Units, what a number has to be before it is computed with, and numbers as people type them.

"68g", "2.4 oz", "68,5", "2 %", "3/7": one reader serves the command line, text in files and the
page. What could mean two things is refused, never guessed.
"""

import re
from collections.abc import Callable
from enum import StrEnum
from math import ceil, isfinite
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


def halved(
    is_beyond: Callable[[float], bool], low: float, high: float, *, steps: int = 60
) -> float:
    """Return where something is passed on the way from a lower to a higher end, by halving.

    The verbs that use it load no library for that.

    Parameters
    ----------
    is_beyond : callable
        Whether a value lies beyond the place; false below it, true above it.
    steps : int
        How often the interval is halved.

    Examples
    --------
    >>> round(halved(lambda x: x * x > 2.0, 0.0, 2.0), 9)
    1.414213562
    """
    for _ in range(steps):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if is_beyond(middle) else (middle, high)
    return 0.5 * (low + high)


def tenths_up(value: float) -> float:
    """Return a value rounded up to whole tenths; what rounding of numbers added is none.

    Examples
    --------
    >>> tenths_up(2.01), tenths_up(0.1 + 0.2)
    (2.1, 0.3)
    """
    return ceil(round(10.0 * value, 6)) / 10.0


class LengthUnit(StrEnum):
    """Unit of the lengths in a file that does not name it."""

    MM = "mm"
    INCH = "inch"
    CM = "cm"
    M = "m"

    @property
    def in_mm(self) -> float:
        """Length of one unit [mm]; the inch is 25.4 mm exactly (ISO 80000-3)."""
        return UNITS["mm"][self.value]


# Each of the following returns the value that it was given, so that it can stand where the value
# is used. NaN fails every comparison, and so every check.


def require_positive(field: str, value: float, unit: str) -> float:
    """Return the value, which must be finite and above 0; else `SpecError`.

    The sentence names the field, and the unit unless it is empty.

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
    """Return the value, which must be finite and at least 0; see `require_positive`."""
    if not (isfinite(value) and value >= 0.0):
        need = say("core.at-least-0-in", unit=word(unit)) if unit else say("core.at-least-0")
        raise SpecError(field, value, need)
    return value


def require_ratio(field: str, value: float) -> float:
    """Return the value, which must be at least 0 and below 1; else `SpecError`."""
    if not 0.0 <= value < 1.0:
        raise SpecError(field, value, say("core.ratio-below-1"))
    return value


def require_between(field: str, value: float, *, least: float, most: float, need: Message) -> float:
    """Return the value, which must lie between two limits, both allowed; else `SpecError`.

    `need` ends the sentence: what is needed and what to try.
    """
    if not least <= value <= most:
        raise SpecError(field, value, need)
    return value


NUMBER: Final = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(\D.*)?")
"""A number with at most one point or comma, and what stands behind it."""

THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
"""A comma before exactly three digits: 1,250 is 1250 to some and 1.25 to others."""

MOST_SHOWN: Final = 80
"""Longest text that a sentence repeats in full [characters]."""

UNITS: Final = {
    # NIST Special Publication 811 (2008), appendix B.8: ounce, pound, inch, foot, US fluid ounce.
    "g": {"g": 1.0, "kg": 1000.0, "mg": 0.001, "oz": 28.349523125, "lb": 453.59237},
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "inch": 25.4},
    "m": {"m": 1.0, "ft": 0.3048},
    "mL": {"mL": 1.0, "cL": 10.0, "L": 1000.0, "fl oz": 29.5735295625},
    "g/mL": {"g/mL": 1.0, "kg/L": 1.0, "g/cm3": 1.0, "kg/m3": 0.001},
    "deg": {"deg": 1.0, "°": 1.0},
    "deg C": {"deg C": 1.0, "°C": 1.0, "C": 1.0},
    "min": {"min": 1.0, "h": 60.0},
    "": {"%": 0.01},
}
"""Units that may stand behind a number, by the unit that the value has here, and their factors."""


def read_number(field: str, text: str, unit: str) -> float:
    """Return a number that a person typed, in the field's unit, which is empty for a ratio.

    It has a point or a comma, and a unit behind it or none; a ratio may be typed in per cent.
    `SpecError` where it is no number, its unit is of another kind, or its comma could separate
    thousands.

    Examples
    --------
    >>> read_number("--weight", "68g", "g"), read_number("--weight", "68,5", "g")
    (68.0, 68.5)
    >>> read_number("--width", "2 in", "mm"), read_number("--loss", "2 %", "")
    (50.8, 0.02)
    """
    shown = text if len(text) <= MOST_SHOWN else f"{text[:20]}..."
    typed = NUMBER.fullmatch(text.strip())
    if typed is None:
        raise SpecError(field, shown, say("core.number-expected", example=_example(unit)))
    digits, behind = typed[1], (typed[2] or "").strip().lower()
    if THOUSANDS.fullmatch(digits):
        raise SpecError(
            field,
            shown,
            say(
                "core.number-ambiguous",
                thousands=digits.replace(",", ""),
                decimal=digits.replace(",", "."),
            ),
        )
    named = UNITS.get(unit, {unit: 1.0})
    factors = {name.lower(): factor for name, factor in named.items()}
    if behind and behind not in factors:
        raise SpecError(field, shown, say("core.unit-expected", units=tuple(named)))
    value = float(digits.replace(",", ".")) * (factors[behind] if behind else 1.0)
    if not isfinite(value):
        raise SpecError(field, shown, say("core.number-expected", example=_example(unit)))
    return value


SEVERAL: Final = re.compile(r"\s*[x;]\s*|\s+(?=[-+.,\d])")
"""Separates numbers that stand in one text."""


def read_numbers(field: str, text: str, unit: str) -> list[float]:
    """Return numbers separated by x, by semicolons or by spaces, each as by `read_number`.

    Examples
    --------
    >>> read_numbers("--bed", "220 x 220x250", "mm")
    [220.0, 220.0, 250.0]
    """
    return [read_number(field, part, unit) for part in SEVERAL.split(text.strip())]


def read_cell(field: str, text: str, unit: str, separator: str) -> float:
    """Return a number in a cell of a CSV table, as `read_number` does.

    Parameters
    ----------
    field : str
        Name of the cell, for the sentence.
    text : str
        What stands in it.
    unit : str
        The field's unit.
    separator : str
        What separates the table's cells. A comma does not also part decimals there: whether a
        quoted one was meant so cannot be told.

    Raises
    ------
    SpecError
        It is no number, as for `read_number`, or holds the separator.
    """
    if separator == "," and "," in text:
        raise SpecError(field, text, say("core.comma-in-commas"))
    return read_number(field, text, unit)


RATIO: Final = re.compile(r"([\d.,]+)\s*[:/]\s*([\d.,]+)")


def read_ratio(field: str, text: str) -> str:
    """Return a ratio of crust to filling as it is written in a design: "3:7".

    Two numbers separated by a colon or a slash are read, or the share of the crust in per cent, 0
    to 100; else `SpecError`.

    Examples
    --------
    >>> read_ratio("--ratio", "3/7"), read_ratio("--ratio", "30 %")
    ('3:7', '30:70')
    """
    pair = RATIO.fullmatch(text.strip())
    if pair is not None:
        crust, filling = (read_number(field, part, "") for part in pair.groups())
        return f"{crust:.12g}:{filling:.12g}"
    if text.strip().endswith("%"):
        crust = read_number(field, text, "")
        if 0.0 <= crust <= 1.0:
            return f"{100.0 * crust:.12g}:{100.0 * (1.0 - crust):.12g}"
    raise SpecError(field, text, say("core.ratio-expected"))


def _example(unit: str) -> str:
    return f"12.5 {unit}".strip()
