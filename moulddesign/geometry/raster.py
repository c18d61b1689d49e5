"""A mesh seen from above, as heights at the centres of square pixels."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.geometry.mesh import Indices, Mesh, Points

CHUNK: Final = 4_000_000
"""Pixels that are worked on at once, so that memory stays bounded."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Square pixels; row 0 lies at the least y, column 0 at the least x.

    Parameters
    ----------
    low_mm : ndarray, shape (2,)
        Corner with the least x and y [mm].
    pixel_mm : float
        Side of a pixel [mm].
    shape : tuple of int
        Rows and columns.
    """

    low_mm: Points
    pixel_mm: float
    shape: tuple[int, int]

    @property
    def centres_mm(self) -> tuple[Points, Points]:
        """Where the pixels' centres lie: x of the columns, y of the rows [mm]."""
        x, y = (
            low + (np.arange(n) + 0.5) * self.pixel_mm
            for low, n in zip(self.low_mm, self.shape[::-1], strict=True)
        )
        return x, y


def grid_over(low_mm: Points, high_mm: Points, pixel_mm: float) -> Grid:
    """Return the pixels that cover a rectangle, one more on each side."""
    columns, rows = np.ceil((high_mm - low_mm) / pixel_mm).astype(int) + 2
    return Grid(low_mm=low_mm - pixel_mm, pixel_mm=pixel_mm, shape=(int(rows), int(columns)))


def top_heights_mm(mesh: Mesh, grid: Grid) -> Points:
    """Return the height of the topmost facet at each pixel's centre, exact for the facet.

    Parameters
    ----------
    mesh : Mesh
        Any triangles.
    grid : Grid
        Where to look.

    Returns
    -------
    ndarray, shape `grid.shape`
        z, minus infinity where there is nothing [mm].
    """
    heights = np.full(grid.shape[0] * grid.shape[1], -np.inf)
    corners = mesh.corners.copy()
    corners[:, :, :2] = (corners[:, :, :2] - grid.low_mm) / grid.pixel_mm - 0.5
    sizes = np.prod(np.ptp(corners[:, :, :2], axis=1) + 2.0, axis=1)
    for chunk in np.split(corners, _cuts(sizes)):
        pixels, levels = _covered(chunk, grid.shape)
        np.maximum.at(heights, pixels, levels)
    return heights.reshape(grid.shape)


def region_mask(area: BaseGeometry, grid: Grid) -> NDArray[np.bool_]:
    """Return which pixels have their centre in a region, shape `grid.shape`."""
    shapely.prepare(area)
    x, y = np.meshgrid(*grid.centres_mm)
    return np.asarray(shapely.contains_xy(area, x, y), dtype=bool)


def _cuts(sizes: Points) -> Indices:
    """Where to cut the triangles, so that each chunk covers a bounded number of pixels."""
    chunk = (np.cumsum(sizes) // CHUNK).astype(np.int64)
    return np.asarray(np.flatnonzero(np.diff(chunk)) + 1, dtype=np.int64)


def _covered(corners: Points, shape: tuple[int, int]) -> tuple[Indices, Points]:
    """Return the pixels that triangles cover and the height of each there; pixels are units."""
    owner, row = _runs(
        *_between(corners[:, :, 1].min(axis=1), corners[:, :, 1].max(axis=1), shape[0])
    )
    left, right = _span(corners[owner], row)
    which, column = _runs(*_between(left, right, shape[1]))
    owner, row = owner[which], row[which]
    return row * shape[1] + column, _level(corners, owner, np.stack([column, row], axis=1))


def _between(low: Points, high: Points, most: int) -> tuple[Indices, Indices]:
    """Return the first whole number at or above `low` and how many there are up to `high`."""
    first = np.ceil(low).clip(0, most).astype(np.int64)
    last = np.floor(high).clip(-1, most - 1).astype(np.int64)
    return first, (last - first + 1).clip(0)


def _runs(first: Indices, count: Indices) -> tuple[Indices, Indices]:
    """Return for runs first, first + 1 ...: which run each number belongs to, and the number."""
    which = np.repeat(np.arange(len(first)), count)
    inside = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    return which, first[which] + inside


def _span(corners: Points, row: Indices) -> tuple[Points, Points]:
    """Return where a row enters and leaves each triangle, along x."""
    tails, heads = corners, np.roll(corners, -1, axis=1)
    rise = heads[:, :, 1] - tails[:, :, 1]
    share = (row[:, None] - tails[:, :, 1]) / np.where(rise == 0.0, 1.0, rise)
    x = tails[:, :, 0] + share * (heads[:, :, 0] - tails[:, :, 0])
    crossed = (rise != 0.0) & (share >= 0.0) & (share <= 1.0)
    return np.where(crossed, x, np.inf).min(axis=1), np.where(crossed, x, -np.inf).max(axis=1)


def _level(corners: Points, owner: Indices, pixels: Indices) -> Points:
    """Return the height of each pixel's triangle at its centre, kept within the triangle's own."""
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    # An upright triangle has no plane over the table; its highest corner stands for it.
    upright = normal[:, 2] == 0.0
    slope = -normal[:, :2] / np.where(upright, 1.0, normal[:, 2])[:, None]
    slope[upright] = 0.0
    level = a[owner, 2] + np.einsum("ij,ij->i", slope[owner], pixels - a[owner, :2])
    highest = corners[:, :, 2].max(axis=1)
    level = np.where(upright[owner], highest[owner], level)
    lowest = corners[:, :, 2].min(axis=1)
    kept: Points = level.clip(lowest[owner], highest[owner])
    return kept
