"""The sleeve: bore, wall, finger flange, lead-in."""

from typing import Final

from moulddesign.mould.kernel import Body, Kernel
from moulddesign.mould.layout import PressLayout
from moulddesign.mould.section import around, section
from moulddesign.mould.slope import RISE

EASE_MM: Final = 0.6
"""Chamfer of outer edges, where the wall has it to give; our choice [mm]."""

GUSSET_MM: Final = 2.0
"""Cone under the flange, 45 deg, against a crack in the corner; our choice [mm]."""

OVER_MM: Final = 0.1
"""How far a tool reaches beyond the body that it cuts [mm]."""


def sleeve(layout: PressLayout, draw: Kernel[Body]) -> Body:
    """Return the sleeve, standing on the table as it does in use.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    draw : Kernel
        What draws it.

    Returns
    -------
    Body
        Bore sharp at the table, outer edges eased, flange at the top.

    Raises
    ------
    KernelError
        The kernel could not make it.
    """
    outside = [_wall(layout, draw), *_flange(layout, draw)]
    body = draw.fused(outside, "the sleeve's outside") if len(outside) > 1 else outside[0]
    return draw.without(body, _bore(layout, draw), "the sleeve's bore")


def _wall(layout: PressLayout, draw: Kernel[Body]) -> Body:
    mould, top = layout.mould, layout.sleeve_height_mm
    wall = around(layout.outline, mould.wall_mm)
    ease = min(EASE_MM, mould.wall_mm / 4.0)
    foot = [(0.0, wall.eased(ease)), (ease, wall)]
    if not mould.flange_width_mm:
        head = [(top - RISE * ease, wall), (top, wall.eased(ease))]
        return draw.stack([*foot, *head], "the sleeve's wall")
    gusset = min(GUSSET_MM, mould.flange_width_mm / 2.0)
    under = top - mould.flange_thickness_mm
    inside_flange = under + mould.flange_thickness_mm / 2.0
    wide = wall.eased(-gusset)
    head = [(under - gusset, wall), (under, wide), (inside_flange, wide)]
    return draw.stack([*foot, *head], "the sleeve's wall")


def _flange(layout: PressLayout, draw: Kernel[Body]) -> list[Body]:
    mould, top = layout.mould, layout.sleeve_height_mm
    if not mould.flange_width_mm:
        return []
    rim = around(layout.outline, mould.wall_mm + mould.flange_width_mm)
    ease = min(EASE_MM, mould.flange_thickness_mm / 4.0, mould.flange_width_mm / 4.0)
    under = top - mould.flange_thickness_mm
    sections = [
        (under, rim.eased(ease)),
        (under + ease, rim),
        (top - RISE * ease, rim),
        (top, rim.eased(ease)),
    ]
    return [draw.stack(sections, "the sleeve's flange")]


def _bore(layout: PressLayout, draw: Kernel[Body]) -> Body:
    """Return the bore with its lead-in, longer than the sleeve so that no faces coincide."""
    bore = section(layout.outline, 0.0)
    top, lead_in = layout.sleeve_height_mm, layout.mould.lead_in_mm
    mouth = bore.eased(-(lead_in + OVER_MM / RISE))
    sections = [(-OVER_MM, bore), (top - layout.lead_in_height_mm, bore), (top + OVER_MM, mouth)]
    return draw.stack(sections, "the sleeve's bore")
