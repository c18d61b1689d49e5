r"""Corners of a refined height field taken out again where the surface stays within its bound.

Refinement puts in one corner after the other, and what it put in first is often not needed by the
facets that come out of it at last. A corner is taken out by drawing it along one of its sides onto
the corner there::

        a-------b               a-------b
       / \     / \             /   .     \
      /   \   /   \           /       .   \
     c-----v-----u     ->     c - - - - - u       corner v drawn onto u
      \   /   \   /           \       .   /
       \ /     \ /             \   .     /
        d-------e               d-------e

Facets become long where the field is bent in one direction only, which no triangulation that looks
at the plan alone finds. The facets around a corner do not share any with those around the others
that are taken out with it, so that many go at a time.
"""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Heights

ROUNDS: Final = 40
"""Of taking corners out, at most."""
LEAST_WIDTH_MM: Final = 0.01
"""Facets are made no narrower [mm]."""

AT_ONCE: Final = 16_384
"""Corners that are looked at at once, so that memory stays bounded."""

AreOff = Callable[[Indices], NDArray[np.bool_]]
"""Whether facets are off the field by more than the bound, shape (n, 3) to (n,)."""


def coarsened(
    vertices: Points,
    triangles: Indices,
    *,
    may_go: NDArray[np.bool_],
    steepest: float,
    bound_mm: float,
    are_off: Sequence[AreOff],
) -> tuple[Indices, Indices]:
    """Return triangles with fewer corners, and of each the given one in whose place it is.

    Parameters
    ----------
    vertices : ndarray
        Corners with their heights, shape (n, 3); they keep their rows [mm].
    may_go : ndarray
        Which points may be taken out, where they lie on no edge of the surface.
    steepest : float
        No facet that is made is steeper.
    bound_mm : float
        Corners whose own place would be off by more are not tried [mm].
    are_off : sequence of callable
        What tells that facets are off, the quickest first: none that is made is.
    """
    source = np.arange(len(triangles))
    corner = triangles.ravel()
    ring = np.column_stack([np.roll(triangles, turn, axis=1).ravel() for turn in (1, 2)])
    # What runs into the facets around a corner runs out again, unless it lies on an edge.
    into, out = (np.bincount(corner, weights=side, minlength=len(vertices)) for side in ring.T)
    may_go = may_go & (into == out)
    onto, off_mm = np.zeros(len(vertices), dtype=np.int64), np.full(len(vertices), np.inf)
    stale = may_go
    for _ in range(ROUNDS):
        # Where a corner goes best is known until a facet at it changes.
        for first in range(0, len(vertices), AT_ONCE):
            some = np.zeros(len(vertices), dtype=bool)
            some[first : first + AT_ONCE] = stale[first : first + AT_ONCE]
            moves = _moves(vertices, triangles, some, steepest)
            onto[moves.corner], off_mm[moves.corner] = moves.onto, moves.off_mm
        may_go &= off_mm <= bound_mm
        corner = np.flatnonzero(may_go)
        if not len(corner):
            break
        goes_to = _apart(_Moves(corner, onto[corner], off_mm[corner]), triangles, len(vertices))
        touched = np.flatnonzero((goes_to[triangles] >= 0).any(axis=1))
        before = triangles[touched]
        goes = goes_to[before]
        corner = before[np.arange(len(before)), (goes >= 0).argmax(axis=1)]
        after = np.where(goes >= 0, goes, before)
        stays = (before != goes.max(axis=1)[:, None]).all(axis=1)
        for found_off in are_off:
            # What is known to stay need not be measured again.
            rows = np.flatnonzero(stays & may_go[corner])
            may_go[corner[rows[found_off(after[rows])]]] = False
        does = may_go[corner]
        may_go[corner] = False
        stale = np.zeros(len(vertices), dtype=bool)
        stale[before[does]] = True
        stale &= may_go
        triangles[touched[does]] = after[does]
        gone = touched[does & ~stays]
        triangles, source = np.delete(triangles, gone, axis=0), np.delete(source, gone)
    return triangles, source


class _Moves(NamedTuple):
    """Corners that may be drawn onto a neighbour."""

    corner: Indices
    onto: Indices
    off_mm: Heights
    """How far the surface then is off the corner that went."""


def _moves(
    vertices: Points, triangles: Indices, may_go: NDArray[np.bool_], steepest: float
) -> _Moves:
    """Return of each open corner the neighbour onto which it is drawn with the least change."""
    facet, turn = np.nonzero(may_go[triangles])
    corner = triangles[facet, turn]
    order = np.argsort(corner, kind="stable")
    facet, turn, corner = facet[order], turn[order], corner[order]
    right, left = (triangles[facet, (turn + step) % 3] for step in (1, 2))
    first = np.flatnonzero(np.diff(corner, prepend=-1))
    count = np.diff(np.append(first, len(corner)))
    # Each neighbour u of a corner with each of the corner's facets: what becomes of it.
    many = np.repeat(count, count)
    side = np.repeat(np.arange(len(corner)), many)
    begin = np.repeat(np.repeat(first, count), many)
    ends = np.cumsum(many)
    across = begin + np.arange(len(side)) - np.repeat(ends - many, many)
    u, a, b, v = right[side], right[across], left[across], corner[side]
    stays = (u != a) & (u != b)
    # Coordinate by coordinate: rows of three are gathered and reduced in thrice the time.
    (ax, ay, az), (bx, by, bz), (vx, vy, vz) = (
        [axis[end] - axis[u] for axis in vertices.T.copy()] for end in (a, b, v)
    )
    doubled = ax * by - ay * bx
    longest2 = np.maximum(
        np.maximum(ax * ax + ay * ay, bx * bx + by * by), (bx - ax) ** 2 + (by - ay) ** 2
    )
    rise2 = (az * by - bz * ay) ** 2 + (az * bx - bz * ax) ** 2
    may = ~stays | (
        (doubled > 0.0)
        & (doubled * doubled > LEAST_WIDTH_MM**2 * longest2)
        & (rise2 <= steepest**2 * doubled * doubled)
    )
    second, third = vx * by - vy * bx, ax * vy - ay * vx
    held = stays & may & (second >= 0.0) & (third >= 0.0) & (second + third <= doubled)
    size = np.where(held, doubled, 1.0)
    off = np.where(held, np.abs((second * az + third * bz) / size - vz), 0.0)
    start = ends - many
    most = np.where(np.logical_and.reduceat(may, start), np.maximum.reduceat(off, start), np.inf)
    best = np.lexsort([most, corner])[first]
    return _Moves(corner[best], right[best], most[best])


def _apart(moves: _Moves, triangles: Indices, size: int) -> Indices:
    """Return onto which corner each is drawn, -1 where none: no two of them share a facet.

    Those with the least change go first.
    """
    rank = np.full(size, size, dtype=np.int64)
    order = np.argsort(moves.off_mm, kind="stable")
    rank[moves.corner[order]] = np.arange(len(order))
    own = rank[triangles]
    behind = np.zeros(size, dtype=bool)
    behind[triangles[own > own.min(axis=1, keepdims=True)]] = True
    onto = np.full(size, -1, dtype=np.int64)
    first = ~behind[moves.corner]
    onto[moves.corner[first]] = moves.onto[first]
    return onto
