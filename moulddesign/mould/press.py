"""The press mould: sleeve, stamp and plunger for one pastry."""

from moulddesign.design import Design
from moulddesign.mesh import Mesh
from moulddesign.mould import faceted, solid
from moulddesign.mould.layout import PressLayout
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.plunger import plunger
from moulddesign.mould.press_layout import press_layout
from moulddesign.mould.section import is_exact
from moulddesign.mould.sleeve import sleeve
from moulddesign.mould.solid import Solid
from moulddesign.mould.stamp import FOOT_MM, Stampable, stamp, stamp_blank, stamp_tools

Bed = tuple[float, float, float]


def press(design: Design, pastry: Stampable) -> MouldSet:
    """Return the press mould of a pastry.

    Parameters
    ----------
    design : Design
        What is asked for: clearance, wall, joint, printer and so on.
    pastry : Stampable
        The pastry that it presses: outline, height and the block above its top.

    Returns
    -------
    MouldSet
        Sleeve, stamp, plunger, in the assembly's coordinates: the table is z = 0, the pastry
        stands on it, pressed to its nominal height. A drawn outline has no exact bodies.

    Raises
    ------
    SpecError
        The mould cannot be made so; the sentence names what to change.
    KernelError
        A geometry library could not do a step, or the CAD kernel is not installed.
    """
    layout, bed = press_layout(design, pastry), design.printer.bed_mm
    moves = 2.0 * max(layout.mould.lead_in_mm, layout.mould.clearance_mm + FOOT_MM)
    made = _exact if is_exact(layout.outline, moves) else _faceted
    return MouldSet(parts=made(layout, pastry, bed), layout=layout)


def _exact(layout: PressLayout, pastry: Stampable, bed_mm: Bed) -> tuple[Part, ...]:
    tools = stamp_tools(layout, solid)
    face = stamp(layout, pastry, [tool.mesh() for tool in tools])
    outside, inside = sleeve(layout, solid), plunger(layout, solid)
    return (
        _part("sleeve", outside.mesh(), bed_mm, solid=outside),
        _part("stamp", face, bed_mm, blank=stamp_blank(layout, tools, solid)),
        _part("plunger", inside.mesh(), bed_mm, solid=inside),
    )


def _faceted(layout: PressLayout, pastry: Stampable, bed_mm: Bed) -> tuple[Part, ...]:
    return (
        _part("sleeve", sleeve(layout, faceted), bed_mm),
        _part("stamp", stamp(layout, pastry, stamp_tools(layout, faceted)), bed_mm),
        _part("plunger", plunger(layout, faceted), bed_mm),
    )


def _part(
    name: str, mesh: Mesh, bed_mm: Bed, *, solid: Solid | None = None, blank: Solid | None = None
) -> Part:
    """Return a part that is printed upside down, as all three are.

    Flange, palm disc and the stamp's back lie on the bed, so the relief is up.
    """
    pose = pose_on_bed(mesh, bed_mm, half_turns=1, name=name)
    return Part(name=name, mesh=mesh, pose=pose, solid=solid, blank=blank)
