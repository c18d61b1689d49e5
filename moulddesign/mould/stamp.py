"""The stamp: the complement of the pastry's top, with the joint in its back."""

from collections.abc import Sequence
from typing import Final, Protocol

import numpy as np

from moulddesign.mesh import Mesh, difference, unfolded
from moulddesign.mould.kernel import Body, Kernel
from moulddesign.mould.layout import Pressed, PressLayout
from moulddesign.mould.peg import Peg
from moulddesign.mould.screw import LEDGE_MM, Screw
from moulddesign.mould.section import Bent, section
from moulddesign.mould.slope import RISE
from moulddesign.mould.weld import near_groups

FOOT_MM: Final = 0.6
"""Chamfer of the edges that lie on the bed, where the first layer flares out; our choice [mm]."""

NEAR_MM: Final = 0.1
"""How far the chamfer's tool reaches beyond the stamp: little, for notches to survive [mm]."""

SLIVER_MM: Final = 1e-4
"""Corners of the chamfer nearer than this are one: some steps of float32 at 200 mm [mm]."""

OVER_MM: Final = 0.5
"""How far a tool reaches beyond the body that it cuts [mm]."""


class Stampable(Pressed, Protocol):
    """A pastry that can say what lies above it."""

    def block_above(self, inset_mm: float, top_mm: float) -> Mesh:
        """Return the closed solid between the pastry's top and the plane z = `top_mm` [mm]."""


def stamp_tools(layout: PressLayout, draw: Kernel[Body]) -> tuple[Body, Body]:
    """Return what is cut from a block to make a stamp: the joint's pocket and the edge's chamfer.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    draw : Kernel
        What draws them.

    Raises
    ------
    KernelError
        The kernel could not make it.
    """
    joint = layout.joint
    if isinstance(joint, Peg):
        return _pocket(joint, layout.back_mm, draw), _ring(layout, draw)
    return _channel(joint, layout.back_mm, draw), _ring(layout, draw)


def stamp(layout: PressLayout, pastry: Stampable, tools: Sequence[Mesh]) -> Mesh:
    """Return the stamp pressed onto the pastry.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    pastry : Stampable
        The pastry; its top is the stamp's face, sign turned.
    tools : sequence of Mesh
        The facets of what `stamp_tools` returned.

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
    cut = difference(block, tools, "the stamp")
    return _without_slivers(cut, above_mm=layout.back_mm - 2.0 * FOOT_MM)


def stamp_blank(layout: PressLayout, tools: Sequence[Body], draw: Kernel[Body]) -> Body:
    """Return the stamp without relief or shoulder: its face is flat.

    Parameters
    ----------
    layout : PressLayout
        The sizes.
    tools : sequence of Body
        What `stamp_tools` returned.
    draw : Kernel
        What draws it.

    Raises
    ------
    KernelError
        The kernel could not make it.
    """
    face = section(layout.outline, -layout.mould.clearance_mm)
    blank = draw.stack([(layout.height_mm, face), (layout.back_mm, face)], "the stamp's blank")
    for tool in tools:
        blank = draw.without(blank, tool, "the stamp's blank")
    return blank


def _pocket(peg: Peg, back: float, draw: Kernel[Body]) -> Body:
    """Chamfered mouth, the peg's slope, then a cone to a small flat ceiling."""
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
    return draw.turned(profile, "the stamp's pocket")


def _channel(screw: Screw, back_mm: float, draw: Kernel[Body]) -> Body:
    """Return the nut's channel under its ledge, the shank's slot and the opening beside it."""
    half, ledge, ceiling = screw.channel_mm / 2.0, back_mm - LEDGE_MM, back_mm - screw.depth_mm
    roof = screw.roof_mm / 2.0
    eaves = ceiling + screw.gable_mm
    near, far = screw.opening_mm
    gable = [
        (-half, ledge), (-half, eaves), (-roof, ceiling),
        (roof, ceiling), (half, eaves), (half, ledge),
    ]  # fmt: skip
    tunnel = draw.quarter_turned(draw.plate(gable, far + near, "the nut's channel"))
    over = back_mm + OVER_MM
    shank = -screw.size.hole_mm / 2.0
    slot = [(shank, ledge - OVER_MM), (far, ledge - OVER_MM), (far, over), (shank, over)]
    door = [(near, ledge - OVER_MM), (far, ledge - OVER_MM), (far, over), (near, over)]
    parts = [
        draw.moved(tunnel, ((far - near) / 2.0, 0.0, 0.0)),
        draw.plate(slot, screw.size.hole_mm, "the bolt's slot"),
        draw.plate(door, screw.channel_mm, "the nut's door"),
    ]
    return draw.fused(parts, "the nut's channel")


def _ring(layout: PressLayout, draw: Kernel[Body]) -> Body:
    """Return what the chamfer of the stamp's back takes away, and a little beyond the stamp."""
    back, clearance = layout.back_mm, layout.mould.clearance_mm
    face = section(layout.outline, -clearance)
    if isinstance(face, Bent):
        face = face.sharpened(FOOT_MM + NEAR_MM)  # else easing would swallow the smallest corners
    outside = section(layout.outline, 2.0 * NEAR_MM - clearance)
    low, over = back - RISE * FOOT_MM, RISE * NEAR_MM
    block = [(low - over / 2.0, outside), (back + over / 2.0, outside)]
    cone = [(low - over, face.eased(-NEAR_MM)), (back + over, face.eased(FOOT_MM + NEAR_MM))]
    step = "the edge of the stamp's back"
    return draw.without(draw.stack(block, step), draw.stack(cone, step), step)


def _without_slivers(mesh: Mesh, *, above_mm: float) -> Mesh:
    """Return the stamp with corners welded that its chamfer left a float32 step apart.

    The chamfer's facets end on the block's own edges, give or take round-off. The relief lies
    below and is left alone.
    """
    high = np.flatnonzero(mesh.vertices[:, 2] > above_mm)
    groups = near_groups(mesh.vertices[high], SLIVER_MM)
    lead = np.arange(len(mesh.vertices))
    lead[high] = high[groups]
    used, corners = np.unique(unfolded(lead[mesh.triangles]), return_inverse=True)
    return Mesh(mesh.vertices[used], corners.reshape(-1, 3))
