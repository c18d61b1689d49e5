"""Every height and radius of a press, from the design and the pastry."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import Any, Final, Protocol

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, say
from moulddesign.design import KeptPress, KeptSet, PressTable, PrinterTable
from moulddesign.mould.plans import (
    RISE,
    inscribed_diameter_mm,
)
from moulddesign.mould.press_joint import SlideJoint, slide_joint

LAND_MM: Final = 3.2
"""Height over which the stamp slides on the bore, sixteen usual layers; our choice [mm]."""

RELIEVED_MM: Final = 0.5
"""How far the stamp stands back from the bore's gap above its land; our choice [mm]."""

USUAL_DROP_MM: Final = 0.95
"""Drop across the pastry that the guide keeps to; our choice, below the limit of 1 mm [mm]."""

LEAST_VANE_MM: Final = 6.0
"""Least height over which the vanes guide; our choice [mm]."""

VANE_ROOM_MM: Final = 8.0
"""Least bore above the vanes: there they narrow, and the stop's mouth can be narrower; our choice
[mm]."""

HEAVY: Final = 0.1
"""Share of the height by which a heavy portion may stand higher and still be guided: raw pieces
exceed their weight by 0-9 %; common practice, no source."""

ROUND_WALL_MM: Final = 2.1
"""Wall of a round sleeve, five usual lines; our choice [mm]."""

FLAT_WALL_MM: Final = 2.8
"""Wall of a sleeve with sides that bow; our choice [mm]."""

STOP_BESIDE_MM: Final = 0.8
"""From the bore's chamfered mouth to the stop; our choice [mm]."""

STOP_WALL_MM: Final = 2.1
"""Wall of the stop, five usual lines; our choice [mm]."""

LIP_ROOM_MM: Final = 0.2
"""Air between the stop and the disc's lip beyond the gap of other parts; our choice [mm]."""

LIP_WALL_MM: Final = 1.8
"""Width of the disc's lip; our choice [mm]."""

LIP_MM: Final = 1.6
"""How far the disc's lip reaches down around the stop, eight usual layers; our choice [mm]."""

OFF_MM: Final = 0.4
"""How far beyond its lip the disc is lifted to take the stop off; our choice [mm]."""

BESIDE_DISC_MM: Final = 0.7
"""How far the flange reaches beyond the palm disc; our choice [mm]."""

GUSSET_MM: Final = 6.0
"""Cone between stem and palm disc, as high as it is wide; our choice [mm]."""

TAB_MM: Final = (22.0, 18.0, 10.0)
"""Length, width and height of the stop's tab; our choice [mm]."""

SHIM_LAYERS: Final = (2, 4, 8)
"""Thickness of the shims in layers: 0.4, 0.8 and 1.6 mm with usual ones; our choice."""

USUAL_LAYER_MM: Final = 0.2
"""Layer that shims count in where parts are not made in layers that one knows [mm]."""

KEPT_SHARE: Final = 0.5
"""Share of skin and of the way past the rim that a stamp for a kept set may do with, rather than
ask for another stop; our choice."""

MOST_THICKER_MM: Final = 2.0
"""How much thicker than it needs to be such a stamp may be, rather than ask for another stop; our
choice [mm]."""


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

    @property
    def edge_drop_mm(self) -> float:
        """How far the edge lies below the flat top at the most [mm]."""

    @property
    def edge_rise_mm(self) -> float:
        """How far the edge lies above the flat top at the most, below 0 if below [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressLayout:
    """The sizes of a press mould."""

    outline: Outline
    """The bore."""
    mould: PressTable
    clearance_mm: float
    """Gap between bore and land, and between bore and vanes, each side [mm]."""
    joint: SlideJoint
    layer_mm: float
    step_mm: float
    """Parts are whole steps high: layers, or next to nothing where nobody knows them."""
    height_mm: float
    """Nominal pressed height, table to the stamp's flat face [mm]."""
    edge_mm: float
    """Height of the lowest edge of any stamp [mm]."""
    highest_mm: float
    """Nominal pressed height of the highest of several pastries [mm]."""
    top_mm: float
    """Highest point of any pastry's relief [mm]."""
    edge_span_mm: float
    """Height between lowest and highest point of one stamp's edge at the most [mm]."""
    freed_mm: float
    """Pressed height of the highest pastry or of the highest point of an edge, the higher [mm]."""
    low_mm: float = 0.0
    """How much lower than the nominal height the stop lets the stamp go [mm]."""
    kept: KeptSet | None = None
    """What it has to fit; None where every part is new."""
    lifted_mm: float = 0.0
    """How much higher the stamp's back lies than in the kept set, in whole layers [mm]."""

    @property
    def kept_press(self) -> KeptPress | None:
        """Sleeve and plunger that are there already."""
        return None if self.kept is None else self.kept.press

    @property
    def base(self) -> "PressLayout":
        """The press that sleeve and plunger are drawn from: as they were made, if they were."""
        own = self.kept_press
        if own is None:
            return self
        return replace(self, mould=own.table, clearance_mm=own.clearance_mm, lifted_mm=0.0)

    @property
    def least_gap_mm(self) -> float:
        """Least gap between the bore and what slides in it, stamp or vanes [mm]."""
        return min(self.clearance_mm, self.base.clearance_mm)

    @property
    def past_rim_mm(self) -> float:
        """How far the stamp has to come out of the bore [mm]."""
        share = 1.0 if self.kept_press is None else KEPT_SHARE
        return share * self.mould.past_rim_mm

    @property
    def wall_mm(self) -> float:
        """Wall of the sleeve [mm]."""
        if self.mould.wall_mm is not None:
            return self.mould.wall_mm
        return ROUND_WALL_MM if self.outline.name == "round" else FLAT_WALL_MM

    @property
    def wide_mm(self) -> float:
        """Larger extent of the pastry along x or y [mm]."""
        return max(self.outline.width_mm, self.outline.depth_mm)

    @property
    def narrow_mm(self) -> float:
        """Diameter of the largest circle about the axis inside the pastry [mm]."""
        return inscribed_diameter_mm(self.outline)

    def layers_up_mm(self, length_mm: float) -> float:
        """Return a length in whole layers, not shorter [mm]."""
        return ceil(length_mm / self.step_mm - WHOLE) * self.step_mm

    @property
    def stamp_thickness_mm(self) -> float:
        """Flat face to back of the first stamp: engraving, skin and slot, in whole layers [mm]."""
        if self.kept_press is not None:
            return self.back_mm - self.height_mm
        skin = self.top_mm + self.mould.skin_mm
        # The slot opens above the land, or dough would come into it.
        roof = max(skin, self.land_top_mm + self.layer_mm)
        return self.layers_up_mm(roof - self.height_mm + self.joint.depth_mm)

    @property
    def back_mm(self) -> float:
        """Height of every stamp's back: they differ in thickness, so one stop serves all [mm]."""
        if self.kept_press is not None:
            return self.kept_press.back_mm + self.lifted_mm
        return self.height_mm + self.stamp_thickness_mm

    @property
    def land_top_mm(self) -> float:
        """Height at which the stamp begins to stand back from the bore [mm]."""
        return self.edge_mm + self.edge_span_mm + LAND_MM + (self.highest_mm - self.height_mm)

    @property
    def guide_share(self) -> float:
        """Share of the width to guide over: as asked, or what keeps the drop small."""
        if self.mould.guide_to_width is not None:
            return self.mould.guide_to_width
        return 2.0 * self.clearance_mm / USUAL_DROP_MM

    @property
    def guide_length_mm(self) -> float:
        """Lowest edge of a stamp to the top of the vanes' full width [mm].

        The share of the width asked for; more where the stamp alone is thicker than that.
        """
        if self.kept_press is not None:
            return self.vane_top_mm - self.edge_mm
        if self.kept is not None:
            return self.kept.sleeve_height_mm - self.above_vanes_mm - self.edge_mm
        least = self.back_mm + LEAST_VANE_MM - self.edge_mm
        return max(self.guide_share * self.wide_mm, least)

    @property
    def vane_top_mm(self) -> float:
        """Height at which the vanes begin to narrow [mm]."""
        if self.kept_press is not None:
            return self.kept_press.vane_top_mm + self.lifted_mm
        return self.edge_mm + self.guide_length_mm

    @property
    def lead_in_height_mm(self) -> float:
        """Height over which the bore widens at its top [mm]."""
        return RISE * (self.mould.lead_in_mm + self.outline.side_depth_mm)

    @property
    def sleeve_height_mm(self) -> float:
        """Height of the sleeve: the vanes stay guided at the heavy portion [mm]."""
        if self.kept is not None:
            return self.kept.sleeve_height_mm
        return self.layers_up_mm(self.vane_top_mm + self.above_vanes_mm)

    @property
    def above_vanes_mm(self) -> float:
        """Bore above the vanes, in which they stay at the heavy portion [mm]."""
        return max(VANE_ROOM_MM, self.lead_in_height_mm + HEAVY * self.height_mm)

    @property
    def stroke_mm(self) -> float:
        """Way of the disc from the nominal height until its underside meets the sleeve [mm]."""
        return self.disc_low_mm - self.sleeve_height_mm

    @property
    def disc_low_mm(self) -> float:
        """Height of the palm disc's underside at the nominal press [mm]."""
        if self.kept_press is not None:
            return self.kept_press.disc_low_mm + self.lifted_mm
        # The lip meets the flange first, and by then the stamp has to be out of the bore.
        least = self.sleeve_height_mm + self.freed_mm + self.mould.past_rim_mm + LIP_MM
        return self.back_mm + self.layers_up_mm(least - self.back_mm)

    @property
    def disc_high_mm(self) -> float:
        """Height of the palm disc's palm side [mm]."""
        return self.disc_low_mm + self.mould.disc_thickness_mm

    @property
    def stop_height_mm(self) -> float:
        """Height of the stop, in whole layers, not higher than lets the relief fill [mm]."""
        lower_mm = 0.0 if self.kept_press is None else self.kept_press.lower_stop_mm
        steps = floor((self.stroke_mm - self.low_mm) / self.step_mm + WHOLE)
        return steps * self.step_mm - lower_mm

    @property
    def stopped_height_mm(self) -> float:
        """Pressed height at which the disc meets the stop [mm]."""
        # A stop that is lower because prints stand higher ends the press where it should end.
        lower_mm = 0.0 if self.kept_press is None else self.kept_press.lower_stop_mm
        return self.height_mm - (self.stroke_mm - self.stop_height_mm) + lower_mm

    @property
    def changed_parts(self) -> tuple[str, ...]:
        """Which parts of a kept set have to be printed: the stamp, and the stop where it changes.

        Shims too where the piece is so much higher that their mouth has to be wider. Empty where
        every part is new.
        """
        own = self.kept_press
        if own is None:
            return ()
        same = abs(self.stop_height_mm - own.stop_mm) < WHOLE
        wider = self.vane_top_mm > self.base.vane_top_mm + WHOLE
        return ("stamp", *(() if same else ("stop",)), *(("shim",) if wider else ()))

    @property
    def stop_inside_mm(self) -> float:
        """How far outside the bore the stop's inside lies [mm]."""
        return self.mould.lead_in_mm + STOP_BESIDE_MM

    @property
    def stop_outside_mm(self) -> float:
        """How far outside the bore the stop's outside lies [mm]."""
        return self.stop_inside_mm + STOP_WALL_MM

    @property
    def lip_inside_mm(self) -> float:
        """How far outside the bore the inside of the disc's lip lies [mm]."""
        return self.stop_outside_mm + self.joint.gap_mm + LIP_ROOM_MM

    @property
    def disc_reach_mm(self) -> float:
        """How far the palm disc reaches beyond the bore [mm]."""
        return self.lip_inside_mm + LIP_WALL_MM

    @property
    def flange_reach_mm(self) -> float:
        """How far the flange reaches beyond the bore, its lobes aside [mm]."""
        return max(self.disc_reach_mm, self.wall_mm) + BESIDE_DISC_MM

    @property
    def stop_mouth_mm(self) -> tuple[float, float]:
        """Least and largest y of the stop's mouth, through which it comes off vanes and cone [mm].

        An outline that reaches out less far to one side than to the other has a mouth that does.
        """
        lifted = LIP_MM + OFF_MM + self.layer_mm
        # Shims of a kept set serve lower stamps too.
        vane_top = max(self.vane_top_mm, self.base.vane_top_mm)
        risen = self.sleeve_height_mm - vane_top - lifted
        inside = self.clearance_mm + risen / RISE
        cone = self.joint.stem_radius_mm + max(0.0, self.base.gusset_mm - LIP_MM - OFF_MM)
        beside = self.joint.gap_mm + STOP_BESIDE_MM
        ends = self.outline.points[:, 1]
        low, high = float(ends.min()), float(ends.max())
        return -max(-low - inside, cone) - beside, max(high - inside, cone) + beside

    @property
    def shims_mm(self) -> tuple[float, ...]:
        """Thickness of the shims that come with the stop [mm]."""
        return tuple(layers * self.shim_layer_mm for layers in SHIM_LAYERS)

    @property
    def shim_layer_mm(self) -> float:
        """Layer that shims are counted in [mm]."""
        return self.layer_mm if self.step_mm == self.layer_mm else USUAL_LAYER_MM

    @property
    def gusset_mm(self) -> float:
        """Cone of 45 deg between stem and palm disc [mm]."""
        bore = self.narrow_mm / 2.0 - self.joint.stem_radius_mm
        return min(GUSSET_MM, self.stroke_mm / 3.0, bore / 2.0)

    @property
    def drop_mm(self) -> float:
        """How much higher one side of the pastry may come out than the other [mm]."""
        return drop_mm(
            width_mm=self.wide_mm,
            clearance_mm=self.clearance_mm,
            guide_length_mm=self.guide_length_mm,
        )

    def report(self) -> dict[str, Any]:
        """Return what a person needs of it, as plain values."""
        return {
            "clearance_mm": self.clearance_mm,
            "guide_mm": self.guide_length_mm,
            "drop_mm": self.drop_mm,
            "stop_mm": self.stop_height_mm,
            "stopped_height_mm": self.stopped_height_mm,
            "shims_mm": list(self.shims_mm),
            "slot_width_mm": 2.0 * self.joint.mouth_mm,
            "slot_depth_mm": self.joint.depth_mm,
            "hangs_mm": self.joint.drop_mm,
        }


WHOLE: Final = 1e-6
"""A length this near to whole layers, as a share of one, is taken as whole."""


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


def press_layout(
    mould: PressTable,
    printer: PrinterTable,
    pastry: PastryShape,
    *,
    further: Sequence[PastryShape] = (),
    low_mm: float = 0.0,
    kept: KeptSet | None = None,
) -> PressLayout:
    """Return the sizes of the press mould for a pastry.

    All stamps end at the same height, so that one plunger and one stop go with each; the sleeve
    takes the highest pastry.

    Parameters
    ----------
    low_mm : float
        How much lower than the nominal height the stop lets the stamp go [mm].
    kept : KeptSet, optional
        What the stamps and the stop have to fit.

    Raises
    ------
    SpecError
        Sizes contradict each other; the sentence names the key and what to change.
    """
    gap, own = printer.sliding_gap_mm, None if kept is None else kept.press
    clearance = mould.stamp_gap_mm(printer)
    every = (pastry, *further)
    radius = inscribed_diameter_mm(pastry.outline) / 2.0 - clearance - RELIEVED_MM
    layout = PressLayout(
        outline=pastry.outline,
        mould=mould,
        clearance_mm=clearance,
        joint=slide_joint(radius, gap) if own is None else SlideJoint(**own.joint.plain()),
        layer_mm=printer.layer_height_mm,
        step_mm=printer.height_step_mm,
        height_mm=pastry.height_mm,
        edge_mm=min(one.height_mm - one.edge_drop_mm for one in every),
        highest_mm=max(one.height_mm for one in every),
        top_mm=max(one.height_mm + one.depth_above_mm for one in every),
        edge_span_mm=max(one.edge_rise_mm + one.edge_drop_mm for one in every),
        freed_mm=max(one.height_mm + max(one.edge_rise_mm, 0.0) for one in every),
        low_mm=low_mm,
        kept=kept,
    )
    if own is not None:
        layout = _lifted(layout)
    elif kept is not None:
        _refuse_a_low_sleeve(layout)
    _refuse_a_thick_flange(layout)
    _refuse_a_long_way_out(layout)
    _refuse_a_thick_vane(layout)
    return layout


def _lifted(layout: PressLayout) -> PressLayout:
    """Return a press for a kept set with the stamp's back where its engraving has room.

    That is the set's own height where the stamp can do with it, so that the stop serves too; else
    as many layers higher or lower as a stamp of its own thickness takes.
    """
    enough = _missing_mm(layout, 1.0) >= -MOST_THICKER_MM
    if enough and _missing_mm(layout, KEPT_SHARE) <= WHOLE:
        return layout
    steps = ceil(_missing_mm(layout, 1.0) / layout.step_mm - WHOLE)
    made = replace(layout, lifted_mm=steps * layout.step_mm)
    beyond_mm = made.vane_top_mm + made.lead_in_height_mm - made.sleeve_height_mm
    if beyond_mm > 0.0:
        need = say("mould.kept-too-high", most_mm=layout.height_mm - beyond_mm)
        raise SpecError("pastry.height_mm", round(layout.height_mm, 2), need)
    return made


def _missing_mm(layout: PressLayout, share: float) -> float:
    """Return how much thicker a stamp has to be, for a share of skin and way out [mm]."""
    skin = layout.top_mm + share * layout.mould.skin_mm
    roof = max(skin, layout.land_top_mm + layout.layer_mm)
    thick = roof + layout.joint.depth_mm - layout.back_mm
    out = layout.freed_mm + share * layout.mould.past_rim_mm + LIP_MM
    return max(thick, out + layout.sleeve_height_mm - layout.disc_low_mm)


def _refuse_a_low_sleeve(layout: PressLayout) -> None:
    """Refuse a measured sleeve that stamp and vanes would stand out of."""
    least = layout.layers_up_mm(layout.back_mm + LEAST_VANE_MM + layout.above_vanes_mm)
    if layout.sleeve_height_mm < least:
        need = say("mould.low-sleeve", least_mm=least)
        raise SpecError("sleeve_height_mm", layout.sleeve_height_mm, need)


def _refuse_a_thick_flange(layout: PressLayout) -> None:
    if layout.mould.flange_thickness_mm > layout.sleeve_height_mm / 2.0:
        need = say("mould.thick-flange", most_mm=layout.sleeve_height_mm / 2.0)
        raise SpecError("mould.flange_thickness_mm", layout.mould.flange_thickness_mm, need)


def _refuse_a_long_way_out(layout: PressLayout) -> None:
    if layout.mould.past_rim_mm > layout.guide_length_mm / 2.0:
        need = say("mould.leaves-guide", most_mm=layout.guide_length_mm / 2.0)
        raise SpecError("mould.past_rim_mm", layout.mould.past_rim_mm, need)


def _refuse_a_thick_vane(layout: PressLayout) -> None:
    """Refuse vanes that would leave the stem no bare side."""
    if layout.mould.vane_thickness_mm > layout.joint.stem_radius_mm:
        need = say("mould.thick-vane", most_mm=layout.joint.stem_radius_mm)
        raise SpecError("mould.vane_thickness_mm", layout.mould.vane_thickness_mm, need)
