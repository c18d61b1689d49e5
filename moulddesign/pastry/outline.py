"""The outline of a pastry seen from above."""

from dataclasses import dataclass
from math import acos, ceil, pi, sqrt
from typing import Final

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.design import PastryTable
from moulddesign.errors import SpecError
from moulddesign.mesh import Points

CHORD_MM: Final = 0.002
"""Largest distance of a chord from the arc that it stands for [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outline:
    """An outline, centred on the origin.

    Parameters
    ----------
    name : str
        `round` or `square`.
    width_mm, depth_mm : float
        Extent along x and y [mm].
    corner_radius_mm : float
        Radius of the corners of a square; 0 for other outlines [mm].
    points : ndarray, shape (n, 2)
        Corners of the polygon, counter-clockwise, within `CHORD_MM` of the arcs [mm].
    """

    name: str
    width_mm: float
    depth_mm: float
    corner_radius_mm: float
    points: Points

    @property
    def shape(self) -> shapely.Polygon:
        """The polygon."""
        return shapely.Polygon(self.points)

    @property
    def area_mm2(self) -> float:
        """Area of the polygon [mm^2]."""
        return float(self.shape.area)

    @property
    def circumradius_mm(self) -> float:
        """Largest distance of a point from the centre [mm]."""
        return float(np.linalg.norm(self.points, axis=1).max())

    def inset(self, by_mm: float) -> "Outline":
        """Return the parallel outline inside (outside where negative), arcs staying arcs.

        Raises
        ------
        SpecError
            Nothing is left.
        """
        width = self.width_mm - 2.0 * by_mm
        if width <= 0.0:
            raise SpecError("inset", by_mm, f"must be below half the width of {self.width_mm:g} mm")
        if self.name == "round":
            return round_outline(width)
        return square_outline(width, max(self.corner_radius_mm - by_mm, 0.0))


def round_outline(width_mm: float) -> Outline:
    """Return a circle of a diameter [mm]."""
    circle = _arc((0.0, 0.0), width_mm / 2.0, start=0.0, turn=2.0 * pi)[:-1]
    return _outline("round", width_mm, corner_radius_mm=0.0, points=circle)


def square_outline(width_mm: float, corner_radius_mm: float) -> Outline:
    """Return a square with rounded corners.

    Raises
    ------
    SpecError
        The corner radius exceeds half the width.
    """
    half = width_mm / 2.0
    if corner_radius_mm > half:
        raise SpecError(
            "pastry.corner_radius_mm",
            corner_radius_mm,
            f"must be at most half the width, {half:.4g} mm here; take a smaller radius or round",
        )
    middle = half - corner_radius_mm
    corners = [
        _arc((x * middle, y * middle), corner_radius_mm, start=start, turn=pi / 2.0)
        for x, y, start in ((1, 1, 0.0), (-1, 1, pi / 2), (-1, -1, pi), (1, -1, 3 * pi / 2))
    ]
    points = np.concatenate(corners)
    fresh = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > CHORD_MM
    return _outline("square", width_mm, corner_radius_mm=corner_radius_mm, points=points[fresh])


def of_width(table: PastryTable, width_mm: float) -> Outline:
    """Return the outline that a design asks for, at a width [mm].

    Raises
    ------
    SpecError
        The corner radius exceeds half the width.
    """
    if table.outline == "round":
        return round_outline(width_mm)
    return square_outline(width_mm, table.corner_radius_mm)


def width_for_area_mm(table: PastryTable, area_mm2: float) -> float:
    """Return the width at which an outline has an area.

    Parameters
    ----------
    table : PastryTable
        Round: pi w^2 / 4. Square: w^2 - (4 - pi) r^2.
    area_mm2 : float
        Area [mm^2].

    Returns
    -------
    float
        Width, exact [mm].
    """
    if table.outline == "round":
        return 2.0 * sqrt(area_mm2 / pi)
    return sqrt(area_mm2 + (4.0 - pi) * table.corner_radius_mm**2)


def width_for_volume_mm(table: PastryTable, volume_mm3: float, height_to_width: float) -> float:
    """Return the width of the prism of a volume and a proportion.

    Parameters
    ----------
    table : PastryTable
        The kind of outline.
    volume_mm3 : float
        Volume of the prism [mm^3].
    height_to_width : float
        Height as a share of the width.

    Returns
    -------
    float
        Width, exact [mm].
    """
    widest = width_for_area_mm(table, (2.0 * volume_mm3 / height_to_width) ** (2 / 3)) * 2.0

    def excess(width_mm: float) -> float:
        # The prism's height is V / area; the width sought is that height over the proportion.
        return width_for_area_mm(table, volume_mm3 / (height_to_width * width_mm)) - width_mm

    return float(brentq(excess, 1e-3, widest, xtol=1e-9))


def _outline(name: str, width_mm: float, *, corner_radius_mm: float, points: Points) -> Outline:
    points = np.ascontiguousarray(points)
    points.setflags(write=False)
    return Outline(
        name=name,
        width_mm=width_mm,
        depth_mm=width_mm,
        corner_radius_mm=corner_radius_mm,
        points=points,
    )


def _arc(centre: tuple[float, float], radius_mm: float, *, start: float, turn: float) -> Points:
    """Return points along an arc, both ends included, chords within `CHORD_MM`."""
    chords = 1
    if radius_mm > CHORD_MM:
        # A multiple of 4 over the full turn keeps the extreme points, so that the width is true.
        quarter = ceil(pi / 4.0 / acos(1.0 - CHORD_MM / radius_mm))
        chords = max(round(turn / (pi / 2.0)), 1) * quarter
    angles = start + np.linspace(0.0, turn, chords + 1)
    return np.array(centre) + radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
