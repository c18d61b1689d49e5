"""The outline of a pastry seen from above, and the width at which it holds an area or a volume."""

from dataclasses import dataclass, replace
from math import acos, atan2, ceil, copysign, cos, pi, sin, sqrt, tan
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.patterns import artwork
from moulddesign.core import FileError, SpecError, say
from moulddesign.design import PastryTable
from moulddesign.geometry import Points

ARC_CHORD_MM: Final = 0.002
"""Largest distance of a chord from the arc that it stands for [mm]."""
QUARTER_CHORDS: Final = 48
"""Chords of a quarter turn where a drawn outline is moved in or out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """An arc of an outline; a straight line leads from its end to where the next one begins."""

    centre: tuple[float, float]
    """[mm]"""
    radius_mm: float
    """0 is a sharp corner."""
    start_rad: float
    """Heading of its first point, seen from the centre."""
    turn_rad: float
    """Angle to its last point: positive where the outline is convex, negative in a valley."""

    def at(self, shares: Points) -> Points:
        """Return points along it, 0 its first and 1 its last, shape (n, 2) [mm]."""
        angles = self.start_rad + self.turn_rad * shares
        way = np.column_stack([np.cos(angles), np.sin(angles)])
        return np.array(self.centre) + self.radius_mm * way

    def chords(self) -> Points:
        """Return points along it, chords within `ARC_CHORD_MM`, both ends included."""
        parts = 1
        if self.radius_mm > ARC_CHORD_MM:
            # A chord over the angle s leaves its arc by r (1 - cos(s / 2)), so s is at most
            # 2 acos(1 - CHORD_MM / r). The number is a multiple of 4 over a full turn: then the
            # outermost points along x and y are corners, and widths are true.
            parts = 4 * ceil(abs(self.turn_rad) / 8.0 / acos(1.0 - ARC_CHORD_MM / self.radius_mm))
        return self.at(np.linspace(0.0, 1.0, parts + 1))

    def inset(self, by_mm: float) -> "Arc":
        """Return its parallel inside the outline, around the same centre: lobes shrink."""
        return replace(self, radius_mm=self.radius_mm - copysign(1.0, self.turn_rad) * by_mm)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outline:
    """An outline, centred on the origin."""

    name: str
    """`round`, `square`, `hexagon`, `octagon`, `scalloped` or `drawn`."""
    width_mm: float
    """Extent along x."""
    depth_mm: float
    """Extent along y."""
    arcs: tuple[Arc, ...]
    """Its exact curves, counter-clockwise; none where it is drawn."""
    points: Points
    """Corners of the polygon, counter-clockwise, within `ARC_CHORD_MM` of the arcs, shape (n, 2)
    [mm]."""

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
            raise SpecError("inset", by_mm, say("artwork.inset-too-wide", width_mm=self.width_mm))
        arcs = tuple(arc.inset(by_mm) for arc in self.arcs)
        if arcs and min(arc.radius_mm for arc in arcs) > 0.0:
            return outline_of_arcs(self.name, arcs)
        return self._buffered(by_mm)

    def _buffered(self, by_mm: float) -> "Outline":
        """Return the parallel of an outline without arcs, or with one that shrinks to nothing."""
        inner = self.shape.buffer(-by_mm, quad_segs=QUARTER_CHORDS).simplify(ARC_CHORD_MM / 4.0)
        if inner.geom_type != "Polygon" or inner.is_empty or inner.interiors:
            raise SpecError("inset", by_mm, say("artwork.inset-splits-outline"))
        return outline_of_points(self.name, exterior_points(inner))


def outline_of_arcs(name: str, arcs: tuple[Arc, ...]) -> Outline:
    """Return the outline of arcs, straight lines between them."""
    points = np.concatenate([arc.chords() for arc in arcs])
    distinct = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > ARC_CHORD_MM
    return replace(outline_of_points(name, points[distinct]), arcs=arcs)


def outline_of_points(name: str, points: Points) -> Outline:
    """Return the outline of a polygon, counter-clockwise, shape (n, 2) [mm]."""
    points = np.ascontiguousarray(points)
    points.setflags(write=False)
    width, depth = np.ptp(points, axis=0).tolist()
    return Outline(name=name, width_mm=width, depth_mm=depth, arcs=(), points=points)


def exterior_points(shape: shapely.Polygon) -> Points:
    """Return a polygon's corners, counter-clockwise, none twice, shape (n, 2) [mm]."""
    corners: Points = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)[:-1]
    return corners


POLYGON_SIDES: Final = {"square": 4, "hexagon": 6, "octagon": 8}
"""Outlines that are regular polygons, a flat at each end of the x axis."""
VALLEY_RATIO: Final = 1.0 / 3.0
"""Radius of a valley between lobes, as a share of the lobe's; our choice."""


def round_outline(width_mm: float) -> Outline:
    """Return a circle of a diameter [mm]."""
    circle = Arc(centre=(0.0, 0.0), radius_mm=width_mm / 2.0, start_rad=0.0, turn_rad=2.0 * pi)
    return outline_of_arcs("round", (circle,))


def polygon_outline(name: str, width_mm: float, corner_radius_mm: float) -> Outline:
    """Return a regular polygon with rounded corners.

    The width is measured across the flats.
    """
    half = width_mm / 2.0
    if corner_radius_mm > half:
        raise SpecError(
            "pastry.corner_radius_mm", corner_radius_mm, say("artwork.corner-radius", half_mm=half)
        )
    turn = 2.0 * pi / POLYGON_SIDES[name]
    # Centres of the arcs lie on the corners of the polygon inset by r, whose flats are r nearer.
    reach = (half - corner_radius_mm) / cos(turn / 2.0)
    arcs = tuple(
        Arc(
            centre=(reach * cos(at), reach * sin(at)),
            radius_mm=corner_radius_mm,
            start_rad=at - turn / 2.0,
            turn_rad=turn,
        )
        for at in (turn * (number + 0.5) for number in range(POLYGON_SIDES[name]))
    )
    return outline_of_arcs(name, arcs)


def scalloped_outline(width_mm: float, lobes: int, lobe_depth_mm: float) -> Outline:
    """Return a ring of equal lobes, the valleys between them rounded.

    Notes
    -----
    A lobe is an arc through its crest (R, 0) and the valley P at the angle pi / n and the radius
    R - d; its centre lies on the x axis at c = (R^2 - P^2) / (2 (R - P_x)). The valley is an arc
    of a third of the lobe's radius that touches both lobes from outside.
    """
    crest, half = width_mm / 2.0, pi / lobes
    valley = crest - lobe_depth_mm
    centre = (crest**2 - valley**2) / (2.0 * (crest - valley * cos(half)))
    radius = crest - centre
    # The valley's centre: on the ray at pi / n, one lobe's and one valley's radius from c.
    across = centre * sin(half)
    reach = radius * (1.0 + VALLEY_RATIO)
    if valley <= 0.0 or centre <= 0.0 or across >= radius:
        raise SpecError(
            "pastry.lobe_depth_mm",
            lobe_depth_mm,
            say("artwork.lobe-depth", lobes=lobes, width_mm=width_mm),
        )
    # In the triangle of origin, lobe centre and valley centre, the foot of the perpendicular from
    # the lobe centre divides the ray: c cos(pi / n) before it, the other leg after it.
    out = centre * cos(half) + sqrt(reach**2 - across**2)
    # Both arcs touch on the line through their centres, at this heading seen from the lobe.
    heading = atan2(out * sin(half), out * cos(half) - centre)
    arcs = []
    for at in (2.0 * half * number for number in range(lobes)):
        arcs.append(
            Arc(
                centre=(centre * cos(at), centre * sin(at)),
                radius_mm=radius,
                start_rad=at - heading,
                turn_rad=2.0 * heading,
            )
        )
        arcs.append(
            Arc(
                centre=(out * cos(at + half), out * sin(at + half)),
                radius_mm=VALLEY_RATIO * radius,
                start_rad=at + heading - pi,
                turn_rad=2.0 * (half - heading),
            )
        )
    return outline_of_arcs("scalloped", tuple(arcs))


def drawn_outline(path: str, width_mm: float) -> Outline:
    """Return the outline that a drawing holds, centred on its centroid."""
    shape = shapely.union_all([region.shape for region in artwork(path, Path())])
    parts = shapely.get_parts(shape)
    if len(parts) != 1 or parts[0].interiors:
        raise FileError(path, say("artwork.no-outline"))
    points = exterior_points(parts[0])
    points = points - shapely.get_coordinates(parts[0].centroid)
    return outline_of_points("drawn", points * width_mm / np.ptp(points[:, 0]))


def outline_of_width(table: PastryTable, width_mm: float) -> Outline:
    """Return the outline that a design asks for, at a width [mm].

    Raises
    ------
    SpecError
        The corner radius or the lobes do not fit the width.
    FileError
        The drawing cannot be read or is no outline.
    """
    if table.outline == "round":
        return round_outline(width_mm)
    if table.outline in POLYGON_SIDES:
        return polygon_outline(table.outline, width_mm, table.corner_radius_mm)
    if table.outline == "scalloped":
        return scalloped_outline(width_mm, table.lobes, table.lobe_depth_mm)
    return drawn_outline(table.outline, width_mm)


def width_for_area_mm(table: PastryTable, area_mm2: float) -> float:
    """Return the width at which an outline has an area, exact [mm].

    Round: pi w^2 / 4. Regular polygon of n sides: n w^2 tan(pi / n) / 4 - n r^2 (tan(pi / n) - pi /
    n), the square's w^2 - (4 - pi) r^2 among them. A drawing grows with w^2. Scalloped: by a root
    finder.
    """
    if table.outline == "round":
        return 2.0 * sqrt(area_mm2 / pi)
    if table.outline in POLYGON_SIDES:
        sides = POLYGON_SIDES[table.outline]
        slope = tan(pi / sides)
        corners_mm2 = sides * table.corner_radius_mm**2 * (slope - pi / sides)
        return 2.0 * sqrt((area_mm2 + corners_mm2) / (sides * slope))
    if table.outline == "scalloped":
        least_mm = 2.0 * sqrt(area_mm2 / pi)
        most_mm = least_mm + 2.0 * table.lobe_depth_mm

        def missing_mm2(width_mm: float) -> float:
            return outline_of_width(table, width_mm).area_mm2 - area_mm2

        return float(brentq(missing_mm2, least_mm, most_mm, xtol=1e-5))
    return sqrt(area_mm2 / drawn_outline(table.outline, 1.0).area_mm2)


def width_for_volume_mm(table: PastryTable, volume_mm3: float, height_to_width: float) -> float:
    """Return the width of the prism of a volume and a height-to-width ratio, exact [mm]."""
    widest = width_for_area_mm(table, (2.0 * volume_mm3 / height_to_width) ** (2 / 3)) * 2.0

    def excess(width_mm: float) -> float:
        # The prism's height is V / area; the width sought is that height over the proportion.
        return width_for_area_mm(table, volume_mm3 / (height_to_width * width_mm)) - width_mm

    return float(brentq(excess, 1e-3, widest, xtol=1e-9))


MOST_SYMMETRY: Final = 48
"""Highest order of symmetry that is looked for; more lobes than this look round; our choice."""
SAME_RADIUS: Final = 0.005
"""How far turned outlines may differ and count as the same, as a share of the radius; our
choice."""


def rotational_symmetry(shape: shapely.Polygon) -> int:
    """Return of how many like parts around the middle an outline is; 1 for a disc, as for none.

    Distances from the centroid are compared, so the outline should be star-shaped about it.

    Examples
    --------
    >>> rotational_symmetry(shapely.box(-3, -3, 3, 3)), rotational_symmetry(shapely.box(0, 0, 6, 3))
    (4, 2)
    >>> rotational_symmetry(shapely.Point(0, 0).buffer(9.0))
    1
    """
    ring, middle = shape.exterior, shape.centroid
    places = np.linspace(0.0, ring.length, 4096, endpoint=False)
    x, y = (shapely.get_coordinates(ring.interpolate(places)) - (middle.x, middle.y)).T
    order = np.argsort(angles := np.arctan2(y, x) % (2.0 * pi))
    radii, angles = np.hypot(x, y)[order], angles[order]
    slack = SAME_RADIUS * radii.max()
    if np.ptp(radii) < 2.0 * slack:
        return 1

    def turned(parts: int) -> Points:
        radii_ahead: Points = np.interp(angles + 2.0 * pi / parts, angles, radii, period=2.0 * pi)
        return radii_ahead

    matching = (n for n in range(MOST_SYMMETRY, 1, -1) if np.abs(turned(n) - radii).max() < slack)
    return next(matching, 1)
