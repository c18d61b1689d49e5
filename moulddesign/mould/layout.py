"""Every height and radius of a press mould, before a body is drawn.

Lengths are in the assembly's coordinates: the table is z = 0, the pastry stands on it, and the
mould is pressed to the nominal height.
"""

from dataclasses import dataclass
from typing import Final, Protocol

from moulddesign.design.mould import MouldTable
from moulddesign.mould.peg import Peg
from moulddesign.mould.screw import Screw
from moulddesign.mould.section import inner_width_mm
from moulddesign.mould.slope import RISE
from moulddesign.pastry.outline import Outline

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


class Pressed(Protocol):
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
    """The sizes of a press mould.

    Parameters
    ----------
    outline : Outline
        The bore.
    mould : MouldTable
        What was asked for.
    height_mm : float
        Nominal pressed height, table to the stamp's flat face [mm].
    depth_above_mm : float
        Deepest engraving of any stamp above its flat face [mm].
    joint : Peg or Screw
        How the plunger holds the stamp.
    higher_mm : float
        How much higher than this the highest of several pastries is pressed, at least 0 [mm].
    """

    outline: Outline
    mould: MouldTable
    height_mm: float
    depth_above_mm: float
    joint: Peg | Screw
    higher_mm: float = 0.0

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
        return inner_width_mm(self.outline)

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
