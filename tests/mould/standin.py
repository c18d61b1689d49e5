"""Plain pastries that a press mould can be made for, built without the pastry room."""

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from moulddesign.mesh import Mesh, box, difference, triangulated


@dataclass(frozen=True)
class Outline:
    name: str
    width_mm: float
    depth_mm: float
    corner_radius_mm: float
    points: np.ndarray

    def inset(self, by_mm):
        shape = Polygon(self.points).buffer(-by_mm, quad_segs=64)
        ring = np.array(shape.exterior.coords)[:-1]
        points = ring if Polygon(ring).exterior.is_ccw else ring[::-1]
        width, depth = np.ptp(points, axis=0)
        return Outline(self.name, width, depth, max(self.corner_radius_mm - by_mm, 0.0), points)


def circle(width_mm, corners=720):
    turn = 2.0 * np.pi * np.arange(corners) / corners
    points = width_mm / 2.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return Outline("round", width_mm, width_mm, width_mm / 2.0, points)


def square(width_mm, radius_mm=6.0, corners=64):
    if not radius_mm:
        half = width_mm / 2.0
        points = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=float)
        return Outline("square", width_mm, width_mm, 0.0, points)
    away = width_mm / 2.0 - radius_mm
    starts = [(-1, -1, np.pi), (1, -1, 1.5 * np.pi), (1, 1, 0.0), (-1, 1, 0.5 * np.pi)]
    turn = np.linspace(0.0, np.pi / 2.0, corners + 1)
    arcs = [
        np.stack(
            [x * away + radius_mm * np.cos(t + turn), y * away + radius_mm * np.sin(t + turn)], 1
        )
        for x, y, t in starts
    ]
    return Outline("square", width_mm, width_mm, radius_mm, np.concatenate(arcs))


def waved(width_mm, waves=8, corners=240):
    """Return a scalloped outline, not one that the mould knows by name."""
    turn = 2.0 * np.pi * np.arange(corners) / corners
    radius = width_mm / 2.0 * (0.95 + 0.05 * np.cos(waves * turn))
    points = radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    width, depth = np.ptp(points, axis=0)
    return Outline("waved", width, depth, 0.0, points)


def prism(points, low_mm, high_mm):
    count = len(points)
    flat = triangulated([points])
    low = np.column_stack([points, np.full(count, low_mm)])
    high = np.column_stack([points, np.full(count, high_mm)])
    i = np.arange(count)
    j = np.roll(i, -1)
    walls = [np.stack([i, j, j + count], 1), np.stack([i, j + count, i + count], 1)]
    return Mesh(np.concatenate([low, high]), np.concatenate([flat[:, ::-1], flat + count, *walls]))


@dataclass(frozen=True)
class Pastry:
    """A prism with one raised bar, its end marked by being off the middle, along x."""

    outline: Outline
    height_mm: float
    depth_above_mm: float = 1.5
    depth_below_mm: float = 0.0

    def block_above(self, inset_mm, top_mm):
        block = prism(self.outline.inset(inset_mm).points, self.height_mm, top_mm)
        if not self.depth_above_mm:
            return block
        return difference(block, [self.bar(1.0)], "the engraving")

    def bar(self, over_mm=0.0):
        reach = 0.3 * min(self.outline.width_mm, self.outline.depth_mm)
        low = (-0.5 * reach, -1.0, self.height_mm - over_mm)
        return box(low, (reach, 1.0, self.height_mm + self.depth_above_mm))
