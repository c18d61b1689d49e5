"""One list of corners from faces that were divided one by one."""

from typing import Final

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moulddesign.mesh import Indices, Mesh, Points, unfolded

WELD_MM: Final = 1e-6
"""Corners nearer than this are one: ten times the kernel's own point tolerance, 1e-7 [mm]."""


def near_groups(points: Points, within_mm: float) -> Indices:
    """Return, for each point, the first of the points that lie together with it.

    Parameters
    ----------
    points : ndarray of float64, shape (n, 3)
        Points [mm].
    within_mm : float
        Points nearer than this lie together, and so do their neighbours' neighbours [mm].

    Returns
    -------
    ndarray of int64, shape (n,)
        Rows of `points`.
    """
    pairs = cKDTree(points).query_pairs(within_mm, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    _, group = connected_components(links, directed=False)
    _, first = np.unique(group, return_index=True)
    rows: Indices = first[group]
    return rows


def welded(points: Points, triangles: Indices) -> Mesh:
    """Return the mesh in which corners that lie together are one.

    Parameters
    ----------
    points : ndarray of float64, shape (n, 3)
        Corners, those on shared edges repeated [mm].
    triangles : ndarray of int64, shape (m, 3)
        Rows of `points`.

    Returns
    -------
    Mesh
        Without triangles that have lost a side.
    """
    used, corners = np.unique(near_groups(points, WELD_MM)[triangles], return_inverse=True)
    return Mesh(points[used], unfolded(corners.reshape(-1, 3)))
