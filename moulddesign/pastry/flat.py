"""Flat areas between loops of vertices, filled with triangles."""

from collections.abc import Sequence

import numpy as np
import shapely

from moulddesign.errors import KernelError
from moulddesign.mesh import Indices, Points, triangulated


def filled(vertices: Points, loops: Sequence[Indices]) -> Indices:
    """Return triangles of the area on the left of loops, rows of `vertices`.

    Ears are cut off where all loops keep apart. Where they touch in a vertex, ears would be
    folded over each other there, so a constrained Delaunay triangulation takes the area.
    """
    if not loops:
        return np.empty((0, 3), dtype=np.int64)
    rows = np.concatenate(loops)
    if len(np.unique(rows)) < len(rows):
        return _delaunay(vertices, loops)
    return rows[triangulated([vertices[loop, :2] for loop in loops])]


def _delaunay(vertices: Points, loops: Sequence[Indices]) -> Indices:
    rings = [shapely.linearrings(vertices[loop, :2]) for loop in loops]
    area = shapely.build_area(shapely.geometrycollections(rings))
    facets = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    corners = shapely.get_coordinates(shapely.orient_polygons(facets)).reshape(-1, 4, 2)[:, :3]
    rows = np.unique(np.concatenate(loops))
    known, first = np.unique(vertices[rows, :2], axis=0, return_index=True)
    both, number = np.unique(
        np.concatenate([known, corners.reshape(-1, 2)]), axis=0, return_inverse=True
    )
    if len(both) != len(known):
        raise KernelError("a flat of the relief", "the triangulation moved a corner")
    return rows[first][number[len(known) :]].reshape(-1, 3)
