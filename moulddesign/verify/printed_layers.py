"""A part as the printer builds it: a stack of layers, each the part's section half-way up.

Only layers whose section differs from the one before are cut: between the heights of two corners
where all facets stand upright, sections are alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.core import say
from moulddesign.geometry import Indices, Mesh, Points, booleans, manifold_of
from moulddesign.geometry.sampling import region_edges

Shapes = NDArray[np.object_]
"""Flat regions (shapely)."""

SEGMENTS: Final = 24
"""Straight pieces of a full round in a region that was made smaller."""
ON_ARC: Final = 1.0 / cos(pi / SEGMENTS)
"""By this a radius is larger, for the chords of `SEGMENTS` to lie outside the arc: 0.9 %."""
SAME_MM: Final = 5e-4
"""Corners of a section this near the line between their neighbours are left out [mm]."""
UPRIGHT: Final = 1e-3
"""A facet whose normal rises by less stands upright: a layer then moves by 0.2 um."""
ROUND_OFF_MM: Final = 1e-4
"""Heights that differ by less are the same: some steps of float32 at 200 mm [mm]."""
ROUND_OFF_MM2: Final = 1e-9
"""Areas that differ by less are the same [mm^2]."""
FAR_MM: Final = 2000.0
"""Farther than any part that moves away has to go [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintedLayers:
    """The layers of a part between two heights, from below."""

    layer_mm: float
    low_mm: float
    """Height of the lowest layer's underside [mm]."""
    shapes: Shapes
    """Distinct sections, shape (m,)."""
    kinds: Indices
    """Which of them each layer has, shape (n,)."""
    on_bed: NDArray[np.bool_]
    """Which of the sections is the first layer on the bed, shape (m,)."""

    def __len__(self) -> int:
        return len(self.kinds)

    @property
    def bottoms_mm(self) -> Points:
        """Height of each layer's underside, shape (n,) [mm]."""
        rows = np.arange(len(self.kinds), dtype=np.float64)
        return self.low_mm + self.layer_mm * rows

    def row(self, height_mm: float) -> int:
        """Return the layer whose underside is nearest to a height; it may be beyond the ends."""
        return round((height_mm - self.low_mm) / self.layer_mm)

    def layer(self, row: int) -> BaseGeometry:
        """Return the section of a layer, empty beyond the ends."""
        if 0 <= row < len(self.kinds):
            return self.shapes[self.kinds[row]]
        return shapely.Polygon()


@lru_cache(maxsize=16)
def printed_layers(
    mesh: Mesh, *, layer_mm: float, upside_down: bool, low_mm: float, high_mm: float
) -> PrintedLayers:
    """Return the layers that lie between two heights of a closed mesh in assembly pose.

    A part that is printed upside down begins with its highest layer. As in slicers, a layer is
    printed where the part reaches its middle. A mesh never changes and is told apart by identity,
    so its layers are kept: further stamps share a plunger.
    """
    bottom_mm, top_mm = mesh.bounds[:, 2].tolist()
    count = round((top_mm - bottom_mm) / layer_mm - ROUND_OFF_MM)
    start_mm = top_mm - count * layer_mm if upside_down else bottom_mm
    first = int(max(0.0, np.ceil((low_mm - start_mm) / layer_mm - 0.5)))
    last = int(min(count, np.floor((high_mm - start_mm) / layer_mm + 0.5)))
    middles_mm = start_mm + layer_mm * (np.arange(first, last) + 0.5)
    changes = _changes(mesh, middles_mm)
    bed = (count - 1 if upside_down else 0) - first
    changes[[row for row in (bed, bed + 1) if 0 < row < len(changes)]] = True
    rows = np.flatnonzero(changes)
    kinds = np.cumsum(changes) - 1
    shapes = np.empty(len(rows), dtype=object)
    body = manifold_of(mesh, say("verify.printed-layers"))
    shapes[:] = [
        _region(body.slice(middle_mm).simplify(SAME_MM).to_polygons())
        for middle_mm in middles_mm[rows].tolist()
    ]
    return PrintedLayers(
        layer_mm=layer_mm,
        low_mm=start_mm + first * layer_mm,
        shapes=shapes,
        kinds=kinds,
        on_bed=rows == bed,
    )


def _changes(mesh: Mesh, heights_mm: Points) -> NDArray[np.bool_]:
    """Return where a section differs from the one below it; the first counts as different."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    across = np.cross(b - a, c - a)
    leaning = np.abs(across[:, 2]) > UPRIGHT * np.linalg.norm(across, axis=1)
    z = mesh.corners[leaning][:, :, 2]
    begins = np.searchsorted(heights_mm, z.min(axis=1) - ROUND_OFF_MM)
    ends = np.searchsorted(heights_mm, z.max(axis=1) + ROUND_OFF_MM)
    # A facet changes every section from the first above its lowest corner to the first above it.
    steps = np.bincount(begins, minlength=len(heights_mm) + 2).astype(np.int64)
    steps -= np.bincount(ends + 1, minlength=len(heights_mm) + 2)
    changed = np.cumsum(steps)[: len(heights_mm)] > 0
    changed[:1] = True
    return changed


def _region(loops: Sequence[Points]) -> BaseGeometry:
    """Return the region of clean loops: outer ones counter-clockwise, holes clockwise."""
    areas_mm2 = [_doubled_area_mm2(loop) for loop in loops]
    # The smallest first: a hole belongs to the first outer loop that has it inside.
    order = sorted(range(len(loops)), key=lambda row: areas_mm2[row])
    outer = [loops[row] for row in order if areas_mm2[row] > 0.0]
    holes: list[list[Points]] = [[] for _ in outer]
    rims = shapely.polygons([shapely.linearrings(loop) for loop in outer])
    for row, loop in enumerate(loops):
        if areas_mm2[row] <= 0.0:
            around = 0 if len(outer) == 1 else int(np.argmax(shapely.contains_xy(rims, *loop[0])))
            holes[around].append(loop)
    parts = [shapely.Polygon(rim, inside) for rim, inside in zip(outer, holes, strict=True)]
    region = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    return region if region.is_valid else booleans.region(loops)


def _doubled_area_mm2(loop: Points) -> float:
    """Return twice the area of a loop, negative where it turns clockwise [mm^2]."""
    x, y = np.transpose(loop - loop[0])  # beside the first corner, whose terms are then 0
    return float(np.dot(x[:-1], y[1:]) - np.dot(y[:-1], x[1:]))


def eroded(shapes: Shapes, by_mm: float) -> Shapes:
    """Return regions that are smaller by a distance all round, and never larger than that."""
    return np.asarray(shapely.buffer(shapes, -ON_ARC * by_mm, quad_segs=SEGMENTS // 4))


def swept(shape: BaseGeometry, quarter_turns: int = 0) -> BaseGeometry:
    """Return what a region passes over on its way out along +x, or along +y after a quarter turn.

    Between the heights y of two corners next to each other, that is all beyond the region's least
    x, which lies on one edge: edges meet at corners only. So the result is exact.

    Examples
    --------
    >>> square = shapely.box(0.0, 0.0, 2.0, 1.0)
    >>> swept(square).bounds, swept(square, 1).bounds
    ((0.0, 0.0, 2002.0, 1.0), (0.0, 0.0, 2.0, 2001.0))
    """
    turn = np.linalg.matrix_power(np.array([[0.0, -1.0], [1.0, 0.0]]), quarter_turns % 4)
    hull = shape.convex_hull
    if hull.area - shape.area <= ROUND_OFF_MM2:  # what is convex stays so, with its ends' hull
        out = shapely.transform(hull, lambda points: points + FAR_MM * turn[:, 0])
        return shapely.union(hull, out).convex_hull
    edges = region_edges(shape) @ turn  # the way out becomes +x
    if not len(edges):
        return shapely.Polygon()
    levels = np.unique(edges[:, :, 1])
    edge, slab = _crossings(edges, levels)
    ends = np.stack([_x_at(edges[edge], levels[slab + side]) for side in (0, 1)], axis=1)
    order = np.lexsort([ends.sum(axis=1), slab])
    filled, first = np.unique(slab[order], return_index=True)
    last = np.r_[first[1:], len(order)] - 1
    left, right = ends[order[first]], ends[order[last]] + FAR_MM
    y = np.stack([levels[filled], levels[filled + 1]], axis=1)
    gaps = np.flatnonzero(np.diff(filled) > 1) + 1
    parts = [
        shapely.Polygon(_around(left[rows], right[rows], y[rows]) @ turn.T)
        for rows in np.split(np.arange(len(filled)), gaps)
    ]
    return parts[0] if len(parts) == 1 else shapely.union_all(parts)


def _crossings(edges: Points, levels: Points) -> tuple[Indices, Indices]:
    """Return which edge crosses which slab between two levels next to each other, as pairs."""
    ends = np.searchsorted(levels, np.sort(edges[:, :, 1], axis=1))
    counts = ends[:, 1] - ends[:, 0]
    edge = np.repeat(np.arange(len(edges)), counts)
    nth = np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)
    return edge, ends[edge, 0] + nth


def _x_at(edges: Points, levels: Points) -> Points:
    """Return the x of each edge at a level that it reaches, shape (n,) [mm]."""
    (x0, y0), (x1, y1) = np.moveaxis(edges, 0, 2)
    return np.asarray(x0 + (levels - y0) / (y1 - y0) * (x1 - x0))


def _around(left: Points, right: Points, y: Points) -> Points:
    """Return the corners round slabs that lie on each other, counter-clockwise [mm]."""
    there = np.column_stack([right.ravel(), y.ravel()])
    back = np.column_stack([left.ravel(), y.ravel()])[::-1]
    return np.concatenate([there, back])
