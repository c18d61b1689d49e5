"""What holds the stamp to the plunger: a tapered peg, or a bolt and a nut."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import radians, sqrt, tan
from types import MappingProxyType
from typing import Final

from moulddesign.core import SpecError, say
from moulddesign.design import Bolt
from moulddesign.mould.plans import RISE

COLLAR_MM: Final = 2.0
"""Shoulder of the stem round the joint, on which the stamp's back rests; our choice [mm]."""

TIP_GAP_MM: Final = 0.4
"""Air between the peg's tip and the end of the pocket's straight flank, two layers [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Peg:
    """A tapered peg on the plunger, and the pocket in the stamp's back that it is pressed into."""

    diameter_mm: float
    """Of the peg where it leaves the stem [mm]."""
    length_mm: float
    """Stem to tip [mm]."""
    taper_deg: float
    """Slope of the flank against the axis [deg]."""
    interference_mm: float
    """How much narrower the pocket is at the same height, on the diameter [mm]."""
    bridge_mm: float
    """Widest flat ceiling of the pocket [mm]."""

    def __post_init__(self) -> None:
        if self.end_radius_mm < self.diameter_mm / 4.0:
            raise SpecError("mould.peg_taper_deg", self.taper_deg, say("mould.steep-peg"))

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


LEDGE_MM: Final = 4.0
"""Plastic between the stamp's back and the nut; our choice [mm]."""

SLACK_MM: Final = 0.4
"""Added to each size of nut and head: holes print small; common practice, no source [mm]."""

PAST_NUT_MM: Final = 1.0
"""How far the bolt's end comes out of the nut, a thread pitch; our choice [mm]."""

LAND_MM: Final = 2.0
"""Least plastic round the bolt's head; our choice [mm]."""

LENGTHS_MM: Final = (20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0)
"""Lengths that such bolts are sold in; from memory, the range of ISO 4762 [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewSize:
    """Sizes of a cap screw (ISO 4762) and its nut (ISO 4032)."""

    hole_mm: float
    """Clearance hole; from memory, ISO 273 medium [mm]."""
    head_mm: float
    head_height_mm: float
    """Largest diameter, knurled, and height of the head, ISO 4762 [mm]."""
    flats_mm: float
    corners_mm: float
    nut_height_mm: float
    """Largest width across flats, least across corners, largest height, ISO 4032 [mm]."""
    longest_mm: float
    """Longest usual length; from memory, ISO 4762 [mm]."""


SCREWS: Final[Mapping[Bolt, ScrewSize]] = MappingProxyType({
    Bolt.M5: ScrewSize(
        hole_mm=5.5, head_mm=8.72, head_height_mm=5.0, flats_mm=8.0, corners_mm=8.79,
        nut_height_mm=4.7, longest_mm=50.0,
    ),
    Bolt.M6: ScrewSize(
        hole_mm=6.6, head_mm=10.22, head_height_mm=6.0, flats_mm=10.0, corners_mm=11.05,
        nut_height_mm=5.2, longest_mm=60.0,
    ),
})  # fmt: skip
"""The bolts that can be asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """A bolt joint: the nut slides in from the side under a ledge, and out again for washing."""

    size: ScrewSize
    bridge_mm: float
    """Widest flat ceiling over the nut [mm]."""
    layer_mm: float

    @property
    def channel_mm(self) -> float:
        """Width of the nut's channel, across its flats [mm]."""
        return self.size.flats_mm + SLACK_MM

    @property
    def nut_length_mm(self) -> float:
        """Length that the nut takes along its channel, across its corners [mm]."""
        # The largest width across corners is that of a sharp hexagon, flats * 2 / sqrt(3).
        return self.size.flats_mm * 2.0 / sqrt(3.0) + SLACK_MM

    @property
    def opening_mm(self) -> tuple[float, float]:
        """Where the nut goes in, as distances from the axis [mm]."""
        return self.nut_length_mm / 2.0, self.nut_length_mm * 1.5

    @property
    def roof_mm(self) -> float:
        """Width of the channel's flat ceiling [mm]."""
        return min(self.bridge_mm, self.channel_mm)

    @property
    def gable_mm(self) -> float:
        """Height over which the channel narrows to its ceiling [mm]."""
        return RISE * (self.channel_mm - self.roof_mm) / 2.0

    @property
    def nut_room_mm(self) -> float:
        """Depth under the ledge over which the channel is as wide as the nut [mm]."""
        return self.size.nut_height_mm + SLACK_MM

    @property
    def depth_mm(self) -> float:
        """Depth of the nut's channel from the stamp's back to its ceiling [mm]."""
        return LEDGE_MM + self.nut_room_mm + max(self.gable_mm, PAST_NUT_MM)

    @property
    def head_room_mm(self) -> float:
        """Diameter of the hole for the head [mm]."""
        return self.size.head_mm + SLACK_MM

    @property
    def stem_radius_mm(self) -> float:
        """Radius of the stem round it [mm]."""
        return self.head_room_mm / 2.0 + LAND_MM

    @property
    def end_mm(self) -> float:
        """Depth of the bolt's end below the stamp's back [mm]."""
        return LEDGE_MM + self.size.nut_height_mm + PAST_NUT_MM

    def length_mm(self, room_mm: float) -> float:
        """Return the longest bolt whose head vanishes in the plunger.

        Parameters
        ----------
        room_mm : float
            Stamp's back to palm side of the disc [mm].

        Returns
        -------
        float
            A length that is sold, under the head [mm].

        Raises
        ------
        SpecError
            Even the shortest is too long.
        """
        most = min(room_mm + self.end_mm - self.size.head_height_mm, self.size.longest_mm)
        fitting = [length for length in LENGTHS_MM if length <= most]
        if not fitting:
            raise SpecError("mould.bolt", f"{LENGTHS_MM[0]:g} mm", say("mould.long-bolt"))
        return fitting[-1]
