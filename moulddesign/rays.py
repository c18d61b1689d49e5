"""What straight lines meet on a triangle mesh, all lines at once, in double precision."""

from math import ceil
from typing import Final

import numpy as np
import shapely

from moulddesign.mesh import Indices, Mesh, Points

AT_ONCE: Final = 3_000
"""Lines that are worked on at once, so that memory stays bounded."""
ROUND_OFF: Final = 8.0 * float(np.finfo(np.float64).eps)
"""Error of a product of three lengths, as a share; so much outside a facet is still on its edge."""


def first_hits(mesh: Mesh, lines: Points) -> tuple[Points, Points]:
    """Return how far each straight line runs until it meets a facet, and what it meets.

    Only facets whose box a line's box meets are tried, so short lines are fast.

    Parameters
    ----------
    mesh : Mesh
        Any triangles.
    lines : ndarray, shape (n, 2, 3)
        Where each line begins and ends [mm].

    Returns
    -------
    distances : ndarray, shape (n,)
        Along each line to the first facet it meets, infinite where it meets none [mm].
    normals : ndarray, shape (n, 3)
        Normal of that facet, 0 where there is none.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> down = np.array([[[1.0, 1.0, 9.0], [1.0, 1.0, 0.0]]])
    >>> [found.tolist() for found in first_hits(box((0, 0, 0), (2, 2, 4)), down)]
    [[5.0], [[0.0, 0.0, 1.0]]]
    """
    shares, facets = np.full(len(lines), np.inf), np.zeros(len(lines), dtype=np.int64)
    corners = mesh.corners
    low, high = corners.min(axis=1), corners.max(axis=1)
    tree = shapely.STRtree(_plan(low, high))
    for some in np.array_split(np.arange(len(lines)), ceil(len(lines) / AT_ONCE) or 1):
        line, facet = _near(lines[some], tree, (low[:, 2], high[:, 2]))
        line = some[line]
        share = _shares(corners[facet] - lines[line, :1], lines[line, 1] - lines[line, 0])
        order = np.lexsort((facet, share, line))
        first = order[np.flatnonzero(np.diff(line[order], prepend=-1))]
        shares[line[first]], facets[line[first]] = share[first], facet[first]
    met = np.isfinite(shares)
    normals = np.zeros((len(lines), 3))
    normals[met] = _normals(corners[facets[met]])
    return shares * np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1), normals


def _near(
    lines: Points, tree: shapely.STRtree, levels_mm: tuple[Points, Points]
) -> tuple[Indices, Indices]:
    """Return pairs of a line and a facet whose boxes meet; the tree knows the facets in plan."""
    least, most = lines.min(axis=1), lines.max(axis=1)
    line, facet = tree.query(_plan(least, most))
    low_mm, high_mm = levels_mm
    same = (low_mm[facet] <= most[line, 2]) & (high_mm[facet] >= least[line, 2])
    return line[same], facet[same]


def _plan(low: Points, high: Points) -> np.ndarray:
    """Return boxes as they lie on the table."""
    boxes: np.ndarray = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    return boxes


def _shares(facets: Points, ways: Points) -> Points:
    """Return where along each way from the origin a facet is met, infinite where it is not.

    The three products are the facet's weights of the point where the line pierces its plane: all
    of one sign inside. The point is taken from the weights, so it never lies outside the facet.
    """
    a, b, c = np.moveaxis(facets, 1, 0)
    sides = ((b, c), (c, a), (a, b))
    weights = np.stack([np.einsum("ij,ij->i", ways, np.cross(p, q)) for p, q in sides], axis=1)
    whole = weights.sum(axis=1)
    length2 = np.einsum("ij,ij->i", ways, ways)
    reach2 = np.einsum("ijk,ijk->ij", facets, facets).max(axis=1)
    noise = ROUND_OFF * np.sqrt(length2) * reach2
    inside = (weights.min(axis=1) >= -noise) | (weights.max(axis=1) <= noise)
    crossed = whole != 0.0
    along = np.einsum("ijk,ik->ij", facets, ways)
    share = np.einsum("ij,ij->i", weights, along) / np.where(crossed, whole, 1.0) / length2
    return np.where(inside & crossed & (share >= 0.0) & (share <= 1.0), share, np.inf)


def _normals(corners: Points) -> Points:
    a, b, c = np.moveaxis(corners, 1, 0)
    doubled = np.cross(b - a, c - a)
    normals: Points = doubled / np.linalg.norm(doubled, axis=1, keepdims=True)
    return normals
