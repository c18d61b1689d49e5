"""Facets as numbers: normals, areas, angles, and points spread over the surface."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from moulddesign.mesh import Indices, Mesh, Points

GOLDEN: Final = (0.7548776662466927, 0.5698402909980532)
"""Steps of the additive sequence that fills the square most evenly (plastic number)."""


def normals_and_areas(mesh: Mesh) -> tuple[Points, Points]:
    """Return unit normals, shape (m, 3), and areas, shape (m,) [mm^2]; 0 where there is no area."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    doubled = np.cross(b - a, c - a)
    lengths: Points = np.linalg.norm(doubled, axis=1)
    return doubled / np.where(lengths > 0.0, lengths, 1.0)[:, None], lengths / 2.0


def drafts_deg(normals: Points, direction: ArrayLike) -> Points:
    """Return the angle by which each facet leans away from a pull, shape (m,) [deg].

    Parameters
    ----------
    normals : ndarray, shape (m, 3)
        Outward unit normals of the body that is pulled out.
    direction : array_like, shape (3,)
        Way in which that body leaves, a unit vector.

    Returns
    -------
    ndarray, shape (m,)
        90 for a floor, 0 for a wall along the pull, negative for an undercut [deg].

    Examples
    --------
    >>> drafts_deg(np.array([[0.0, 0.0, -1.0], [1.0, 0.0, 0.0]]), (0.0, 0.0, 1.0)).tolist()
    [90.0, -0.0]
    """
    along = normals @ np.asarray(direction, dtype=np.float64)
    drafts: Points = -np.degrees(np.arcsin(along.clip(-1.0, 1.0)))
    return drafts


def spread_points(mesh: Mesh, count: int) -> tuple[Points, Indices]:
    """Return points spread evenly over a surface, and the facet of each.

    Each point stands for the same area: the facets are cut at equal shares of the whole, then
    each point is placed in its facet by a low-discrepancy sequence. No chance is involved.

    Parameters
    ----------
    mesh : Mesh
        Any triangles.
    count : int
        Number of points.

    Returns
    -------
    points : ndarray, shape (count, 3)
        [mm]
    facets : ndarray of int64, shape (count,)
        Rows of `mesh.triangles`.
    """
    reach = np.cumsum(normals_and_areas(mesh)[1])
    steps = np.arange(count)
    facets = np.searchsorted(reach, (steps + 0.5) / count * reach[-1]).clip(max=len(reach) - 1)
    u, v = ((step * steps + 0.5) % 1.0 for step in GOLDEN)
    folded = u + v > 1.0
    u, v = np.where(folded, 1.0 - u, u), np.where(folded, 1.0 - v, v)
    a, b, c = np.moveaxis(mesh.corners[facets], 1, 0)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), facets.astype(np.int64)
