"""Every height and radius of a press mould, from the design and the pastry.

Or the reason why not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, say
from moulddesign.design import Joint, PressTable, PrinterTable
from moulddesign.mould.joint import COLLAR_MM, SCREWS, Peg, Screw
from moulddesign.mould.plans import RISE, inscribed_diameter_mm

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
        """PastryShape heights that the rings mark: light, nominal, heavy [mm]."""
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

    Parameters
    ----------
    width_mm : float
        Width of the pastry [mm].
    clearance_mm : float
        Gap between stamp and bore, each side [mm].
    guide_length_mm : float
        Length over which stamp and vanes guide [mm].

    Returns
    -------
    float
        width * 2 c / length: a guide leans until opposite ends touch opposite walls; exact for
        small angles [mm].

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

LAND_MM: Final = 2.0
"""Least plastic between stem and bore, and between bolt head and the stem's side [mm]."""


def press_layout(
    mould: PressTable,
    printer: PrinterTable,
    pastry: PastryShape,
    *,
    further: Sequence[PastryShape] = (),
) -> PressLayout:
    """Return the sizes of the press mould for a pastry.

    Parameters
    ----------
    mould : PressTable
        What is asked for.
    printer : PrinterTable
        Bed, line and layer.
    pastry : PastryShape
        The pastry: outline, height, relief above the flat top.
    further : sequence of PastryShape
        Others of the same outline. All stamps are as thick as the one with the deepest engraving,
        so that one plunger goes with each; the sleeve takes the highest.

    Raises
    ------
    SpecError
        Two sizes contradict each other; the sentence names the one to change.
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
