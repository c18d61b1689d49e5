"""The tapered peg that may hold the stamp."""

from dataclasses import dataclass
from math import radians, tan
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.mould.slope import RISE

COLLAR_MM: Final = 2.0
"""Shoulder of the stem round the joint, on which the stamp's back rests; our choice [mm]."""

TIP_GAP_MM: Final = 0.4
"""Air between the peg's tip and the end of the pocket's straight flank, two layers [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Peg:
    """A tapered peg on the plunger, and the pocket in the stamp's back that it is pressed into.

    Parameters
    ----------
    diameter_mm : float
        Of the peg where it leaves the stem [mm].
    length_mm : float
        Stem to tip [mm].
    taper_deg : float
        Slope of the flank against the axis [deg].
    interference_mm : float
        How much narrower the pocket is at the same height, on the diameter [mm].
    bridge_mm : float
        Widest flat ceiling of the pocket [mm].
    """

    diameter_mm: float
    length_mm: float
    taper_deg: float
    interference_mm: float
    bridge_mm: float

    def __post_init__(self) -> None:
        if self.end_radius_mm < self.diameter_mm / 4.0:
            need = "narrows the peg to less than half; shorten the peg or lessen its taper"
            raise SpecError("mould.peg_taper_deg", self.taper_deg, need)

    @property
    def stem_radius_mm(self) -> float:
        """Radius of the stem, on whose shoulder the stamp's back rests [mm]."""
        return self.diameter_mm / 2.0 + COLLAR_MM

    @property
    def tip_radius_mm(self) -> float:
        """Radius of the peg's tip [mm]."""
        return self.diameter_mm / 2.0 - self.length_mm * tan(radians(self.taper_deg))

    @property
    def mouth_radius_mm(self) -> float:
        """Radius of the pocket at the stamp's back [mm]."""
        return (self.diameter_mm - self.interference_mm) / 2.0

    @property
    def flank_mm(self) -> float:
        """Depth over which the pocket has the peg's slope [mm]."""
        return self.length_mm + TIP_GAP_MM

    @property
    def end_radius_mm(self) -> float:
        """Radius of the pocket where its slope ends [mm]."""
        return self.mouth_radius_mm - self.flank_mm * tan(radians(self.taper_deg))

    @property
    def roof_radius_mm(self) -> float:
        """Radius of the pocket's flat ceiling [mm]."""
        return min(self.bridge_mm / 2.0, self.end_radius_mm)

    @property
    def depth_mm(self) -> float:
        """Depth of the whole pocket: flank, then a cone up to the flat ceiling [mm]."""
        return self.flank_mm + RISE * (self.end_radius_mm - self.roof_radius_mm)
