"""What every kind of mould is.

Named parts, how they stand on the bed, and what each takes to print.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, pi
from typing import Generic, TypeVar

from moulddesign.artwork.outline import Arc, Outline
from moulddesign.core import Message, SpecError, say, word
from moulddesign.design import BlockTable, CastTable, PrinterTable
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.mould.cad_kernel import Solid

Layout_co = TypeVar("Layout_co", covariant=True)

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """How a part moves from the assembly to the printer's bed."""

    half_turns: int
    """1 where it is first turned over about the x axis, else 0."""
    shift_mm: tuple[float, float, float]
    """Then moved by this vector [mm]."""
    scale: float = 1.0
    """First made larger by this, where prints come out smaller by as much."""

    def of_mesh(self, mesh: Mesh) -> Mesh:
        """Return a mesh of the assembly as it lies on the bed."""
        grown = mesh if self.scale == 1.0 else Mesh(self.scale * mesh.vertices, mesh.triangles)
        return (grown.turned_over() if self.half_turns else grown).moved(self.shift_mm)

    def of_point(self, point_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        """Return a point of the assembly as it lies on the bed [mm]."""
        x, y, z = (self.scale * one for one in point_mm)
        side = -1.0 if self.half_turns else 1.0
        dx, dy, dz = self.shift_mm
        return x + dx, side * y + dy, side * z + dz


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One thing to print."""

    name: str
    """Its name, and that of its files."""
    mesh: Mesh
    pose: Pose
    solid: Callable[[], Solid] | None = None
    """Draws the same body with exact surfaces and without letters, where it has them.

    It can be sent to another process, as `blank` can."""
    blank: Callable[[], Solid] | None = None
    """Draws the body without its relief, where it has one and exact surfaces."""
    plain: Mesh | None = None
    """The mesh before letters were sunk into it, where they were."""
    lettering: str = ""
    """What is written on it; empty where nothing is."""
    on_bed: Mesh | None = None
    """As it lies on the bed, where that was settled before the part was moved in the assembly."""
    is_further: bool = False
    """Whether it takes the place of another part, and stands in an assembly of its own."""

    @property
    def printed(self) -> Mesh:
        """As it lies on the bed, on z = 0 about its middle, in float32 numbers for the files."""
        return in_float32(self.pose.of_mesh(self.mesh)) if self.on_bed is None else self.on_bed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldSet(Generic[Layout_co]):
    """A mould: its parts, and the sizes that checks need."""

    parts: tuple[Part, ...]
    """In the order in which they are listed everywhere."""
    layout: Layout_co
    """Every height and radius, a value of its own for each kind of mould."""

    @property
    def assembled(self) -> tuple[Part, ...]:
        """The parts that go together, without further ones that take the place of another."""
        return tuple(part for part in self.parts if not part.is_further)

    def part(self, name: str) -> Part:
        """Return the part of a name; `KeyError` where there is none."""
        return {part.name: part for part in self.parts}[name]


def pose_on_bed(mesh: Mesh, printer: PrinterTable, *, half_turns: int, name: str) -> Pose:
    """Return the pose that lays a part on the bed.

    What is printed is larger than the assembly by 1 / (1 - shrink), so that the print has the sizes
    of the assembly.
    """
    scale, bed_mm = 1.0 / (1.0 - printer.shrink), printer.bed_mm
    size = (scale * mesh.size_mm).tolist()
    too_long = [axis for axis, part, bed in zip(AXES, size, bed_mm, strict=True) if part > bed]
    if too_long:
        need = say(
            "mould.larger-than-bed",
            part=word(name),
            axes=tuple(too_long),
            size_mm=" x ".join(f"{length:.1f}" for length in size),
            remedy=_smaller(name),
        )
        raise SpecError("printer.bed_mm", bed_mm, need)
    turned = Pose(half_turns=half_turns, shift_mm=(0.0, 0.0, 0.0), scale=scale).of_mesh(mesh)
    low, high = turned.bounds
    x, y, _ = ((low + high) / 2.0).tolist()
    shift = (bed_mm[0] / 2.0 - x, bed_mm[1] / 2.0 - y, -float(low[2]))
    return Pose(half_turns=half_turns, shift_mm=shift, scale=scale)


def _smaller(name: str) -> Message:
    """Return what makes a part smaller."""
    match name:
        case "block":
            return say("mould.smaller-block")
        case "master":
            return say("mould.smaller-master")
        case _:
            return say("mould.smaller-press")


@dataclass(frozen=True, slots=True, kw_only=True)
class Filament:
    """What printing takes."""

    mass_g: float
    length_m: float
    price: float | None
    """In the currency of the price; none where there is no price."""
    least_min: float
    """Lower bound of the time: volume by flow, no travel, no slow corners, no heating [min]."""

    def report(self) -> dict[str, float | None]:
        """Return it as plain values, as a part's row in `report.json`."""
        return {
            "print_g": self.mass_g,
            "filament_m": self.length_m,
            "least_print_min": self.least_min,
            "print_price": self.price,
        }


def filament(volume_mm3: float, printer: PrinterTable) -> Filament:
    """Return what printing a solid volume takes.

    Examples
    --------
    >>> round(filament(1000.0, PrinterTable(material="PLA")).mass_g, 2)  # 1 mL
    1.24
    """
    mass_g = volume_mm3 / 1000.0 * printer.plastic.density_g_per_ml
    priced = printer.price_per_kg
    return Filament(
        mass_g=mass_g,
        length_m=volume_mm3 / (pi / 4.0 * printer.filament_mm**2) / 1000.0,
        price=None if priced is None else priced * mass_g / 1000.0,
        least_min=volume_mm3 / printer.flow_mm3_per_s / 60.0,
    )


Size = tuple[float, float]
Box = tuple[Size, Size]
"""Least x and y, greatest x and y [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityGrid:
    """Places in columns along x and rows along y; the last row may be short."""

    count: int
    columns: int
    pitch_mm: Size
    """From one place to the next along x and y [mm]."""

    @property
    def rows(self) -> int:
        """Number of rows."""
        return ceil(self.count / self.columns)

    @property
    def centres_mm(self) -> tuple[Size, ...]:
        """Middle of each place; the first of the middle row is the origin [mm]."""
        along, across = self.pitch_mm
        middle = self.rows // 2
        order = [middle, *(row for row in range(self.rows) if row != middle)]
        short = self.count - (self.rows - 1) * self.columns
        lengths = dict.fromkeys(order, self.columns) | {order[-1]: short}
        return tuple(
            (number * along, (row - middle) * across)
            for row in order
            for number in range(lengths[row])
        )

    def around_mm(self, place: Box, land_mm: float) -> Box:
        """Return the box around all places and the land about them."""
        (along, across), ((x0, y0), (x1, y1)) = self.pitch_mm, place
        # The middle row is the one of the origin: so many rows lie below it, the rest above.
        below = self.rows // 2
        low = (x0 - land_mm, y0 - below * across - land_mm)
        high = (
            x1 + (self.columns - 1) * along + land_mm,
            y1 + (self.rows - 1 - below) * across + land_mm,
        )
        return low, high


def bounding_box_mm(outline: Outline, factor: float = 1.0) -> Box:
    """Return the box around an outline, made larger by a factor [mm]."""
    x0, y0 = (factor * outline.points.min(axis=0)).tolist()
    x1, y1 = (factor * outline.points.max(axis=0)).tolist()
    return (x0, y0), (x1, y1)


def rounded_rectangle(box: Box, radius_mm: float) -> tuple[Arc, Arc, Arc, Arc]:
    """Return the corners of a rounded rectangle counter-clockwise, the lower right one first."""
    ((x0, y0), (x1, y1)), r = box, radius_mm
    centres = ((x1 - r, y0 + r), (x1 - r, y1 - r), (x0 + r, y1 - r), (x0 + r, y0 + r))
    a, b, c, d = (
        Arc(centre=at, radius_mm=r, start_rad=(turn - 1) * pi / 2.0, turn_rad=pi / 2.0)
        for turn, at in enumerate(centres)
    )
    return a, b, c, d


def plates_on_bed(
    mould: BlockTable | CastTable,
    printer: PrinterTable,
    place: Box,
    *,
    size_mm: Callable[[CavityGrid], Size],
    what: str,
) -> tuple[CavityGrid, ...]:
    """Return the grids of the fewest plates that take a mould's cavities, the fullest first."""
    (x0, y0), (x1, y1) = place
    land, bed = mould.land_mm, printer.bed_mm
    pitch = (x1 - x0 + land, y1 - y0 + land)

    def fitting(count: int) -> CavityGrid | None:
        return _fitting_grid(count, pitch_mm=pitch, size_mm=size_mm, bed_mm=bed[:2])

    most = next((count for count in range(mould.cavities, 0, -1) if fitting(count)), None)
    if most is None:
        x, y = size_mm(CavityGrid(count=1, columns=1, pitch_mm=pitch))
        need = say("mould.one-too-large", part=word(what), x_mm=x, y_mm=y)
        raise SpecError("printer.bed_mm", bed, need)
    plates = ceil(mould.cavities / most)
    counts = [(mould.cavities + number) // plates for number in range(plates - 1, -1, -1)]
    return tuple(made for count in counts if (made := fitting(count)) is not None)


def grid_on_bed(
    mould: BlockTable | CastTable,
    printer: PrinterTable,
    place: Box,
    *,
    size_mm: Callable[[CavityGrid], Size],
    what: str,
) -> CavityGrid:
    """Return the grid for a mould's cavities that fits the bed on one plate."""
    first, *others = plates_on_bed(mould, printer, place, size_mm=size_mm, what=what)
    if not others:
        return first
    bed = printer.bed_mm
    need = say(
        "mould.too-many-cavities",
        bed_x_mm=bed[0],
        bed_y_mm=bed[1],
        part=word(what),
        fewer=first.count,
    )
    raise SpecError("mould.cavities", mould.cavities, need)


def _fitting_grid(
    count: int, *, pitch_mm: Size, size_mm: Callable[[CavityGrid], Size], bed_mm: Size
) -> CavityGrid | None:
    """Return the grid with the fewest empty places, the nearest to a square; None if none fits."""
    grids = [CavityGrid(count=count, columns=n, pitch_mm=pitch_mm) for n in range(1, count + 1)]
    fits = [
        grid
        for grid in grids
        if all(size <= bed for size, bed in zip(size_mm(grid), bed_mm, strict=True))
    ]
    return min(fits, key=lambda grid: _waste(grid, size_mm(grid)), default=None)


def _waste(grid: CavityGrid, size_mm: Size) -> tuple[int, float, int]:
    return grid.columns * grid.rows - grid.count, max(size_mm), grid.columns
