"""Thickness of the walls of a solid, by rays over its surface."""

from collections.abc import Iterator
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.check.facets import normals_and_areas, spread_points
from moulddesign.check.topology import topology
from moulddesign.mesh import Mesh, Points, manifold_of
from moulddesign.rays import first_hits

POINTS: Final = 6_000
"""Points over the surface; each stands for the same area."""
PARALLEL_DEG: Final = 20.0
"""Two faces are a wall where they lean this little against each other [deg].

A wedge, a chamfer and the edge of a drafted stroke are thin at their edge, and are no wall.
"""
LEFT_OUT_RATIO: Final = 0.0005
"""Share of the surface that may be thinner: the rays that graze an edge."""
FIRST_REACH_MM: Final = 4.0
"""How deep walls are looked for at first, a little over usual ones; then twice as deep [mm]."""
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
        The mesh is not closed: it has no inside.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> round(thinnest_wall_mm(box((0, 0, 0), (20, 30, 1.5))), 3)
    1.5
    """
    if not topology(mesh).solid:  # soon said, and often known; the kernel takes time and memory
        manifold_of(mesh, "the walls' thickness")  # raises where there is no inside
    points, inward = _going_in(mesh)
    thicknesses_mm, left = np.full(POINTS, np.inf), np.arange(POINTS)
    thin = ceil(LEFT_OUT_RATIO * POINTS)
    for reach_mm in _reaches_mm(mesh):
        starts = points[left] + START_MM * inward[left]
        lines = np.stack([starts, starts + reach_mm * inward[left]], axis=1)
        thicknesses_mm[left], met = _wall_thicknesses_mm(mesh, lines, inward[left])
        left = left[~met]
        # What was not met yet is thicker than the reach: it does not change the thin ones' order.
        if np.isfinite(thicknesses_mm).sum() > thin:
            break
    return float(np.sort(thicknesses_mm)[thin])


def _going_in(mesh: Mesh) -> tuple[Points, Points]:
    """Return points spread evenly over a surface, and the way straight in from each."""
    points, facets = spread_points(mesh, POINTS)
    return points, -normals_and_areas(mesh)[0][facets]


def _reaches_mm(mesh: Mesh) -> Iterator[float]:
    """Yield how deep walls are looked for, up to once through the whole solid."""
    longest_mm = float(np.linalg.norm(mesh.size_mm)) + 1.0
    reach_mm = FIRST_REACH_MM
    while reach_mm < longest_mm:
        yield reach_mm
        reach_mm *= 2.0
    yield longest_mm


def _wall_thicknesses_mm(
    mesh: Mesh, lines: Points, inward: Points
) -> tuple[Points, NDArray[np.bool_]]:
    """Return the thickness along each line, infinite where it is no wall, and which met a face."""
    distances_mm, normals = first_hits(mesh, lines)
    facing = np.einsum("ij,ij->i", inward, normals)
    wall = facing >= np.cos(np.radians(PARALLEL_DEG))
    return np.where(wall, distances_mm + START_MM, np.inf), np.isfinite(distances_mm)
