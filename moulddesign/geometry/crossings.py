"""Facets that pass through each other."""

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry.mesh import Indices, Mesh, Points, normals_and_areas

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

    Two facets that pass through each other share a segment of the line in which their planes
    meet. They do so by a depth that is the least of three: how far the first reaches to either
    side of the second's plane, the second to either side of the first's, and how long the segment
    is. A tip that pokes through is as deep as it reaches, and a rim that is grazed as deep as what
    overlaps along it. Facets that lie on each other in one plane do not pass through each other.

    Parameters
    ----------
    mesh : Mesh
        Any triangles [mm].
    over_mm : float
        Depth that is allowed [mm].

    Returns
    -------
    ndarray of int64, shape (n,)
        Rows of `mesh.triangles`.

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
