"""A region's edge on the integer grid: corners, segments, and which segments meet."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Points
from moulddesign.pastry.diagram import numbered

GRID_MM: Final = 1e-5
"""Step of the integer grid that the diagram is computed on [mm]; far below float32 STL's step."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Boundary:
    """The edge of a region, the region on its left.

    Parameters
    ----------
    corners : ndarray, shape (c, 2)
        Distinct corners, whole numbers [grid steps].
    segments : ndarray of int64, shape (s, 2)
        Corner pairs, ring after ring in order.
    rings : ndarray of int64, shape (s,)
        Number of the ring of each segment.
    before : ndarray of int64, shape (s,)
        The segment that ends where each begins, with nothing but the region between them.
    turn : ndarray, shape (s,)
        Cross product of the two, above 0 at a convex corner, exact.
    """

    corners: Points
    segments: Indices
    rings: Indices
    before: Indices
    turn: Floats

    @property
    def after(self) -> Indices:
        """The segment that each one is before."""
        after = np.empty_like(self.before)
        after[self.before] = np.arange(len(self.before))
        return after

    @property
    def along(self) -> Points:
        """Unit vectors along the segments, shape (s, 2)."""
        way = _ways(self.corners, self.segments)
        along: Points = way / np.linalg.norm(way, axis=1)[:, None]
        return along

    @property
    def reflex(self) -> NDArray[np.bool_]:
        """Whether the region spans more than half a turn around each corner, shape (c,)."""
        reflex = np.zeros(len(self.corners), dtype=bool)
        reflex[self.segments[self.turn < 0.0, 0]] = True
        return reflex

    @property
    def straight(self) -> Indices:
        """The segment that goes straight on from each corner, -1 where none does, shape (c,)."""
        straight = np.full(len(self.corners), -1)
        onward = np.flatnonzero(self.turn == 0.0)
        straight[self.segments[onward, 0]] = onward
        return straight


def boundary(shape: shapely.MultiPolygon) -> Boundary:
    """Return the edge of a region that lies on the grid and is oriented [mm]."""
    coords, ring_of = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(shape)), return_index=True
    )
    whole = np.rint(coords / GRID_MM)
    keep = ring_of[1:] == ring_of[:-1]
    _, first, ids = np.unique(numbered(whole), return_index=True, return_inverse=True)
    corners = whole[first]
    segments = np.column_stack([ids[:-1], ids[1:]])[keep].astype(np.int64)
    before = _before(corners, segments)
    way = _ways(corners, segments)
    return Boundary(
        corners=corners,
        segments=segments,
        rings=ring_of[:-1][keep].astype(np.int64),
        before=before,
        turn=_cross(way[before], way),
    )


def _ways(corners: Points, segments: Indices) -> Points:
    ways: Points = corners[segments[:, 1]] - corners[segments[:, 0]]
    return ways


def _cross(a: Points, b: Points) -> Floats:
    cross: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return cross


def _before(corners: Points, segments: Indices) -> Indices:
    """Return the segment that ends where each begins; where several do, the next one around."""
    ending = np.empty(len(corners), dtype=np.int64)
    ending[segments[:, 1]] = np.arange(len(segments))
    before = ending[segments[:, 0]]
    shared = np.bincount(segments[:, 0], minlength=len(corners)) > 1
    leaving, arriving = (np.flatnonzero(shared[segments[:, end]]) for end in (0, 1))
    way = _ways(corners, segments)
    arms = np.concatenate([way[leaving], -way[arriving]])
    at = np.concatenate([segments[leaving, 0], segments[arriving, 1]])
    order = np.lexsort((np.arctan2(arms[:, 1], arms[:, 0]), at))
    _, first, count = np.unique(at[order], return_index=True, return_counts=True)
    onward = np.arange(1, len(order) + 1)
    onward[first + count - 1] = first
    following = np.empty(len(order), dtype=np.int64)
    following[order] = order[onward]
    before[leaving] = arriving[following[: len(leaving)] - len(leaving)]
    return before
