"""Single carved parts: leaves, drops, balls, stems, burrs, stars and crescents, and their copies.

A figure lies along an axis, x from its foot to its tip and y across, q = y / w with w the half
width. Bending moves it sideways by 4 b x (1 - x / length), which steepens what runs across by at
most 1 + 4 |b|: walls are laid flatter by that much.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import cos, pi, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.design.face_tables import Figure, PartTable
from moulddesign.face.crowns import Reach
from moulddesign.face.silhouettes import Silhouettes, StarEdge
from moulddesign.face.surface import Cells, Surface, foot_mm
from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Heights

SAMPLES: Final = 240
LEAST_HALF_MM: Final = 0.42
GROOVE: Final = 0.22
"""Depth of a leaf's grooves as a share of its height."""
TOP_SHARE: Final = 0.85
"""Share of the wall's slope that a figure's top may have."""
VEINS_SLANT: Final = 0.8
"""How far a side vein runs ahead while it runs outwards by one."""
BY_DISTANCE: Final = frozenset({Figure.STAR, Figure.CRESCENT})
"""Figures whose height follows the distance to their edge."""
FINE: Final = frozenset({Figure.LEAF, Figure.BURR})
"""Figures with grooves, veins or spikes."""
SAMPLED_MM: Final = 0.06
"""Between places where their slope is looked at: a fifth of the narrowest groove's half width."""
COPY_PIECES: Final = 64
"""Piece numbers of a copy: top and wall of each of the 32 sectors of a star of 16 points."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CarvedFigure:
    """A figure and its copies."""

    table: PartTable
    feet: Points
    """Where copies begin, shape (n, 2) [mm]."""
    ways: Points
    """Unit vectors from foot to tip, shape (n, 2)."""
    turns: Heights
    """-1 for a mirror image."""
    length_mm: float
    half_mm: Heights
    """Half widths at equal steps of the length."""
    edge: Silhouettes | StarEdge
    widest_mm: float
    """Largest distance of its edge from the axis."""
    deepest_mm: float
    """Largest distance inside its edge."""
    height_mm: float
    first_piece: int
    wall: float
    top: float
    """Slope that its top may have."""
    disc_mm: float
    """Radius of the medallion: what has its middle within it stands on its floor."""
    fine: float = field(init=False)
    """Share of the depth of grooves, veins and spikes for which the top's slope has room."""
    cells: Cells = field(init=False)
    """Where each copy may reach the surface."""

    def __post_init__(self) -> None:
        middles = self.feet + self.length_mm / 2.0 * self.ways
        foot = foot_mm(self.wall)
        across = self.widest_mm + abs(self.table.bend) * self.length_mm + foot
        reach = float(np.hypot(self.length_mm / 2.0 + foot, across))
        object.__setattr__(
            self,
            "cells",
            Cells(np.stack([middles - reach, middles + reach], axis=1), self._may_reach),
        )
        object.__setattr__(self, "fine", self._fine_share())

    def __call__(self, surface: Surface) -> None:
        """Raise or cut the figure and its copies."""
        points = surface.spots.points
        middles = self.feet + self.length_mm / 2.0 * self.ways
        in_disc = np.hypot(middles[:, 0], middles[:, 1]) < self.disc_mm
        for rows, copy in self.cells.copies_at(surface.spots):
            x, y = self._own(points.take(rows, axis=0), copy)
            base = np.where(in_disc[copy], surface.floor[rows], surface.ground[rows])
            self._carve(surface, base, rows, x, y, self.first_piece + COPY_PIECES * copy)

    def _may_reach(self, points: Points, copy: int, reach_mm: float) -> NDArray[np.bool_]:
        x, y = self._own(points, np.full(len(points), copy))
        bent_mm = (1.0 + 4.0 * abs(self.table.bend)) * reach_mm
        near: NDArray[np.bool_] = self.edge(0, x, y) > -foot_mm(self.wall) - bent_mm
        return near

    def _own(self, points: Points, copy: Indices) -> tuple[Heights, Heights]:
        """Return points along and across the axes of copies, one each, as if they were straight."""
        out_x, out_y = points[:, 0] - self.feet[copy, 0], points[:, 1] - self.feet[copy, 1]
        way_x, way_y = self.ways[copy, 0], self.ways[copy, 1]
        x = way_x * out_x + way_y * out_y
        y = self.turns[copy] * (way_x * out_y - way_y * out_x)
        if not self.table.bend:
            return x, y
        u = np.clip(x / self.length_mm, 0.0, 1.0)
        return x, y - 4.0 * self.table.bend * self.length_mm * u * (1.0 - u)

    def _carve(  # noqa: PLR0917 (what a point is to a figure)
        self,
        surface: Surface,
        base: Heights,
        rows: Indices,
        x: Heights,
        y: Heights,
        number: Indices,
    ) -> None:
        inside = self.edge(0, x, y)
        near = np.flatnonzero(inside > -foot_mm(self.wall))
        rows, base, x, y, inside = rows[near], base[near], x[near], y[near], inside[near]
        u, number = np.clip(x / self.length_mm, 0.0, 1.0), number[near]
        top = self.height_mm * self._body(u, y, inside, self.fine)
        # A leaf has a groove along its axis, and the walls of a narrow figure meet there.
        if isinstance(self.edge, StarEdge):
            side = number + 2 * self.edge.sectors(x, y)
        else:
            side = np.where(y > 0.0, number + 2, number)
        wall = self.wall * inside
        surface.carve(rows, base, top=top, wall=wall, pieces=side, meets=self.table.meets)

    def _fine_share(self) -> float:
        """Return the largest share of what is fine with which the top is not too steep.

        The top is plain + share * fine, so its slope is convex in the share.
        """
        if self.table.figure not in FINE:
            return 1.0
        x, y = np.meshgrid(
            np.arange(0.0, self.length_mm, SAMPLED_MM),
            np.arange(-self.widest_mm, self.widest_mm, SAMPLED_MM),
        )
        u, inside = x / self.length_mm, self.edge(0, x.ravel(), y.ravel()).reshape(x.shape)
        plain, full = (self.height_mm * self._body(u, y, inside, share) for share in (0.0, 1.0))
        seen = full < self.wall * inside
        before, after = (np.hypot(*np.gradient(top, SAMPLED_MM))[seen] for top in (plain, full))
        before, after = np.minimum(before, self.top), np.maximum(after, self.top)
        steep = after > before
        shares = (self.top - before[steep]) / (after - before)[steep]
        return float(shares.min(initial=1.0))

    def _body(self, u: Heights, y: Heights, inside: Heights, fine: float) -> Heights:
        """Return heights as shares of the figure's, with a share of what is fine on it."""
        table = self.table
        if table.figure in BY_DISTANCE:
            share = np.clip(inside / self.deepest_mm, 0.0, 1.0)
            return share if table.figure is Figure.STAR else share * (2.0 - share)
        half = np.interp(u, np.linspace(0.0, 1.0, len(self.half_mm)), self.half_mm)
        q = np.clip(y / half, -1.2, 1.2)
        if table.figure is Figure.BALL:
            return self._round_body(u, y)
        if table.figure is Figure.BURR:
            return self._round_body(u, y) * (0.8 + fine * self._spikes(u, y))
        section = 1.0 - table.cup * q * q if table.cup >= 0.0 else 1.0 + table.cup * (1.0 - q * q)
        if table.figure is Figure.LEAF:
            return self._leaf_body(u, y, q, section, fine)
        if table.figure is Figure.STEM:
            return section
        return section * (0.72 + 0.28 * np.sin(np.clip(1.25 * u - 0.1, 0.0, 1.0) * pi))

    def _round_body(self, u: Heights, y: Heights) -> Heights:
        """Return half an egg: level at its middle, steep at its edge, where the wall takes over."""
        along = 2.0 * u - 1.0
        across = y / float(self.half_mm.max())
        body: Heights = np.sqrt(np.maximum(1.0 - along * along - across * across, 0.0))
        return body

    def _spikes(self, u: Heights, y: Heights) -> Heights:
        """Return rows of rounded points, as on a husk."""
        across = 2.0 * float(self.half_mm.max())
        pitch = max(across / 6.0, 1.15)
        first = pi * (u * self.length_mm + y) / pitch
        second = pi * (u * self.length_mm - y) / pitch
        points: Heights = 0.2 * np.cos(first) * np.cos(second)
        return points

    def _leaf_body(  # noqa: PLR0917 (a place on it, and its section there)
        self, u: Heights, y: Heights, q: Heights, section: Heights, fine: float
    ) -> Heights:
        """Return a blade that rises to both sides of its middle groove, with slanted veins."""
        size = np.abs(q)
        blade = section * (1.0 - 0.25 * u * u)
        # The middle groove is as wide as a stroke that prints, whatever the leaf's width.
        half = float(self.half_mm.max())
        groove = np.exp(-((y / max(0.16 * half, 0.3)) ** 2))
        deep = fine * GROOVE
        body: Heights = blade - deep * 1.2 * groove * np.clip((1.0 - u) * 4.0, 0.0, 1.0)
        if self.table.veins:
            turn = 2.0 * pi * self.table.veins * (u - VEINS_SLANT * np.abs(y) / self.length_mm)
            vein = ((1.0 + np.cos(turn)) / 2.0) ** 4
            fade = np.clip(1.4 - 1.4 * size, 0.0, 1.0) * np.clip(u * 6.0, 0.0, 1.0)
            body = body - deep * vein * fade * np.clip((1.0 - u) * 3.0, 0.0, 1.0)
        return body


def farthest_ratio(table: PartTable) -> float:
    """Return how far from the middle a part reaches at most, its room's radius being 1."""
    along = table.length_ratio * np.exp(1j * radians(table.heading_deg))
    side = (table.width_ratio / 2.0 + abs(table.bend)) * table.length_ratio
    return max(table.at_ratio, float(abs(table.at_ratio + along))) + side


def figures_of(  # noqa: PLR0913 (a part, its place and what it may be)
    table: PartTable,
    *,
    reach: Reach,
    disc_mm: float,
    scale: float,
    wall: float,
    top: float,
    first_piece: int,
) -> tuple[CarvedFigure, ...]:
    """Return a part and its copies, one figure for each length that occurs.

    Parameters
    ----------
    reach : Reach
        Of the room that it has. What ends near its edge is stretched to follow it, as petals are.
    disc_mm : float
        Radius of the medallion, in which nothing is stretched; 0 is none [mm].
    scale : float
        Factor of heights.
    wall : float
        Slope that walls may have.
    top : float
        Slope that its top may have.
    first_piece : int
        Its first piece number.
    """
    inner_mm = reach.inner_mm
    places = _copies(table)
    ends = table.at_ratio + table.length_ratio * cos(radians(table.heading_deg))
    middle_mm = (table.at_ratio + ends) / 2.0 * inner_mm
    rays = np.array([towards for towards, _, _ in places])
    follow = min(max(ends, 0.0), 1.0) ** 2 if middle_mm >= disc_mm else 0.0
    stretch = np.round(1.0 + follow * (reach(rays) / inner_mm - 1.0), 3)
    found = []
    for number, factor in enumerate(np.unique(stretch)):
        some = [place for place, own in zip(places, stretch, strict=True) if own == factor]
        found.append(
            _figure(
                table, some, size_mm=inner_mm * float(factor), disc_mm=disc_mm, scale=scale,
                wall=wall, top=top, first_piece=first_piece + COPY_PIECES * number * len(places),
            )
        )  # fmt: skip
    return tuple(found)


Placed = tuple[float, float, float]
"""Direction from the middle, heading [rad], and -1 for a mirror image."""


def _figure(  # noqa: PLR0913 (as `figures_of`)
    table: PartTable,
    places: Sequence[Placed],
    *,
    size_mm: float,
    disc_mm: float,
    scale: float,
    wall: float,
    top: float,
    first_piece: int,
) -> CarvedFigure:
    """Return copies of one length; `size_mm` is what lengths are shares of."""
    length_mm = table.length_ratio * size_mm
    widest_mm = max(table.width_ratio * length_mm / 2.0, LEAST_HALF_MM)
    half = widest_mm * _half_profile(table.figure)
    bent = 1.0 + 4.0 * abs(table.bend)
    wall, top = wall / bent, top / bent
    edge: Silhouettes | StarEdge
    if table.figure is Figure.STAR:
        edge = StarEdge(length_mm, max(table.veins, 4))
        widest_mm, deepest = length_mm / 2.0, edge.deepest_mm
    else:
        edge, widest_mm, deepest = _edge(table.figure, length_mm, widest_mm, foot_mm(wall))
    height_mm = table.height_mm * scale
    if table.figure in BY_DISTANCE:
        steep = 1.0 if table.figure is Figure.STAR else 2.0
        height_mm = min(height_mm, TOP_SHARE * wall * deepest / steep)
    least = max(LEAST_HALF_MM, 2.0 * height_mm * abs(table.cup) / (TOP_SHARE * wall))
    at_mm = table.at_ratio * size_mm
    return CarvedFigure(
        table=table,
        feet=np.array([(at_mm * cos(towards), at_mm * sin(towards)) for towards, _, _ in places]),
        ways=np.array([(cos(way), sin(way)) for _, way, _ in places]),
        turns=np.array([turn for _, _, turn in places]),
        length_mm=length_mm,
        half_mm=np.maximum(half, least),
        edge=edge,
        widest_mm=widest_mm,
        deepest_mm=deepest,
        height_mm=height_mm,
        first_piece=first_piece,
        wall=wall,
        top=top,
        disc_mm=disc_mm,
    )


def _half_profile(figure: Figure) -> Heights:
    """Return half widths along a figure as shares of the widest."""
    u = np.linspace(0.0, 1.0, SAMPLES)
    if figure in {Figure.BALL, Figure.BURR}:
        return np.sqrt(np.maximum(1.0 - (2.0 * u - 1.0) ** 2, 0.0))
    if figure is Figure.LEAF:
        body = np.sin(pi * u**0.8) ** 0.9
    elif figure is Figure.DROP:
        body = np.sqrt(np.maximum(u, 0.0)) * np.sqrt(np.maximum(1.0 - u**3, 0.0))
    else:  # a stem tapers to its tip
        body = (1.0 - 0.55 * u) * np.sqrt(np.maximum(1.0 - u**12, 0.0))
    profile: Heights = np.maximum(body / body.max(), 0.0)
    return profile


@lru_cache(maxsize=16)  # grains of an ear are alike
def _edge(
    figure: Figure, length_mm: float, widest_mm: float, reach_mm: float
) -> tuple[Silhouettes, float, float]:
    """Return a figure's edge, how far it lies from the axis at most, and how far inside it [mm]."""
    if figure is Figure.CRESCENT:
        half_edge = _crescent_edge(length_mm, widest_mm)
    else:
        half = widest_mm * _half_profile(figure)
        half_edge = np.column_stack([np.linspace(0.0, length_mm, len(half)), half])
    edge = Silhouettes([half_edge], reach_mm)
    grid = np.linspace(0.0, length_mm, 60)
    deepest = max(
        float(edge(0, grid, np.full(60, y)).max()) for y in np.linspace(0.0, widest_mm, 12)
    )
    return edge, float(half_edge[:, 1].max()), deepest


def _crescent_edge(length_mm: float, widest_mm: float) -> Points:
    """Return half a crescent: its horns point along the axis, its back is the foot."""
    radius = widest_mm
    at = np.linspace(pi, 0.32 * pi, 60)
    outer = np.column_stack([radius + radius * np.cos(at), radius * np.sin(at)])
    tip = outer[-1]
    start = np.array([0.95 * min(length_mm, radius), 0.0])
    # The inner arc passes through the horn and crosses the axis at its thickest place.
    centre = (tip @ tip - start[0] ** 2) / (2.0 * (tip[0] - start[0]))
    inner = np.hypot(tip[0] - centre, tip[1])
    first = np.arctan2(tip[1], tip[0] - centre)
    back = np.linspace(first, pi, 60)
    arc = np.column_stack([centre + inner * np.cos(back), np.maximum(inner * np.sin(back), 0.0)])
    return np.concatenate([outer, arc[1:]])


def _copies(table: PartTable) -> list[Placed]:
    """Return where a part's copies lie; a mirror image changes left and right."""
    found: list[Placed] = []
    for copy in range(table.copies):
        towards = radians(table.towards_deg + 360.0 * copy / table.copies)
        way = towards + radians(table.heading_deg)
        found.append((towards, way, 1.0))
        if table.mirrored:
            found.append((pi - towards, pi - way, -1.0))
    return found
