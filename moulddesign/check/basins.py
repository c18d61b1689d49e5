"""Where water stays when it is poured on a mesh from above: basins and the level each spills at."""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull
from skimage.morphology import reconstruction

from moulddesign.check.raster import Grid, grid_over, top_heights_mm
from moulddesign.mesh import Indices, Mesh, Points

PIXELS: Final = 300
"""Pixels along the longer side; a cavity narrower than a few of them is not looked for."""
LEAST_DEPTH_MM: Final = 0.2
"""Shallower hollows are dents: one layer of a print [mm]."""
LEAST_SHARE: Final = 0.01
"""Hollows that hold less than this share of the largest are dents, such as lettering."""
NEARS_MM: Final = (0.01, 1.0, float("inf"))
"""How near the spill level is looked for to the raster's: a level rim, a sloping one, any [mm]."""
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
    heights = top_heights_mm(_over_centres(mesh, grid), grid).reshape(-1)
    for points in (mesh.vertices, _along_sides(mesh, grid.pixel_mm / 2.0)):
        column, row = ((points[:, :2] - grid.low_mm) / grid.pixel_mm).astype(int).T
        np.maximum.at(heights, row * grid.shape[1] + column, points[:, 2])
    return heights.reshape(grid.shape)


def _over_centres(mesh: Mesh, grid: Grid) -> Mesh:
    """Return the facets whose box holds the centre of a pixel; of a fine mesh's they are few."""
    kept = np.ones(len(mesh.triangles), dtype=bool)
    for axis in (0, 1):
        pixels = (mesh.vertices[:, axis] - grid.low_mm[axis]) / grid.pixel_mm - 0.5
        a, b, c = pixels[mesh.triangles.T]
        least = np.minimum(np.minimum(a, b), c)
        kept &= np.ceil(least, out=least) <= np.maximum(np.maximum(a, b), c)
    return Mesh(mesh.vertices, mesh.triangles[kept])


def _along_sides(mesh: Mesh, step_mm: float) -> Points:
    """Return points along the sides of facets that are longer than a step, shape (n, 3) [mm]."""
    tails, heads = _long_sides(mesh, step_mm)
    starts = mesh.vertices[tails]
    ways = mesh.vertices[heads] - starts
    pieces = np.ceil(np.linalg.norm(ways[:, :2], axis=1) / step_mm).astype(int)
    side = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(side)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[side]
    points: Points = starts[side] + share[:, None] * ways[side]
    return points


def _long_sides(mesh: Mesh, step_mm: float) -> tuple[Indices, Indices]:
    """Return both ends of each side that is longer than a step, seen from above, once."""
    tails, heads = _sides(mesh)
    squares = np.zeros(len(tails))
    for axis in (0, 1):
        along = np.ascontiguousarray(mesh.vertices[:, axis])
        squares += (along[heads] - along[tails]) ** 2
    long = squares > step_mm**2
    return tails[long], heads[long]


def _sides(mesh: Mesh) -> tuple[Indices, Indices]:
    """Return the lower and the higher row of each side of a closed mesh, once."""
    tails = mesh.triangles.T.reshape(-1)
    heads = np.roll(mesh.triangles, -1, axis=1).T.reshape(-1)
    up = tails < heads
    return tails[up], heads[up]


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
        self.sides = np.stack(_sides(mesh))
        self.heights = np.ascontiguousarray(mesh.vertices[:, 2])
        self.rises = np.maximum(*self.heights[self.sides])
        self.outside = ConvexHull(mesh.vertices).vertices

    def corner_below(self, point_mm: Points) -> int:
        """Return the lowest corner of the topmost facet at a point of the table."""
        triangles = self.mesh.triangles[self._around(point_mm)]
        a, b, c = np.moveaxis(self.mesh.vertices[triangles], 1, 0)
        turns = [_turn(one, two, point_mm) for one, two in ((a, b), (b, c), (c, a))]
        whole = _turn(a, b, c[:, :2])
        within = np.flatnonzero((np.minimum.reduce(turns) >= 0.0) & (whole > 0.0))
        shares = np.stack([turns[1], turns[2], turns[0]], axis=1)[within] / whole[within, None]
        levels = np.einsum("ij,ij->i", shares, self.heights[triangles[within]])
        corners = triangles[within[np.argmax(levels)]]
        return int(corners[np.argmin(self.heights[corners])])

    def _around(self, point_mm: Points) -> NDArray[np.bool_]:
        """Whether the box of each facet, seen from above, holds a point."""
        around = np.ones(len(self.mesh.triangles), dtype=bool)
        for axis in (0, 1):
            beyond = self.mesh.vertices[:, axis] > point_mm[axis]
            before = self.mesh.vertices[:, axis] < point_mm[axis]
            for side in (beyond, before):
                around &= ~np.all(side[self.mesh.triangles], axis=1)
        return around

    def spill_mm(self, floor: int, *, about_mm: float) -> float:
        """Return the lowest level below which the floor hangs together with the outside [mm].

        The surface is taken to pieces a little below a guess that is close; what joins them above
        is little, so that it is looked through in no time.
        """
        for near_mm in NEARS_MM:
            below_mm = max(about_mm - near_mm, float(self.heights[floor]))
            pieces = self._pieces(below_mm)
            if not self._is_drained(pieces, floor, below_mm):
                return self._spill_above(below_mm, pieces, floor, about_mm=about_mm)
        return below_mm

    def _spill_above(
        self, below_mm: float, pieces: Indices, floor: int, *, about_mm: float
    ) -> float:
        for near_mm in NEARS_MM:
            higher = self.rises > below_mm
            sides = np.flatnonzero(higher & (self.rises <= about_mm + near_mm))
            sides = sides[np.argsort(self.rises[sides])]
            place = self._first_drained(pieces, floor, sides)
            if place < len(sides):
                return float(self.rises[sides[place]])
        return float(self.heights.max())

    def _pieces(self, level_mm: float) -> Indices:
        """Return for each corner which piece of the surface below a level it belongs to."""
        return _joined(self.sides[:, self.rises <= level_mm], len(self.heights))

    def _is_drained(self, pieces: Indices, floor: int, level_mm: float) -> bool:
        low = self.outside[self.heights[self.outside] <= level_mm]
        return bool(np.any(pieces[low] == pieces[floor]))

    def _first_drained(self, pieces: Indices, floor: int, sides: Indices) -> int:
        """Return which of some sides, in the order of their rise, is the first to drain a floor."""
        rows = np.concatenate([[floor], self.outside])
        corners = np.concatenate([rows, self.sides[:, sides].reshape(-1)])
        names, places = np.unique(pieces[corners], return_inverse=True)
        out, ends = places[1 : len(rows)], places[len(rows) :].reshape(2, -1)

        def is_drained(last: int) -> bool:
            joined = _joined(ends[:, : last + 1], len(names))
            low = self.heights[self.outside] <= self.rises[sides[last]]
            return bool(np.any(joined[out[low]] == joined[places[0]]))

        return bisect_left(range(len(sides)), x=True, key=is_drained)


def _joined(sides: Indices, count: int) -> Indices:
    """Return for each of some corners which piece it belongs to, sides holding them together."""
    links = coo_array((np.ones(sides.shape[1], dtype=bool), tuple(sides)), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _turn(start: Points, end: Points, point: Points) -> Points:
    """Return twice the area, seen from above, of start, end, point; above 0 to the left."""
    way, to = end[:, :2] - start[:, :2], point - start[:, :2]
    turn: Points = way[:, 0] * to[:, 1] - way[:, 1] * to[:, 0]
    return turn
