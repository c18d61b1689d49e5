"""Where water stays when it is poured on a mesh from above: basins and the level each spills at."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull
from skimage.morphology import reconstruction

from moulddesign.check.raster import Grid, grid_over, top_heights_mm
from moulddesign.mesh import Mesh, Points

PIXELS: Final = 300
"""Pixels along the longer side; a cavity narrower than a few of them is not looked for."""
LEAST_DEPTH_MM: Final = 0.2
"""Shallower hollows are dents: one layer of a print [mm]."""
LEAST_SHARE: Final = 0.01
"""Hollows that hold less than this share of the largest are dents, such as lettering."""
NEAR_MM: Final = 0.01
"""A level rim lies this near to the raster's [mm]."""
CROSS: Final = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], dtype=bool)
"""Water runs over the sides of a pixel; walls are closed over its corners too."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basin:
    """A hollow that holds water.

    Parameters
    ----------
    spill_mm : float
        z above which it runs out [mm].
    deepest_mm : ndarray, shape (2,)
        x and y of its deepest pixel; nothing stands between it and the sky [mm].
    """

    spill_mm: float
    deepest_mm: Points


def basins(mesh: Mesh) -> tuple[Basin, ...]:
    """Return the hollows that hold water poured along -z, dents left out.

    They are found on a raster of the topmost heights, flooded from its border. The level at
    which each spills is then found exactly, on the mesh: the lowest corner by which the surface
    below the level hangs together from the hollow's floor to the outside.

    Parameters
    ----------
    mesh : Mesh
        Welded and closed [mm].
    """
    grid = grid_over(*_plan(mesh))
    heights = _crests_mm(mesh, grid)
    depths = _depths(heights)
    labels, count = ndimage.label(depths > LEAST_DEPTH_MM, structure=CROSS)
    numbers = np.arange(1, count + 1)
    volumes = ndimage.sum_labels(depths, labels, numbers)
    levels = ndimage.maximum(np.where(labels > 0, heights + depths, -np.inf), labels, numbers)
    surface = _Surface(mesh)
    return tuple(
        _basin(surface, grid, np.where(labels == number, heights, np.inf), about_mm=level)
        for number, (volume, level) in enumerate(zip(volumes, levels, strict=True), 1)
        if volume >= LEAST_SHARE * volumes.max()
    )


def _plan(mesh: Mesh) -> tuple[Points, Points, float]:
    low, high = mesh.bounds[:, :2]
    return low, high, float((high - low).max() / PIXELS)


def _basin(surface: "_Surface", grid: Grid, floor_mm: Points, *, about_mm: float) -> Basin:
    rows, columns = np.nonzero(np.isfinite(floor_mm))
    x, y = grid.centres_mm
    lowest = np.argmin(floor_mm[rows, columns])
    deepest = np.array([x[columns[lowest]], y[rows[lowest]]])
    floor = surface.corner_below(deepest)
    return Basin(spill_mm=surface.spill_mm(floor, about_mm=about_mm), deepest_mm=deepest)


def _crests_mm(mesh: Mesh, grid: Grid) -> Points:
    """Return the greatest height in each pixel, so that no wall is missed between two centres."""
    heights = top_heights_mm(mesh, grid).reshape(-1)
    for points in (mesh.vertices, _along_sides(mesh, grid.pixel_mm / 2.0)):
        column, row = ((points[:, :2] - grid.low_mm) / grid.pixel_mm).astype(int).T
        np.maximum.at(heights, row * grid.shape[1] + column, points[:, 2])
    return heights.reshape(grid.shape)


def _along_sides(mesh: Mesh, step_mm: float) -> Points:
    """Return points along the sides of facets that are longer than a step, shape (n, 3) [mm]."""
    starts = mesh.corners.reshape(-1, 3)
    ways = (np.roll(mesh.corners, -1, axis=1) - mesh.corners).reshape(-1, 3)
    pieces = np.ceil(np.linalg.norm(ways[:, :2], axis=1) / step_mm).astype(int)
    long = pieces > 1
    starts, ways, pieces = starts[long], ways[long], pieces[long]
    side = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(side)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[side]
    points: Points = starts[side] + share[:, None] * ways[side]
    return points


def _depths(heights: Points) -> Points:
    """Return how deep water stands on each pixel; where nothing is, it runs out."""
    nothing = ~np.isfinite(heights)
    ground = np.where(nothing, heights[~nothing].min() - 1.0, heights)
    water = np.full_like(ground, ground.max())
    edge = nothing.copy()
    edge[[0, -1], :] = edge[:, [0, -1]] = True
    water[edge] = ground[edge]
    filled: Points = reconstruction(water, ground, method="erosion", footprint=CROSS)
    return filled - ground


class _Surface:
    """A surface as a graph of its corners, and which of them are certainly outside."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        sides = np.stack([mesh.triangles, np.roll(mesh.triangles, -1, axis=1)], axis=2).reshape(
            -1, 2
        )
        self.sides = sides[sides[:, 0] < sides[:, 1]]
        self.heights = mesh.vertices[:, 2]
        self.rises = self.heights[self.sides].max(axis=1)
        self.outside = ConvexHull(mesh.vertices).vertices

    def corner_below(self, point_mm: Points) -> int:
        """Return the lowest corner of the topmost facet at a point of the table."""
        a, b, c = np.moveaxis(self.mesh.corners, 1, 0)
        turns = [_turn(one, two, point_mm) for one, two in ((a, b), (b, c), (c, a))]
        whole = _turn(a, b, c[:, :2])
        within = np.flatnonzero((np.minimum.reduce(turns) >= 0.0) & (whole > 0.0))
        shares = np.stack([turns[1], turns[2], turns[0]], axis=1)[within] / whole[within, None]
        levels = np.einsum("ij,ij->i", shares, self.mesh.corners[within, :, 2])
        corners = self.mesh.triangles[within[np.argmax(levels)]]
        return int(corners[np.argmin(self.heights[corners])])

    def spill_mm(self, floor: int, *, about_mm: float) -> float:
        """Return the lowest level below which the floor hangs together with the outside [mm]."""
        levels = np.unique(self.heights[self.heights >= self.heights[floor]])
        low, high = self._bracket(floor, levels, about_mm)
        while low < high:
            middle = (low + high) // 2
            low, high = (
                (low, middle) if self._drained(floor, levels[middle]) else (middle + 1, high)
            )
        return float(levels[low])

    def _bracket(self, floor: int, levels: Points, about_mm: float) -> tuple[int, int]:
        """Return two of the levels between which it spills, around a guess that is close."""
        last = len(levels) - 1
        low = max(int(np.searchsorted(levels, about_mm - NEAR_MM)) - 1, 0)
        high = min(int(np.searchsorted(levels, about_mm + NEAR_MM)), last)
        low = 0 if self._drained(floor, levels[low]) else low
        return low, high if self._drained(floor, levels[high]) else last

    def _drained(self, floor: int, level_mm: float) -> bool:
        sides = self.sides[self.rises <= level_mm]
        links = coo_array(
            (np.ones(len(sides), dtype=bool), sides.T), shape=(len(self.heights),) * 2
        )
        pieces = connected_components(links, directed=False)[1]
        low = self.outside[self.heights[self.outside] <= level_mm]
        return bool(np.any(pieces[low] == pieces[floor]))


def _turn(start: Points, end: Points, point: Points) -> Points:
    """Return twice the area, seen from above, of start, end, point; above 0 to the left."""
    way, to = end[:, :2] - start[:, :2], point - start[:, :2]
    turn: Points = way[:, 0] * to[:, 1] - way[:, 1] * to[:, 0]
    return turn
