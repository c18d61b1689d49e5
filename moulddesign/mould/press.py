"""The press mould: sleeve, stamp and plunger for one pastry."""

from moulddesign.design import Design
from moulddesign.mesh import Mesh
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.plunger import plunger
from moulddesign.mould.press_layout import press_layout
from moulddesign.mould.sleeve import sleeve
from moulddesign.mould.solid import Solid
from moulddesign.mould.stamp import Stampable, stamp, stamp_blank, stamp_tools


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
        stands on it, pressed to its nominal height.

    Raises
    ------
    SpecError
        The mould cannot be made so; the sentence names what to change.
    KernelError
        A geometry library could not do a step, or the CAD kernel is not installed.
    """
    layout = press_layout(design, pastry)
    tools = stamp_tools(layout)
    bed = design.printer.bed_mm
    face = stamp(layout, pastry, tools)
    parts = (
        _turned_part("sleeve", sleeve(layout), bed),
        _stamp_part(face, stamp_blank(layout, tools), bed),
        _turned_part("plunger", plunger(layout), bed),
    )
    return MouldSet(parts=parts, layout=layout)


def _turned_part(name: str, solid: Solid, bed_mm: tuple[float, float, float]) -> Part:
    """Sleeve and plunger are printed upside down: flange and palm disc lie on the bed."""
    mesh = solid.mesh()
    return Part(
        name=name, mesh=mesh, pose=pose_on_bed(mesh, bed_mm, half_turns=1, name=name), solid=solid
    )


def _stamp_part(mesh: Mesh, blank: Solid, bed_mm: tuple[float, float, float]) -> Part:
    """Print the stamp upside down too: its back lies on the bed, its relief is up."""
    return Part(
        name="stamp",
        mesh=mesh,
        pose=pose_on_bed(mesh, bed_mm, half_turns=1, name="stamp"),
        blank=blank,
    )
