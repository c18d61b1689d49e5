"""How the triangles of a mesh hang together: edges, winding, shells."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.mesh import Indices, Mesh, Points

Edges = tuple[Indices, Indices, Indices, Indices]


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


def topology(mesh: Mesh) -> Topology:
    """Return how the triangles of a mesh hang together.

    Parameters
    ----------
    mesh : Mesh
        Corners in one place count as one corner.

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
    names = np.minimum(tails, heads) * (triangles.max(initial=0) + 1) + np.maximum(tails, heads)
    order = np.argsort(names, kind="stable")
    names = names[order]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]][: len(names)])
    turns = np.add.reduceat(np.sign(heads - tails)[order], starts) if len(starts) else starts
    return starts, order, turns, np.diff(np.r_[starts, len(names)])


def _in_order(points: Points) -> bool:
    """Whether the points are distinct and in order already."""
    step = np.diff(points, axis=0)
    x, y, z = step.T
    return bool(np.all((x > 0) | ((x == 0) & ((y > 0) | ((y == 0) & (z > 0))))))


def _unique_rows(points: Points) -> tuple[Points, Indices]:
    """Return the distinct points and the row of each; ten times as fast as `np.unique(axis=0)`."""
    order = np.lexsort(points.T[::-1])
    ranked = points[order]
    new = np.r_[True, np.any(ranked[1:] != ranked[:-1], axis=1)][: len(points)]
    rows = np.empty(len(points), dtype=np.int64)
    rows[order] = np.cumsum(new) - 1
    return ranked[new], rows
