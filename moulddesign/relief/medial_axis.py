"""The medial axis of a region.

Whole, or near the edge only, which is all that a level section needs.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.core import KernelError, say
from moulddesign.geometry import Indices, Points
from moulddesign.relief.voronoi import (
    GRID_MM,
    Boundary,
    Floats,
    VoronoiDiagram,
    boundary,
    voronoi_diagram,
)

NO_SITE: Final = int(np.iinfo(np.int64).min)
"""Stands for a site on the side of an edge that has no strip."""

Sides = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MedialAxis:
    """Boundary and medial axis of a region, as arrays.

    Parameters
    ----------
    corners : ndarray, shape (c, 2)
        Distinct corners of the boundary [mm].
    segments : ndarray of int64, shape (s, 2)
        Corner pairs, the region on the left, ring after ring in order.
    rings : ndarray of int64, shape (s,)
        Number of the ring of each segment.
    vertices : ndarray, shape (v, 2)
        Vertices of the axis [mm]; the first c are the corners.
    distances : ndarray, shape (v,)
        Distance of each to the boundary [mm].
    edges : ndarray of int64, shape (e, 2)
        Edges of the axis inside the region, each once; rows of `vertices`.
    sites : ndarray of int64, shape (e, 2)
        What is nearest on the left and right of each edge: a segment s, or a corner as -1 - c; or
        `NO_SITE`, on one side of edges that lie beyond the distance asked for.
    """

    corners: Points
    segments: Indices
    rings: Indices
    vertices: Points
    distances: Floats
    edges: Indices
    sites: Indices


def snapped_to_grid(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a valid region with its corners on the integer grid, areas only.

    Parameters
    ----------
    shape : shapely Polygon, MultiPolygon or GeometryCollection
        Region [mm].
    """
    snapped = shapely.set_precision(shape, GRID_MM)
    parts = [p for p in shapely.get_parts(snapped) if p.geom_type in {"Polygon", "MultiPolygon"}]
    return shapely.orient_polygons(shapely.MultiPolygon(shapely.get_parts(parts).tolist()))


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
    return axis_of_boundary(boundary(shape))


def axis_of_boundary(edge: Boundary) -> MedialAxis:
    """Return the medial axis inside a boundary; as `medial_axis`."""
    found = voronoi_diagram(edge.corners, edge.segments)
    return axis_of_diagram(edge, found, sides_inside(edge, found) & ~found.square[:, None])


def distance_to_site(
    corners: Points, segments: Indices, *, points: Points, sites: Indices
) -> Floats:
    """Return the distance of each point to its site: to a segment's line, or to a corner.

    Parameters
    ----------
    corners, points : ndarray, shapes (c, 2) and (n, 2)
        In one unit.
    segments : ndarray of int64, shape (s, 2)
        Corner pairs.
    sites : ndarray of int64, shape (n,)
        As in `MedialAxis`, none of them `NO_SITE`.
    """
    is_corner = sites < 0
    pair = segments[np.where(is_corner, 0, sites)]
    a, b = corners[pair[:, 0]], corners[pair[:, 1]]
    to_corner = np.linalg.norm(points - corners[np.where(is_corner, -1 - sites, 0)], axis=1)
    return np.where(is_corner, to_corner, np.abs(signed_distances(a, b, points)))


def axis_of_diagram(edge: Boundary, found: VoronoiDiagram, kept: Sides) -> MedialAxis:
    """Return the sides of a diagram's edges that are kept, as an axis."""
    some = kept.any(axis=1)
    if not some.any():
        raise KernelError(say("relief.medial-axis"), say("relief.no-axis"))
    sites = np.where(kept, found.sites, NO_SITE)[some]
    count = len(edge.corners)
    used = np.zeros(len(found.vertices), dtype=bool)
    used[:count] = used[found.ends[some]] = True
    edges = (np.cumsum(used) - 1)[found.ends[some]]
    axis = found.vertices[used]
    distances = np.zeros(len(axis))
    for side in (0, 1):
        rows = np.flatnonzero(sites[:, side] != NO_SITE)
        for end in (0, 1):
            at = edges[rows, end]
            distances[at] = distance_to_site(
                edge.corners, edge.segments, points=axis[at], sites=sites[rows, side]
            )
    distances[:count] = 0.0
    return MedialAxis(
        corners=edge.corners * GRID_MM,
        segments=edge.segments,
        rings=edge.rings,
        vertices=axis * GRID_MM,
        distances=distances * GRID_MM,
        edges=edges,
        sites=sites,
    )


def sides_inside(edge: Boundary, found: VoronoiDiagram) -> Sides:
    """Return which sides of the edges lie inside the region, shape (e, 2).

    That is left of the segment that is nearest there, or around a reflex corner. A corner between
    two segments in one line has a cell that rounding alone opens, on either side of that line.
    """
    site = found.sites
    corner = np.where((site < 0) & (site != NO_SITE), -1 - site, 0)
    within = edge.reflex[corner]
    beside = np.where(site < 0, edge.straight[corner], site)
    row, side = np.nonzero(beside >= 0)
    pair = edge.segments[beside[row, side]]
    a, b = edge.corners[pair[:, 0]], edge.corners[pair[:, 1]]
    first, last = (signed_distances(a, b, found.vertices[found.ends[row, end]]) for end in (0, 1))
    within[row, side] = first + last > 0.0
    within[site == NO_SITE] = False
    return within


def signed_distances(a: Points, b: Points, points: Points) -> Floats:
    """Return the signed distance of points to the lines a-b, positive on the left."""
    along, to = b - a, points - a
    cross = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
    height: Floats = cross / np.linalg.norm(along, axis=1)
    return height


MARGIN: Final = 0.1
"""How much further off everything else must be, and how long a top must be [grid steps]."""

LEAST_COSINE: Final = -0.8
"""Of the angle between two segments' directions: corners under 37 deg are left to the diagram."""

GENTLE_COSINE: Final = 0.97
"""Of the same angle: fans up to 14 deg are judged with the top beside them, wider ones apart."""

SAMPLE: Final = 16
"""One wall in so many is tried first; where few are clear, the diagram of all is cheaper."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class OffsetSegments:
    """Where walls of one height end.

    Parameters
    ----------
    begin, end : ndarray, shape (s, 2)
        Ends of each segment's top, above its first and its last corner [grid steps].
    clear : ndarray of bool, shape (s,)
        Whether the wall over a segment, up to its top, is nearer to it than to all others; with
        the fans beside it where the next wall is clear as well.
    """

    begin: Points
    end: Points
    clear: Mask


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Joints:
    """What is between each wall and the one before it.

    Parameters
    ----------
    corner, meet : ndarray, shape (s, 2)
        The corner, and the place above it where the tops' lines meet [grid steps].
    reach, trim : ndarray, shape (s,)
        Distance between the two, and what the wall's foot is shorter by [grid steps].
    cosine : ndarray, shape (s,)
        Of the angle between the two segments' directions.
    convex : ndarray of bool, shape (s,)
        Whether the tops end there; else a fan is between them.
    height : float
        How far the walls reach from their edge [grid steps].
    """

    corner: Points
    meet: Points
    reach: Floats
    trim: Floats
    cosine: Floats
    convex: Mask
    height: float


def offset_segments(edge: Boundary, height: float) -> OffsetSegments:
    """Return the tops of walls that reach so far from their edge [grid steps]."""
    along = edge.along
    across = height * np.column_stack([-along[:, 1], along[:, 0]])
    joints = _joints(edge, along, across=across, height=height)
    convex, after = joints.convex[:, None], edge.after
    begin = np.where(convex, joints.meet, joints.corner + across)
    end = np.where(convex, joints.meet, joints.corner + across[edge.before])[after]
    length = np.linalg.norm(joints.corner[after] - joints.corner, axis=1)
    # The feet of the line that halves a corner must stand on both of its segments.
    least = np.minimum(length, length[edge.before]) - MARGIN
    whole = (joints.cosine > LEAST_COSINE) & (~joints.convex | (joints.trim < least))
    long = np.einsum("ij,ij->i", end - begin, along) > MARGIN
    tried = OffsetSegments(begin=begin, end=end, clear=whole & whole[after] & long)
    tried = _with_room(edge, joints, tried)
    tried = _with_wide_fans(edge, joints, tried)
    return _with_empty_corners(edge, joints, tried)


def _joints(edge: Boundary, along: Points, *, across: Points, height: float) -> _Joints:
    before, corner = edge.before, edge.corners[edge.segments[:, 0]]
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
        convex=edge.turn >= 0.0,
        height=height,
    )


def _with_room(edge: Boundary, joints: _Joints, walls: OffsetSegments) -> OffsetSegments:
    """Leave clear what has a top that no segment but its own and its neighbours comes near.

    What is at least as far from the top as the wall is high is nowhere nearer to the wall than
    the segment that it stands on. A fan is judged by the two tangents outside it, at the distance
    of the place where they meet.
    """
    gentle = ~joints.convex & (joints.cosine > GENTLE_COSINE)
    alone = np.stack([walls.begin, walls.end], axis=1)
    tangents = np.stack([walls.end[edge.before], joints.meet, walls.begin, walls.end], axis=1)
    height = np.full(len(gentle), joints.height)
    own = np.column_stack([np.arange(len(gentle)), edge.before, edge.after])
    segments, rows = _segments(edge, own[:, 0]), np.flatnonzero(walls.clear)
    for some in (rows[::SAMPLE], rows):
        plain, fans = some[~gentle[some]], some[gentle[some]]
        left = _without(walls, segments.beside(plain, lines=alone, reach=height, own=own))
        left = _without(left, segments.beside(fans, lines=tangents, reach=joints.reach, own=own))
        if 4 * left.clear[some].sum() < len(some):  # under a quarter
            return _without(walls, rows)
    return left


def _with_wide_fans(edge: Boundary, joints: _Joints, walls: OffsetSegments) -> OffsetSegments:
    """Leave clear what has no foreign segment near its fans of more than `GENTLE_COSINE`."""
    wide = ~joints.convex & (joints.cosine <= GENTLE_COSINE)
    rows = np.flatnonzero(wide & walls.clear & walls.clear[edge.before])
    if not len(rows):
        return walls
    lines = np.stack([walls.end[edge.before], joints.meet, walls.begin], axis=1)
    own = np.column_stack([np.arange(len(lines)), edge.before])
    fans = _segments(edge, own[:, 0]).beside(rows, lines=lines, reach=joints.reach, own=own)
    return _without(walls, np.concatenate([fans, edge.before[fans]]))


def _with_empty_corners(edge: Boundary, joints: _Joints, walls: OffsetSegments) -> OffsetSegments:
    """Leave clear what has nothing in its convex corners.

    Between a corner and the circle that touches both of its segments there is room for something
    that comes near neither top: a whole ring, for the circle and the segments shut the corner.
    """
    rows = np.flatnonzero(joints.convex & (walls.clear | walls.clear[edge.before]))
    small = _of_small_rings(edge, 2.0 * joints.trim[rows].max(initial=0.0))
    if not len(small):
        return walls
    lines = np.stack([joints.corner, joints.meet], axis=1)
    # The circle's feet are so far from the line that halves the corner.
    width = joints.trim * joints.height / joints.reach
    own = np.column_stack([np.arange(len(lines)), edge.before])
    full = _segments(edge, small).beside(rows, lines=lines, reach=width, own=own)
    return _without(walls, np.concatenate([full, edge.before[full]]))


def _of_small_rings(edge: Boundary, size: float) -> Indices:
    """Return the segments of rings that extend no further than a size [grid steps]."""
    starts = np.flatnonzero(np.diff(edge.rings, prepend=-1))
    places = edge.corners[edge.segments[:, 0]]
    extent = np.maximum.reduceat(places, starts) - np.minimum.reduceat(places, starts)
    counts = np.diff(np.append(starts, len(places)))
    return np.flatnonzero(np.repeat(extent.max(axis=1) <= size, counts))


@dataclass(frozen=True, slots=True, eq=False)
class _Segments:
    """Some segments of a boundary, to be asked which come near a line.

    Parameters
    ----------
    rows : ndarray of int64, shape (n,)
        Which they are.
    shapes : ndarray of shapely LineString, shape (n,)
        Themselves.
    tree : STRtree
        Over their boxes.
    """

    rows: Indices
    shapes: NDArray[np.object_]
    tree: shapely.STRtree

    def beside(self, some: Indices, *, lines: Points, reach: Floats, own: Indices) -> Indices:
        """Return those of some rows whose line a segment comes near that is not its own.

        Boxes tell first: few lines have a foreign one in theirs, and only those are measured.
        """
        near = (reach[some] + MARGIN)[:, None]
        low, high = lines[some].min(axis=1) - near, lines[some].max(axis=1) + near
        # A tree asks for boxes only: a box's diagonal is quicker to make than the box.
        which, other = self.tree.query(shapely.linestrings(np.stack([low, high], axis=1)))
        foreign = (self.rows[other][:, None] != own[some[which]]).all(axis=1)
        which, other = which[foreign], other[foreign]
        line = shapely.linestrings(lines[some[which]])
        close = shapely.dwithin(line, self.shapes[other], near[which, 0])
        return np.asarray(some[which[close]])


def _segments(edge: Boundary, rows: Indices) -> _Segments:
    shapes = shapely.linestrings(edge.corners[edge.segments[rows]])
    return _Segments(rows, shapes, shapely.STRtree(shapes))


def _without(walls: OffsetSegments, rows: Indices) -> OffsetSegments:
    clear = walls.clear.copy()
    clear[rows] = False
    return replace(walls, clear=clear)


BEYOND_MM: Final = 1e-4
"""How far beyond the distance asked for the axis goes: ten grid steps, to be told apart [mm]."""

FRAME: Final = 4.0
"""How far around the region the frame stands that closes the diagram's cells, in such distances."""


def medial_axis_near_edge(shape: shapely.MultiPolygon, reach_mm: float) -> MedialAxis:
    """Return the medial axis as far as a distance from the edge, and no further where it can.

    Parameters
    ----------
    shape : shapely MultiPolygon
        As `snapped_to_grid` returns it [mm], not empty.
    reach_mm : float
        The distance. Beyond it, edges with `NO_SITE` on one side close the cells [mm].

    Raises
    ------
    KernelError
        The diagram came out without edges inside the region.
    """
    edge = boundary(shape)
    height = (reach_mm + BEYOND_MM) / GRID_MM
    walls = offset_segments(edge, height)
    if not walls.clear.any():
        return axis_of_boundary(edge)
    rest = _rest(edge, walls.clear, FRAME * height)
    sewn = _sewn(edge, walls, rest=rest, height=height)
    return (
        axis_of_boundary(edge)
        if sewn is None
        else axis_of_diagram(edge, sewn, sewn.sites != NO_SITE)
    )


def _rest(edge: Boundary, clear: NDArray[np.bool_], apart: float) -> VoronoiDiagram:
    """Return the diagram of the walls that are not clear, with the clear ones beside them.

    A frame around all of it, so far apart, closes the cells; its sites are `NO_SITE`.
    """
    beside = ~clear | ~clear[edge.before] | ~clear[edge.after]
    rows = np.flatnonzero(beside)
    used, pairs = np.unique(edge.segments[rows], return_inverse=True)
    low, high = edge.corners.min(axis=0) - apart, edge.corners.max(axis=0) + apart
    frame = np.rint([low, (high[0], low[1]), high, (low[0], high[1])])
    sides = len(used) + np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
    found = voronoi_diagram(
        np.concatenate([edge.corners[used], frame]), np.concatenate([pairs.reshape(-1, 2), sides])
    )
    row_of = np.concatenate([used, len(edge.corners) + np.arange(len(found.vertices) - len(used))])
    site_of = np.concatenate([rows, np.full(4, NO_SITE), np.full(4, NO_SITE), -1 - used[::-1]])
    return VoronoiDiagram(
        vertices=np.concatenate([edge.corners, found.vertices[len(used) :]]),
        ends=row_of[found.ends],
        # Segments count from the front, corners from the back.
        sites=site_of[found.sites],
        square=found.square,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Edges of an axis with what is nearest on the left and right."""

    ends: Indices
    sites: Indices


def _edges(ends: tuple[Indices, Indices], sites: tuple[Indices, Indices]) -> _Edges:
    return _Edges(np.column_stack(ends), np.column_stack(sites))


def _sewn(
    edge: Boundary, walls: OffsetSegments, *, rest: VoronoiDiagram, height: float
) -> VoronoiDiagram | None:
    """Return the rest and the clear walls as one; None where the diagram shows no seam."""
    seams = _seams(edge, walls.clear, rest)
    halved = np.flatnonzero(seams.halved)
    if not _complete(edge, walls.clear, seams=seams, vertices=rest.vertices, height=height):
        return None
    begin, end = _rows(edge, seams, len(rest.vertices))
    corner, before = edge.segments[:, 0], edge.before
    whole = np.flatnonzero(walls.clear)
    both = walls.clear & walls.clear[before]
    convex, fan = np.flatnonzero(both & (edge.turn > 0.0)), np.flatnonzero(both & (edge.turn < 0.0))
    nobody = np.full(len(edge.segments), NO_SITE)
    other = np.where(walls.clear, NO_SITE, np.arange(len(edge.segments)))
    inner = np.concatenate([halved, convex])
    parts = [
        _crowded(edge, walls.clear, rest=rest, seams=seams),
        _edges((corner[inner], begin[inner]), (before[inner], inner)),
        _edges((begin[halved], seams.far[halved]), (other[before[halved]], other[halved])),
        _edges((end[whole], begin[whole]), (whole, nobody[whole])),
        _edges((begin[fan], end[before[fan]]), (-1 - corner[fan], nobody[fan])),
    ]
    sites = np.concatenate([part.sites for part in parts])
    return VoronoiDiagram(
        vertices=np.concatenate([rest.vertices, walls.begin, walls.end]),
        ends=np.concatenate([part.ends for part in parts]),
        sites=sites,
        square=np.zeros(len(sites), dtype=bool),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Seams:
    """Where a clear wall meets one that is not, by the segment after the corner.

    Parameters
    ----------
    halved : ndarray of bool, shape (s,)
        Convex corners: the seam is the line that halves it.
    edge, far : ndarray of int64, shape (s,)
        The diagram's edge along that line, and its end away from the corner; -1 if there is none.
    upright : ndarray of int64, shape (s, 2)
        Other corners: the seam stands upright on the clear segment; where it ends, at the
        segment's first and last corner. -1 if there is none.
    needed : ndarray of bool, shape (s, 2)
        Which of them are seams.
    """

    halved: NDArray[np.bool_]
    edge: Indices
    far: Indices
    upright: Indices
    needed: NDArray[np.bool_]


def _seams(edge: Boundary, clear: NDArray[np.bool_], rest: VoronoiDiagram) -> _Seams:
    split = clear != clear[edge.before]
    row, far = _halving(edge, rest)
    blunt = split & (edge.turn <= 0.0)
    return _Seams(
        halved=split & (edge.turn > 0.0),
        edge=row,
        far=far,
        upright=_upright(edge, rest),
        needed=np.column_stack([blunt & clear, blunt[edge.after] & clear]),
    )


def _halving(edge: Boundary, rest: VoronoiDiagram) -> tuple[Indices, Indices]:
    """Return the edge that leaves each corner between its two segments, and its far end."""
    row, far = np.full((2, len(edge.segments)), -1)
    for first, last in ((0, 1), (1, 0)):
        left, right = rest.sites[:, first], rest.sites[:, last]
        of_two = (left >= 0) & (right >= 0)
        of_two &= edge.before[right * of_two] == left
        of_two &= edge.segments[right * of_two, 0] == rest.ends[:, first]
        at = np.flatnonzero(of_two)
        row[right[at]], far[right[at]] = at, rest.ends[at, last]
    return row, far


def _upright(edge: Boundary, rest: VoronoiDiagram) -> Indices:
    """Return the end of the edge that stands upright on each end of a segment, inside."""
    found = np.full((len(edge.segments), 2), -1)
    rows = np.flatnonzero(rest.square & (rest.sites != NO_SITE).all(axis=1))
    segment, corner = rest.sites[rows].max(axis=1), -1 - rest.sites[rows].min(axis=1)
    a, b = edge.corners[edge.segments[segment, 0]], edge.corners[edge.segments[segment, 1]]
    heights = [signed_distances(a, b, rest.vertices[rest.ends[rows, end]]) for end in (0, 1)]
    higher = np.argmax(heights, axis=0)
    above = np.flatnonzero(np.max(heights, axis=0) > 0.0)
    last = (edge.segments[segment, 1] == corner).astype(np.int64)
    found[segment[above], last[above]] = rest.ends[rows, higher][above]
    return found


def _complete(
    edge: Boundary, clear: NDArray[np.bool_], *, seams: _Seams, vertices: Points, height: float
) -> bool:
    """Return whether all seams are there and go beyond the clear walls' tops."""
    joint = np.flatnonzero(seams.halved)
    wall = np.where(clear[joint], joint, edge.before[joint])
    segment, end = np.nonzero(seams.needed)
    far = np.concatenate([seams.far[joint], seams.upright[segment, end]])
    pair = edge.segments[np.concatenate([wall, segment])]
    a, b = edge.corners[pair[:, 0]], edge.corners[pair[:, 1]]
    return bool((far >= 0).all() and (signed_distances(a, b, vertices[far]) > height).all())


def _rows(edge: Boundary, seams: _Seams, base: int) -> tuple[Indices, Indices]:
    """Return the vertices where each top begins and ends: seams' own, or new ones from a base."""
    number = base + np.arange(len(edge.segments))
    end = np.where(edge.turn[edge.after] >= 0.0, number[edge.after], number + len(number))
    begin, end = np.where(seams.needed, seams.upright, np.column_stack([number, end])).T
    return begin, end


def _crowded(
    edge: Boundary, clear: NDArray[np.bool_], *, rest: VoronoiDiagram, seams: _Seams
) -> _Edges:
    """Return the diagram's edges beside walls that are not clear, without those along seams."""
    crowded = np.zeros(len(edge.corners), dtype=bool)
    crowded[edge.segments[~clear]] = True
    site = rest.sites
    corner = np.where((site < 0) & (site != NO_SITE), -1 - site, 0)
    kept = np.where(site >= 0, ~clear[np.maximum(site, 0)], crowded[corner])
    kept &= sides_inside(edge, rest) & ~rest.square[:, None]
    kept[seams.edge[seams.halved]] = False
    some = kept.any(axis=1)
    return _Edges(rest.ends[some], np.where(kept, site, NO_SITE)[some])
