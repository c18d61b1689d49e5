"""The outline of a pastry seen from above."""

from dataclasses import dataclass, replace
from math import acos, ceil, copysign
from typing import Final

import numpy as np
import shapely

from moulddesign.errors import SpecError
from moulddesign.mesh import Points

CHORD_MM: Final = 0.002
"""Largest distance of a chord from the arc that it stands for [mm]."""
ROUND_QUARTER: Final = 48
"""Chords of a quarter turn where a drawn outline is moved in or out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """A piece of an outline around a centre; the next one begins where a straight line leads.

    Parameters
    ----------
    centre : tuple of float
        Centre [mm].
    radius_mm : float
        Radius; 0 is a sharp corner [mm].
    start_rad, turn_rad : float
        Heading of its first point seen from the centre, and the angle to its last: positive
        where the outline is convex, negative in a valley [rad].
    """

    centre: tuple[float, float]
    radius_mm: float
    start_rad: float
    turn_rad: float

    def at(self, shares: Points) -> Points:
        """Return points along it, 0 its first and 1 its last, shape (n, 2) [mm]."""
        angles = self.start_rad + self.turn_rad * shares
        way = np.column_stack([np.cos(angles), np.sin(angles)])
        return np.array(self.centre) + self.radius_mm * way

    def chords(self) -> Points:
        """Return points along it, chords within `CHORD_MM`, both ends included."""
        parts = 1
        if self.radius_mm > CHORD_MM:
            # Even, and a multiple of 4 over a full turn: extreme points stay, so widths are true.
            parts = 4 * ceil(abs(self.turn_rad) / 8.0 / acos(1.0 - CHORD_MM / self.radius_mm))
        return self.at(np.linspace(0.0, 1.0, parts + 1))

    def inset(self, by_mm: float) -> "Arc":
        """Return its parallel inside the outline, around the same centre."""
        return replace(self, radius_mm=self.radius_mm - copysign(1.0, self.turn_rad) * by_mm)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outline:
    """An outline, centred on the origin.

    Parameters
    ----------
    name : str
        `round`, `square`, `hexagon`, `octagon`, `scalloped` or `drawn`.
    width_mm, depth_mm : float
        Extent along x and y [mm].
    arcs : tuple of Arc
        Its exact curves, counter-clockwise; none where it is drawn.
    points : ndarray, shape (n, 2)
        Corners of the polygon, counter-clockwise, within `CHORD_MM` of the arcs [mm].
    """

    name: str
    width_mm: float
    depth_mm: float
    arcs: tuple[Arc, ...]
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
    def corner_radius_mm(self) -> float:
        """Radius of the corners of a regular polygon; 0 where they are sharp, or none [mm]."""
        lobed = self.name in {"round", "scalloped"}
        return self.arcs[0].radius_mm if self.arcs and not lobed else 0.0

    @property
    def circumradius_mm(self) -> float:
        """Largest distance of a point from the centre [mm]."""
        return float(np.linalg.norm(self.points, axis=1).max())

    def inset(self, by_mm: float) -> "Outline":
        """Return the parallel outline inside (outside where negative), arcs staying arcs.

        Raises
        ------
        SpecError
            Nothing is left, or it falls apart.
        """
        width_mm = self.width_mm - 2.0 * by_mm
        if width_mm <= 0.0:
            raise SpecError("inset", by_mm, f"must be below half the width of {self.width_mm:g} mm")
        arcs = tuple(arc.inset(by_mm) for arc in self.arcs)
        if arcs and min(arc.radius_mm for arc in arcs) > 0.0:
            return of_arcs(self.name, arcs)
        return self._moved(by_mm)

    def _moved(self, by_mm: float) -> "Outline":
        """Return the parallel of an outline whose arcs are none, or used up."""
        moved = self.shape.buffer(-by_mm, quad_segs=ROUND_QUARTER).simplify(CHORD_MM / 4.0)
        if moved.geom_type != "Polygon" or moved.is_empty or moved.interiors:
            raise SpecError("inset", by_mm, "takes the outline apart; take a smaller one")
        return of_points(self.name, ring(moved))


def of_arcs(name: str, arcs: tuple[Arc, ...]) -> Outline:
    """Return the outline of arcs, straight lines between them."""
    points = np.concatenate([arc.chords() for arc in arcs])
    fresh = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > CHORD_MM
    return replace(of_points(name, points[fresh]), arcs=arcs)


def of_points(name: str, points: Points) -> Outline:
    """Return the outline of a polygon, counter-clockwise, shape (n, 2) [mm]."""
    points = np.ascontiguousarray(points)
    points.setflags(write=False)
    width, depth = np.ptp(points, axis=0).tolist()
    return Outline(name=name, width_mm=width, depth_mm=depth, arcs=(), points=points)


def ring(shape: shapely.Polygon) -> Points:
    """Return a polygon's corners, counter-clockwise, none twice, shape (n, 2) [mm]."""
    corners: Points = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)[:-1]
    return corners
