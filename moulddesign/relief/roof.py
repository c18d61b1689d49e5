"""The contour roof: a surface over a region whose height follows the distance to the edge."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.layers import LayerRegion, layer_regions
from moulddesign.core import KernelError, SpecError, say
from moulddesign.design import Profile, ReliefTable, Sense
from moulddesign.geometry import Indices, Mesh, Points, triangulated, unfolded
from moulddesign.relief.medial_axis import (
    MedialAxis,
    medial_axis,
    medial_axis_near_edge,
    snapped_to_grid,
)
from moulddesign.relief.profile import HeightProfile, height_profile
from moulddesign.relief.strips import Spokes, Strips, strips_of, subdivided


def triangulated_loops(vertices: Points, loops: Sequence[Indices]) -> Indices:
    """Return triangles of the area on the left of loops, rows of `vertices`.

    Ears are cut off where all loops keep apart. Where they touch in a vertex, ears would be
    folded over each other there, so a constrained Delaunay triangulation takes the area.
    """
    if not loops:
        return np.empty((0, 3), dtype=np.int64)
    rows = np.concatenate(loops)
    if len(np.unique(rows)) < len(rows):
        return _delaunay(vertices, loops)
    return rows[triangulated([vertices[loop, :2] for loop in loops])]


def _delaunay(vertices: Points, loops: Sequence[Indices]) -> Indices:
    rings = [shapely.linearrings(vertices[loop, :2]) for loop in loops]
    area = shapely.build_area(shapely.geometrycollections(rings))
    facets = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    corners = shapely.get_coordinates(shapely.orient_polygons(facets)).reshape(-1, 4, 2)[:, :3]
    rows = np.unique(np.concatenate(loops))
    known, first = np.unique(vertices[rows, :2], axis=0, return_index=True)
    both, number = np.unique(
        np.concatenate([known, corners.reshape(-1, 2)]), axis=0, return_inverse=True
    )
    if len(both) != len(known):
        raise KernelError(say("relief.plateau"), say("relief.triangulation-moved"))
    return rows[first][number[len(known) :]].reshape(-1, 3)


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
    eaves, plateaus : tuple of ndarray of int64
        Closed loops of `vertices` along the region's edge and along the plateau, with the region
        (and the plateau) on the left.
    """

    vertices: Points
    walls: Indices
    eaves: tuple[Indices, ...]
    plateaus: tuple[Indices, ...]

    @property
    def surface(self) -> Mesh:
        """The walls and the plateaus."""
        return Mesh(
            self.vertices,
            np.concatenate([self.walls, triangulated_loops(self.vertices, self.plateaus)]),
        )


def roof(shape: shapely.MultiPolygon, profile: HeightProfile) -> Roof:
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
    return roof_from_axis(medial_axis_near_edge(shape, float(profile.distances[-1])), profile)


def roof_from_axis(axis: MedialAxis, profile: HeightProfile) -> Roof:
    """Return the roof of a section over a medial axis that is known already."""
    axis = subdivided(axis, profile.distances[1:], profile.fan_rad)
    columns, strips = strips_of(axis, profile)
    points = _points(axis, columns, profile)
    around, along = strips.taken(strips.site < 0), strips.taken(strips.site >= 0)
    walls = [_around_corners(points, around), _along_segments(points, along)]
    plateaus = _rim_edges(points, around, along)
    return Roof(
        vertices=points.vertices,
        walls=unfolded(np.concatenate(walls)),
        eaves=_eaves(axis, points, along),
        plateaus=_loops(plateaus),
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


def _points(axis: MedialAxis, columns: Spokes, profile: HeightProfile) -> _Points:
    """Give numbers to corners and axis, feet inside segments, and levels up the columns."""
    levels = profile.distances
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
        [profile.height(axis.distances), np.zeros(len(feet)), profile.heights[level]]
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


def _eaves(axis: MedialAxis, points: _Points, along: Strips) -> tuple[Indices, ...]:
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


APART_MM: Final = 0.02
"""Least flat between regions of unlike height; a twentieth of a usual nozzle [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ReliefRegion:
    """A region of the artwork where it lies on the pastry.

    Parameters
    ----------
    shape : shapely MultiPolygon
        On the grid, x right and y up, the pastry's centre at the origin [mm].
    depth_mm : float
        Height above the flat top, negative where sunk [mm].
    profile : Profile
        Section of its strokes.
    draft_deg : float
        Least angle between its walls and the pull direction [deg].
    """

    shape: shapely.MultiPolygon
    depth_mm: float
    profile: Profile
    draft_deg: float

    def roof(self) -> Roof:
        """Return the surface over the region, from z = 0 at its edge."""
        if self.profile is Profile.FLAT:  # level beyond its walls: the axis there is not needed
            return roof(self.shape, self._section(inf))
        axis = medial_axis(self.shape)
        return roof_from_axis(axis, self._section(float(axis.distances.max())))

    def _section(self, widest_mm: float) -> HeightProfile:
        wall = height_profile(
            self.profile,
            depth_mm=abs(self.depth_mm),
            draft_deg=self.draft_deg,
            widest_mm=widest_mm,
        )
        return wall.times(1.0 if self.depth_mm > 0.0 else -1.0)


def relief_regions(table: ReliefTable, flat_top: shapely.Polygon) -> tuple[ReliefRegion, ...]:
    """Return the artwork's regions on the flat top.

    Parameters
    ----------
    table : ReliefTable
        Artwork, depth, profile, draft.
    flat_top : shapely Polygon
        The level part of the top [mm].

    Raises
    ------
    SpecError
        The artwork does not fit, or nothing is left of it.
    FileError
        The artwork cannot be read.
    """
    room = flat_top.buffer(-table.margin_mm)
    if room.is_empty:
        raise SpecError("relief.margin_mm", table.margin_mm, say("relief.margin"))
    return _apart([_placed(part, table) for part in layer_regions(table.layers, room, Path())])


def _apart(parts: list[ReliefRegion]) -> tuple[ReliefRegion, ...]:
    """Return one region for each way of standing, and a hair's breadth of flat between them.

    Parts that stand alike become one, so that no groove parts them. Others must not share an
    edge: each roof divides its edge in its own places.
    """
    alike: dict[tuple[float, Profile, float], list[ReliefRegion]] = {}
    for part in parts:
        alike.setdefault((part.depth_mm, part.profile, part.draft_deg), []).append(part)
    made: list[ReliefRegion] = []
    taken = shapely.MultiPolygon()
    for group in reversed(alike.values()):
        shape = shapely.union_all([part.shape for part in group])
        if taken.distance(shape) < APART_MM:
            shape = shape.difference(taken.buffer(APART_MM))
        made.insert(0, replace(group[-1], shape=snapped_to_grid(shape)))
        taken = taken.union(shape)
    return tuple(part for part in made if not part.shape.is_empty)


def _placed(part: LayerRegion, table: ReliefTable) -> ReliefRegion:
    """Return a laid part with its depth and section: the layer's own, or the whole relief's."""
    layer = part.layer
    sense = table.sense if layer.sense is None else layer.sense
    depth_mm = table.depth_mm if layer.depth_mm is None else layer.depth_mm
    sign = 1.0 if sense is Sense.RAISED else -1.0
    return ReliefRegion(
        shape=snapped_to_grid(part.shape),
        depth_mm=sign * part.depth_share * depth_mm,
        profile=table.profile if layer.profile is None else layer.profile,
        draft_deg=table.draft_deg if layer.draft_deg is None else layer.draft_deg,
    )
