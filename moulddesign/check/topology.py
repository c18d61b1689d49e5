"""How the triangles of a mesh hang together: edges, winding, shells."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.mesh import Indices, Mesh, Points

Edges = tuple[Indices, Indices, Indices, Indices]

MIXERS: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
"""Odd multipliers that spread the bits of coordinates; any odd ones would do."""
SIGNED_BITS: Final = 63
A_FEW: Final = 1000
"""Points that are looked at before all are: a file's own order shows soon."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Counts that are all 0, and one shell, for the surface of one sound solid.

    Parameters
    ----------
    open_edges : int
        Edges with a triangle on one side only: the rim of a hole.
    crowded_edges : int
        Edges where more than two triangles meet.
    clashing_edges : int
        Edges whose two triangles are wound against each other.
    collapsed : int
        Triangles with two corners in one place.
    shells : int
        Pieces of surface that hang together over edges.
    """

    open_edges: int
    crowded_edges: int
    clashing_edges: int
    collapsed: int
    shells: int

    @property
    def watertight(self) -> bool:
        """Whether each edge belongs to exactly two triangles."""
        return self.open_edges == self.crowded_edges == 0

    @property
    def solid(self) -> bool:
        """Whether the mesh bounds a solid: watertight, and wound one way."""
        return self.watertight and self.clashing_edges == 0


@lru_cache(maxsize=2)
def topology(mesh: Mesh) -> Topology:
    """Return how the triangles of a mesh hang together.

    Parameters
    ----------
    mesh : Mesh
        Corners in one place count as one corner. The last ones' answers are kept: a mesh never
        changes, and several checks ask.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> topology(box((0, 0, 0), (1, 1, 1)))
    Topology(open_edges=0, crowded_edges=0, clashing_edges=0, collapsed=0, shells=1)
    """
    triangles = welded(mesh).triangles
    whole = _whole(triangles)
    edges = _edges(triangles[whole])
    starts, _, turns, sides = edges
    shared = sides == 2  # noqa: PLR2004 (an edge between two triangles)
    return Topology(
        open_edges=int(np.sum(sides == 1)),
        crowded_edges=int(len(starts) - np.sum(shared) - np.sum(sides == 1)),
        clashing_edges=int(np.sum(shared & (turns != 0))),
        collapsed=int(np.sum(~whole)),
        shells=len(np.unique(_shells(edges, int(np.sum(whole))))),
    )


def bounds_a_solid(mesh: Mesh) -> bool:
    """Whether a mesh bounds a solid, as `Topology.solid` says, in a third of the time.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> bounds_a_solid(box((0, 0, 0), (1, 1, 1)))
    True
    """
    triangles = welded(mesh).triangles
    if not np.all(_whole(triangles)):
        return topology(mesh).solid
    tails = triangles.T.reshape(-1)
    heads = np.roll(triangles, -1, axis=1).T.reshape(-1)
    names = _edge_names(triangles, tails, heads)
    names = np.sort(2 * names + (tails > heads))
    # Each edge is passed once from its lower row and once from its higher one.
    once, back = names[::2], names[1::2]
    return len(once) == len(back) and bool(np.all(once % 2 == 0) and np.all(back == once + 1))


def welded(mesh: Mesh) -> Mesh:
    """Return a mesh in which each place is one row of `vertices`, in order of x, y, z."""
    if _in_order(mesh.vertices):
        return mesh
    places, rows = _unique_rows(mesh.vertices + 0.0)  # -0.0 and 0.0 are one place
    return Mesh(places, rows[mesh.triangles])


def without_collapsed(mesh: Mesh) -> Mesh:
    """Return a welded mesh without the triangles that have two corners in one place."""
    return Mesh(mesh.vertices, mesh.triangles[_whole(mesh.triangles)])


def shells(triangles: Indices) -> Indices:
    """Return the shell of each triangle, shape (m,): 0, 1, 2 ... over shared edges."""
    return _shells(_edges(triangles), len(triangles))


def _shells(edges: Edges, count: int) -> Indices:
    starts, order, _, sides = edges
    owner = order % max(count, 1)
    first = np.repeat(owner[starts], sides)
    links = coo_array((np.ones(len(owner), dtype=np.int8), (first, owner)), shape=(count,) * 2)
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _whole(triangles: Indices) -> NDArray[np.bool_]:
    whole: NDArray[np.bool_] = np.all(triangles != np.roll(triangles, 1, axis=1), axis=1)
    return whole


def _edges(triangles: Indices) -> Edges:
    """Return where each edge starts in the sorted sides, the sort, sum of turns, number of sides.

    Side k belongs to triangle k modulo m; a turn is +1 from the lower row to the higher, else -1.
    """
    tails = triangles.T.reshape(-1)
    heads = np.roll(triangles, -1, axis=1).T.reshape(-1)
    names = _edge_names(triangles, tails, heads)
    order = _stable_order(names)
    names = names[order]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]][: len(names)])
    turns = np.add.reduceat(np.sign(heads - tails)[order], starts) if len(starts) else starts
    return starts, order, turns, np.diff(np.r_[starts, len(names)])


def _edge_names(triangles: Indices, tails: Indices, heads: Indices) -> Indices:
    """Return a number for each side that both its triangles give it."""
    names: Indices = np.minimum(tails, heads) * (triangles.max(initial=0) + 1)
    names += np.maximum(tails, heads)
    return names


def _stable_order(names: Indices) -> Indices:
    """Return what sorts numbers from 0 on, equal ones in their order.

    Numbers and places in one word sort in a third of the time that places alone take.
    """
    bits = len(names).bit_length()
    if int(names.max(initial=0)).bit_length() + bits > SIGNED_BITS:
        return np.asarray(np.argsort(names, kind="stable"), dtype=np.int64)
    packed = (names << bits) | np.arange(len(names))
    packed.sort()
    order: Indices = packed & ((1 << bits) - 1)
    return order


def _in_order(points: Points) -> bool:
    """Whether the points are distinct and in order already."""
    if len(points) > A_FEW and not _in_order(points[:A_FEW]):
        return False
    x, y, z = np.diff(points, axis=0).T
    return bool(np.all((x > 0) | ((x == 0) & ((y > 0) | ((y == 0) & (z > 0))))))


def _unique_rows(points: Points) -> tuple[Points, Indices]:
    """Return the distinct points in order and the row of each.

    Equal points are brought together by a hash first, for a file names each corner six times and
    sorting by three coordinates takes long. Where the hash fails, equal points are only found a
    step later.
    """
    order = _mixed_order(points)
    ranked = points[order]
    new = _begins(ranked)
    group = np.empty(len(points), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    places, rows = _sorted_rows(ranked[new])
    return places, rows[group]


def _sorted_rows(points: Points) -> tuple[Points, Indices]:
    order = np.lexsort(points.T[::-1])
    ranked = points[order]
    new = _begins(ranked)
    rows = np.empty(len(points), dtype=np.int64)
    rows[order] = np.cumsum(new) - 1
    return ranked[new], rows


def _begins(ranked: Points) -> NDArray[np.bool_]:
    """Whether each point differs from the one before."""
    new = np.ones(len(ranked), dtype=bool)
    new[1:] = np.any(ranked[1:] != ranked[:-1], axis=1)
    return new


def _mixed_order(points: Points) -> Indices:
    """Return an order in which equal points stand together, all but surely."""
    bits = len(points).bit_length()
    mixed = np.zeros(len(points), dtype=np.uint64)
    for along, mixer in zip(points.T, MIXERS, strict=True):
        mixed += np.ascontiguousarray(along).view(np.uint64)
        mixed *= np.uint64(mixer)
        mixed ^= mixed >> np.uint64(32)
    mixed >>= np.uint64(bits)
    mixed <<= np.uint64(bits)
    mixed |= np.arange(len(points), dtype=np.uint64)
    mixed.sort()
    return (mixed & np.uint64((1 << bits) - 1)).astype(np.int64)
