"""Every conversion between units."""

from enum import StrEnum
from typing import Final

MM3_PER_ML: Final = 1000.0
"""Cubic millimetres in a millilitre, exact [mm^3/mL]."""

G_PER_KG: Final = 1000.0
"""Grams in a kilogram, exact [g/kg]."""


def ml_from_mm3(volume_mm3: float) -> float:
    """Return a volume in millilitres.

    Parameters
    ----------
    volume_mm3 : float
        Volume [mm^3].

    Returns
    -------
    float
        The same volume, exact [mL].

    Examples
    --------
    >>> ml_from_mm3(60_000.0)
    60.0
    """
    return volume_mm3 / MM3_PER_ML


def mm3_from_ml(volume_ml: float) -> float:
    """Return a volume in cubic millimetres.

    Parameters
    ----------
    volume_ml : float
        Volume [mL].

    Returns
    -------
    float
        The same volume, exact [mm^3].

    Examples
    --------
    >>> mm3_from_ml(60.0)
    60000.0
    """
    return volume_ml * MM3_PER_ML


class Unit(StrEnum):
    """Unit of a file that does not say it itself."""

    MM = "mm"
    INCH = "inch"
    CM = "cm"
    M = "m"

    @property
    def in_mm(self) -> float:
        """Length of one unit [mm]; the inch is 25.4 mm exactly (ISO 80000-3)."""
        return {"mm": 1.0, "inch": 25.4, "cm": 10.0, "m": 1000.0}[self.value]
