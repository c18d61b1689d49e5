"""The press mould: sleeve, stamp and plunger for one pastry, and stamps for others like it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from moulddesign.design import Design, PrinterTable
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

NONE: Final[Mapping[str, Stampable]] = MappingProxyType({})
"""No further pastries."""


def press(
    design: Design, pastry: Stampable, further: Mapping[str, Stampable] = NONE
) -> MouldSet[PressLayout]:
    """Return the press mould of a pastry.

    Parameters
    ----------
    design : Design
        What is asked for: clearance, wall, joint, printer and so on.
    pastry : Stampable
        The pastry that it presses: outline, height and the block above its top.
    further : mapping of str to Stampable
        Names of further stamps, and their pastries of the same outline.

    Returns
    -------
    MouldSet
        Sleeve, stamp, plunger, then the further stamps, in the assembly's coordinates: the table
        is z = 0, each stamp's pastry stands on it, pressed to its nominal height. A drawn outline
        has no exact bodies.

    Raises
    ------
    SpecError
        The mould cannot be made so; the sentence names what to change.
    KernelError
        A geometry library could not do a step, or the CAD kernel is not installed.
    """
    layout = press_layout(design, pastry, tuple(further.values()))
    moves = 2.0 * max(layout.mould.lead_in_mm, layout.mould.clearance_mm + FOOT_MM)
    made = _exact if is_exact(layout.outline, moves) else _faceted
    return MouldSet(parts=made(layout, pastry, design.printer, further=further), layout=layout)


def _exact(
    layout: PressLayout,
    pastry: Stampable,
    printer: PrinterTable,
    *,
    further: Mapping[str, Stampable],
) -> tuple[Part, ...]:
    tools = stamp_tools(layout, solid)
    facets = [tool.mesh() for tool in tools]
    face = stamp(layout, pastry, facets)
    outside, inside = sleeve(layout, solid), plunger(layout, solid)
    return (
        _part("sleeve", outside.mesh(), printer, solid=outside),
        _part("stamp", face, printer, blank=stamp_blank(layout, tools, solid)),
        _part("plunger", inside.mesh(), printer, solid=inside),
        *_further(layout, further, facets, printer=printer),
    )


def _faceted(
    layout: PressLayout,
    pastry: Stampable,
    printer: PrinterTable,
    *,
    further: Mapping[str, Stampable],
) -> tuple[Part, ...]:
    facets = stamp_tools(layout, faceted)
    return (
        _part("sleeve", sleeve(layout, faceted), printer),
        _part("stamp", stamp(layout, pastry, facets), printer),
        _part("plunger", plunger(layout, faceted), printer),
        *_further(layout, further, facets, printer=printer),
    )


def _further(
    layout: PressLayout,
    further: Mapping[str, Stampable],
    facets: Sequence[Mesh],
    *,
    printer: PrinterTable,
) -> tuple[Part, ...]:
    """Return stamps as thick as the first, cut by its tools where they stand on their pastries."""
    made = []
    for name, pastry in further.items():
        up_mm = pastry.height_mm - layout.height_mm
        raised = [tool.moved((0.0, 0.0, up_mm)) for tool in facets]
        face = stamp(replace(layout, height_mm=pastry.height_mm), pastry, raised)
        made.append(replace(_part(name, face, printer), is_further=True))
    return tuple(made)


def _part(
    name: str,
    mesh: Mesh,
    printer: PrinterTable,
    *,
    solid: Solid | None = None,
    blank: Solid | None = None,
) -> Part:
    """Return a part that is printed upside down, as all three are.

    Flange, palm disc and the stamp's back lie on the bed, so the relief is up.
    """
    pose = pose_on_bed(mesh, printer, half_turns=1, name=name)
    return Part(name=name, mesh=mesh, pose=pose, solid=solid, blank=blank)
