"""What every kind of mould is: named parts that know how they stand, and how they are printed."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from moulddesign.design import PrinterTable
from moulddesign.errors import SpecError
from moulddesign.mesh import Mesh
from moulddesign.mould.solid import Solid
from moulddesign.settling import settled

Layout_co = TypeVar("Layout_co", covariant=True)

AXES = ("x", "y", "z")
PRESS_SMALLER: Final = "shorten mould.guide_to_width, narrow mould.flange_width_mm"
SMALLER: Final = {
    "block": "lessen mould.floor_mm or mould.handle_length_mm",
    "master": "lessen mould.land_mm or mould.cover_mm",
}
"""What makes a part smaller, by its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """How a part moves from the assembly to the printer's bed.

    Parameters
    ----------
    half_turns : int
        1 where it is first turned over about the x axis, else 0.
    shift_mm : tuple of float
        Then moved by this vector [mm].
    scale : float
        First made larger by this, where prints come out smaller by as much.
    """

    half_turns: int
    shift_mm: tuple[float, float, float]
    scale: float = 1.0

    def of_mesh(self, mesh: Mesh) -> Mesh:
        """Return a mesh of the assembly as it lies on the bed."""
        grown = mesh if self.scale == 1.0 else Mesh(self.scale * mesh.vertices, mesh.triangles)
        return (grown.turned_over() if self.half_turns else grown).moved(self.shift_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One thing to print.

    Parameters
    ----------
    name : str
        Its name, and that of its files.
    mesh : Mesh
        As it stands in the assembly.
    pose : Pose
        From there to the bed.
    solid : Solid or None
        The same body with exact surfaces, where there is one.
    blank : Solid or None
        The body without its relief, where it has one.
    plain : Mesh or None
        The mesh before letters were sunk into it, where they were; exact bodies have none.
    lettering : str
        What is written on it; empty where nothing is.
    is_further : bool
        Whether it takes the place of another part, and stands in an assembly of its own.
    """

    name: str
    mesh: Mesh
    pose: Pose
    solid: Solid | None = None
    blank: Solid | None = None
    plain: Mesh | None = None
    lettering: str = ""
    is_further: bool = False

    @property
    def printed(self) -> Mesh:
        """As it lies on the bed, on z = 0 about its middle, in float32 numbers for the files."""
        return settled(self.pose.of_mesh(self.mesh))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldSet(Generic[Layout_co]):
    """A mould: its parts, and the sizes that checks need.

    Parameters
    ----------
    parts : tuple of Part
        In the order in which they are listed everywhere.
    layout : object
        Every height and radius, a value of its own for each kind of mould.
    """

    parts: tuple[Part, ...]
    layout: Layout_co

    @property
    def assembled(self) -> tuple[Part, ...]:
        """The parts that go together, without further ones that take the place of another."""
        return tuple(part for part in self.parts if not part.is_further)

    def part(self, name: str) -> Part:
        """Return the part of a name; `KeyError` where there is none."""
        return {part.name: part for part in self.parts}[name]


def pose_on_bed(mesh: Mesh, printer: PrinterTable, *, half_turns: int, name: str) -> Pose:
    """Return the pose that lays a part on the bed.

    Parameters
    ----------
    mesh : Mesh
        The part as it stands in the assembly.
    printer : PrinterTable
        Build volume, and how much smaller prints come out.
    half_turns : int
        1 where it is printed upside down, else 0.
    name : str
        The part's name, for the error.

    Returns
    -------
    Pose
        What is printed is larger than the assembly by 1 / (1 - shrink), so the print has the
        assembly's sizes; what is proven on the assembly holds for the print.

    Raises
    ------
    SpecError
        It is larger than the build volume.
    """
    scale, bed_mm = 1.0 / (1.0 - printer.shrink), printer.bed_mm
    size = (scale * mesh.size_mm).tolist()
    too_long = [axis for axis, part, bed in zip(AXES, size, bed_mm, strict=True) if part > bed]
    if too_long:
        need = (
            f"is smaller than the {name} along {_listed(too_long)}, which is "
            f"{' x '.join(f'{length:.1f}' for length in size)} mm; make the pastry smaller, "
            f"{SMALLER.get(name, PRESS_SMALLER)} or take a larger printer"
        )
        raise SpecError("printer.bed_mm", bed_mm, need)
    turned = Pose(half_turns=half_turns, shift_mm=(0.0, 0.0, 0.0), scale=scale).of_mesh(mesh)
    low, high = turned.bounds
    x, y, _ = ((low + high) / 2.0).tolist()
    shift = (bed_mm[0] / 2.0 - x, bed_mm[1] / 2.0 - y, -float(low[2]))
    return Pose(half_turns=half_turns, shift_mm=shift, scale=scale)


def _listed(words: Iterable[str]) -> str:
    return " and ".join(words)
