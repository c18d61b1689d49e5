r"""The medial axis of a region: whole, or near the edge only, which is all that a plateau needs.

The medial axis holds the points of a region that have more than one nearest point on its edge. It
is the part of the Voronoi diagram of the edge's segments and corners that lies inside the region,
without the lines between a segment and its own ends. It cuts the region into cells, and in a cell
the distance to the edge is that to one segment's line or to one corner.

Near the edge. A flat profile is constant beyond a distance h, so the axis beyond h is not needed.
Over each segment stands a wall: the points above it, up to h. It ends in the offset segment, the
segment moved inwards by h::

      offset segment           reflex corner              convex corner

    +------T-------+         +---.meet.---+                       /
    |      P       |         |  \  fan /  |          -------meet /
    |      |       |         |   \    /   |              wall   X wall
    +------F-------+         +----- C ----+          --------- C
         segment               wall   wall

A wall is isolated where no other segment but its two neighbours comes nearer to the offset segment
than h. Then no other segment is nearer to any point P of the wall than the wall's own. For with P
at the distance d above its foot F, T straight above P on the offset segment and Q on the other
segment, the triangle inequality gives |QP| >= |QT| - |TP| >= h - (h - d) = d. Around a reflex
corner C there is a fan of points nearest to the corner. The two offset lines outside it meet at
the distance r from C; the ray from C through P crosses one of them in X, with |CX| <= r. If
nothing comes nearer to the two lines than r, then |QP| >= r - (|CX| - d) >= d as well. Both are
exact for any shape: there is no sampling, and no tolerance but a margin for round-off.

Isolated walls get their part of the axis from a few sums. The Voronoi diagram is asked for the
others only, with the isolated walls beside them. Within h the cell of an isolated wall borders on
those of its two neighbours alone, so this smaller diagram has the right cells there. The two parts
are stitched together along their seams; where a seam is not found, the whole diagram is taken.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.core import KernelError, say
from moulddesign.geometry import Indices, Points
from moulddesign.relief.voronoi import (
    VORONOI_GRID_MM,
    Boundary,
    Floats,
    Mask,
    VoronoiDiagram,
    boundary_of,
    voronoi_diagram,
)

NO_SITE: Final = int(np.iinfo(np.int64).min)
"""Stands for a site on the side of an edge that has no cell."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MedialAxis:
    """Boundary and medial axis of a region, as arrays."""

    corners: Points
    """Distinct corners of the boundary, shape (c, 2) [mm]."""
    segments: Indices
    """Corner pairs, the region on the left, ring after ring in order, shape (s, 2)."""
    rings: Indices
    """Number of the ring of each segment."""
    vertices: Points
    """Vertices of the axis, shape (v, 2) [mm]; the first c are the corners."""
    distances: Floats
    """Distance of each vertex to the boundary [mm]."""
    edges: Indices
    """Edges of the axis inside the region, each once, rows of `vertices`, shape (e, 2)."""
    sites: Indices
    """What is nearest on the left and right of each edge: a segment s, or a corner as -1 - c; or
    `NO_SITE`, on one side of edges that lie beyond the distance asked for. Shape (e, 2)."""


def medial_axis(shape: shapely.MultiPolygon) -> MedialAxis:
    """Return the medial axis of a region.

    Parameters
    ----------
    shape : shapely MultiPolygon
        As `snapped_to_grid` returns it [mm], not empty.

    Raises
    ------
    KernelError
        The diagram came out without edges inside the region.
    """
    return _whole_axis(boundary_of(shape))


def medial_axis_near_edge(shape: shapely.MultiPolygon, reach_mm: float) -> MedialAxis:
    """Return the medial axis as far as a distance from the edge, and no further where it can.

    Beyond that distance, edges with `NO_SITE` on one side close the cells.
    """
    boundary = boundary_of(shape)
    height = (reach_mm + BEYOND_MM) / VORONOI_GRID_MM
    walls = offset_segments(boundary, height)
    if not walls.isolated.any():
        return _whole_axis(boundary)
    partial = _partial_diagram(boundary, walls.isolated, FRAME_RATIO * height)
    stitched = _stitched(boundary, walls, partial=partial, height=height)
    if stitched is None:
        return _whole_axis(boundary)
    return _axis(boundary, stitched, stitched.sites != NO_SITE)


def _whole_axis(boundary: Boundary) -> MedialAxis:
    diagram = voronoi_diagram(boundary.corners, boundary.segments)
    return _axis(boundary, diagram, _sides_inside(boundary, diagram) & ~diagram.square[:, None])


def _axis(boundary: Boundary, diagram: VoronoiDiagram, kept: Mask) -> MedialAxis:
    """Return the sides of a diagram's edges that are kept, as an axis."""
    some = kept.any(axis=1)
    if not some.any():
        raise KernelError(say("relief.medial-axis"), say("relief.no-axis"))
    sites = np.where(kept, diagram.sites, NO_SITE)[some]
    count = len(boundary.corners)
    # Corners stay, whether or not an edge ends there: sites are named by their rows.
    used = np.zeros(len(diagram.vertices), dtype=bool)
    used[:count] = used[diagram.ends[some]] = True
    edges = (np.cumsum(used) - 1)[diagram.ends[some]]
    vertices = diagram.vertices[used]
    # Both sites of an edge are equally near to its ends, so either gives the distance.
    distances = np.zeros(len(vertices))
    for side in (0, 1):
        rows = np.flatnonzero(sites[:, side] != NO_SITE)
        for end in (0, 1):
            at = edges[rows, end]
            distances[at] = _distances_to_sites(boundary, vertices[at], sites[rows, side])
    distances[:count] = 0.0
    return MedialAxis(
        corners=boundary.corners * VORONOI_GRID_MM,
        segments=boundary.segments,
        rings=boundary.rings,
        vertices=vertices * VORONOI_GRID_MM,
        distances=distances * VORONOI_GRID_MM,
        edges=edges,
        sites=sites,
    )


def _distances_to_sites(boundary: Boundary, points: Points, sites: Indices) -> Floats:
    """Return the distance of each point to its site: to a segment's line, or to a corner."""
    is_corner = sites < 0
    pair = boundary.segments[np.where(is_corner, 0, sites)]
    a, b = boundary.corners[pair[:, 0]], boundary.corners[pair[:, 1]]
    corner = boundary.corners[np.where(is_corner, -1 - sites, 0)]
    to_corner = np.linalg.norm(points - corner, axis=1)
    return np.where(is_corner, to_corner, np.abs(_signed_distances(a, b, points)))


def _sides_inside(boundary: Boundary, diagram: VoronoiDiagram) -> Mask:
    """Return which sides of the edges lie inside the region, shape (e, 2).

    That is left of the segment that is nearest there, or around a reflex corner. A corner between
    two segments in one line has a cell that rounding alone opens, on either side of that line.
    """
    site = diagram.sites
    corner = np.where((site < 0) & (site != NO_SITE), -1 - site, 0)
    inside = boundary.reflex[corner]
    beside = np.where(site < 0, boundary.straight[corner], site)
    row, side = np.nonzero(beside >= 0)
    pair = boundary.segments[beside[row, side]]
    a, b = boundary.corners[pair[:, 0]], boundary.corners[pair[:, 1]]
    # The sign of the distance to the segment tells the side. Both ends of an edge are summed: one
    # of them may lie on the segment itself, where the sign is round-off.
    first, last = (
        _signed_distances(a, b, diagram.vertices[diagram.ends[row, end]]) for end in (0, 1)
    )
    inside[row, side] = first + last > 0.0
    inside[site == NO_SITE] = False
    return inside


def _signed_distances(a: Points, b: Points, points: Points) -> Floats:
    """Return the distance of points to the lines a-b, positive on the left."""
    along, to = b - a, points - a
    cross = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
    distance: Floats = cross / np.linalg.norm(along, axis=1)
    return distance


MARGIN_STEPS: Final = 0.1
"""How much further off others must be, and how long an offset segment must be [grid steps]."""

LEAST_COSINE: Final = -0.8
"""Of the angle between two segments' directions: corners under 37 deg are left to the diagram."""

GENTLE_COSINE: Final = 0.97
"""Of the same angle: fans up to 14 deg are judged with the wall beside them, wider ones apart."""

SAMPLE_STRIDE: Final = 16
"""One wall in so many is tried first; where few are isolated, the diagram of all is cheaper."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class OffsetSegments:
    """Where walls of one height end."""

    begin: Points
    """The end of each offset segment above the segment's first corner, shape (s, 2)
    [grid steps]."""
    end: Points
    """The same above its last corner."""
    isolated: Mask
    """Whether no foreign segment comes near the wall, nor the fans beside it where the next wall
    is isolated as well."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Joints:
    """What is between each wall and the one before it."""

    corner: Points
    """Shape (s, 2) [grid steps]."""
    meet: Points
    """Where the offset lines meet, shape (s, 2) [grid steps]."""
    reach: Floats
    """Distance between the two [grid steps]."""
    trim: Floats
    """How much shorter the offset segment is there than its segment [grid steps]."""
    cosine: Floats
    """Of the angle between the two segments' directions."""
    convex: Mask
    """Whether the offset segments end where they meet; else a fan is between them."""
    height: float
    """How far the walls reach from the edge [grid steps]."""


def offset_segments(boundary: Boundary, height: float) -> OffsetSegments:
    """Return the ends of walls that reach so far from the edge [grid steps]."""
    along = boundary.directions
    across = height * np.column_stack([-along[:, 1], along[:, 0]])
    # Where the corner is convex, the offset segments are cut where their lines meet; where it is
    # reflex, each ends straight above the corner, and a fan fills the gap.
    joints = _joints(boundary, along, across=across, height=height)
    convex, after = joints.convex[:, None], boundary.after
    begin = np.where(convex, joints.meet, joints.corner + across)
    end = np.where(convex, joints.meet, joints.corner + across[boundary.before])[after]
    length = np.linalg.norm(joints.corner[after] - joints.corner, axis=1)
    # The feet of the line that bisects a corner must stand on both of its segments.
    least = np.minimum(length, length[boundary.before]) - MARGIN_STEPS
    whole = (joints.cosine > LEAST_COSINE) & (~joints.convex | (joints.trim < least))
    long = np.einsum("ij,ij->i", end - begin, along) > MARGIN_STEPS
    walls = OffsetSegments(begin=begin, end=end, isolated=whole & whole[after] & long)
    walls = _with_free_offsets(boundary, joints, walls)
    walls = _with_free_fans(boundary, joints, walls)
    return _with_empty_corners(boundary, joints, walls)


def _joints(boundary: Boundary, along: Points, *, across: Points, height: float) -> _Joints:
    """Return the joints of walls.

    With n0 and n1 the two segments' normals, a the angle between their directions and h the
    height, the offset lines meet at h (n0 + n1) / (1 + cos a) from the corner: its product with
    n0 is h (1 + cos a) / (1 + cos a) = h, and with n1 as well.
    """
    before, corner = boundary.before, boundary.corners[boundary.segments[:, 0]]
    cosine = np.einsum("ij,ij->i", along[before], along)
    share = 1.0 / np.where(cosine > LEAST_COSINE, 1.0 + cosine, 1.0)
    up = share[:, None] * (across[before] + across)
    reach = np.linalg.norm(up, axis=1)
    return _Joints(
        corner=corner,
        meet=corner + up,
        reach=reach,
        trim=np.sqrt(np.maximum(reach**2 - height**2, 0.0)),
        cosine=cosine,
        convex=boundary.turn >= 0.0,
        height=height,
    )


def _with_free_offsets(
    boundary: Boundary, joints: _Joints, walls: OffsetSegments
) -> OffsetSegments:
    """Keep isolated what no foreign segment comes near, gentle fans together with their wall."""
    # A gentle fan adds little: one line over fan and wall is asked once, with the larger distance.
    gentle = ~joints.convex & (joints.cosine > GENTLE_COSINE)
    alone = np.stack([walls.begin, walls.end], axis=1)
    with_fan = np.stack([walls.end[boundary.before], joints.meet, walls.begin, walls.end], axis=1)
    height = np.full(len(gentle), joints.height)
    own = np.column_stack([np.arange(len(gentle)), boundary.before, boundary.after])
    segments, rows = _segment_index(boundary, own[:, 0]), np.flatnonzero(walls.isolated)
    for some in (rows[::SAMPLE_STRIDE], rows):
        plain, fans = some[~gentle[some]], some[gentle[some]]
        left = _without(walls, segments.approached(plain, lines=alone, reach=height, own=own))
        left = _without(
            left, segments.approached(fans, lines=with_fan, reach=joints.reach, own=own)
        )
        if 4 * left.isolated[some].sum() < len(some):  # under a quarter
            return _without(walls, rows)
    return left


def _with_free_fans(boundary: Boundary, joints: _Joints, walls: OffsetSegments) -> OffsetSegments:
    """Keep isolated what has no foreign segment near its fans of more than `GENTLE_COSINE`."""
    wide = ~joints.convex & (joints.cosine <= GENTLE_COSINE)
    rows = np.flatnonzero(wide & walls.isolated & walls.isolated[boundary.before])
    if not len(rows):
        return walls
    lines = np.stack([walls.end[boundary.before], joints.meet, walls.begin], axis=1)
    own = np.column_stack([np.arange(len(lines)), boundary.before])
    segments = _segment_index(boundary, own[:, 0])
    fans = segments.approached(rows, lines=lines, reach=joints.reach, own=own)
    return _without(walls, np.concatenate([fans, boundary.before[fans]]))


def _with_empty_corners(
    boundary: Boundary, joints: _Joints, walls: OffsetSegments
) -> OffsetSegments:
    """Keep isolated what has nothing in its convex corners.

    Between a corner and the circle around `meet` that touches both of its segments there is room
    for something that comes near neither offset segment: a whole ring, for the circle and the
    segments enclose that place.
    """
    rows = np.flatnonzero(joints.convex & (walls.isolated | walls.isolated[boundary.before]))
    small = _small_ring_segments(boundary, 2.0 * joints.trim[rows].max(initial=0.0))
    if not len(small):
        return walls
    lines = np.stack([joints.corner, joints.meet], axis=1)
    # The feet of the circle's radii are so far from the line that bisects the corner.
    width = joints.trim * joints.height / joints.reach
    own = np.column_stack([np.arange(len(lines)), boundary.before])
    full = _segment_index(boundary, small).approached(rows, lines=lines, reach=width, own=own)
    return _without(walls, np.concatenate([full, boundary.before[full]]))


def _small_ring_segments(boundary: Boundary, size: float) -> Indices:
    """Return the segments of rings that extend no further than a size [grid steps]."""
    starts = np.flatnonzero(np.diff(boundary.rings, prepend=-1))
    places = boundary.corners[boundary.segments[:, 0]]
    extent = np.maximum.reduceat(places, starts) - np.minimum.reduceat(places, starts)
    counts = np.diff(np.append(starts, len(places)))
    return np.flatnonzero(np.repeat(extent.max(axis=1) <= size, counts))


@dataclass(frozen=True, slots=True, eq=False)
class _SegmentIndex:
    """Some segments of a boundary in a tree, to be asked which come near a line."""

    rows: Indices
    """Which segments they are."""
    shapes: NDArray[np.object_]
    """Themselves, as lines."""
    tree: shapely.STRtree

    def approached(self, some: Indices, *, lines: Points, reach: Floats, own: Indices) -> Indices:
        """Return those of some rows whose line a segment comes near that is not its own.

        Boxes tell first: few lines have a foreign one in theirs, and only those are measured.
        """
        near = (reach[some] + MARGIN_STEPS)[:, None]
        low, high = lines[some].min(axis=1) - near, lines[some].max(axis=1) + near
        # A tree needs only bounds: the diagonal of a box is cheaper to make than the box.
        which, other = self.tree.query(shapely.linestrings(np.stack([low, high], axis=1)))
        foreign = (self.rows[other][:, None] != own[some[which]]).all(axis=1)
        which, other = which[foreign], other[foreign]
        line = shapely.linestrings(lines[some[which]])
        close = shapely.dwithin(line, self.shapes[other], near[which, 0])
        return np.asarray(some[which[close]])


def _segment_index(boundary: Boundary, rows: Indices) -> _SegmentIndex:
    shapes = shapely.linestrings(boundary.corners[boundary.segments[rows]])
    return _SegmentIndex(rows, shapes, shapely.STRtree(shapes))


def _without(walls: OffsetSegments, rows: Indices) -> OffsetSegments:
    isolated = walls.isolated.copy()
    isolated[rows] = False
    return replace(walls, isolated=isolated)


BEYOND_MM: Final = 1e-4
"""How far beyond the distance asked for the axis goes: ten grid steps, so both differ [mm]."""

FRAME_RATIO: Final = 4.0
"""How far around the region the frame stands that closes the diagram's cells, in such distances."""


def _partial_diagram(boundary: Boundary, isolated: Mask, apart: float) -> VoronoiDiagram:
    """Return the diagram of the walls that are not isolated, with the isolated ones beside them.

    A frame around all of it, so far apart, closes the cells; its sites are `NO_SITE`.
    """
    # The neighbours of a wall that is not isolated bound its cell, so they are asked along.
    beside = ~isolated | ~isolated[boundary.before] | ~isolated[boundary.after]
    rows = np.flatnonzero(beside)
    used, pairs = np.unique(boundary.segments[rows], return_inverse=True)
    low, high = boundary.corners.min(axis=0) - apart, boundary.corners.max(axis=0) + apart
    frame = np.rint([low, (high[0], low[1]), high, (low[0], high[1])])
    sides = len(used) + np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
    diagram = voronoi_diagram(
        np.concatenate([boundary.corners[used], frame]),
        np.concatenate([pairs.reshape(-1, 2), sides]),
    )
    count = len(boundary.corners)
    row_of = np.concatenate([used, count + np.arange(len(diagram.vertices) - len(used))])
    # Segments count from the front, corners from the back; between them, the frame's of both.
    site_of = np.concatenate([rows, np.full(4, NO_SITE), np.full(4, NO_SITE), -1 - used[::-1]])
    return VoronoiDiagram(
        vertices=np.concatenate([boundary.corners, diagram.vertices[len(used) :]]),
        ends=row_of[diagram.ends],
        sites=site_of[diagram.sites],
        square=diagram.square,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _AxisEdges:
    """Edges of an axis with what is nearest on the left and right."""

    ends: Indices
    sites: Indices


def _axis_edges(ends: tuple[Indices, Indices], sites: tuple[Indices, Indices]) -> _AxisEdges:
    return _AxisEdges(np.column_stack(ends), np.column_stack(sites))


def _stitched(
    boundary: Boundary, walls: OffsetSegments, *, partial: VoronoiDiagram, height: float
) -> VoronoiDiagram | None:
    """Return both parts as one diagram; None where the partial one does not show a seam."""
    seams = _seams(boundary, walls.isolated, partial)
    bisected = np.flatnonzero(seams.bisected)
    if not _seams_complete(
        boundary, walls.isolated, seams=seams, vertices=partial.vertices, height=height
    ):
        return None
    # Five kinds of edges make up the whole: those of the partial diagram, and four of isolated
    # walls, each known in closed form.
    begin, end = _offset_rows(boundary, seams, len(partial.vertices))
    corner, before = boundary.segments[:, 0], boundary.before
    whole = np.flatnonzero(walls.isolated)
    both = walls.isolated & walls.isolated[before]
    convex = np.flatnonzero(both & (boundary.turn > 0.0))
    fan = np.flatnonzero(both & (boundary.turn < 0.0))
    nothing = np.full(len(boundary.segments), NO_SITE)
    other = np.where(walls.isolated, NO_SITE, np.arange(len(boundary.segments)))
    inner = np.concatenate([bisected, convex])
    parts = [
        _partial_edges(boundary, walls.isolated, partial=partial, seams=seams),
        # From convex corners up their bisectors to the offset segments' ends,
        _axis_edges((corner[inner], begin[inner]), (before[inner], inner)),
        # on along the seam, beyond the height, on the other wall's side only,
        _axis_edges(
            (begin[bisected], seams.far[bisected]), (other[before[bisected]], other[bisected])
        ),
        # along the offset segments, and across the fans' ends.
        _axis_edges((end[whole], begin[whole]), (whole, nothing[whole])),
        _axis_edges((begin[fan], end[before[fan]]), (-1 - corner[fan], nothing[fan])),
    ]
    sites = np.concatenate([part.sites for part in parts])
    return VoronoiDiagram(
        vertices=np.concatenate([partial.vertices, walls.begin, walls.end]),
        ends=np.concatenate([part.ends for part in parts]),
        sites=sites,
        square=np.zeros(len(sites), dtype=bool),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Seams:
    """Where an isolated wall meets one that is not, by the segment after the corner."""

    bisected: Mask
    """Convex corners: the seam is the line that bisects it."""
    edge: Indices
    """The diagram's edge along that line; -1 if there is none."""
    far: Indices
    """Its end away from the corner; -1 if there is none."""
    upright: Indices
    """Other corners: the seam stands at a right angle on the isolated segment. Where it ends, at
    the segment's first and last corner, shape (s, 2); -1 if there is none."""
    needed: Mask
    """Which of those are seams, shape (s, 2)."""


def _seams(boundary: Boundary, isolated: Mask, partial: VoronoiDiagram) -> _Seams:
    split = isolated != isolated[boundary.before]
    row, far = _bisectors(boundary, partial)
    blunt = split & (boundary.turn <= 0.0)
    return _Seams(
        bisected=split & (boundary.turn > 0.0),
        edge=row,
        far=far,
        upright=_perpendiculars(boundary, partial),
        needed=np.column_stack([blunt & isolated, blunt[boundary.after] & isolated]),
    )


def _bisectors(boundary: Boundary, partial: VoronoiDiagram) -> tuple[Indices, Indices]:
    """Return the edge that leaves each corner between its two segments, and its far end."""
    row, far = np.full((2, len(boundary.segments)), -1)
    for first, last in ((0, 1), (1, 0)):
        left, right = partial.sites[:, first], partial.sites[:, last]
        of_two = (left >= 0) & (right >= 0)
        of_two &= boundary.before[right * of_two] == left
        of_two &= boundary.segments[right * of_two, 0] == partial.ends[:, first]
        at = np.flatnonzero(of_two)
        row[right[at]], far[right[at]] = at, partial.ends[at, last]
    return row, far


def _perpendiculars(boundary: Boundary, partial: VoronoiDiagram) -> Indices:
    """Return the end of the edge that stands upright on each end of a segment, inside."""
    found = np.full((len(boundary.segments), 2), -1)
    rows = np.flatnonzero(partial.square & (partial.sites != NO_SITE).all(axis=1))
    segment, corner = partial.sites[rows].max(axis=1), -1 - partial.sites[rows].min(axis=1)
    pair = boundary.segments[segment]
    a, b = boundary.corners[pair[:, 0]], boundary.corners[pair[:, 1]]
    heights = [_signed_distances(a, b, partial.vertices[partial.ends[rows, end]]) for end in (0, 1)]
    higher = np.argmax(heights, axis=0)
    above = np.flatnonzero(np.max(heights, axis=0) > 0.0)
    last = (pair[:, 1] == corner).astype(np.int64)
    found[segment[above], last[above]] = partial.ends[rows, higher][above]
    return found


def _seams_complete(
    boundary: Boundary, isolated: Mask, *, seams: _Seams, vertices: Points, height: float
) -> bool:
    """Return whether all seams are there and go beyond the isolated walls' height."""
    joint = np.flatnonzero(seams.bisected)
    wall = np.where(isolated[joint], joint, boundary.before[joint])
    segment, end = np.nonzero(seams.needed)
    far = np.concatenate([seams.far[joint], seams.upright[segment, end]])
    pair = boundary.segments[np.concatenate([wall, segment])]
    a, b = boundary.corners[pair[:, 0]], boundary.corners[pair[:, 1]]
    return bool((far >= 0).all() and (_signed_distances(a, b, vertices[far]) > height).all())


def _offset_rows(boundary: Boundary, seams: _Seams, base: int) -> tuple[Indices, Indices]:
    """Return the vertices where offset segments begin and end: seams' own, or new ones."""
    number = base + np.arange(len(boundary.segments))
    # At a convex corner the end of one offset segment is the beginning of the next.
    convex = boundary.turn[boundary.after] >= 0.0
    end = np.where(convex, number[boundary.after], number + len(number))
    begin, end = np.where(seams.needed, seams.upright, np.column_stack([number, end])).T
    return begin, end


def _partial_edges(
    boundary: Boundary, isolated: Mask, *, partial: VoronoiDiagram, seams: _Seams
) -> _AxisEdges:
    """Return the partial diagram's edges beside walls that are not isolated, without the seams."""
    crowded = np.zeros(len(boundary.corners), dtype=bool)
    crowded[boundary.segments[~isolated]] = True
    site = partial.sites
    corner = np.where((site < 0) & (site != NO_SITE), -1 - site, 0)
    kept = np.where(site >= 0, ~isolated[np.maximum(site, 0)], crowded[corner])
    kept &= _sides_inside(boundary, partial) & ~partial.square[:, None]
    kept[seams.edge[seams.bisected]] = False
    some = kept.any(axis=1)
    return _AxisEdges(partial.ends[some], np.where(kept, site, NO_SITE)[some])
