"""Every height and radius of a press and its joint, from the design and the pastry."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import radians, sqrt, tan
from types import MappingProxyType
from typing import Final, Protocol

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, say
from moulddesign.design import Bolt, Joint, PressTable, PrinterTable
from moulddesign.mould.plans import RISE, inscribed_diameter_mm

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
"""Least plastic round the bolt's head, and between stem and bore; our choice [mm]."""

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
        """Return the longest bolt whose head vanishes in the plunger."""
        most = min(room_mm + self.end_mm - self.size.head_height_mm, self.size.longest_mm)
        fitting = [length for length in LENGTHS_MM if length <= most]
        if not fitting:
            raise SpecError("mould.bolt", f"{LENGTHS_MM[0]:g} mm", say("mould.long-bolt"))
        return fitting[-1]


MARGIN_MM: Final = 1.0
"""Bore left above the vanes at the heavy portion; our choice [mm]."""

LEAST_VANE_MM: Final = 3.0
"""Least height over which the vanes guide; our choice [mm]."""

GUSSET_MM: Final = 3.0
"""Cone under the palm disc, 45 deg; our choice [mm]."""

USUAL_GUIDE: Final = 0.7
"""Share of the width that stamp and vanes guide over; our choice."""

USUAL_DROP_MM: Final = 0.9
"""Drop across the pastry that a longer guide keeps to; our choice, below the limit of 1 mm [mm]."""

GROOVE_MM: Final = 0.5
"""Depth of the height rings; our choice [mm]."""


class PastryShape(Protocol):
    """What this room needs of a pastry's shape."""

    @property
    def outline(self) -> Outline:
        """Shape seen from above."""

    @property
    def height_mm(self) -> float:
        """Table to flat top [mm]."""

    @property
    def depth_above_mm(self) -> float:
        """How far the relief stands above the flat top [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressLayout:
    """The sizes of a press mould."""

    outline: Outline
    """The bore."""
    mould: PressTable
    height_mm: float
    """Nominal pressed height, table to the stamp's flat face [mm]."""
    depth_above_mm: float
    """Deepest engraving of any stamp above its flat face [mm]."""
    joint: Peg | Screw
    higher_mm: float = 0.0
    """How much higher than this the highest of several pastries is pressed, at least 0 [mm]."""

    @property
    def wide_mm(self) -> float:
        """Larger extent of the pastry along x or y [mm]."""
        return max(self.outline.width_mm, self.outline.depth_mm)

    @property
    def guide_share(self) -> float:
        """Share of the width to guide over: as asked, or what keeps the drop small."""
        if self.mould.guide_to_width is not None:
            return self.mould.guide_to_width
        return max(USUAL_GUIDE, 2.0 * self.mould.clearance_mm / USUAL_DROP_MM)

    @property
    def narrow_mm(self) -> float:
        """Diameter of the largest circle about the axis inside the pastry [mm]."""
        return inscribed_diameter_mm(self.outline)

    @property
    def band_mm(self) -> float:
        """Difference in pressed height between the nominal ring and its neighbours [mm]."""
        return self.mould.height_band * self.height_mm

    @property
    def stamp_thickness_mm(self) -> float:
        """Flat face to back of the stamp: engraving, skin and pocket [mm]."""
        return self.depth_above_mm + self.mould.skin_mm + self.joint.depth_mm

    @property
    def back_mm(self) -> float:
        """Height of the stamp's back [mm]."""
        return self.height_mm + self.stamp_thickness_mm

    @property
    def guide_length_mm(self) -> float:
        """Flat face of the stamp to the top of the vanes' full width [mm].

        The share of the width asked for; more where the stamp alone is thicker than that.
        """
        asked = self.guide_share * self.wide_mm
        return max(asked, self.stamp_thickness_mm + LEAST_VANE_MM)

    @property
    def vane_top_mm(self) -> float:
        """Height at which the vanes begin to narrow [mm]."""
        return self.height_mm + self.guide_length_mm

    @property
    def lead_in_height_mm(self) -> float:
        """Height over which the bore widens at its top [mm]."""
        return RISE * self.mould.lead_in_mm

    @property
    def sleeve_height_mm(self) -> float:
        """Height of the sleeve: stamp and vanes stay inside at the heavy portion [mm]."""
        most_mm = self.band_mm + (1.0 + self.mould.height_band) * self.higher_mm
        return self.vane_top_mm + most_mm + self.lead_in_height_mm + MARGIN_MM

    @property
    def stroke_mm(self) -> float:
        """Way of the stamp from the nominal height until the disc stops on the sleeve [mm]."""
        return self.height_mm + self.mould.past_rim_mm

    @property
    def disc_low_mm(self) -> float:
        """Height of the palm disc's underside [mm]."""
        return self.sleeve_height_mm + self.stroke_mm

    @property
    def disc_high_mm(self) -> float:
        """Height of the palm disc's palm side [mm]."""
        return self.disc_low_mm + self.mould.disc_thickness_mm

    @property
    def stem_radius_mm(self) -> float:
        """Radius of the plunger's stem [mm]."""
        return self.joint.stem_radius_mm

    @property
    def reach_mm(self) -> float:
        """How far the joint's hollow in the stamp's back reaches from the axis [mm]."""
        if isinstance(self.joint, Screw):
            return self.joint.opening_mm[1]
        return self.joint.mouth_radius_mm

    @property
    def gusset_mm(self) -> float:
        """Cone of 45 deg between stem and palm disc [mm]."""
        return min(GUSSET_MM, self.stroke_mm / 3.0)

    @property
    def pressed_heights_mm(self) -> tuple[float, float, float]:
        """Pressed heights that the rings mark: light, nominal, heavy [mm]."""
        return (self.height_mm - self.band_mm, self.height_mm, self.height_mm + self.band_mm)

    @property
    def ring_heights_mm(self) -> tuple[float, float, float]:
        """Heights of the rings on the stem, light, nominal, heavy, at the nominal press [mm].

        The sleeve's top edge stands at a ring when the pastry has that ring's height.
        """
        light, nominal, heavy = (
            self.sleeve_height_mm + self.height_mm - pressed for pressed in self.pressed_heights_mm
        )
        return light, nominal, heavy

    @property
    def groove_mm(self) -> float:
        """Depth of the rings [mm]."""
        return min(GROOVE_MM, 0.3 * self.band_mm)

    @property
    def drop_mm(self) -> float:
        """How much higher one side of the pastry may come out than the other [mm]."""
        return drop_mm(
            width_mm=self.wide_mm,
            clearance_mm=self.mould.clearance_mm,
            guide_length_mm=self.guide_length_mm,
        )


def drop_mm(*, width_mm: float, clearance_mm: float, guide_length_mm: float) -> float:
    """Return how much higher one side of the pastry may come out than the other.

    It is width * 2 c / length: a guide of that length, with the clearance c on each side, leans
    until opposite ends touch opposite walls. Exact for small angles.

    Examples
    --------
    >>> drop_mm(width_mm=60.0, clearance_mm=0.3, guide_length_mm=10.0)  # a plate without vanes
    3.6
    """
    return width_mm * 2.0 * clearance_mm / guide_length_mm


PEG_TO_WIDTH: Final = 0.3
"""Peg to the pastry's narrower side; our choice."""

MOST_PEG_MM: Final = 18.0
"""Widest peg that is not asked for by name; our choice [mm]."""

LEAST_PEG_MM: Final = 6.0
"""Thinnest peg, as thin as the design file allows [mm]."""


def press_layout(
    mould: PressTable,
    printer: PrinterTable,
    pastry: PastryShape,
    *,
    further: Sequence[PastryShape] = (),
) -> PressLayout:
    """Return the sizes of the press mould for a pastry.

    All stamps are as thick as the one with the deepest engraving, so that one plunger goes with
    each; the sleeve takes the highest pastry.
    """
    narrow = inscribed_diameter_mm(pastry.outline)
    layout = PressLayout(
        outline=pastry.outline,
        mould=mould,
        height_mm=pastry.height_mm,
        depth_above_mm=max(one.depth_above_mm for one in (pastry, *further)),
        joint=_joint(mould, narrow, printer.layer_height_mm),
        higher_mm=max([0.0, *(one.height_mm - pastry.height_mm for one in further)]),
    )
    _refuse_a_wide_stem(layout)
    _refuse_thin_rims(layout, 2.0 * printer.line_width_mm)
    _refuse_a_long_way_out(layout)
    _refuse_hidden_rings(layout)
    return layout


def _joint(mould: PressTable, narrow_mm: float, layer_mm: float) -> Peg | Screw:
    if mould.joint is Joint.BOLT:
        return Screw(size=SCREWS[mould.bolt], bridge_mm=mould.bridge_mm, layer_mm=layer_mm)
    return Peg(
        diameter_mm=_peg_diameter_mm(mould, narrow_mm),
        length_mm=mould.peg_length_mm,
        taper_deg=mould.peg_taper_deg,
        interference_mm=mould.peg_interference_mm,
        bridge_mm=mould.bridge_mm,
    )


def _peg_diameter_mm(mould: PressTable, narrow_mm: float) -> float:
    if mould.peg_diameter_mm is not None:
        return mould.peg_diameter_mm
    if PEG_TO_WIDTH * narrow_mm < LEAST_PEG_MM:
        need = say("mould.no-room-for-joint", least_mm=LEAST_PEG_MM / PEG_TO_WIDTH)
        raise SpecError("pastry.width_mm", round(narrow_mm, 2), need)
    return min(PEG_TO_WIDTH * narrow_mm, MOST_PEG_MM)


def _refuse_a_wide_stem(layout: PressLayout) -> None:
    """Refuse what does not pass the bore, or leaves the stamp too thin round its joint."""
    bore = layout.narrow_mm / 2.0 - layout.mould.clearance_mm
    most = bore - max(LAND_MM, layout.gusset_mm)
    if layout.reach_mm <= bore - LAND_MM and layout.stem_radius_mm <= most:
        return
    if isinstance(layout.joint, Peg):
        need = say("mould.wide-peg", across_mm=layout.narrow_mm, most_mm=2.0 * (most - COLLAR_MM))
        raise SpecError("mould.peg_diameter_mm", layout.joint.diameter_mm, need)
    need = say("mould.large-bolt", across_mm=layout.narrow_mm)
    raise SpecError("mould.bolt", layout.mould.bolt.value, need)


def _refuse_thin_rims(layout: PressLayout, two_lines_mm: float) -> None:
    mould = layout.mould
    rim = mould.wall_mm + mould.flange_width_mm - mould.lead_in_mm
    if rim < two_lines_mm:
        need = say("mould.thin-rim", rim_mm=rim)
        raise SpecError("mould.lead_in_mm", mould.lead_in_mm, need)
    if mould.disc_rim_mm < mould.lead_in_mm + two_lines_mm:
        need = say("mould.narrow-disc", least_mm=mould.lead_in_mm + two_lines_mm)
        raise SpecError("mould.disc_rim_mm", mould.disc_rim_mm, need)
    if mould.flange_thickness_mm > layout.sleeve_height_mm / 2.0:
        most = layout.sleeve_height_mm / 2.0
        need = say("mould.thick-flange", most_mm=most)
        raise SpecError("mould.flange_thickness_mm", mould.flange_thickness_mm, need)


def _refuse_a_long_way_out(layout: PressLayout) -> None:
    if layout.mould.past_rim_mm > layout.guide_length_mm / 2.0:
        need = say("mould.leaves-guide", most_mm=layout.guide_length_mm / 2.0)
        raise SpecError("mould.past_rim_mm", layout.mould.past_rim_mm, need)


def _refuse_hidden_rings(layout: PressLayout) -> None:
    if layout.mould.vane_thickness_mm > layout.stem_radius_mm:
        need = say("mould.hidden-rings", most_mm=layout.stem_radius_mm)
        raise SpecError("mould.vane_thickness_mm", layout.mould.vane_thickness_mm, need)
