"""A cavity known by its mesh: how much of it lies deeper than a crust."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import KDTree

from moulddesign.check.pour import Cavity
from moulddesign.check.raster import Grid, grid_over, top_heights_mm
from moulddesign.check.topology import without_collapsed
from moulddesign.mesh import Mesh, Points

FEW_TRIANGLES: Final = 500_000
"""Larger meshes are made coarser first, or their many facets take seconds."""
COARSE_MM: Final = 0.2
"""Corners in one cube of this side become one: finer than a crust is ever rolled [mm]."""
PIXELS: Final = 20_000
"""Pixels of the smallest cavity's mouth: 0.4 mm in a cake of 60 mm."""
MOST_PIXELS: Final = 4_000_000
"""Pixels over the whole mesh."""
AT_RIM_MM: Final = 0.01
"""So near below the rim nothing is a hollow: a level rim is rough by float32 steps [mm]."""
SAME_RATIO: Final = 0.05
"""A hollow seen from above is the cavity where both hold the same within this."""
DROPS: Final = 20_000
"""Points of the water that are looked at: shares of volume are known within 0.1 %."""
WALL_POINTS: Final = 100_000
"""Points of the wall: 0.3 mm apart in a cake of 60 mL, which lengthens 2 mm by 0.01 mm."""
PLASTIC: Final = 1.2207440846057596
"""g of g^4 = g + 1: multiples of 1 / g, 1 / g^2, 1 / g^3 spread points evenly over a cube."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seen:
    """A mesh seen from above, and the hollows that have their cavity already.

    Parameters
    ----------
    grid : Grid
        The pixels.
    heights_mm : ndarray
        Topmost height in each [mm].
    taken : set of (float, int)
        Rim and label of each.
    """

    grid: Grid
    heights_mm: Points
    taken: set[tuple[float, int]]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hollow:
    """A cavity of any shape that is open to the sky all over.

    Parameters
    ----------
    volume_mm3 : float
        Pour volume [mm^3].
    width_mm, height_mm : float
        Least extent across, and depth below the rim [mm].
    distances_mm : ndarray, shape (n,)
        Distances of evenly spread points to wall, floor or rim plane, rising, at most half the
        depth [mm].
    """

    volume_mm3: float
    width_mm: float
    height_mm: float
    distances_mm: Points

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness under wall, floor and rim plane.

        Parameters
        ----------
        thickness_mm : float
            0 for the whole, at most half the depth [mm].

        Returns
        -------
        float
            Share of the points that lie deeper, times the volume [mm^3].
        """
        shallower = np.arange(len(self.distances_mm) + 1) / len(self.distances_mm)
        levels = np.concatenate([[0.0], self.distances_mm])
        return self.volume_mm3 * (1.0 - float(np.interp(thickness_mm, levels, shallower)))


def hollows(mesh: Mesh, cavities: Sequence[Cavity]) -> tuple[Hollow | None, ...]:
    """Return the shapes of cavities, in their order.

    Parameters
    ----------
    mesh : Mesh
        Turned so that the way up is z [mm].
    cavities : sequence of Cavity
        What was found in it.

    Returns
    -------
    tuple of Hollow or None
        None where a cavity is wider inside than its mouth, so that it is not seen from above.
    """
    mesh = mesh if len(mesh.triangles) <= FEW_TRIANGLES else _coarser(mesh)
    least = min(cavity.mouth_mm2 for cavity in cavities)
    low, high = mesh.bounds[:, :2]
    coarsest = float(np.sqrt(np.prod(high - low) / MOST_PIXELS))
    grid = grid_over(low, high, max(float(np.sqrt(least / PIXELS)), coarsest))
    seen = Seen(grid=grid, heights_mm=top_heights_mm(mesh, grid), taken=set())
    return tuple(_hollow(mesh, cavity, seen) for cavity in cavities)


def _coarser(mesh: Mesh) -> Mesh:
    """Return a mesh in which the corners of each small cube are one, in their middle."""
    cubes = ((mesh.vertices - mesh.bounds[0]) / COARSE_MM).astype(np.int64)
    _, rows, counts = np.unique(
        np.ravel_multi_index(tuple(cubes.T), tuple(cubes.max(axis=0) + 1)),
        return_inverse=True,
        return_counts=True,
    )
    sums = [np.bincount(rows, weights=along) for along in mesh.vertices.T]
    return without_collapsed(Mesh(np.column_stack(sums) / counts[:, None], rows[mesh.triangles]))


def _hollow(mesh: Mesh, cavity: Cavity, seen: Seen) -> Hollow | None:
    """Return the shape of the hollow below the rim that holds what the cavity holds."""
    below = cavity.rim_mm - seen.heights_mm
    depths = np.where(np.isfinite(below) & (below > AT_RIM_MM), below, 0.0)
    labels, count = ndimage.label(depths > 0.0)
    held = ndimage.sum_labels(depths, labels, np.arange(1, count + 1)) * seen.grid.pixel_mm**2
    off = np.abs(held / cavity.volume_mm3 - 1.0)
    order = [int(n) for n in np.argsort(off, kind="stable")]
    free = [n for n in order if (cavity.rim_mm, n) not in seen.taken and off[n] <= SAME_RATIO]
    if not free:
        return None
    seen.taken.add((cavity.rim_mm, free[0]))
    return _filled(mesh, cavity, seen.grid, depths=np.where(labels == free[0] + 1, depths, 0.0))


def _filled(mesh: Mesh, cavity: Cavity, grid: Grid, *, depths: Points) -> Hollow:
    drops = _drops_mm(depths, grid, cavity)
    # Nothing is sought beyond half the depth: a crust on floor and rim leaves nothing there.
    # Unbalanced, for points in planes take the balanced tree longer.
    half_mm = cavity.depth_mm / 2.0
    walls = KDTree(_wall_points_mm(mesh, drops, cavity.rim_mm), balanced_tree=False)
    to_wall_mm = walls.query(drops, distance_upper_bound=half_mm)[0]
    distances = np.minimum(to_wall_mm, cavity.rim_mm - drops[:, 2])
    wet = depths > 0.0
    across = min(wet.any(axis=0).sum(), wet.any(axis=1).sum())
    return Hollow(
        volume_mm3=cavity.volume_mm3,
        width_mm=float(across * grid.pixel_mm),
        height_mm=cavity.depth_mm,
        distances_mm=np.sort(distances.clip(max=half_mm)),
    )


def _drops_mm(depths: Points, grid: Grid, cavity: Cavity) -> Points:
    """Return points spread evenly over water of some depths, shape (n, 3) [mm]."""
    rows, columns = (np.flatnonzero(np.any(depths > 0.0, axis=axis)) for axis in (1, 0))
    low = np.array([rows[0], columns[0], 0.0])
    size = np.array([rows[-1] + 1, columns[-1] + 1, cavity.depth_mm]) - low
    held = depths.sum() / np.prod(size)
    row, column, below = (low + size * _spread(round(DROPS / held), 3)).T
    wet = below < depths[row.astype(int), column.astype(int)]
    across = np.column_stack([column, row])[wet] * grid.pixel_mm + grid.low_mm
    return np.column_stack([across, cavity.rim_mm - below[wet]])


def _wall_points_mm(mesh: Mesh, drops: Points, rim_mm: float) -> Points:
    """Return points spread evenly over the facets around drops, up to the rim [mm].

    Facets behind the wall do no harm, for the wall is nearer.
    """
    corners = mesh.corners
    near = _meet(corners, drops.min(axis=0) - 1.0, drops.max(axis=0) + 1.0)
    a, b, c = np.moveaxis(corners[near], 1, 0)
    ends = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    facet = np.searchsorted(ends, (np.arange(WALL_POINTS) + 0.5) * ends[-1] / WALL_POINTS)
    shares = _spread(WALL_POINTS, 2)
    shares = np.where(shares.sum(axis=1, keepdims=True) > 1.0, 1.0 - shares, shares)
    points: Points = a[facet] + shares[:, :1] * (b - a)[facet] + shares[:, 1:] * (c - a)[facet]
    return points[points[:, 2] <= rim_mm]


def _meet(corners: Points, low: Points, high: Points) -> NDArray[np.bool_]:
    """Whether the box of each facet meets a box."""
    inside = (corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)
    meet: NDArray[np.bool_] = inside.all(axis=1)
    return meet


def _spread(count: int, dimensions: int) -> Points:
    """Return points spread evenly over the unit square or cube, the same every time."""
    steps = PLASTIC ** -np.arange(1.0, dimensions + 1.0)
    points: Points = np.outer(np.arange(count) + 0.5, steps) % 1.0
    return points
