"""Whether a surface runs through itself."""

from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Mesh, Points

MOST_TRIANGLES: Final = 200_000
"""Larger meshes are not searched: the search takes some seconds for this many."""
CHUNK: Final = 200_000
"""Facets whose neighbours are looked up at once, and pairs that are tried at once."""


def crossing_facets(mesh: Mesh) -> int | None:
    """Return how many facets another facet runs through, neighbours left out.

    A side of one that pierces the inside of the other counts; facets that lie on each other in
    one plane do not.

    Parameters
    ----------
    mesh : Mesh
        Welded [mm].

    Returns
    -------
    int or None
        None where the mesh has more than 200,000 triangles: not looked for.
    """
    if len(mesh.triangles) > MOST_TRIANGLES:
        return None
    crossed = np.zeros(len(mesh.triangles), dtype=bool)
    low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    tree = shapely.STRtree(boxes)
    for start in range(0, len(boxes), CHUNK // 50):
        some = np.arange(start, min(start + CHUNK // 50, len(boxes)))
        row, two = tree.query(boxes[some])
        one = some[row]
        near = (one < two) & (low[one, 2] <= high[two, 2]) & (low[two, 2] <= high[one, 2])
        _mark(mesh, np.stack([one[near], two[near]], axis=1), crossed)
    return int(crossed.sum())


def _mark(mesh: Mesh, pairs: Indices, crossed: NDArray[np.bool_]) -> None:
    for some in np.array_split(pairs, len(pairs) // CHUNK + 1):
        apart = some[~_share_a_corner(mesh.triangles[some[:, 0]], mesh.triangles[some[:, 1]])]
        one, two = mesh.corners[apart[:, 0]], mesh.corners[apart[:, 1]]
        crossed[apart[_pierces(one, two) | _pierces(two, one)].reshape(-1)] = True


def _share_a_corner(one: Indices, two: Indices) -> NDArray[np.bool_]:
    return np.asarray(np.any(one[:, :, None] == two[:, None, :], axis=(1, 2)), dtype=bool)


def _pierces(one: Points, two: Points) -> NDArray[np.bool_]:
    """Return for each pair whether a side of the first runs through the second."""
    pierced = np.zeros(len(one), dtype=bool)
    for k in range(3):
        pierced |= _side_pierces(one[:, k], one[:, (k + 1) % 3], two)
    return pierced


def _side_pierces(start: Points, end: Points, facet: Points) -> NDArray[np.bool_]:
    before, after = _sixfold(facet, start), _sixfold(facet, end)
    corners = [facet[:, k] for k in (0, 1, 2, 0)]
    fans = [(np.stack([start, end, p], axis=1), q) for p, q in pairwise(corners)]
    turns = np.sign([_sixfold(fan, q) for fan, q in fans])
    return np.asarray((before * after < 0.0) & (np.abs(turns.sum(axis=0)) == 3.0), dtype=bool)  # noqa: PLR2004


def _sixfold(facet: Points, d: Points) -> Points:
    """Return six times the volume of each tetrahedron, with its sign."""
    a, b, c = np.moveaxis(facet, 1, 0)
    volume: Points = np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)
    return volume
