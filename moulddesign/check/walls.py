"""Thickness of the walls of a solid, by rays over its surface."""

from math import ceil
from typing import Final

import numpy as np

from moulddesign.check.facets import normals_and_areas, spread_points
from moulddesign.mesh import Mesh, Points
from moulddesign.probing import first_hits

POINTS: Final = 6_000
"""Points over the surface; each stands for the same area."""
PARALLEL_DEG: Final = 20.0
"""Two faces are a wall where they lean this little against each other [deg].

A wedge, a chamfer and the edge of a drafted stroke are thin at their edge, and are no wall.
"""
LEFT_OUT_RATIO: Final = 0.0005
"""Share of the surface that may be thinner: the rays that graze an edge."""
START_MM: Final = 1e-4
"""A ray starts this deep, so that it does not meet its own facet [mm]."""


def thinnest_wall_mm(mesh: Mesh) -> float:
    """Return the least distance between parallel faces of a solid, solid in between.

    From points spread over the surface a ray goes straight in; where it leaves through a face
    that is parallel within 20 deg, its length is the wall's thickness there. The result is the
    thickness that all but 0.05 % of the surface has at least, so a wall counts from that area on.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].

    Returns
    -------
    float
        Infinite where no two faces are parallel [mm].

    Raises
    ------
    KernelError
        The mesh is not closed.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> round(thinnest_wall_mm(box((0, 0, 0), (20, 30, 1.5))), 3)
    1.5
    """
    found = np.sort(wall_thicknesses_mm(mesh, POINTS))
    return float(found[ceil(LEFT_OUT_RATIO * POINTS)])


def wall_thicknesses_mm(mesh: Mesh, count: int) -> Points:
    """Return the thickness below points spread evenly, infinite where it is no wall [mm]."""
    points, facets = spread_points(mesh, count)
    inward = -normals_and_areas(mesh)[0][facets]
    starts = points + START_MM * inward
    reach_mm = float(np.linalg.norm(mesh.size_mm)) + 1.0
    lines = np.stack([starts, starts + reach_mm * inward], axis=1)
    distances, normals = first_hits(mesh, lines, "the walls' thickness")
    facing = np.einsum("ij,ij->i", inward, normals)
    wall = facing >= np.cos(np.radians(PARALLEL_DEG))
    return np.where(wall, distances + START_MM, np.inf)
