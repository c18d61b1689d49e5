"""Closedness, volume and draft of a written mesh.

None of it shares code with what made the mesh: sides are compared by their end points' own bytes,
volumes are summed over the table, and a lean is measured along the pull and across it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.geometry import Indices, Mesh, Points


@dataclass(frozen=True, slots=True, kw_only=True)
class Closedness:
    """Counts of what keeps a surface from bounding one solid."""

    open_edges: int
    """Edges with a triangle on one side only."""
    crowded_edges: int
    """Edges where more than two triangles meet."""
    clashing_edges: int
    """Edges whose two triangles are wound against each other."""
    collapsed: int
    """Triangles with two corners in one place."""
    bodies: int
    """Pieces of surface that are connected over edges."""

    @property
    def closed(self) -> bool:
        """Whether each edge has exactly two triangles, wound alike."""
        return self.open_edges == self.crowded_edges == self.clashing_edges == 0


def closedness(mesh: Mesh) -> Closedness:
    """Return how the triangles of a mesh are joined; corners with the same numbers are one."""
    places = _places(mesh.vertices)[mesh.triangles]
    collapsed = np.any(places == np.roll(places, 1, axis=1), axis=1)
    kept = places[~collapsed]
    owners = np.repeat(np.arange(len(kept)), 3)
    tails, heads = kept.reshape(-1), np.roll(kept, -1, axis=1).reshape(-1)
    span = int(places.max(initial=0)) + 1
    # The side a -> b of one triangle and b -> a of its neighbour are the same edge.
    edges, edge, uses = np.unique(
        np.minimum(tails, heads) * span + np.maximum(tails, heads),
        return_inverse=True,
        return_counts=True,
    )
    net = np.bincount(edge, weights=np.sign(heads - tails), minlength=len(edges))
    return Closedness(
        open_edges=int(np.sum(uses == 1)),
        crowded_edges=int(np.sum(uses > 2)),  # noqa: PLR2004 (an edge has two sides)
        clashing_edges=int(np.sum((uses == 2) & (net != 0))),  # noqa: PLR2004
        collapsed=int(np.sum(collapsed)),
        bodies=_bodies(owners, edge, len(kept), len(edges)),
    )


def _places(vertices: Points) -> Indices:
    """Return a number for each corner, the same where all three coordinates are the same."""
    rows = np.ascontiguousarray(vertices + 0.0)  # -0.0 and 0.0 are one place
    raw = rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1]))).reshape(-1)
    return np.asarray(np.unique(raw, return_inverse=True)[1], dtype=np.int64)


def _bodies(owners: Indices, edge: Indices, facets: int, edges: int) -> int:
    """Return into how many pieces triangles and edges, linked where they touch, fall apart."""
    links = coo_array(
        (np.ones(len(owners), dtype=bool), (owners, facets + edge)), shape=(facets + edges,) * 2
    )
    return int(connected_components(links, directed=False)[0])


def volume_mm3(mesh: Mesh) -> float:
    """Return the volume that a closed mesh encloses, negative where it is inside out [mm^3].

    Each facet stands on a column down to the table: its area seen from above, positive where it
    looks up, times the mean height of its corners.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> round(volume_mm3(box((1, 1, 5), (3, 4, 9))), 9)
    24.0
    """
    if not len(mesh.triangles):
        return 0.0
    corners = mesh.corners - mesh.bounds.mean(axis=0)
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = np.moveaxis(corners, (1, 2), (0, 1))
    plan_mm2 = ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2.0
    return float(plan_mm2 @ (az + bz + cz) / 3.0)


def drafts_deg(corners: Points, direction: ArrayLike) -> Points:
    """Return the angle by which each facet leans away from a pull, shape (m,) [deg].

    Parameters
    ----------
    corners : ndarray, shape (m, 3, 3)
        Facets of the body that is pulled out, counter-clockwise seen from outside [mm].
    direction : array_like, shape (3,)
        Way in which that body leaves, of any length.

    Returns
    -------
    ndarray, shape (m,)
        90 for a floor, 0 for a wall along the pull, negative for an undercut [deg].

    Examples
    --------
    >>> floor = [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]
    >>> wall = [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    >>> drafts_deg(np.array([floor, wall]), (0.0, 0.0, 2.0)).tolist()
    [90.0, -0.0]
    """
    way = np.asarray(direction, dtype=np.float64)
    way = way / np.linalg.norm(way)
    outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    along = outward @ way
    # The lean of the facet from the pull is that of its normal from the level; atan2 is exact
    # for both a floor and a wall, where an arc sine loses half the digits near 90 deg.
    across = np.linalg.norm(outward - along[:, None] * way, axis=1)
    drafts: Points = np.degrees(np.arctan2(-along, across))
    return drafts
