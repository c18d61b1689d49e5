"""Walls that stand clear: up to a distance from the edge nothing else comes near them.

Such a wall ends in the lines that halve its corners and in a straight top, so its part of the
medial axis needs no diagram. Most of a drawing with strokes wider than two walls is of this kind.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Points
from moulddesign.pastry.boundary import Boundary, Floats

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
class Tops:
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


def tops(edge: Boundary, height: float) -> Tops:
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
    tried = Tops(begin=begin, end=end, clear=whole & whole[after] & long)
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


def _with_room(edge: Boundary, joints: _Joints, walls: Tops) -> Tops:
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


def _with_wide_fans(edge: Boundary, joints: _Joints, walls: Tops) -> Tops:
    """Leave clear what has no foreign segment near its fans of more than `GENTLE_COSINE`."""
    wide = ~joints.convex & (joints.cosine <= GENTLE_COSINE)
    rows = np.flatnonzero(wide & walls.clear & walls.clear[edge.before])
    if not len(rows):
        return walls
    lines = np.stack([walls.end[edge.before], joints.meet, walls.begin], axis=1)
    own = np.column_stack([np.arange(len(lines)), edge.before])
    fans = _segments(edge, own[:, 0]).beside(rows, lines=lines, reach=joints.reach, own=own)
    return _without(walls, np.concatenate([fans, edge.before[fans]]))


def _with_empty_corners(edge: Boundary, joints: _Joints, walls: Tops) -> Tops:
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


def _without(walls: Tops, rows: Indices) -> Tops:
    clear = walls.clear.copy()
    clear[rows] = False
    return replace(walls, clear=clear)
