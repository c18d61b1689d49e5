"""The stamp: the complement of the pastry's top, with the joint in its back."""

from dataclasses import replace
from typing import Final, Protocol

from moulddesign.mesh import Mesh, difference
from moulddesign.mould.layout import Pressed, PressLayout
from moulddesign.mould.peg import Peg
from moulddesign.mould.screw import LEDGE_MM, Screw
from moulddesign.mould.section import Rectangle, Section, section
from moulddesign.mould.slope import RISE
from moulddesign.mould.solid import Solid, fused, plate, quarter_turned, stack, turned, without

FOOT_MM: Final = 0.6
"""Chamfer of the edges that lie on the bed, where the first layer flares out; our choice [mm]."""

NEAR_MM: Final = 0.1
"""How far the chamfer's tool reaches beyond the stamp: little, for notches to survive [mm]."""

OVER_MM: Final = 0.5
"""How far a tool reaches beyond the body that it cuts [mm]."""


class Stampable(Pressed, Protocol):
    """A pastry that can say what lies above it."""

    def block_above(self, inset_mm: float, top_mm: float) -> Mesh:
        """Return the closed solid between the pastry's top and the plane z = `top_mm` [mm]."""


def stamp_tools(layout: PressLayout) -> tuple[Solid, Solid]:
    """Return what is cut from a block to make a stamp: the joint's pocket and the edge's chamfer.

    Raises
    ------
    KernelError
        The kernel could not make it.
    """
    joint = layout.joint
    pocket = _pocket(joint, layout) if isinstance(joint, Peg) else _channel(joint, layout.back_mm)
    return pocket, _ring(layout)


def stamp(layout: PressLayout, pastry: Stampable, tools: tuple[Solid, Solid]) -> Mesh:
    """Return the stamp pressed onto the pastry.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    pastry : Stampable
        The pastry; its top is the stamp's face, sign turned.
    tools : (Solid, Solid)
        What `stamp_tools` returned.

    Returns
    -------
    Mesh
        In the assembly's coordinates, relief down.

    Raises
    ------
    KernelError
        A boolean failed.
    """
    block = pastry.block_above(layout.mould.clearance_mm, layout.back_mm)
    return difference(block, [tool.mesh() for tool in tools], "the stamp")


def stamp_blank(layout: PressLayout, tools: tuple[Solid, Solid]) -> Solid:
    """Return the stamp without relief or shoulder: its face is flat.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    tools : (Solid, Solid)
        What `stamp_tools` returned.

    Raises
    ------
    KernelError
        The kernel could not make it.
    """
    face = section(layout.outline, -layout.mould.clearance_mm)
    blank = stack([(layout.height_mm, face), (layout.back_mm, face)], "the stamp's blank")
    for tool in tools:
        blank = without(blank, tool, "the stamp's blank")
    return blank


def _pocket(peg: Peg, layout: PressLayout) -> Solid:
    """Chamfered mouth, the peg's slope, then a cone to a small flat ceiling."""
    back = layout.back_mm
    slope = (peg.mouth_radius_mm - peg.end_radius_mm) / peg.flank_mm
    # The bevel starts FOOT_MM outside the mouth and ends on the flank, which leans by `slope`.
    bevel = FOOT_MM / (1.0 / RISE - slope)
    profile = [
        (0.0, back + OVER_MM),
        (peg.mouth_radius_mm + FOOT_MM + OVER_MM / RISE, back + OVER_MM),
        (peg.mouth_radius_mm - slope * bevel, back - bevel),
        (peg.end_radius_mm, back - peg.flank_mm),
        (peg.roof_radius_mm, back - peg.depth_mm),
        (0.0, back - peg.depth_mm),
    ]
    return turned(profile, "the stamp's pocket")


def _channel(screw: Screw, back_mm: float) -> Solid:
    """Return the nut's channel under its ledge, the shank's slot and the opening beside it."""
    half, ledge, ceiling = screw.channel_mm / 2.0, back_mm - LEDGE_MM, back_mm - screw.depth_mm
    roof = screw.roof_mm / 2.0
    eaves = ceiling + screw.gable_mm
    near, far = screw.opening_mm
    gable = [
        (-half, ledge), (-half, eaves), (-roof, ceiling),
        (roof, ceiling), (half, eaves), (half, ledge),
    ]  # fmt: skip
    tunnel = quarter_turned(plate(gable, far + near, "the nut's channel"))
    over = back_mm + OVER_MM
    shank = -screw.size.hole_mm / 2.0
    slot = [(shank, ledge - OVER_MM), (far, ledge - OVER_MM), (far, over), (shank, over)]
    door = [(near, ledge - OVER_MM), (far, ledge - OVER_MM), (far, over), (near, over)]
    parts = [
        tunnel.moved(((far - near) / 2.0, 0.0, 0.0)),
        plate(slot, screw.size.hole_mm, "the bolt's slot"),
        plate(door, screw.channel_mm, "the nut's door"),
    ]
    return fused(parts, "the nut's channel")


def _ring(layout: PressLayout) -> Solid:
    """Return what the chamfer of the stamp's back takes away, and a little beyond the stamp."""
    back, clearance = layout.back_mm, layout.mould.clearance_mm
    face = _eased_alike(section(layout.outline, -clearance), FOOT_MM + NEAR_MM)
    outside = section(layout.outline, 2.0 * NEAR_MM - clearance)
    low, over = back - RISE * FOOT_MM, RISE * NEAR_MM
    block = [(low - over / 2.0, outside), (back + over / 2.0, outside)]
    cone = [(low - over, face.eased(-NEAR_MM)), (back + over, face.eased(FOOT_MM + NEAR_MM))]
    step = "the edge of the stamp's back"
    return without(stack(block, step), stack(cone, step), step)


def _eased_alike(face: Section, by_mm: float) -> Section:
    """Return the section, sharp where easing would swallow its corners: all chamfers stay flat."""
    if isinstance(face, Rectangle) and face.corner_radius_mm <= by_mm:
        return replace(face, corner_radius_mm=0.0)
    return face
