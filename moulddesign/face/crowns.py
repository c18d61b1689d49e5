"""Rows of petals around the middle.

A petal lies along a ray, x from its foot and y across. With w its half width there and q = y / w,
its top is

    h (1 - cup q^2) (1 + rise (u - 1/2)) (1 - fall(u)) + tuck q h - veins,    u = x / length,

and its wall k d, d the distance inside its edge. Petals that are wider than their share of the
turn cover each other, and the higher one wins: with a tilt one side lies under the neighbour.
"""

from dataclasses import dataclass
from math import ceil, pi
from typing import Final

import numpy as np
import shapely

from moulddesign.design.face_tables import CrownTable, Tip
from moulddesign.face.silhouettes import Silhouettes
from moulddesign.face.surface import Surface, foot_mm
from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Heights

SAMPLES: Final = 200
TIP_SHARE: Final = {Tip.ROUND: 0.42, Tip.POINTED: 0.62, Tip.NOTCHED: 0.36, Tip.OPEN: 0.02}
"""Share of a petal's length that its end takes."""
NOTCH: Final = 0.09
"""Depth of a notch as a share of the length."""
VEIN_DEPTH: Final = 0.16
"""Depth of a groove as a share of the height."""
VEIN_POWER: Final = 14
LEVEL_MM: Final = 1e-9
LEAST_HALF_MM: Final = 0.45
"""Half of the narrowest petal: printed and pressed, 0.8 to 0.9 mm is about the least stroke."""
WALL_RESERVE: Final = 0.68
"""Share of the wall's slope that a petal's top may have."""


RAYS: Final = 720


class Reach:
    """Distance from the middle to a room's edge at angles, the nearest where it is folded."""

    def __init__(self, room: shapely.Polygon) -> None:
        self.inner_mm = float(room.exterior.distance(shapely.Point(0.0, 0.0)))
        """Radius of the largest circle around the middle in it [mm]."""
        far = 2.0 * max(abs(x) for x in room.bounds)
        self._angles = np.linspace(-np.pi, np.pi, RAYS + 1)
        ends = far * np.column_stack([np.cos(self._angles), np.sin(self._angles)])
        rays = shapely.linestrings(np.stack([np.zeros_like(ends), ends], axis=1))
        met = shapely.intersection(rays, room.exterior)
        self._reach = shapely.distance(met, shapely.Point(0.0, 0.0))

    def __call__(self, angles: Heights) -> Heights:
        """Return distances from the middle to the room's edge at angles [mm]."""
        turned = np.mod(angles + np.pi, 2.0 * np.pi) - np.pi
        found: Heights = np.interp(turned, self._angles, self._reach)
        return found


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PetalRow:
    """A row of petals: what they are, and where each one lies."""

    table: CrownTable
    count: int
    phase_rad: float
    foot_mm: float
    """Distance of the feet from the middle."""
    length_mm: Heights
    """Of each length that occurs, shape (m,)."""
    which: Indices
    """Which of them each petal has, shape (count,)."""
    half_mm: Heights
    """Half widths along each, shape (m * SAMPLES,)."""
    edge: Silhouettes
    height_mm: float
    first_piece: int
    wall: float
    """Slope of the walls."""

    def __call__(self, surface: Surface) -> None:
        """Raise or cut the petals of the row."""
        spots = surface.spots
        tip_mm = self.foot_mm + float(self.length_mm.max())
        reach = foot_mm(self.wall)
        farthest = np.hypot(tip_mm, float(self.half_mm.max())) + reach
        rows = np.flatnonzero((spots.radius > self.foot_mm - reach) & (spots.radius < farthest))
        if not len(rows):
            return
        step = 2.0 * pi / self.count
        share = (spots.angle[rows] - self.phase_rad) / step
        nearest = np.round(share)
        off = share - nearest
        radius = spots.radius[rows]
        self._carve(surface, rows, radius, off * step, nearest.astype(np.int64))
        # A wall reaches beyond its share of the turn where it goes down below the petal's own foot.
        hangs = bool((surface.height[rows] < surface.ground[rows] - LEVEL_MM).any())
        if not (hangs or self._covers_neighbours):
            return
        # The other petal that may be there stands on the side that the point lies on.
        side = np.where(off >= 0.0, 1.0, -1.0)
        self._carve(surface, rows, radius, (off - side) * step, (nearest + side).astype(np.int64))

    @property
    def _covers_neighbours(self) -> bool:
        return self.table.width_ratio > 1.0 or self.table.tuck != 0.0

    def _carve(  # noqa: PLR0917 (what a point is to a petal)
        self, surface: Surface, rows: Indices, radius: Heights, off_rad: Heights, petal: Indices
    ) -> None:
        """Carve one petal at each of some rows, seen from its axis."""
        petal = np.mod(petal, self.count)
        which = self.which[petal]
        x = radius * np.cos(off_rad) - self.foot_mm
        y = radius * np.sin(off_rad)
        inside = self.edge(which, x, y)
        near = np.flatnonzero(inside > -foot_mm(self.wall))
        rows, which, petal, x, y = rows[near], which[near], petal[near], x[near], y[near]
        top = self._top(which, x, y)
        wall = self.wall * inside[near]
        # Near a pointed tip the walls of both sides meet.
        number = self.first_piece + 4 * petal + 2 * (y > 0.0)
        base = surface.ground[rows]
        surface.carve(rows, base, top=top, wall=wall, pieces=number, meets=self.table.meets)

    def _top(self, which: Indices, x: Heights, y: Heights) -> Heights:
        """Return heights of the petals' tops above their ground."""
        table = self.table
        u = np.clip(x / self.length_mm[which], 0.0, 1.0)
        half = self._half_at(which, u)
        q = np.clip(y / half, -1.1, 1.1)
        body = 1.0 - table.cup * q * q if table.cup >= 0.0 else 1.0 + table.cup * (1.0 - q * q)
        if table.rise:
            body = body * (1.0 + table.rise * (u - 0.5))
        if table.tip is not Tip.OPEN:
            end = np.clip((u - 0.7) / 0.3, 0.0, 1.0)
            body = body * (1.0 - 0.22 * end * end)
        if table.tuck:
            body = body + table.tuck * q
        if table.veins:
            groove = np.cos(0.5 * pi * table.veins * np.clip(q, -1.0, 1.0)) ** 2
            groove = groove ** (VEIN_POWER // 2)
            fade = np.clip(u * 5.0, 0.0, 1.0) * np.clip((1.0 - u) * 3.0, 0.0, 1.0)
            body = body - VEIN_DEPTH * groove * fade
        return self.height_mm * body

    def _half_at(self, which: Indices, u: Heights) -> Heights:
        """Return half widths, between samples on a line [mm]."""
        place = u * (SAMPLES - 1.001)
        low = place.astype(np.int64)
        share = place - low
        first = which * SAMPLES + low
        half: Heights = self.half_mm[first] * (1.0 - share) + self.half_mm[first + 1] * share
        return half


def petal_row(
    table: CrownTable,
    *,
    count: int,
    reach: Reach,
    scale: float,
    wall: float,
    first_piece: int,
) -> PetalRow:
    """Return a row of petals.

    Parameters
    ----------
    table : CrownTable
        The row.
    count : int
        Petals.
    reach : Reach
        Of the room that they have. Petals that end near its edge follow it; those that end
        further in stand on a circle.
    scale : float
        Factor of heights.
    wall : float
        Slope that walls may have.
    first_piece : int
        Their first piece number.
    """
    phase = 2.0 * pi * table.turn / count
    foot = table.from_ratio * reach.inner_mm
    rays = phase + 2.0 * pi * np.arange(count) / count
    follow = min(table.to_ratio, 1.0) ** 2
    ends = table.to_ratio * (reach.inner_mm + follow * (reach(rays) - reach.inner_mm))
    lengths, which = np.unique(np.round(ends - foot, 2), return_inverse=True)
    shapes = [_half_widths(table, count, foot, float(length)) for length in lengths]
    height_mm = table.height_mm * scale
    edges = [
        edge_of(shape, float(length), _notch(table))
        for shape, length in zip(shapes, lengths, strict=True)
    ]
    least = _least_half(table, height_mm, wall)
    return PetalRow(
        table=table,
        count=count,
        phase_rad=phase,
        foot_mm=foot,
        length_mm=lengths,
        which=which,
        half_mm=np.concatenate([np.maximum(shape, least) for shape in shapes]),
        edge=Silhouettes(edges, foot_mm(wall)),
        height_mm=height_mm,
        first_piece=first_piece,
        wall=wall,
    )


def _least_half(table: CrownTable, height_mm: float, wall: float) -> float:
    """Return the half width below which a section gets no steeper: its own slope is 1 / w.

    A groove cos^14(n pi q / 2) is steepest, 0.43 n of its depth over w, where it is half as deep.
    """
    across = 2.0 * abs(table.cup) + abs(table.tuck)
    across += 2.7 * VEIN_DEPTH * max(table.veins, 0)
    return max(height_mm * across / (WALL_RESERVE * wall), LEAST_HALF_MM)


def _notch(table: CrownTable) -> float:
    return NOTCH if table.tip is Tip.NOTCHED else 0.0


def _half_widths(table: CrownTable, count: int, foot_mm: float, length_mm: float) -> Heights:
    """Return half widths at equal steps from foot to tip [mm]."""
    u = np.linspace(0.0, 1.0, SAMPLES)
    # A petal has its share of the turn; where it begins at the middle it still has a foot.
    sector = np.tan(min(pi / count, 1.2)) * (foot_mm + u * length_mm) * table.width_ratio
    end = np.clip((u - 1.0 + TIP_SHARE[table.tip]) / TIP_SHARE[table.tip], 0.0, 1.0)
    if table.tip is Tip.POINTED:
        taper = 1.0 - end**1.8
    else:
        taper = np.sqrt(np.maximum(1.0 - end**2.4, 0.0))
    # A round foot: a corner there would be steeper in the table of distances.
    foot = np.sqrt(
        np.clip((u + 0.25) / 0.45, 0.0, 1.0) * (1.0 - np.clip(1.0 - u / 0.07, 0.0, 1.0) ** 2)
    )
    half: Heights = np.maximum(sector * taper * foot, 0.0)
    return half


def edge_of(half: Heights, length_mm: float, notch: float) -> Points:
    """Return the upper half of a figure's edge, from foot to tip, shape (n, 2) [mm]."""
    u = np.linspace(0.0, 1.0, len(half))
    x = u * length_mm
    if notch:
        # The middle of the tip is drawn back, its shoulders stay.
        back = np.clip(1.0 - half / half.max() * 1.6, 0.0, 1.0) ** 1.5
        x = x - notch * length_mm * np.where(u > 0.5, back, 0.0)  # noqa: PLR2004 (its outer half)
    return np.column_stack([x, half])


def crown_count(table: CrownTable, fold: int) -> int:
    """Return how many petals a row has."""
    return table.count if table.count is not None else max(2, ceil(fold * table.per_fold - 1e-9))
