"""One list of corners from faces that were divided one by one."""

from typing import Final

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moulddesign.mesh import Indices, Mesh, Points

WELD_MM: Final = 1e-6
"""Corners nearer than this are one: ten times the kernel's own point tolerance, 1e-7 [mm]."""


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
    pairs = cKDTree(points).query_pairs(WELD_MM, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    _, group = connected_components(links, directed=False)
    _, first = np.unique(group, return_index=True)
    corners = group[triangles]
    a, b, c = corners.T
    return Mesh(points[first], corners[(a != b) & (b != c) & (c != a)])
