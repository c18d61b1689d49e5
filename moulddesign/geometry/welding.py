"""Corners that are one: equal ones, near ones, and the triangles that vanish when they meet."""

from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moulddesign.geometry.mesh import Indices, Mesh, Points

N = TypeVar("N", np.float64, np.int64)

MIXERS: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
"""Odd multipliers that spread the bits of coordinates; any odd ones would do."""
A_FEW: Final = 1000
"""Points that are looked at before all are: a file's own order shows soon."""


def welded(mesh: Mesh) -> Mesh:
    """Return a mesh in which each place is one row of `vertices`, in order of x, y, z."""
    if _in_order(mesh.vertices):
        return mesh
    places, rows = distinct(mesh.vertices + 0.0)  # -0.0 and 0.0 are one place
    return Mesh(places, rows[mesh.triangles])


def welded_within(points: Points, triangles: Indices, within_mm: float) -> Mesh:
    """Return the mesh in which corners that lie together are one.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Corners, those on shared edges repeated [mm].
    triangles : ndarray of int64, shape (m, 3)
        Rows of `points`.
    within_mm : float
        Corners nearer than this lie together, and so do their neighbours' neighbours [mm].

    Returns
    -------
    Mesh
        Without triangles that have lost a side, and without corners that no triangle has.
    """
    return compact(points, unfolded(first_near(points, within_mm)[triangles]))[0]


def compact(vertices: Points, triangles: Indices) -> tuple[Mesh, Indices]:
    """Return a mesh without the corners that no triangle has, and which ones stayed."""
    used, renumbered = np.unique(triangles, return_inverse=True)
    return Mesh(vertices[used], renumbered.reshape(-1, 3)), used


def without_collapsed(mesh: Mesh) -> Mesh:
    """Return a welded mesh without the triangles that have two corners in one place."""
    return Mesh(mesh.vertices, mesh.triangles[has_three_corners(mesh.triangles)])


def has_three_corners(triangles: Indices) -> NDArray[np.bool_]:
    """Return whether each triangle has three different corners, shape (m,)."""
    three: NDArray[np.bool_] = np.all(triangles != np.roll(triangles, 1, axis=1), axis=1)
    return three


def unfolded(triangles: Indices) -> Indices:
    """Return triangles without those that have no area by their corners alone.

    Dropped are triangles with one corner twice, and pairs with the same corners wound against
    each other: in both cases the neighbours' edges match without them.

    Parameters
    ----------
    triangles : ndarray of int64, shape (m, 3)
        Rows of some vertices.

    Examples
    --------
    >>> unfolded(np.array([[0, 1, 2], [3, 3, 1], [4, 5, 6], [5, 4, 6]])).tolist()
    [[0, 1, 2]]
    """
    triangles = triangles[has_three_corners(triangles)]
    if not len(triangles):
        return triangles
    # Begun at its least corner, a triangle turns one way if its second corner is below its third.
    lead = triangles.argmin(axis=1)
    rolled = np.take_along_axis(triangles, (lead[:, None] + np.arange(3)) % 3, axis=1)
    different, which = distinct(np.sort(rolled, axis=1))
    if len(different) == len(triangles):
        return triangles
    turn = np.where(rolled[:, 1] < rolled[:, 2], 1, -1)
    net = np.bincount(which, weights=turn)
    kept: Indices = triangles[net[which] != 0]
    return kept


def distinct(rows: NDArray[N]) -> tuple[NDArray[N], Indices]:
    """Return the distinct rows of an array in order, and which of them each given one is.

    It is `np.unique` along the first axis in a fraction of the time. Equal rows are brought
    together by a hash first, for a file names each corner six times, and sorting by three numbers
    takes long. The hash is no more than a shortcut: rows that it leaves apart meet in the sort of
    what is left.

    Parameters
    ----------
    rows : ndarray, shape (n, k)
        Numbers of 8 bytes, none of them not-a-number; k is at most 3.

    Examples
    --------
    >>> [found.tolist() for found in distinct(np.array([[2, 1], [0, 3], [2, 1]]))]
    [[[0, 3], [2, 1]], [1, 0, 1]]
    """
    candidates, group = _first_of_runs(rows, _hashed_order(rows))
    places, which = _first_of_runs(candidates, np.lexsort(candidates.T[::-1]))
    return places, which[group]


def _first_of_runs(rows: NDArray[N], order: Indices) -> tuple[NDArray[N], Indices]:
    """Return a row of each run of equal ones in an order, and the run of every row."""
    ranked = rows[order]
    new = np.ones(len(rows), dtype=bool)
    new[1:] = (ranked[1:] != ranked[:-1]).any(axis=1)
    which = np.empty(len(rows), dtype=np.int64)
    which[order] = np.cumsum(new) - 1
    return ranked[new], which


def _hashed_order(rows: NDArray[N]) -> Indices:
    """Return an order in which equal rows stand together, all but surely.

    A word of 64 bits holds the row's hash above and its number below, so that one sort of plain
    words, several times as fast as a sort of places, yields the order.
    """
    bits = len(rows).bit_length()
    mixed = np.zeros(len(rows), dtype=np.uint64)
    for column, mixer in zip(rows.T, MIXERS, strict=False):
        mixed += np.ascontiguousarray(column).view(np.uint64)
        mixed *= np.uint64(mixer)
        mixed ^= mixed >> np.uint64(32)
    mixed >>= np.uint64(bits)
    mixed <<= np.uint64(bits)
    mixed |= np.arange(len(rows), dtype=np.uint64)
    mixed.sort()
    return (mixed & np.uint64((1 << bits) - 1)).astype(np.int64)


def _in_order(points: Points) -> bool:
    """Whether the points are distinct and in order already."""
    if len(points) > A_FEW and not _in_order(points[:A_FEW]):
        return False
    x, y, z = np.diff(points, axis=0).T
    return bool(np.all((x > 0) | ((x == 0) & ((y > 0) | ((y == 0) & (z > 0))))))


def first_near(points: Points, within_mm: float) -> Indices:
    """Return, for each point, the first of the points that lie together with it.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Points [mm].
    within_mm : float
        Points nearer than this lie together, and so do their neighbours' neighbours [mm].

    Returns
    -------
    ndarray of int64, shape (n,)
        Rows of `points`.
    """
    return first_linked(cKDTree(points).query_pairs(within_mm, output_type="ndarray"), len(points))


def first_linked(pairs: Indices, count: int) -> Indices:
    """Return, for each of some rows, the first that pairs of rows link it with, shape (count,)."""
    group = components(pairs.T, count)
    first: Indices = np.unique(group, return_index=True)[1][group]
    return first


def components(links: Indices, count: int) -> Indices:
    """Return which piece of a graph each of its nodes belongs to, shape (count,).

    Parameters
    ----------
    links : ndarray of int64, shape (2, n)
        Both ends of each link.
    count : int
        Number of nodes.
    """
    graph = coo_array((np.ones(links.shape[1], dtype=bool), tuple(links)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)
