"""Several pastries side by side: in a row or a grid, as the bed has room."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, pi

from moulddesign.design import Design
from moulddesign.errors import SpecError
from moulddesign.pastry.outline import Arc, Outline

Size = tuple[float, float]
Box = tuple[Size, Size]
"""Least x and y, greatest x and y [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Places in columns along x and rows along y; the last row may be short.

    Parameters
    ----------
    count : int
        Places that are taken.
    columns : int
        Places in a full row.
    pitch_mm : tuple of float
        From one place to the next along x and y [mm].
    """

    count: int
    columns: int
    pitch_mm: Size

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
        """Return the box around all places and the land about them.

        Parameters
        ----------
        place : Box
            What is taken at the origin [mm].
        land_mm : float
            Room kept on each side [mm].
        """
        (along, across), ((x0, y0), (x1, y1)) = self.pitch_mm, place
        below = self.rows // 2
        low = (x0 - land_mm, y0 - below * across - land_mm)
        high = (
            x1 + (self.columns - 1) * along + land_mm,
            y1 + (self.rows - 1 - below) * across + land_mm,
        )
        return low, high


def extent_mm(outline: Outline, factor: float = 1.0) -> Box:
    """Return the box around an outline, made larger by a factor [mm]."""
    x0, y0 = (factor * outline.points.min(axis=0)).tolist()
    x1, y1 = (factor * outline.points.max(axis=0)).tolist()
    return (x0, y0), (x1, y1)


def rounded(box: Box, radius_mm: float) -> tuple[Arc, Arc, Arc, Arc]:
    """Return the corners of a rounded rectangle counter-clockwise, the lower right one first."""
    ((x0, y0), (x1, y1)), r = box, radius_mm
    centres = ((x1 - r, y0 + r), (x1 - r, y1 - r), (x0 + r, y1 - r), (x0 + r, y0 + r))
    a, b, c, d = (
        Arc(centre=at, radius_mm=r, start_rad=(turn - 1) * pi / 2.0, turn_rad=pi / 2.0)
        for turn, at in enumerate(centres)
    )
    return a, b, c, d


def grid_on_bed(design: Design, place: Box, *, size_mm: Callable[[Grid], Size], what: str) -> Grid:
    """Return the grid for a design's cavities that fits its bed.

    Parameters
    ----------
    design : Design
        Cavities, land between them, bed.
    place : Box
        What one takes at the origin [mm].
    size_mm : callable
        What a grid's part measures along x and y [mm].
    what : str
        The part, for the error: "block".

    Raises
    ------
    SpecError
        It does not fit; the sentence says how many do.
    """
    (x0, y0), (x1, y1) = place
    land, count, bed = design.mould.land_mm, design.mould.cavities, design.printer.bed_mm
    pitch = (x1 - x0 + land, y1 - y0 + land)
    for fewer in range(count, 0, -1):
        made = _fitting_grid(fewer, pitch_mm=pitch, size_mm=size_mm, bed_mm=bed[:2])
        if made is not None and fewer == count:
            return made
        if made is not None:
            need = (
                f"do not fit the bed of {bed[0]:g} x {bed[1]:g} mm in one {what}, {fewer} do; ask "
                f"for {fewer} and print more of them, or take a larger printer"
            )
            raise SpecError("mould.cavities", count, need)
    x, y = size_mm(Grid(count=1, columns=1, pitch_mm=pitch))
    need = (
        f"is smaller than a {what} of {x:.1f} x {y:.1f} mm for one pastry; make the pastry or "
        "mould.land_mm smaller, shorten mould.handle_length_mm or take a larger printer"
    )
    raise SpecError("printer.bed_mm", bed, need)


def _fitting_grid(
    count: int, *, pitch_mm: Size, size_mm: Callable[[Grid], Size], bed_mm: Size
) -> Grid | None:
    """Return the grid with the fewest empty places, the nearest to a square; None if none fits."""
    grids = [Grid(count=count, columns=n, pitch_mm=pitch_mm) for n in range(1, count + 1)]
    fits = [grid for grid in grids if _within(size_mm(grid), bed_mm)]
    return min(fits, key=lambda grid: _waste(grid, size_mm(grid)), default=None)


def _within(size_mm: Size, bed_mm: Size) -> bool:
    return size_mm[0] <= bed_mm[0] and size_mm[1] <= bed_mm[1]


def _waste(grid: Grid, size_mm: Size) -> tuple[int, float, int]:
    return grid.columns * grid.rows - grid.count, max(size_mm), grid.columns
