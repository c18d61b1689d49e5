r"""The contour roof: a surface over a region whose height follows the distance to the edge.

Over a cell of the medial axis the distance to the edge is that to one line or one corner, so where
the profile is straight, the surface is a plane over a segment and a cone around a corner. The axis
is cut where it crosses a level (a distance at which the profile bends), so the facets are exact
over segments and, around corners, as fine as the profile asks. Every facet over a segment lies in
the plane that this segment's wall has there: the draft holds by construction, and where a stroke
is too narrow for the full depth, two walls meet in its true ridge. No boolean is involved. Insets
by a buffer would not do: a stroke that tapers ends in a ridge that no contour shows.

In plan, a flat profile over the end of a stroke::

    ----------------------+
                        / |     eaves: the outer loop, the region's edge, height 0
         wall         /   |     ridges: the slanting lines, where two walls meet;
    ----------------+     |         they are edges of the medial axis
         plateau    |wall |     plateau: the inner loop, where the profile has its full height
    ----------------+     |
         wall         \   |
                        \ |
    ----------------------+
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from pathlib import Path
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.layers import LayerRegion, layer_regions
from moulddesign.core import KernelError, SpecError, say
from moulddesign.design import Profile, ReliefTable, Sense
from moulddesign.geometry import (
    Indices,
    Mesh,
    Points,
    triangulated,
    unfolded,
    volume_over_plane_mm3,
)
from moulddesign.relief.medial_axis import MedialAxis, medial_axis, medial_axis_near_edge
from moulddesign.relief.profile import HeightProfile, height_profile
from moulddesign.relief.strips import Spokes, Strips, strips_of, subdivided
from moulddesign.relief.voronoi import snapped_to_grid


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
    # GEOS may add no point and move none, or the plateau would not fit the walls: each corner of
    # its triangles has to be one of the known points.
    both, number = np.unique(
        np.concatenate([known, corners.reshape(-1, 2)]), axis=0, return_inverse=True
    )
    if len(both) != len(known):
        raise KernelError(say("relief.plateau"), say("relief.triangulation-moved"))
    return rows[first][number[len(known) :]].reshape(-1, 3)


@dataclass(frozen=True, eq=False, kw_only=True)
class Roof:
    """A roof in pieces, over z = 0 at the region's edge."""

    vertices: Points
    """Shape (n, 3) [mm]."""
    strips: Indices
    """Triangles of the walls, among them pairs wound against each other and such without area."""
    eaves: tuple[Indices, ...]
    """Closed loops of `vertices` along the region's edge, with the region on the left."""
    plateaus: tuple[Indices, ...]
    """Closed loops of `vertices` around the plateaus, with the plateau on the left."""

    @cached_property
    def walls(self) -> Indices:
        """Triangles of the walls, upward side counter-clockwise, shape (m, 3)."""
        return unfolded(self.strips)

    @property
    def volume_mm3(self) -> float:
        """Volume between walls, plateaus and z = 0, negative below it [mm^3]."""
        over = volume_over_plane_mm3(self.vertices[self.strips])
        return over + sum(_volume_under_loop_mm3(self.vertices[loop]) for loop in self.plateaus)

    @cached_property
    def surface(self) -> Mesh:
        """The walls and the plateaus."""
        flat = triangulated_loops(self.vertices, self.plateaus)
        return Mesh(self.vertices, np.concatenate([self.walls, flat]))


def _volume_under_loop_mm3(corners: Points) -> float:
    """Return the volume between a level loop and z = 0 [mm^3]."""
    x, y, z = corners.T
    return float(z[0] * (x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2.0)


def roof(shape: shapely.MultiPolygon, profile: HeightProfile) -> Roof:
    """Return the roof of a profile over a region.

    Parameters
    ----------
    shape : shapely MultiPolygon
        Region on the grid (`voronoi.snapped_to_grid`) [mm], not empty.

    Raises
    ------
    KernelError
        The region's medial axis could not be computed.
    """
    axis = medial_axis_near_edge(shape, float(profile.distances[-1]))
    return roof_from_axis(axis, profile)


def roof_from_axis(axis: MedialAxis, profile: HeightProfile) -> Roof:
    """Return the roof of a profile over a medial axis that is known already."""
    # 1. Cut the axis at the levels, so that the height is linear along each of its edges.
    # 2. Drop spokes from its vertices to the edge; between two lies a strip of the wall.
    # 3. Number the vertices: axis, feet, and where spokes pass levels.
    # 4. Facet the strips, and read eaves and plateaus off their lowest and highest sides.
    axis = subdivided(axis, profile.distances[1:], profile.fan_rad)
    spokes, strips = strips_of(axis, profile)
    points = _roof_points(axis, spokes, profile)
    around, along = strips.take(strips.site < 0), strips.take(strips.site >= 0)
    walls = [_around_corners(points, around), _along_segments(points, along)]
    return Roof(
        vertices=points.vertices,
        strips=np.concatenate(walls),
        eaves=_eaves(axis, points, along),
        plateaus=_loops(_plateau_edges(points, around, along)),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _RoofPoints:
    """The vertices of a roof, and where each spoke has them."""

    vertices: Points
    at: Indices
    """The vertex of a spoke at the edge and at each level, -1 where it has none, shape
    (spokes, levels + 1)."""
    tip: Indices
    """The vertex at a spoke's tip."""
    first_level: Indices
    """The lowest level that a spoke needs."""

    @property
    def intervals(self) -> int:
        return int(self.at.shape[1]) - 1

    def above(self, spoke: Indices, interval: int) -> Indices:
        """Return the vertex that ends a spoke within an interval: its next level, or its tip."""
        level = self.at[spoke, interval + 1]
        vertex: Indices = np.where(level >= 0, level, self.tip[spoke])
        return vertex


def _roof_points(axis: MedialAxis, spokes: Spokes, profile: HeightProfile) -> _RoofPoints:
    """Return vertices numbered: the axis's, feet inside segments, and levels up the spokes."""
    levels = profile.distances
    number = np.arange(len(levels))
    # A spoke has a vertex at a level where it is long enough and a facet needs one there. Where the
    # level is its tip, that vertex is the axis's own, so that both sides of the axis share it.
    reached = (levels <= spokes.reach[:, None]) & (number >= spokes.first_level[:, None])
    ends = reached & (levels == spokes.reach[:, None])
    at = np.full(reached.shape, -1, dtype=np.int64)
    on_axis, _ = np.nonzero(ends)
    at[ends] = spokes.tip[on_axis]
    # At the edge: the corner itself, which the axis has among its vertices, or a new foot.
    at[reached[:, 0], 0] = spokes.corner[reached[:, 0]]
    feet = np.flatnonzero(reached[:, 0] & (spokes.corner < 0))
    at[feet, 0] = len(axis.vertices) + np.arange(len(feet))
    reached[:, 0] = False
    spoke, level = np.nonzero(reached & ~ends)
    at[spoke, level] = len(axis.vertices) + len(feet) + np.arange(len(spoke))
    on_level = spokes.foot[spoke] + levels[level, None] * spokes.direction[spoke]
    plan = np.concatenate([axis.vertices, spokes.foot[feet], on_level])
    height = np.concatenate(
        [profile.height(axis.distances), np.zeros(len(feet)), profile.heights[level]]
    )
    return _RoofPoints(
        vertices=np.column_stack([plan, height]),
        at=at,
        tip=spokes.tip,
        first_level=spokes.first_level,
    )


def _quads(points: _RoofPoints, strips: Strips, interval: int) -> Indices:
    """Return the facets of strips within an interval, between their two spokes."""
    l0, r0 = points.at[strips.left, interval], points.at[strips.right, interval]
    l1, r1 = points.above(strips.left, interval), points.above(strips.right, interval)
    return np.concatenate([np.column_stack([l0, r0, r1]), np.column_stack([l0, r1, l1])])


def _around_corners(points: _RoofPoints, strips: Strips) -> Indices:
    """Return the facets of strips around corners: each goes down to its corner."""
    return np.concatenate(
        [
            _quads(points, strips.take(strips.interval >= interval), interval)
            for interval in range(points.intervals)
        ]
    )


def _along_segments(points: _RoofPoints, strips: Strips) -> Indices:
    r"""Return the facets of strips along segments.

    Within an interval a segment's wall is one plane: where strips go on above it, one polygon
    fills the interval from the first to the last of them, with the spokes that begin or pass there
    on its edges. Its triangles meet in its lower left and its upper right corner::

        upper edge   +---+---+-------+      from the lower left corner to the upper edge's pieces,
                     | \  \        / |      from the upper right corner to the lower edge's
        lower edge   +------+---+----+
    """
    made = [np.empty((0, 3), dtype=np.int64)]
    for interval in range(points.intervals):
        made.append(_quads(points, strips.take(strips.interval == interval), interval))
        run = strips.take(strips.interval > interval)
        upper = _level_edges(points, run, interval + 1)
        lower = _level_edges(points, run, interval)
        corner = points.at[upper.first, interval]
        made.append(np.column_stack([corner, upper.end, upper.begin]))
        corner = points.at[lower.last, interval + 1]
        made.append(np.column_stack([lower.begin, lower.end, corner]))
    return np.concatenate(made)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _LevelEdges:
    """Edges along a level, left to right, and the spokes at both ends of their run."""

    begin: Indices
    end: Indices
    site: Indices
    first: Indices
    last: Indices


def _level_edges(points: _RoofPoints, strips: Strips, level: int) -> _LevelEdges:
    """Return the edges between the spokes that are needed at a level, run by run."""
    # A run is a row of strips of one segment, each beginning at the spoke where the last one ends.
    begins = np.ones(len(strips.site), dtype=bool)
    begins[1:] = strips.left[1:] != strips.right[:-1]
    begins[1:] |= strips.site[1:] != strips.site[:-1]
    start = np.flatnonzero(begins)
    run = np.cumsum(begins) - 1
    first = strips.left[start]
    last = strips.right[np.append(start[1:], len(begins))[: len(start)] - 1]
    needed = np.flatnonzero(begins | (points.first_level[strips.left] <= level))
    node, run = strips.left[needed], run[needed]
    # An edge goes on to the next needed spoke of its run, the last one to the end of the run.
    onward = np.append(node[1:], node[:1])
    final = np.append(run[1:] != run[:-1], [True])[: len(run)]
    after = np.where(final, last[run], onward)
    return _LevelEdges(
        # What was left out between two needed spokes lies on a straight line: no vertex is missing.
        begin=points.at[node, level],
        end=points.at[after, level],
        site=strips.site[needed],
        first=first[run],
        last=last[run],
    )


def _plateau_edges(points: _RoofPoints, around: Strips, along: Strips) -> Indices:
    """Return the edges of the plateaus, plateau on the left."""
    # The strips that reach the top level end on the plateau. Around a corner each brings its own
    # edge; along segments the edges run from one needed spoke to the next.
    level = points.intervals
    high = around.take(around.interval == level)
    edges = _level_edges(points, along.take(along.interval == level), level)
    fans = points.at[np.array([high.left, high.right]), level]
    return np.column_stack([np.append(fans[0], edges.begin), np.append(fans[1], edges.end)])


def _eaves(axis: MedialAxis, points: _RoofPoints, along: Strips) -> tuple[Indices, ...]:
    """Return each ring of the boundary with the feet on it, in order.

    It is the walls' own order: feet a rounding apart, sorted by place, may come the other way.
    """
    feet = _level_edges(points, along, 0)
    apart = feet.begin != feet.end
    ring = axis.rings[feet.site[apart]]
    return tuple(np.split(feet.begin[apart], np.flatnonzero(np.diff(ring)) + 1))


THERE_AND_BACK: Final = 2
"""A loop of so many edges is where two walls meet in a ridge, and no plateau."""


def _loops(edges: Indices) -> tuple[Indices, ...]:
    """Return closed loops of directed edges, none of which comes to a vertex twice."""
    # Each vertex has one edge that leaves it, unless loops touch there.
    after = dict(edges.tolist())
    if len(after) < len(edges):
        return _touching_loops(edges)
    loops = []
    while after:
        path = [next(iter(after))]
        while (following := after.pop(path[-1])) != path[0]:
            path.append(following)
        loops.append(path)
    return tuple(np.array(loop, dtype=np.int64) for loop in loops if len(loop) > THERE_AND_BACK)


def _touching_loops(edges: Indices) -> tuple[Indices, ...]:
    """Return closed loops of directed edges that touch each other.

    Where they touch in a vertex, a walk may go on along either; what it has passed since it was
    there before is a loop of its own.
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
    """A region of the artwork where it lies on the pastry, with its height."""

    shape: shapely.MultiPolygon
    """On the grid, x right and y up, the pastry's centre at the origin [mm]."""
    depth_mm: float
    """Height above the flat top, negative where sunk."""
    profile: Profile
    draft_deg: float
    """Least angle between its walls and the pull direction."""
    colour: str | None = None
    """Of the dough that is pressed into its engraving first."""
    parts: tuple[LayerRegion, ...] = ()
    """What of the layers it is made of."""

    def roof(self) -> Roof:
        """Return the surface over the region, from z = 0 at its edge."""
        if self.profile is Profile.FLAT:  # constant beyond its walls: no axis is needed there
            return roof(self.shape, self._height_profile(inf))
        axis = medial_axis(self.shape)
        return roof_from_axis(axis, self._height_profile(float(axis.distances.max())))

    def run_mm(self, height_mm: float) -> float:
        """Return how far inside its edge the roof is so high above its foot, or as deep [mm]."""
        is_flat = self.profile is Profile.FLAT
        widest_mm = inf if is_flat else float(medial_axis(self.shape).distances.max())
        made = self._height_profile(widest_mm)
        return float(np.interp(height_mm, np.abs(made.heights), made.distances))

    def _height_profile(self, widest_mm: float) -> HeightProfile:
        raised = height_profile(
            self.profile, depth_mm=abs(self.depth_mm), draft_deg=self.draft_deg, widest_mm=widest_mm
        )
        return raised.times(1.0 if self.depth_mm > 0.0 else -1.0)


def relief_regions(table: ReliefTable, flat_top: shapely.Polygon) -> tuple[ReliefRegion, ...]:
    """Return the artwork's regions on the flat top.

    Parameters
    ----------
    flat_top : shapely Polygon
        The level part of the top [mm].

    Raises
    ------
    SpecError
        The artwork does not fit, or nothing is left of it.
    FileError
        The artwork cannot be read.
    """
    available = flat_top.buffer(-table.margin_mm)
    if available.is_empty:
        raise SpecError("relief.margin_mm", table.margin_mm, say("relief.margin"))
    parts = layer_regions(table.layers, available, Path())
    return set_apart([_relief_region(part, table) for part in parts])


def set_apart(parts: Sequence[ReliefRegion]) -> tuple[ReliefRegion, ...]:
    """Return a region for each height, profile, draft and colour, and a little flat between them.

    Parts that are alike become one, so that no groove separates them. Others must not share an
    edge: each roof divides its edge in its own places.
    """
    alike: dict[tuple[float, Profile, float, str | None], list[ReliefRegion]] = {}
    for part in parts:
        kind = (part.depth_mm, part.profile, part.draft_deg, part.colour)
        alike.setdefault(kind, []).append(part)
    made: list[ReliefRegion] = []
    taken = shapely.MultiPolygon()
    for group in reversed(alike.values()):
        shape = shapely.union_all([part.shape for part in group])
        if taken.distance(shape) < APART_MM:
            shape = shape.difference(taken.buffer(APART_MM))
        drawn = tuple(layer for part in group for layer in part.parts)
        made.insert(0, replace(group[-1], shape=snapped_to_grid(shape), parts=drawn))
        taken = taken.union(shape)
    return tuple(part for part in made if not part.shape.is_empty)


def _relief_region(part: LayerRegion, table: ReliefTable) -> ReliefRegion:
    """Return a part with its depth and profile: the layer's own, or the whole relief's."""
    layer = part.layer
    sense = table.sense if layer.sense is None else layer.sense
    depth_mm = table.depth_mm if layer.depth_mm is None else layer.depth_mm
    sign = 1.0 if sense is Sense.RAISED else -1.0
    if layer.colour is not None and sense is not Sense.RAISED:
        raise SpecError("relief.layers.colour", layer.colour, say("relief.colour-of-sunk"))
    return ReliefRegion(
        shape=snapped_to_grid(part.shape),
        depth_mm=sign * part.depth_share * depth_mm,
        profile=table.profile if layer.profile is None else layer.profile,
        draft_deg=table.draft_deg if layer.draft_deg is None else layer.draft_deg,
        colour=layer.colour,
        parts=(part,),
    )
