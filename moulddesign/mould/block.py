"""The knock-out block: cavities with leaning sides, a rim around them, a handle to strike with."""

from math import pi
from typing import Final, Protocol

from moulddesign.design import Design
from moulddesign.mesh import Mesh, difference
from moulddesign.mould import faceted, solid
from moulddesign.mould.block_layout import FILLET_MM, BlockLayout, block_layout
from moulddesign.mould.grid import rounded
from moulddesign.mould.kernel import Body, Kernel
from moulddesign.mould.layout import Pressed
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.section import Bent, Round, section
from moulddesign.mould.slope import RISE
from moulddesign.mould.solid import Solid
from moulddesign.pastry.outline import Arc

EASE_MM: Final = 0.8
"""Chamfer of outer edges; on the bed it keeps the first layer's flare inside; our choice [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond the body that it cuts [mm]."""


class Standing(Pressed, Protocol):
    """A pastry that can be cut from a block or joined to a tray."""

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid [mm^3]."""

    def reaching(self, below_mm: float) -> Mesh:
        """Return the solid with its outline drawn out below the table by a length [mm]."""


def block(design: Design, pastry: Standing) -> MouldSet[BlockLayout]:
    """Return the knock-out block of a pastry, or of several side by side.

    Parameters
    ----------
    design : Design
        What is asked for: cavities, land, floor, handle, printer.
    pastry : Standing
        What is knocked out, relief up, its outline at the table the widest.

    Returns
    -------
    MouldSet
        One part, in the assembly's coordinates: mouth down on the table z = 0 over the pastry.
        The blank is the body without engraving or shoulder, where it has exact surfaces.

    Raises
    ------
    SpecError
        It cannot be made so; the sentence names what to change.
    KernelError
        A geometry library could not do a step.
    """
    layout = block_layout(design, pastry)
    tool = pastry.reaching(OVER_MM)
    cavities = [tool.moved((x, y, 0.0)) for x, y in layout.grid.centres_mm]
    mesh = difference(_body(layout, faceted), cavities, "the block's cavities")
    pose = pose_on_bed(mesh, design.printer, half_turns=1, name="block")
    part = Part(name="block", mesh=mesh, pose=pose, blank=_blank(layout))
    return MouldSet(parts=(part,), layout=layout)


def _blank(layout: BlockLayout) -> Solid | None:
    """Return the block with flat cavities; None where their sides have no exact surfaces."""
    mouth = section(layout.outline, 0.0)
    floor = _alike(mouth, layout.run_mm)
    if floor is None:
        return None
    levels = [(-OVER_MM, mouth), (0.0, mouth), (layout.height_mm, floor)]
    cavity = solid.stack(levels, "a flat cavity")
    body = _body(layout, solid)
    for x, y in layout.grid.centres_mm:
        body = solid.without(body, solid.moved(cavity, (x, y, 0.0)), "the block's blank")
    return body


def _alike(mouth: object, run_mm: float) -> Round | Bent | None:
    """Return the mouth's parallel where it has the same edges, corner for corner."""
    if isinstance(mouth, Round):
        return mouth.eased(run_mm)
    if not isinstance(mouth, Bent):
        return None
    convex = [arc.radius_mm for arc in mouth.arcs if arc.turn_rad > 0.0]
    sharp = max(convex) == 0.0
    return mouth.eased(run_mm) if sharp or min(convex) > run_mm else None


def _body(layout: BlockLayout, draw: Kernel[Body]) -> Body:
    slab = draw.stack(_eased(_slab(layout), 0.0, layout.thickness_mm), "the block")
    if not layout.mould.handle_length_mm:
        return slab
    low = layout.thickness_mm - layout.handle_thickness_mm
    paddle = draw.stack(_eased(_paddle(layout), low, layout.thickness_mm), "the block's handle")
    body = draw.fused([slab, paddle], "the block")
    if not layout.mould.hole_mm:
        return body
    return draw.without(body, _hole(layout, draw), "the handle's hole")


def _eased(plan: Bent, low: float, high: float) -> list[tuple[float, Bent]]:
    inner, rise = plan.eased(EASE_MM), RISE * EASE_MM
    return [(low, inner), (low + rise, plan), (high - rise, plan), (high, inner)]


def _slab(layout: BlockLayout) -> Bent:
    """Return the rounded rectangle around all cavities."""
    return Bent(arcs=rounded(layout.slab_mm, layout.corner_mm))


def _paddle(layout: BlockLayout) -> Bent:
    """Return the rounded rectangle with the handle on its left."""
    lower_right, upper_right, upper_left, lower_left = rounded(layout.slab_mm, layout.corner_mm)
    (x0, _), _ = layout.slab_mm
    (x, y), half = _handle_end(layout), layout.mould.handle_width_mm / 2.0
    off = half + FILLET_MM
    upper, lower = (x0 - FILLET_MM, y + off), (x0 - FILLET_MM, y - off)
    into = Arc(centre=upper, radius_mm=FILLET_MM, start_rad=0.0, turn_rad=-pi / 2.0)
    end = Arc(centre=(x, y), radius_mm=half, start_rad=pi / 2.0, turn_rad=pi)
    out = Arc(centre=lower, radius_mm=FILLET_MM, start_rad=pi / 2.0, turn_rad=-pi / 2.0)
    return Bent(arcs=(lower_right, upper_right, upper_left, into, end, out, lower_left))


def _handle_end(layout: BlockLayout) -> tuple[float, float]:
    """Return the middle of the handle's round end [mm]."""
    (x0, y0), (_, y1) = layout.slab_mm
    mould = layout.mould
    return x0 - mould.handle_length_mm + mould.handle_width_mm / 2.0, (y0 + y1) / 2.0


def _hole(layout: BlockLayout, draw: Kernel[Body]) -> Body:
    radius, high = layout.mould.hole_mm / 2.0, layout.thickness_mm
    low, over = high - layout.handle_thickness_mm, EASE_MM + OVER_MM
    profile = [
        (0.0, low - RISE * OVER_MM), (radius + over, low - RISE * OVER_MM),
        (radius, low + RISE * EASE_MM), (radius, high - RISE * EASE_MM),
        (radius + over, high + RISE * OVER_MM),
        (0.0, high + RISE * OVER_MM),
    ]  # fmt: skip
    x, y = _handle_end(layout)
    return draw.moved(draw.turned(profile, "the handle's hole"), (x, y, 0.0))
