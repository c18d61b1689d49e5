"""Plain pastries that a press mould can be made for: a prism with one bar on it."""

from dataclasses import dataclass

import numpy as np

from moulddesign.artwork.outline import Outline, outline_of_points, polygon_outline
from moulddesign.geometry import Mesh, box, difference, triangulated


def square(width_mm, radius_mm=6.0):
    return polygon_outline("square", width_mm, radius_mm)


def drop(width_mm, corners=240):
    """Return a drawn outline, not symmetrical about the y axis, without arcs."""
    turn = 2.0 * np.pi * np.arange(corners) / corners
    radius = 1.0 + 0.25 * np.cos(turn) + 0.06 * np.cos(3.0 * turn)
    points = radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return outline_of_points("drawn", points * width_mm / np.ptp(points[:, 0]))


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
    edge_drop_mm: float = 0.0
    edge_rise_mm: float = 0.0

    def block_above(self, inset_mm, top_mm):
        block = prism(self.outline.inset(inset_mm).points, self.height_mm, top_mm)
        if not self.depth_above_mm:
            return block
        return difference(block, [self.bar(1.0)], "the engraving")

    def bar(self, over_mm=0.0):
        reach = 0.3 * min(self.outline.width_mm, self.outline.depth_mm)
        low = (-0.5 * reach, -1.0, self.height_mm - over_mm)
        return box(low, (reach, 1.0, self.height_mm + self.depth_above_mm))
