"""The contour roof: a surface over a region whose height follows the distance to the edge.

Each edge of the medial axis, seen from one side, spans a strip down to the boundary. A strip is
ruled: its foot on the boundary, the levels where the section bends, its top on the axis or on
the plateau. Strips share their columns, so the surface is closed by construction, every facet
lies in the plane of the wall it belongs to, and narrow strokes end in a ridge by themselves.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.mesh import Indices, Mesh, Points, unfolded
from moulddesign.pastry.flat import filled
from moulddesign.pastry.medial import Medial
from moulddesign.pastry.near import medial_near
from moulddesign.pastry.profile import Section
from moulddesign.pastry.strips import Columns, Strips, strips_of
from moulddesign.pastry.subdivide import subdivided

THERE_AND_BACK: Final = 2
"""A loop of so many edges is where two walls meet."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Roof:
    """A roof in pieces, over z = 0 at the region's edge.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
        Vertices [mm].
    walls : ndarray of int64, shape (m, 3)
        Triangles of the walls, upward side counter-clockwise.
    eaves, rims : tuple of ndarray of int64
        Closed loops of `vertices` along the region's edge and along the plateau, with the region
        (and the plateau) on the left.
    """

    vertices: Points
    walls: Indices
    eaves: tuple[Indices, ...]
    rims: tuple[Indices, ...]

    @property
    def surface(self) -> Mesh:
        """The walls and the plateaus."""
        return Mesh(self.vertices, np.concatenate([self.walls, filled(self.vertices, self.rims)]))


def roof(shape: shapely.MultiPolygon, section: Section) -> Roof:
    """Return the roof of a section over a region.

    Parameters
    ----------
    shape : shapely MultiPolygon
        Region on the grid (`medial.on_grid`) [mm], not empty.
    section : Section
        Height over the distance to the edge.

    Raises
    ------
    KernelError
        The region's medial axis could not be computed.
    """
    return roof_over(medial_near(shape, float(section.distances[-1])), section)


def roof_over(axis: Medial, section: Section) -> Roof:
    """Return the roof of a section over a medial axis that is known already."""
    axis = subdivided(axis, section.distances[1:], section.fan_rad)
    columns, strips = strips_of(axis, section)
    points = _points(axis, columns, section)
    around, along = strips.taken(strips.site < 0), strips.taken(strips.site >= 0)
    walls = [_around_corners(points, around), _along_segments(points, along)]
    rims = _rim_edges(points, around, along)
    return Roof(
        vertices=points.vertices,
        walls=unfolded(np.concatenate(walls)),
        eaves=_eaves(axis, points, along),
        rims=_loops(rims),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Points:
    """The vertices of a roof, and where each column has them.

    `at` has shape (columns, levels + 1): the vertex of a column at the edge and at each level, -1
    where it has none. `top` is the vertex at its top; `first` the lowest level that it needs.
    """

    vertices: Points
    at: Indices
    top: Indices
    first: Indices

    @property
    def bands(self) -> int:
        return int(self.at.shape[1]) - 1

    def above(self, column: Indices, band: int) -> Indices:
        """Return the vertex that ends a column within a band: its next level, or its top."""
        level = self.at[column, band + 1]
        vertex: Indices = np.where(level >= 0, level, self.top[column])
        return vertex


def _points(axis: Medial, columns: Columns, section: Section) -> _Points:
    """Give numbers to corners and axis, feet inside segments, and levels up the columns."""
    levels = section.distances
    number = np.arange(len(levels))
    reached = (levels <= columns.reach[:, None]) & (number >= columns.first[:, None])
    ends = reached & (levels == columns.reach[:, None])
    at = np.full(reached.shape, -1, dtype=np.int64)
    on_axis, _ = np.nonzero(ends)
    at[ends] = columns.top[on_axis]
    at[reached[:, 0], 0] = columns.corner[reached[:, 0]]
    feet = np.flatnonzero(reached[:, 0] & (columns.corner < 0))
    at[feet, 0] = len(axis.vertices) + np.arange(len(feet))
    reached[:, 0] = False
    column, level = np.nonzero(reached & ~ends)
    at[column, level] = len(axis.vertices) + len(feet) + np.arange(len(column))
    on_level = columns.foot[column] + levels[level, None] * columns.direction[column]
    flat = np.concatenate([axis.vertices, columns.foot[feet], on_level])
    height = np.concatenate(
        [section.height(axis.distances), np.zeros(len(feet)), section.heights[level]]
    )
    return _Points(
        vertices=np.column_stack([flat, height]), at=at, top=columns.top, first=columns.first
    )


def _quads(points: _Points, strips: Strips, band: int) -> Indices:
    """Return what strips show within a band, between their columns."""
    l0, r0 = points.at[strips.left, band], points.at[strips.right, band]
    l1, r1 = points.above(strips.left, band), points.above(strips.right, band)
    return np.concatenate([np.column_stack([l0, r0, r1]), np.column_stack([l0, r1, l1])])


def _around_corners(points: _Points, strips: Strips) -> Indices:
    """Return the facets of strips around corners: each goes down to its corner."""
    bands = range(points.bands)
    return np.concatenate([_quads(points, strips.taken(strips.band >= k), k) for k in bands])


def _along_segments(points: _Points, strips: Strips) -> Indices:
    """Return the facets of strips along segments.

    Within a band a segment's wall is one plane: where strips go on above it, one polygon fills
    the band from the first to the last of them, with the columns that begin or pass there on its
    edges. Its triangles meet in its lower left and its upper right corner.
    """
    made = [np.empty((0, 3), dtype=np.int64)]
    for band in range(points.bands):
        made.append(_quads(points, strips.taken(strips.band == band), band))
        run = strips.taken(strips.band > band)
        upper, lower = _edges(points, run, band + 1), _edges(points, run, band)
        corner = points.at[upper.first, band]
        made.append(np.column_stack([corner, upper.end, upper.begin]))
        corner = points.at[lower.last, band + 1]
        made.append(np.column_stack([lower.begin, lower.end, corner]))
    return np.concatenate(made)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Edges:
    """Edges along a level, left to right: vertices, segment, and the columns that end their run."""

    begin: Indices
    end: Indices
    site: Indices
    first: Indices
    last: Indices


def _edges(points: _Points, strips: Strips, level: int) -> _Edges:
    """Return the edges between the columns that are needed at a level, run by run."""
    begins = np.ones(len(strips.site), dtype=bool)
    begins[1:] = strips.left[1:] != strips.right[:-1]
    begins[1:] |= strips.site[1:] != strips.site[:-1]
    start = np.flatnonzero(begins)
    run = np.cumsum(begins) - 1
    first = strips.left[start]
    last = strips.right[np.append(start[1:], len(begins))[: len(start)] - 1]
    needed = np.flatnonzero(begins | (points.first[strips.left] <= level))
    node, run = strips.left[needed], run[needed]
    onward = np.append(node[1:], node[:1])
    final = np.append(run[1:] != run[:-1], [True])[: len(run)]
    after = np.where(final, last[run], onward)
    return _Edges(
        begin=points.at[node, level],
        end=points.at[after, level],
        site=strips.site[needed],
        first=first[run],
        last=last[run],
    )


def _rim_edges(points: _Points, around: Strips, along: Strips) -> Indices:
    """Return the edges of the plateaus, plateau on the left."""
    level = points.bands
    high = around.taken(around.band == level)
    rim = _edges(points, along.taken(along.band == level), level)
    fans = points.at[np.array([high.left, high.right]), level]
    return np.column_stack([np.append(fans[0], rim.begin), np.append(fans[1], rim.end)])


def _eaves(axis: Medial, points: _Points, along: Strips) -> tuple[Indices, ...]:
    """Return each ring of the boundary with the feet on it, in order.

    It is the walls' own order: feet a rounding apart, sorted by place, may come the other way.
    """
    feet = _edges(points, along, 0)
    apart = feet.begin != feet.end
    ring = axis.rings[feet.site[apart]]
    return tuple(np.split(feet.begin[apart], np.flatnonzero(np.diff(ring)) + 1))


def _loops(edges: Indices) -> tuple[Indices, ...]:
    """Return closed loops of directed edges, none of which comes to a vertex twice."""
    after = dict(edges.tolist())
    if len(after) < len(edges):
        return _parted(edges)
    loops = []
    while after:
        path = [next(iter(after))]
        while (following := after.pop(path[-1])) != path[0]:
            path.append(following)
        loops.append(path)
    return tuple(np.array(loop, dtype=np.int64) for loop in loops if len(loop) > THERE_AND_BACK)


def _parted(edges: Indices) -> tuple[Indices, ...]:
    """Return closed loops of directed edges that touch each other.

    Where they touch in a vertex, a walk may go on along either; what it has gone round by the
    time it is there again is a loop of its own.
    """
    after: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        after.setdefault(a, []).append(b)
    loops = []
    while after:
        path = [next(iter(after))]
        place = {path[0]: 0}
        while path:
            here = path[-1]
            onward = after[here]
            following = onward.pop()
            if not onward:
                del after[here]
            if following not in place:
                place[following] = len(path)
                path.append(following)
                continue
            loop = path[place[following] :]
            kept = place[following] + (following in after)
            for vertex in path[kept:]:
                del place[vertex]
            del path[kept:]
            if len(loop) > THERE_AND_BACK:
                loops.append(np.array(loop, dtype=np.int64))
    return tuple(loops)
