"""The sizes of a part that a drawing names, found in its section: widths and levels."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.mesh import Mesh, Points
from moulddesign.probing import section

SAME_MM: Final = 0.05
"""Lengths nearer than this are one [mm]."""

LEAST_WALL_MM: Final = 1.5
"""Shortest upright line whose distance from the middle is named [mm]."""

LEAST_LEVEL_MM: Final = 1.5
"""Shortest level line whose height is named, both halves together [mm]."""

MOST: Final = 4
"""Widths, and levels, that are named besides the whole: the longest lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Width:
    """A width that is the same to both sides of the middle.

    Parameters
    ----------
    half_mm : float
        From the middle to each side [mm].
    at_mm : float
        Height at which it is measured [mm].
    sign : str
        What ISO 129-1 puts before the figure: diameter, square, or nothing.
    """

    half_mm: float
    at_mm: float
    sign: str


def widths(mesh: Mesh, cut: shapely.Geometry, step: str) -> tuple[Width, ...]:
    """Return the main widths of a part, the smallest first, the widest always among them.

    Parameters
    ----------
    mesh : Mesh
        Closed, about the z axis [mm].
    cut : shapely geometry
        Its upright section [mm].
    step : str
        Names it in a `KernelError`.
    """
    low, high = _sides(cut)
    upright = np.abs(low[:, 0] - high[:, 0]) < SAME_MM
    low, high = low[upright & (low[:, 0] > 1.0)], high[upright & (low[:, 0] > 1.0)]
    lengths = np.abs(high[:, 1] - low[:, 1])
    groups = _grouped(low[:, 0], lengths, least=LEAST_WALL_MM)
    found = []
    for half, rows in groups:
        longest = rows[np.argmax(lengths[rows])]
        at = float((low[longest, 1] + high[longest, 1]) / 2.0)
        found.append(Width(half_mm=half, at_mm=at, sign=_sign(mesh, half, at, step=step)))
    widest = cut.bounds[2]
    if not any(abs(width.half_mm - widest) < SAME_MM for width in found):
        coords = shapely.get_coordinates(cut)
        at = float(coords[np.argmax(coords[:, 0]), 1])
        found.append(
            Width(half_mm=float(widest), at_mm=at, sign=_sign(mesh, widest, at, step=step))
        )
    return tuple(sorted(found, key=lambda width: width.half_mm))


def levels(cut: shapely.Geometry) -> tuple[float, ...]:
    """Return the main heights of a part over its lowest point, the lowest first, the top last.

    Parameters
    ----------
    cut : shapely geometry
        Its upright section [mm].
    """
    left, right = _sides(cut)
    _, foot, _, top = cut.bounds
    level = np.abs(left[:, 1] - right[:, 1]) < SAME_MM
    heights, lengths = left[level, 1], np.abs(left[level, 0] - right[level, 0])
    found = [height for height, _ in _grouped(heights, lengths, least=LEAST_LEVEL_MM)]
    inner = [h - foot for h in found if SAME_MM < h - foot < top - foot - SAME_MM]
    return (*sorted(inner), float(top - foot))


def _sides(cut: shapely.Geometry) -> tuple[Points, Points]:
    """Return both ends of every side of the section's outline, straight runs as one."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(cut, SAME_MM / 10.0)))
    ends = [shapely.get_coordinates(ring) for ring in rings]
    starts = np.concatenate([ring[:-1] for ring in ends])
    return starts, np.concatenate([ring[1:] for ring in ends])


def _grouped(values: Points, lengths: Points, *, least: float) -> list[tuple[float, np.ndarray]]:
    """Return like values with the rows that share them: those with the most length."""
    order = np.argsort(values, kind="stable")
    breaks = np.flatnonzero(np.diff(values[order]) > SAME_MM) + 1
    groups = [rows for rows in np.split(order, breaks) if len(rows)]
    groups = [rows for rows in groups if lengths[rows].sum() >= least]
    groups.sort(key=lambda rows: -lengths[rows].sum())
    return [(float(np.average(values[r], weights=lengths[r])), r) for r in groups[:MOST]]


def _sign(mesh: Mesh, half_mm: float, at_mm: float, *, step: str) -> str:
    """Return how the level section through a width looks: round, square or neither."""
    low, high = mesh.bounds[:, 2]
    level = min(max(at_mm, low + SAME_MM / 5.0), high - SAME_MM / 5.0)
    for loop in section(mesh, float(level), step):
        if abs(loop[:, 0].max() - half_mm) > SAME_MM:
            continue
        wide, deep = np.ptp(loop, axis=0)
        area = shapely.Polygon(loop).area
        if (
            np.linalg.norm(loop, axis=1).max() < half_mm + SAME_MM
            and area > 0.98 * np.pi * half_mm**2
        ):
            return "⌀"
        if abs(wide - deep) < SAME_MM and area > 0.85 * wide * deep:
            return "□"
    return ""
