"""Points with what is shared about them, and the heights that carved parts raise and cut.

A face is made of parts that come one after the other, as a carver works: each raises the surface
where it is higher, or cuts it where it is lower. A part that stands proud is min(top, base + k d),
and one that is cut in max(floor, base - k d), d the distance inside its edge and k its wall's
slope. Minimum and maximum of pieces no steeper than the draft allows are no steeper either.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import floor, radians, sqrt, tan
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.design.face_tables import Meets
from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import FieldValues, Heights

PIECES: Final = 1 << 20
"""Piece numbers that one part may use."""


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Points in the plan with their polar coordinates and their distance to the outline."""

    points: Points
    radius: Heights
    angle: Heights
    edge: Heights
    """Distance inside the outline; far from it only a lower bound [mm]."""

    cell: Indices
    """The square cell of the plan in which each lies, as `cells_of` numbers them."""

    @classmethod
    def of(cls, points: Points, radius: Heights, edge: Heights) -> "Spots":
        """Return points with their distances from the middle and inside the outline."""
        return cls(points, radius, np.arctan2(points[:, 1], points[:, 0]), edge, cells_of(points))


CELL_MM: Final = 0.5
"""Side of a square cell: some of the narrowest figures' half width [mm]."""
CELLS: Final = 400
"""In a row: the plan from -100 mm to 100 mm, and what is beyond in the outermost ones."""


def cells_of(points: Points) -> Indices:
    """Return the numbers of the cells in which points lie, shape (n, 2) to (n,)."""
    column, row = np.clip(points / CELL_MM + CELLS / 2, 0, CELLS - 1).astype(np.int64).T
    number: Indices = column * CELLS + row
    return number


class Cells:
    """Which copies of a figure may reach the points of each cell of the plan.

    Parameters
    ----------
    boxes : ndarray
        Low and high corners of the box around each copy, shape (n, 2, 2) [mm].
    may_reach : callable
        Whether a copy reaches anything within `reach_mm` of points: shape (n, 2), the copy's
        number and `reach_mm` to (n,).
    """

    def __init__(
        self, boxes: Points, may_reach: Callable[[Points, int, float], NDArray[np.bool_]]
    ) -> None:
        self._layers: list[NDArray[np.int16]] = []
        half_diagonal = CELL_MM * sqrt(0.5)
        for copy, (low, high) in enumerate(boxes):
            x, y = (
                CELL_MM * (np.arange(floor(a), floor(b) + 1) + 0.5)
                for a, b in zip(low / CELL_MM, high / CELL_MM, strict=True)
            )
            middles = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
            rows = np.unique(cells_of(middles[may_reach(middles, copy, half_diagonal)]))
            for layer in self._layers:
                free = layer[rows] < 0
                layer[rows[free]] = copy
                rows = rows[~free]
            if len(rows):
                self._layers.append(np.full(CELLS * CELLS, -1, dtype=np.int16))
                self._layers[-1][rows] = copy

    def copies_at(self, spots: Spots) -> Iterator[tuple[Indices, Indices]]:
        """Yield rows of points and the copy that may reach each, every pair once, in order."""
        for layer in self._layers:
            copies = layer[spots.cell]
            rows = np.flatnonzero(copies >= 0)
            if len(rows):
                yield rows, copies[rows].astype(np.int64)


class Surface:
    """Heights at spots while a face is carved: parts raise and cut them in place."""

    def __init__(self, spots: Spots, ground: FieldValues, level_mm: float | None = None) -> None:
        self.spots = spots
        self.height = ground.height.copy()
        self.piece = ground.piece.copy()
        self.ground = (
            ground.height.copy() if level_mm is None else np.full(len(ground.height), level_mm)
        )
        """Height on which parts stand: level where the ground has steps."""
        self.floor = self.ground
        """Height on which parts stand that lie in the medallion."""

    def raise_to(self, rows: Indices, heights: Heights, pieces: Indices) -> None:
        """Raise the surface at some rows to heights that are above it."""
        above = heights > self.height[rows]
        self.height[rows[above]] = heights[above]
        self.piece[rows[above]] = pieces[above]

    def cut_to(self, rows: Indices, heights: Heights, pieces: Indices) -> None:
        """Cut the surface at some rows down to heights that are below it."""
        below = heights < self.height[rows]
        self.height[rows[below]] = heights[below]
        self.piece[rows[below]] = pieces[below]

    def carve(
        self,
        rows: Indices,
        base: Heights,
        *,
        top: Heights,
        wall: Heights,
        pieces: Indices,
        meets: Meets,
    ) -> None:
        """Raise or cut the surface at some rows by a part with a wall.

        Top and wall are heights over the base, or depths below it where the part is cut in; a part
        that is added stands on what is there. The wall's pieces are numbered one higher.
        """
        if meets is Meets.INTO:
            self.cut_to(rows, *higher_of(base - top, base - wall, pieces))
        else:
            under = self.height[rows] if meets is Meets.ON else base
            self.raise_to(rows, *lower_of(under + top, under + wall, pieces))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Factors of a face that is drawn for one size and made in another."""

    lengths: float

    @property
    def heights(self) -> float:
        """Heights grow less than lengths: the crust under them grows less than the piece."""
        return sqrt(self.lengths)


Carver = Callable[[Surface], None]
"""A part of a face: it raises or cuts a surface."""


def steepest(draft_deg: float) -> float:
    """Return the slope of a wall at a draft: cot a.

    Examples
    --------
    >>> round(steepest(45.0), 9)
    1.0
    """
    return 1.0 / tan(radians(draft_deg))


FALL_MM: Final = 1.2
"""No surface lies deeper under the ground that a part stands on [mm]."""
LEAST_FOOT_MM: Final = 0.6
"""Nor is less looked at where walls are steep [mm]."""


def foot_mm(wall: float) -> float:
    """Return how far outside its edge a wall may still be above what lies there [mm]."""
    return max(FALL_MM / wall, LEAST_FOOT_MM)


def lower_of(top: Heights, wall: Heights, number: Indices | int) -> tuple[Heights, Indices]:
    """Return the lower of a top and its wall, and their pieces: `number`, and one more."""
    is_wall = wall < top
    return np.where(is_wall, wall, top), np.asarray(number + is_wall, dtype=np.int64)


def higher_of(floor: Heights, wall: Heights, number: Indices | int) -> tuple[Heights, Indices]:
    """Return the higher of a floor and its wall, and their pieces: `number`, and one more."""
    is_wall = wall > floor
    return np.where(is_wall, wall, floor), np.asarray(number + is_wall, dtype=np.int64)


def half_round(across: Heights, half_width_mm: float, height_mm: float) -> Heights:
    """Return the height of half an ellipse at distances across from its middle [mm]."""
    share = across / half_width_mm
    return height_mm * np.sqrt(np.maximum(1.0 - share * share, 0.0))
