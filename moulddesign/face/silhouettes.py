"""Distances to the edge of petals and other figures, from tables, and of stars.

A figure lies along an axis: x from its foot to its tip, y across, both halves alike. Its distance
is exact at the nodes of a grid and bilinear between them, which is off by h^2 / (8 r) for an edge
of radius r: 0.0004 mm for a grid of 0.08 mm and an edge of 2 mm. Evaluating it costs a tenth of
measuring to the polygon itself.
"""

from collections.abc import Sequence
from math import cos, hypot, pi, sin
from typing import Final

import numpy as np
import shapely

from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import EdgeDistance, Heights

FINE_MM: Final = 0.08
EVEN: Final = 0.97
"""In a cell through which the nearest place jumps, the slope of the table is a little above 1."""
COARSE_MM: Final = 0.15
MOST_FINE: Final = 6
"""Shapes of one row with a fine grid; a drawn outline may have as many as petals."""
PAD_MM: Final = 0.2
"""Of the grid around a shape and the feet of its walls."""


class Silhouettes:
    """Signed distances inside shapes that are symmetric about their axis, positive inside.

    Parameters
    ----------
    edges : sequence of ndarray, shape (n, 2)
        Upper half of each shape's edge, from foot to tip, y at least 0 [mm].
    reach_mm : float
        How far outside they are asked for [mm].
    """

    def __init__(self, edges: Sequence[Points], reach_mm: float) -> None:
        pad_mm = reach_mm + PAD_MM
        step = FINE_MM if len(edges) <= MOST_FINE else COARSE_MM
        every = np.concatenate(edges)
        self._start = float(every[:, 0].min()) - pad_mm
        self._step = step
        columns = int((every[:, 0].max() + pad_mm - self._start) / step) + 2
        rows = int((every[:, 1].max() + pad_mm) / step) + 2
        x, y = np.meshgrid(
            self._start + step * np.arange(columns), step * np.arange(rows), indexing="ij"
        )
        grid = np.column_stack([x.ravel(), y.ravel()])
        self._shape = (columns, rows)
        self._table = np.concatenate([EdgeDistance(_polygon(edge))(grid) for edge in edges])

    def __call__(self, which: Indices | int, x: Heights, y: Heights) -> Heights:
        """Return the distances of points along and across the axes of shapes [mm]."""
        columns, rows = self._shape
        along = np.clip((x - self._start) / self._step, 0.0, columns - 1.001)
        across = np.clip(np.abs(y) / self._step, 0.0, rows - 1.001)
        column, row = along.astype(np.int64), across.astype(np.int64)
        along -= column
        across -= row
        first = (which * columns + column) * rows + row
        table = self._table
        near = table[first] + across * (table[first + 1] - table[first])
        first = first + rows
        far = table[first] + across * (table[first + 1] - table[first])
        distance: Heights = EVEN * (near + along * (far - near))
        return distance


GAP_RATIO: Final = 0.46
"""Of a star: from its middle to a gap between two points, to a point's tip 1; our choice."""


class StarEdge:
    """Distances inside a star with straight sides, each measured to the line of the nearest side.

    So its roof is one plane from the ridge of each point to the valley of the next gap.

    Parameters
    ----------
    length_mm : float
        Twice the distance from its middle to its tips, one of which ends the axis [mm].
    points : int
        Points of the star.
    """

    def __init__(self, length_mm: float, points: int) -> None:
        self._radius_mm = length_mm / 2.0
        self._sector = pi / points
        gap_x, gap_y = GAP_RATIO * cos(self._sector), GAP_RATIO * sin(self._sector)
        side = hypot(1.0 - gap_x, gap_y)
        self._out = (gap_y / side, (1.0 - gap_x) / side)
        self.deepest_mm = self._radius_mm * self._out[0]
        """Distance in the middle."""

    def __call__(self, which: Indices | int, x: Heights, y: Heights) -> Heights:  # noqa: ARG002 (as of silhouettes)
        """Return the distances of points along and across the axis [mm]."""
        x = x - self._radius_mm
        away, angle = np.hypot(x, y), np.abs(np.arctan2(y, x))
        off = np.abs(angle - 2.0 * self._sector * np.round(angle / (2.0 * self._sector)))
        inside = self.deepest_mm - away * (self._out[0] * np.cos(off) + self._out[1] * np.sin(off))
        distance: Heights = np.minimum(inside, self._radius_mm - away)
        return distance

    def sectors(self, x: Heights, y: Heights) -> Indices:
        """Return the sectors of points, each from a point's ridge to the next valley, from 0."""
        turn = np.arctan2(y, x - self._radius_mm) + pi
        return np.minimum(
            (turn / self._sector).astype(np.int64), round(2.0 * pi / self._sector) - 1
        )


def _polygon(edge: Points) -> shapely.Polygon:
    """Return the whole shape of its upper half."""
    lower = edge[::-1] * (1.0, -1.0)
    shape = shapely.Polygon(np.concatenate([edge, lower])).buffer(0.0)
    parts = shapely.get_parts(shape)
    return parts[int(np.argmax(shapely.area(parts)))]
