"""A mesh sampled: by rays, all at once in double precision, and as heights on a raster."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import ceil
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.geometry.mesh import Indices, Mesh, Points, normals_and_areas

Boxes = tuple[Points, Points]
"""Least and largest corners of boxes, each of shape (n, 3) [mm]."""

LINES_AT_ONCE: Final = 500
"""Lines that are worked on at once, so that memory stays bounded."""
FACETS_AT_ONCE: Final = 200_000
"""Facets whose boxes are held at once, for the same reason."""
MOST_PIECES: Final = 8
"""Pieces a line is cut into at most: their boxes hold less than its own does."""
ROUND_OFF: Final = 8.0 * float(np.finfo(np.float64).eps)
"""Error of a product of three lengths, as a share; so much outside a facet is still on its edge."""


def first_hits(mesh: Mesh, lines: Points) -> tuple[Points, Points]:
    """Return how far each straight line runs until it meets a facet, and what it meets.

    Lines have the shape (n, 2, 3): where each begins and ends. Distances, shape (n,), are infinite
    where a line meets nothing, and the normals of the facets are 0 there. Only facets whose box a
    piece of a line meets are tried, so short lines are fast, and memory is taken for facets near
    lines only.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> down = np.array([[[1.0, 1.0, 9.0], [1.0, 1.0, 0.0]]])
    >>> [found.tolist() for found in first_hits(box((0, 0, 0), (2, 2, 4)), down)]
    [[5.0], [[0.0, 0.0, 1.0]]]
    """
    shares, facets = np.full(len(lines), np.inf), np.zeros(len(lines), dtype=np.int64)
    corners, ways = mesh.corners, lines[:, 1] - lines[:, 0]
    for near, tried in _near(mesh, lines):
        found = _shares(corners[tried] - lines[near, :1], ways[near])
        hit = np.flatnonzero(np.isfinite(found))  # most pairs miss: the others are sorted
        line, facet, share = near[hit], tried[hit], found[hit]
        order = np.lexsort((facet, share, line))
        first = order[np.flatnonzero(np.diff(line[order], prepend=-1))]
        shares[line[first]], facets[line[first]] = share[first], facet[first]
    met = np.isfinite(shares)
    normals = np.zeros((len(lines), 3))
    normals[met] = normals_and_areas(corners[facets[met]])[0]
    return shares * np.linalg.norm(ways, axis=1), normals


def _near(mesh: Mesh, lines: Points) -> Iterator[tuple[Indices, Indices]]:
    """Yield pairs of a line and a facet that may meet, all of some lines' at once."""
    if not len(lines):
        return
    cells = _Cells(mesh, lines)
    facets = np.concatenate([some[cells.reached(_boxes(mesh, some))] for some in _parts(mesh)])
    low, high = _boxes(mesh, facets)
    tree = shapely.STRtree(_plan((low, high)))
    for some in np.array_split(np.arange(len(lines)), ceil(len(lines) / LINES_AT_ONCE)):
        least, most = _pieces(lines[some], cells.pieces)
        piece, facet = tree.query(_plan((least, most)))
        same = (low[facet, 2] <= most[piece, 2]) & (high[facet, 2] >= least[piece, 2])
        yield some[piece[same] // cells.pieces], facets[facet[same]]


def _parts(mesh: Mesh) -> Iterator[Indices]:
    """Yield rows of the triangles, some at once."""
    for start in range(0, len(mesh.triangles), FACETS_AT_ONCE):
        yield np.arange(start, min(start + FACETS_AT_ONCE, len(mesh.triangles)))


class _Cells:
    """Cells of space, about as many as facets, and how many of them lines reach.

    Rounding to cells keeps order, so boxes that meet share a cell.
    """

    def __init__(self, mesh: Mesh, lines: Points) -> None:
        slack_mm = _slack_mm(lines)
        self._low = lines.min(axis=(0, 1)) - slack_mm
        self._high = lines.max(axis=(0, 1)) + slack_mm
        self._edge_mm = float((self._high - self._low).max()) / ceil(np.cbrt(len(mesh.triangles)))
        longest_mm = float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).max())
        self.pieces = min(ceil(longest_mm / self._edge_mm), MOST_PIECES)
        # Which cells any piece covers, by the summed-area trick in three dimensions: each box adds
        # +1 and -1 at its eight corners, and running sums along x, y and z turn that into cover
        # counts.
        first, last = (self._rows(corners) for corners in _pieces(lines, self.pieces))
        covers = np.zeros(last.max(axis=0) + 2, dtype=np.int64)
        for sides in product((0, 1), repeat=3):
            at = np.where(sides, last + 1, first)
            np.add.at(covers, tuple(at.T), (-1) ** sum(sides))
        # The same sums over covered cells answer how many of them a box of cells holds: inclusion
        # and exclusion over its eight corners.
        reached = _summed(covers)[:-1, :-1, :-1] > 0
        self._before = np.pad(_summed(reached.astype(np.int64)), ((1, 0),) * 3)

    def _rows(self, points: Points) -> Indices:
        inside = points.clip(self._low, self._high) - self._low
        return np.asarray(np.floor(inside / self._edge_mm), dtype=np.int64)

    def reached(self, boxes: Boxes) -> NDArray[np.bool_]:
        """Return for each box whether a piece of a line may lie in it."""
        low, high = boxes
        first, after = self._rows(low), self._rows(high) + 1
        count = np.zeros(len(low), dtype=np.int64)
        for sides in product((0, 1), repeat=3):
            at = np.where(sides, first, after)
            count += (-1) ** sum(sides) * self._before[tuple(at.T)]
        meets = np.all((low <= self._high) & (high >= self._low), axis=1)
        return np.asarray(meets & (count > 0), dtype=bool)


def _summed(cells: Indices) -> Indices:
    """Return for each cell the sum over all cells that have no coordinate larger than its own."""
    for axis in range(3):
        cells = cells.cumsum(axis=axis)
    return cells


def _pieces(lines: Points, count: int) -> Boxes:
    """Return the boxes of all lines' pieces, those of one line after another."""
    ways = (lines[:, 1] - lines[:, 0])[:, None]
    ends = lines[:, :1] + ways * np.linspace(0.0, 1.0, count + 1)[:, None]
    one, other = ends[:, :-1].reshape(-1, 3), ends[:, 1:].reshape(-1, 3)
    slack_mm = _slack_mm(lines)
    return np.minimum(one, other) - slack_mm, np.maximum(one, other) + slack_mm


def _slack_mm(lines: Points) -> float:
    """Return how far round-off may put a point of a line off it."""
    return ROUND_OFF * float(np.abs(lines).max())


def _boxes(mesh: Mesh, facets: Indices) -> Boxes:
    a, b, c = (mesh.vertices[rows] for rows in mesh.triangles[facets].T)
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _plan(boxes: Boxes) -> np.ndarray:
    """Return the diagonals of boxes, seen from above: a tree needs only their bounds."""
    plan: np.ndarray = shapely.linestrings(np.stack([ends[:, :2] for ends in boxes], axis=1))
    return plan


def _shares(facets: Points, ways: Points) -> Points:
    """Return where along each way from the origin a facet is met, infinite where it is not.

    The three products are the facet's weights of the point where the line pierces its plane: all
    of one sign inside. The point is taken from the weights, so it never lies outside the facet.
    """
    # Coordinates first: numpy then works along whole rows, three times as fast as by np.cross.
    corners, (x, y, z) = np.ascontiguousarray(facets.transpose(1, 2, 0)), ways.T.copy()
    (px, py, pz), (qx, qy, qz) = (np.roll(corners, by, axis=0).swapaxes(0, 1) for by in (-1, -2))
    # The triple product of the way with two corners is six times the volume that they span with the
    # origin; its sign tells on which side of the plane through both the way passes.
    weights = x * (py * qz - pz * qy) + y * (pz * qx - px * qz) + z * (px * qy - py * qx)
    whole, length2 = weights.sum(axis=0), x * x + y * y + z * z
    reach2 = (corners * corners).sum(axis=1).max(axis=0)
    noise = ROUND_OFF * np.sqrt(length2) * reach2
    inside = (weights.min(axis=0) >= -noise) | (weights.max(axis=0) <= noise)
    crossed = np.flatnonzero(inside & (whole != 0.0))
    along = (corners[:, :, crossed] * (x[crossed], y[crossed], z[crossed])).sum(axis=1)
    # The point's place along the way is the mean of the corners' places by these weights.
    share = (weights[:, crossed] * along).sum(axis=0) / whole[crossed] / length2[crossed]
    shares = np.full(len(ways), np.inf)
    shares[crossed] = np.where((share >= 0.0) & (share <= 1.0), share, np.inf)
    return shares


CHUNK: Final = 4_000_000
"""Pixels that are worked on at once, so that memory stays bounded."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Square pixels; row 0 lies at the least y, column 0 at the least x."""

    low_mm: Points
    """Corner with the least x and y, shape (2,) [mm]."""
    pixel_mm: float
    shape: tuple[int, int]
    """Rows and columns."""

    @property
    def centres_mm(self) -> tuple[Points, Points]:
        """Where the pixels' centres lie: x of the columns, y of the rows [mm]."""
        x, y = (
            low + (np.arange(n) + 0.5) * self.pixel_mm
            for low, n in zip(self.low_mm, self.shape[::-1], strict=True)
        )
        return x, y

    def points_mm(self, mask: NDArray[np.bool_]) -> Points:
        """Return the centres of the pixels in a mask, row by row, shape (n, 2) [mm]."""
        return np.column_stack([axis[mask] for axis in np.meshgrid(*self.centres_mm)])


def grid_over(low_mm: Points, high_mm: Points, pixel_mm: float) -> Grid:
    """Return the pixels that cover a rectangle, one more on each side."""
    columns, rows = np.ceil((high_mm - low_mm) / pixel_mm).astype(int) + 2
    return Grid(low_mm=low_mm - pixel_mm, pixel_mm=pixel_mm, shape=(int(rows), int(columns)))


def grid_over_shape(shape: BaseGeometry, pixel_mm: float) -> Grid:
    """Return the pixels that cover a shape's box, one more on each side."""
    low, high = np.array(shape.bounds).reshape(2, 2)
    return grid_over(low, high, pixel_mm)


def top_heights_mm(mesh: Mesh, grid: Grid) -> Points:
    """Return the height of the topmost facet at each pixel's centre, exact for the facet.

    Minus infinity where there is nothing.
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
    """Return which pixels have their centre in a region, shape `grid.shape`.

    A centre is inside where its row crosses an odd number of edges before it. Of centres on an edge
    some are inside. A test of each centre by itself takes seven times as long.
    """
    a, b = np.moveaxis((region_edges(area) - grid.low_mm) / grid.pixel_mm - 0.5, 1, 0)
    rows, columns = grid.shape
    # A row through a corner crosses one of two edges that go on, and both or none of a tip's.
    first, after = (
        (np.floor(end(a[:, 1], b[:, 1])) + 1).clip(0, rows).astype(np.int64)
        for end in (np.minimum, np.maximum)
    )
    edge, row = _runs(first, after - first)
    a, b = a[edge], b[edge]
    x = a[:, 0] + (row - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    column = np.ceil(x).clip(0, columns).astype(np.int64)
    crossings = np.bincount(row * (columns + 1) + column, minlength=rows * (columns + 1))
    before = crossings.reshape(rows, columns + 1).cumsum(axis=1)
    return np.asarray(before[:, :-1] % 2 == 1, dtype=bool)


def region_edges(area: BaseGeometry) -> Points:
    """Return the edges of a region, holes' too, shape (e, 2, 2) [mm]."""
    points, ring = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(area)), return_index=True
    )
    same = ring[1:] == ring[:-1]
    return np.asarray(np.stack([points[:-1], points[1:]], axis=1)[same])


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
    # A row crosses two sides of a triangle; where it runs along one, the other two tell.
    # One side of all triangles after another: numpy is slow along an axis of three.
    low, high = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for tail, head in ((0, 1), (1, 2), (2, 0)):
        (x, y), (to_x, to_y) = corners[:, tail, :2].T, corners[:, head, :2].T
        rise = to_y - y
        share = (row - y) / np.where(rise == 0.0, 1.0, rise)
        at = x + share * (to_x - x)
        crossed = (rise != 0.0) & (share >= 0.0) & (share <= 1.0)
        low = np.minimum(low, np.where(crossed, at, np.inf))
        high = np.maximum(high, np.where(crossed, at, -np.inf))
    return low, high


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


def points_held(plan: Points) -> tuple[Indices, Indices, Indices]:
    """Return which facets hold which whole points: facet, column and row of each, facet by facet.

    Row by row of points: from the leftmost to the rightmost crossing of its sides with the row.

    Parameters
    ----------
    plan : ndarray
        Corners of facets, in spacings of the points, shape (n, 3, 2).
    """
    first = np.ceil(plan[..., 1].min(axis=1)).astype(np.int64)
    count = np.floor(plan[..., 1].max(axis=1)).astype(np.int64) - first + 1
    facet = np.repeat(np.arange(len(plan)), count)
    row = first[facet] + _counted(count)
    left, right = np.full(len(facet), np.inf), np.full(len(facet), -np.inf)
    for start in range(3):
        (px, py), (qx, qy) = plan[:, start].T, plan[:, (start + 1) % 3].T
        level = qy == py
        slope = (qx - px) / np.where(level, 1.0, qy - py)
        crosses = (np.minimum(py, qy)[facet] <= row) & (row <= np.maximum(py, qy)[facet])
        at = px[facet] + (row - py[facet]) * slope[facet]
        left = np.where(crosses, np.minimum(left, at), left)
        right = np.where(crosses, np.maximum(right, at), right)
    met = left <= right
    facet, row = facet[met], row[met]
    begin = np.ceil(left[met]).astype(np.int64)
    count = np.maximum(np.floor(right[met]).astype(np.int64) - begin + 1, 0)
    return (
        np.repeat(facet, count),
        np.repeat(begin, count) + _counted(count),
        np.repeat(row, count),
    )


def _counted(count: Indices) -> Indices:
    """Return 0, 1, ... up to each count, one after the other."""
    ends = np.cumsum(count)
    found: Indices = np.arange(int(count.sum())) - np.repeat(ends - count, count)
    return found
