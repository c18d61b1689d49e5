"""From a design and a pastry to the sizes of a press mould, or the reason why not."""

from collections.abc import Sequence
from typing import Final

from moulddesign.design import Design
from moulddesign.design.mould import Joint, MouldTable
from moulddesign.errors import SpecError
from moulddesign.mould.layout import Pressed, PressLayout
from moulddesign.mould.peg import COLLAR_MM, Peg
from moulddesign.mould.screw import SCREWS, Screw
from moulddesign.mould.section import inner_width_mm

PEG_TO_WIDTH: Final = 0.3
"""Peg to the pastry's narrower side; our choice."""

MOST_PEG_MM: Final = 18.0
"""Widest peg that is not asked for by name; our choice [mm]."""

LEAST_PEG_MM: Final = 6.0
"""Thinnest peg, as thin as the design file allows [mm]."""

LAND_MM: Final = 2.0
"""Least plastic between stem and bore, and between bolt head and the stem's side [mm]."""


def press_layout(design: Design, pastry: Pressed, further: Sequence[Pressed] = ()) -> PressLayout:
    """Return the sizes of the press mould for a pastry.

    Parameters
    ----------
    design : Design
        What is asked for.
    pastry : Pressed
        The pastry: outline, height, relief above the flat top.
    further : sequence of Pressed
        Others of the same outline. All stamps are as thick as the one with the deepest engraving,
        so that one plunger goes with each; the sleeve takes the highest.

    Raises
    ------
    SpecError
        Two sizes contradict each other; the sentence names the one to change.
    """
    mould = design.mould
    narrow = inner_width_mm(pastry.outline)
    layout = PressLayout(
        outline=pastry.outline,
        mould=mould,
        height_mm=pastry.height_mm,
        depth_above_mm=max(one.depth_above_mm for one in (pastry, *further)),
        joint=_joint(mould, narrow, design.printer.layer_height_mm),
        higher_mm=max([0.0, *(one.height_mm - pastry.height_mm for one in further)]),
    )
    _refuse_a_wide_stem(layout)
    _refuse_thin_rims(layout, 2.0 * design.printer.line_width_mm)
    _refuse_a_long_way_out(layout)
    _refuse_hidden_rings(layout)
    return layout


def _joint(mould: MouldTable, narrow_mm: float, layer_mm: float) -> Peg | Screw:
    if mould.joint is Joint.BOLT:
        return Screw(size=SCREWS[mould.bolt], bridge_mm=mould.bridge_mm, layer_mm=layer_mm)
    return Peg(
        diameter_mm=_peg_diameter_mm(mould, narrow_mm),
        length_mm=mould.peg_length_mm,
        taper_deg=mould.peg_taper_deg,
        interference_mm=mould.peg_interference_mm,
        bridge_mm=mould.bridge_mm,
    )


def _peg_diameter_mm(mould: MouldTable, narrow_mm: float) -> float:
    if mould.peg_diameter_mm is not None:
        return mould.peg_diameter_mm
    if PEG_TO_WIDTH * narrow_mm < LEAST_PEG_MM:
        need = (
            f"leaves no room for the plunger's joint, which needs {LEAST_PEG_MM / PEG_TO_WIDTH:g} "
            "mm across; ask for a wider, flatter piece or set mould.peg_diameter_mm"
        )
        raise SpecError("pastry.width_mm", round(narrow_mm, 2), need)
    return min(PEG_TO_WIDTH * narrow_mm, MOST_PEG_MM)


def _refuse_a_wide_stem(layout: PressLayout) -> None:
    """Refuse what does not pass the bore, or leaves the stamp too thin round its joint."""
    bore = layout.narrow_mm / 2.0 - layout.mould.clearance_mm
    most = bore - max(LAND_MM, layout.gusset_mm)
    if layout.reach_mm <= bore - LAND_MM and layout.stem_radius_mm <= most:
        return
    across = f"{layout.narrow_mm:.4g} mm across"
    if isinstance(layout.joint, Peg):
        need = (
            f"is too wide for a pastry {across}; at most {2.0 * (most - COLLAR_MM):.3g} mm "
            "leaves room for the stem round it"
        )
        raise SpecError("mould.peg_diameter_mm", layout.joint.diameter_mm, need)
    need = f"is too large for a pastry {across}; take a smaller bolt, or joint = peg"
    raise SpecError("mould.bolt", layout.mould.bolt.value, need)


def _refuse_thin_rims(layout: PressLayout, two_lines_mm: float) -> None:
    mould = layout.mould
    rim = mould.wall_mm + mould.flange_width_mm - mould.lead_in_mm
    if rim < two_lines_mm:
        need = f"leaves {rim:.3g} mm of rim, less than two lines; lessen it or widen mould.wall_mm"
        raise SpecError("mould.lead_in_mm", mould.lead_in_mm, need)
    if mould.disc_rim_mm < mould.lead_in_mm + two_lines_mm:
        need = (
            f"must be at least {mould.lead_in_mm + two_lines_mm:.3g} mm, the lead-in and two "
            "lines, for the disc to stop on the sleeve"
        )
        raise SpecError("mould.disc_rim_mm", mould.disc_rim_mm, need)
    if mould.flange_thickness_mm > layout.sleeve_height_mm / 2.0:
        most = layout.sleeve_height_mm / 2.0
        need = f"must be at most half the sleeve, {most:.3g} mm"
        raise SpecError("mould.flange_thickness_mm", mould.flange_thickness_mm, need)


def _refuse_a_long_way_out(layout: PressLayout) -> None:
    if layout.mould.past_rim_mm > layout.guide_length_mm / 2.0:
        need = (
            f"lets the stamp leave its guide; at most {layout.guide_length_mm / 2.0:.3g} mm, half "
            "the guided length"
        )
        raise SpecError("mould.past_rim_mm", layout.mould.past_rim_mm, need)


def _refuse_hidden_rings(layout: PressLayout) -> None:
    if layout.mould.vane_thickness_mm > layout.stem_radius_mm:
        need = (
            f"hides the height rings on the stem; at most {layout.stem_radius_mm:.3g} mm, the "
            "stem's radius"
        )
        raise SpecError("mould.vane_thickness_mm", layout.mould.vane_thickness_mm, need)
