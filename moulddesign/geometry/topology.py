"""How triangles are joined: corners that are one, edges, shells, and facets that cross."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moulddesign.geometry.mesh import Indices, Mesh, Points, normals_and_areas

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


def compact(vertices: Points, triangles: Indices) -> tuple[Mesh, Indices]:
    """Return a mesh without the corners that no triangle has, and which ones stayed."""
    used, renumbered = np.unique(triangles, return_inverse=True)
    return Mesh(vertices[used], renumbered.reshape(-1, 3)), used


def undirected(pairs: Indices) -> Indices:
    """Return pairs of rows once each, the lower row first, in order: thrice as quick as by rows.

    Examples
    --------
    >>> undirected(np.array([[5, 2], [0, 1], [2, 5]])).tolist()
    [[0, 1], [2, 5]]
    """
    low, high = np.minimum(*pairs.T), np.maximum(*pairs.T)
    size = int(high.max(initial=0)) + 1
    return np.column_stack(np.divmod(np.unique(low * size + high), size))


def without_collapsed(mesh: Mesh) -> Mesh:
    """Return a welded mesh without the triangles that have two corners in one place."""
    return Mesh(mesh.vertices, mesh.triangles[has_three_corners(mesh.triangles)])


def has_three_corners(triangles: Indices) -> NDArray[np.bool_]:
    """Return whether each triangle has three different corners, shape (m,)."""
    three: NDArray[np.bool_] = np.all(triangles != np.roll(triangles, 1, axis=1), axis=1)
    return three


def unfolded(triangles: Indices) -> Indices:
    """Return triangles without those that have no area by their corners alone.

    Dropped are triangles with one corner twice, and pairs with the same corners wound against each
    other: in both cases the neighbours' edges match without them.

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
    # Multiply and shift, as in any hash: every bit of a coordinate reaches the high bits, which are
    # the ones that are kept.
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
    """Return, for each point, the first of the points that lie together with it, shape (n,).

    Points nearer than `within_mm` lie together, and so do their neighbours' neighbours.
    """
    return first_linked(cKDTree(points).query_pairs(within_mm, output_type="ndarray"), len(points))


def first_linked(pairs: Indices, count: int) -> Indices:
    """Return, for each of some rows, the first that pairs of rows link it with, shape (count,)."""
    group = components(pairs.T, count)
    first: Indices = np.unique(group, return_index=True)[1][group]
    return first


def components(links: Indices, count: int) -> Indices:
    """Return which piece of a graph each of its nodes belongs to, shape (count,)."""
    graph = coo_array((np.ones(links.shape[1], dtype=bool), tuple(links)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


Edges = tuple[Indices, Indices, Indices, Indices]

SIGNED_BITS: Final = 63


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Counts that are all 0, and one shell, for the surface of one sound solid."""

    open_edges: int
    """Edges with a triangle on one side only: the rim of a hole."""
    crowded_edges: int
    """Edges where more than two triangles meet."""
    clashing_edges: int
    """Edges whose two triangles are wound against each other."""
    collapsed: int
    """Triangles with two corners in one place."""
    shells: int
    """Pieces of surface that are connected over edges."""

    @property
    def watertight(self) -> bool:
        """Whether each edge belongs to exactly two triangles."""
        return self.open_edges == self.crowded_edges == 0

    @property
    def solid(self) -> bool:
        """Whether the mesh bounds a solid: watertight, and wound one way."""
        return self.watertight and self.clashing_edges == 0


@lru_cache(maxsize=16)  # all meshes of a build, whose report is asked for again and again
def topology(mesh: Mesh) -> Topology:
    """Return how the triangles of a mesh are joined.

    Corners in one place count as one corner. The last answers are kept: a mesh never changes, and
    several checks ask.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> topology(box((0, 0, 0), (1, 1, 1)))
    Topology(open_edges=0, crowded_edges=0, clashing_edges=0, collapsed=0, shells=1)
    """
    triangles = welded(mesh).triangles
    whole = has_three_corners(triangles)
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
    >>> from moulddesign.geometry import box
    >>> bounds_a_solid(box((0, 0, 0), (1, 1, 1)))
    True
    """
    triangles = welded(mesh).triangles
    return is_closed(triangles[has_three_corners(triangles)])


def is_closed(triangles: Indices) -> bool:
    """Return whether each edge has exactly two triangles, one on either side."""
    tails, heads = _tails_and_heads(triangles)
    # Even for an edge that runs from its lower row up, odd for the same edge that runs down:
    # sorted, a closed surface reads 2k, 2k + 1 for every edge k. An edge that runs up twice gives
    # two even words in a row, and one of four triangles 2k, 2k, 2k + 1, 2k + 1; neither fits.
    names = 2 * _edge_names(triangles, tails, heads) + (tails > heads)
    names.sort()
    up, down = names[::2], names[1::2]
    return bool(np.array_equal(up + 1, down) and (up % 2 == 0).all())


def shells(triangles: Indices) -> Indices:
    """Return the shell of each triangle, shape (m,): 0, 1, 2 ... over shared edges."""
    return _shells(_edges(triangles), len(triangles))


def _shells(edges: Edges, count: int) -> Indices:
    starts, order, _, sides = edges
    owner = order % max(count, 1)
    first = np.repeat(owner[starts], sides)
    return components(np.stack([first, owner]), count)


def _edges(triangles: Indices) -> Edges:
    """Return where each edge starts in the sorted sides, the sort, sum of turns, number of sides.

    Side k belongs to triangle k modulo m; a turn is +1 from the lower row to the higher, else -1.
    """
    tails, heads = _tails_and_heads(triangles)
    names = _edge_names(triangles, tails, heads)
    order = _stable_order(names)
    names = names[order]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]][: len(names)])
    turns = np.add.reduceat(np.sign(heads - tails)[order], starts) if len(starts) else starts
    return starts, order, turns, np.diff(np.r_[starts, len(names)])


def _tails_and_heads(triangles: Indices) -> tuple[Indices, Indices]:
    """Return where the sides of all triangles begin and end: first sides, second, third."""
    return triangles.T.reshape(-1), np.roll(triangles, -1, axis=1).T.reshape(-1)


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


STEPS: Final = 4
"""Steps of float32 by which facets may pass through each other, see `tolerance_mm`."""
MOST_TOLERANCE_MM: Final = 0.01
"""Never more than this, however far from the origin the mesh lies [mm]."""
CELL_BITS: Final = 10
"""Bits of a centre's place along each axis, of which the Morton code is made."""
SPREADS: Final = ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249))
"""Shifts and masks that pull ten bits apart to every third of thirty."""


def tolerance_mm(mesh: Mesh) -> float:
    """Return how deep a facet may pass through another for rounding to float32 alone [mm].

    Rounding moves each corner by up to half a step along each axis, so two facets that touch come
    to lie about two steps in each other; welding and dividing thin facets adds as much.
    """
    farthest = np.float32(np.abs(mesh.vertices).max(initial=0.0))
    return min(STEPS * float(np.spacing(farthest)), MOST_TOLERANCE_MM)


def crossing_facets(mesh: Mesh, *, over_mm: float) -> Indices:
    """Return the facets that pass through another one by more than a depth, in order.

    Two facets that pass through each other share a segment of the line in which their planes meet.
    They do so by a depth that is the least of three: how far the first reaches to either side of
    the second's plane, the second to either side of the first's, and how long the segment is. A tip
    that pokes through is as deep as it reaches, and a rim that is grazed as deep as what overlaps
    along it. Facets that lie on each other in one plane do not pass through each other [1]_.

    References
    ----------
    .. [1] T. Moeller, "A fast triangle-triangle intersection test", J. Graphics Tools 2 (1997) 2:
       planes first, then intervals on the line in which they meet.
    """
    corners = mesh.corners
    normals = normals_and_areas(corners)[0]
    offsets = np.einsum("ij,ij->i", normals, corners[:, 0])

    def over(planes: Indices, facets: Indices) -> Points:
        """Return how far the corners of facets lie over planes of others, shape (n, 3) [mm]."""
        along = [np.einsum("ij,ij->i", normals[planes], corners[facets, k]) for k in range(3)]
        return np.asarray(np.stack(along, axis=1) - offsets[planes, None])

    one, two = _overlapping(corners.min(axis=1), corners.max(axis=1))
    # A few hundred pairs of a few hundred thousand have corners on both sides of both planes.
    for _ in range(2):
        across = _reaches_mm(over(one, two)) > over_mm
        one, two = two[across], one[across]
    line = np.cross(normals[one], normals[two])
    line /= np.linalg.norm(line, axis=1, keepdims=True)  # not parallel: each has both sides
    # Both facets cut the common line in an interval; they pass through each other where these
    # overlap.
    first, last = _interval(corners[one], line, over(two, one))
    start, end = _interval(corners[two], line, over(one, two))
    met = np.minimum(last, end) - np.maximum(first, start) > over_mm
    return np.unique(np.concatenate([one[met], two[met]]))


def _reaches_mm(over: Points) -> Points:
    """Return how far corners reach to both sides of a plane, 0 or less where all lie on one."""
    a, b, c = over.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    return np.asarray(np.minimum(-low, high))


def _interval(corners: Points, line: Points, over: Points) -> tuple[Points, Points]:
    """Return where on a line each facet begins and ends that crosses a plane through the line."""
    places = np.einsum("ikj,ij->ik", corners, line)
    after, over_after = np.roll(places, -1, axis=1), np.roll(over, -1, axis=1)
    # A side crosses the plane where its ends lie on both sides; the crossing divides it in the
    # ratio of their distances.
    crosses = (over <= 0.0) != (over_after <= 0.0)
    share = over / np.where(crosses, over - over_after, 1.0)
    at = places + share * (after - places)
    first = np.where(crosses, at, np.inf).min(axis=1, initial=np.inf)
    return first, np.where(crosses, at, -np.inf).max(axis=1, initial=-np.inf)


def _overlapping(low: Points, high: Points) -> tuple[Indices, Indices]:
    """Return the pairs of boxes that share some room, each pair once.

    The boxes are put in order of the Morton code of their centres, a curve that keeps near ones
    together, so neighbours in that order can be bound by one box, and so on up: a binary tree
    without pointers. Descending from the pair (root, root), all pairs of a level at once, every
    pair whose boxes share nothing is left with all below it.

    Boxes that only touch share nothing: a facet in a plane along the axes has a flat box, and one
    that passes through it reaches beyond on both sides.
    """
    order = _along_a_curve(low + high)
    one = two = np.zeros(1, dtype=np.int64)
    for least, most in reversed(list(_bounds_of_bounds(low[order], high[order]))):
        if len(least) > 1:
            one, two = _children(one, two)
        shares = np.ones(len(one), dtype=bool)
        for below, above in zip(least.T, most.T, strict=True):
            shares &= (below[one] < above[two]) & (below[two] < above[one])
        shares |= one == two
        one, two = one[shares], two[shares]
    apart = one != two
    return order[one[apart]], order[two[apart]]


def _children(one: Indices, two: Indices) -> tuple[Indices, Indices]:
    """Return the pairs of children, two of each node, of pairs of nodes."""
    one, two = 2 * one, 2 * two
    apart = one != two
    return (
        np.concatenate([one, one, one + 1, one[apart] + 1]),
        np.concatenate([two, two + 1, two + 1, two[apart]]),
    )


def _bounds_of_bounds(low: Points, high: Points) -> Iterator[tuple[Points, Points]]:
    """Yield boxes, then the boxes of two neighbours each, and so on up to one."""
    count = 1 << max(len(low) - 1, 0).bit_length()
    missing = ((0, count - len(low)), (0, 0))
    # What fills up a level bounds nothing: it begins at infinity and ends at minus infinity.
    low = np.pad(low, missing, constant_values=np.inf)
    high = np.pad(high, missing, constant_values=-np.inf)
    while len(low) > 1:
        yield np.asfortranarray(low), np.asfortranarray(high)
        low, high = np.minimum(low[::2], low[1::2]), np.maximum(high[::2], high[1::2])
    yield low, high


def _along_a_curve(points: Points) -> Indices:
    """Return the order of points by their Morton code: the bits of x, y and z in turn."""
    if not len(points):
        return np.empty(0, dtype=np.int64)
    low = points.min(axis=0)
    widest = float(np.ptp(points, axis=0).max()) or 1.0
    cells = ((points - low) / widest * ((1 << CELL_BITS) - 1)).astype(np.int64)
    code = sum((_spread(cells[:, axis]) << axis for axis in range(3)), np.zeros(1, np.int64))
    return np.asarray(np.argsort(code, kind="stable"), dtype=np.int64)


def _spread(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    for shift, mask in SPREADS:
        cells = (cells | (cells << shift)) & mask
    return cells
