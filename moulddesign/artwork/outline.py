"""The outline of a pastry seen from above, and the width at which it holds an area or a volume."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import acos, asin, atan2, ceil, copysign, cos, exp, floor, lcm, log, pi, sin, sqrt, tan
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.svg import svg_regions
from moulddesign.core import FileError, SpecError, say
from moulddesign.design import PastryTable, SideForm
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
    """`round`, `square`, `hexagon`, `octagon`, `scalloped`, `drawn` or `fluted`."""
    width_mm: float
    """Extent along x."""
    depth_mm: float
    """Extent along y."""
    arcs: tuple[Arc, ...]
    """Its exact curves, counter-clockwise; none where it is drawn."""
    points: Points
    """Corners of the polygon, counter-clockwise, within `ARC_CHORD_MM` of the arcs, shape (n, 2)
    [mm]."""
    around: "Outline | None" = None
    """What flutes or reeds are cut into, which touches their crests; none where it has none."""

    @property
    def plain(self) -> "Outline":
        """It without flutes or reeds."""
        return self if self.around is None else self.around

    @property
    def side_depth_mm(self) -> float:
        """Depth of its flutes or reeds, 0 without any [mm]."""
        if self.around is None:
            return 0.0
        return float(
            shapely.distance(self.around.shape.exterior, shapely.points(self.points)).max()
        )

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
        arcs = self.plain.arcs if self.plain.name in POLYGON_SIDES else ()
        return arcs[0].radius_mm if arcs else 0.0

    @property
    def valleys(self) -> tuple[Arc, ...]:
        """Hollow arcs between its lobes; none where it has no lobes."""
        return tuple(arc for arc in self.plain.arcs if arc.turn_rad < 0.0)

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
        around = None if self.around is None else self.around.inset(by_mm)
        if arcs and min(arc.radius_mm for arc in arcs) > 0.0:
            return replace(outline_of_arcs(self.name, arcs), around=around)
        return replace(self._buffered(by_mm), around=around)

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


USUAL_REPEATS: Final = 36
"""Flutes or reeds around a piece that names no number: 5 mm each on 75 g; our choice."""
DEEPEST_FLUTE: Final = 0.4
"""Greatest depth of one as a share of its width: half a circle would have 0.5; our choice."""

FLATTEST: Final = 1e6
"""Radius of the flattest flute, in radii of the piece."""


def usual_repeats(outline: str, petals: int) -> int:
    """Return how many flutes or reeds go around a piece, a circle's in step with a face's petals.

    On a polygon a crest is on the middle of each side.

    Examples
    --------
    >>> usual_repeats("round", 16), usual_repeats("round", 5), usual_repeats("square", 12)
    (32, 40, 32)
    """
    step = 2 * POLYGON_SIDES[outline] if outline in POLYGON_SIDES else lcm(2, petals)
    return max(round(USUAL_REPEATS / step), 1) * step


def fluted_outline(plain: Outline, side: SideForm, count: int, depth_mm: float) -> Outline:
    """Return an outline with reeds, which bulge, or flutes, which are hollow, all around.

    Parameters
    ----------
    plain : Outline
        A circle, or a regular polygon, whose rounded corners stay as they are: crests touch it.
    count : int
        Of repeats, as many on each side of a polygon.
    depth_mm : float
        Crest to valley [mm].

    Raises
    ------
    SpecError
        The sides get unlike numbers, or the repeats are too narrow or too wide for their depth.

    Notes
    -----
    Crests and valleys are arcs of the radii c and v, one three times the other, which touch. Along
    a straight side their centres are p / 2 apart along it and c + v - d across, p a repeat's length
    and d its depth: c + v = (p^2 / 4 + d^2) / (2 d). Around a circle the sum is sought.
    """
    sides = POLYGON_SIDES.get(plain.name, 1)
    step = max(sides, 2)  # else a circle's width would be from a crest to a valley
    if count % step:
        raise SpecError("pastry.side_count", count, say("artwork.side-count", step=step))
    half, per_side = pi / sides, count // sides
    corner_mm = plain.arcs[0].radius_mm
    flat_mm = 2.0 * (plain.width_mm / 2.0 - corner_mm) * tan(half) if sides > 1 else 0.0
    pitch_mm = flat_mm / per_side if sides > 1 else pi * plain.width_mm / count
    if depth_mm > DEEPEST_FLUTE * pitch_mm:
        most_mm = floor(100.0 * DEEPEST_FLUTE * pitch_mm) / 100.0
        need = say("artwork.side-depth", most_mm=most_mm, count=count)
        raise SpecError("pastry.side_depth_mm", depth_mm, need)
    crest_share = 1.0 / (1.0 + VALLEY_RATIO)
    if side is SideForm.FLUTED:
        crest_share = 1.0 - crest_share
    if sides == 1:
        return _fluted_circle(plain, count, depth_mm, crest_share)
    between = (pitch_mm**2 / 4.0 + depth_mm**2) / (2.0 * depth_mm)
    crest, valley = crest_share * between, (1.0 - crest_share) * between
    lean = asin(pitch_mm / 2.0 / between)
    arcs: list[Arc] = []
    for number, corner in enumerate(plain.arcs):
        heading = 2.0 * half * number
        out, along = np.array([[cos(heading), sin(heading)], [-sin(heading), cos(heading)]])
        for each in range(per_side + 1):
            middle = (each * pitch_mm - flat_mm / 2.0) * along
            ends = (0.0 if each == 0 else -lean, 0.0 if each == per_side else lean)
            at = middle + (plain.width_mm / 2.0 - crest) * out
            arcs.append(_arc(at, crest, heading + ends[0], ends[1] - ends[0]))
            if each < per_side:
                at = middle + pitch_mm / 2.0 * along
                at = at + (plain.width_mm / 2.0 - depth_mm + valley) * out
                arcs.append(_arc(at, valley, heading + lean + pi, -2.0 * lean))
        arcs.append(corner)
    return replace(outline_of_arcs("fluted", tuple(arcs)), around=plain)


def _fluted_circle(plain: Outline, count: int, depth_mm: float, crest_share: float) -> Outline:
    radius, half = plain.width_mm / 2.0, pi / count
    flat_mm = radius * (1.0 - cos(half))
    if depth_mm <= flat_mm:
        least_mm = ceil(100.0 * flat_mm) / 100.0
        need = say("artwork.side-flat", least_mm=least_mm, count=count)
        raise SpecError("pastry.side_depth_mm", depth_mm, need)

    def reach(between: float) -> tuple[float, float]:
        return radius - crest_share * between, radius - depth_mm + (1.0 - crest_share) * between

    def excess(between: float) -> float:
        a, b = reach(between)
        return a * a + b * b - 2.0 * a * b * cos(half) - between**2

    between = float(brentq(excess, depth_mm / 2.0, FLATTEST * radius))
    crest, valley = crest_share * between, (1.0 - crest_share) * between
    a, b = reach(between)
    lean = atan2(b * sin(half), b * cos(half) - a)
    arcs: list[Arc] = []
    for heading in (2.0 * half * number for number in range(count)):
        way = np.array([cos(heading), sin(heading)])
        arcs.append(_arc(a * way, crest, heading - lean, 2.0 * lean))
        way = np.array([cos(heading + half), sin(heading + half)])
        arcs.append(_arc(b * way, valley, heading + lean + pi, 2.0 * (half - lean)))
    return replace(outline_of_arcs("fluted", tuple(arcs)), around=plain)


def _arc(centre: Points, radius: float, start: float, turn: float) -> Arc:
    x, y = centre.tolist()
    return Arc(centre=(x, y), radius_mm=radius, start_rad=start, turn_rad=turn)


def drawn_outline(path: str, width_mm: float) -> Outline:
    """Return the outline that a drawing holds, centred on its centroid."""
    shape = shapely.union_all([each.shape for each in svg_regions(Path(path).expanduser())])
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
    if table.side is not SideForm.PLAIN:
        plain = outline_of_width(table.model_copy(update={"side": SideForm.PLAIN}), width_mm)
        count = table.side_count or usual_repeats(table.outline, 1)
        return fluted_outline(plain, table.side, count, table.side_depth_mm)
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
    n), the square's w^2 - (4 - pi) r^2 among them. A drawing grows with w^2. Scalloped, fluted or
    reeded: by a root finder.
    """

    def missing_mm2(width_mm: float) -> float:
        return outline_of_width(table, width_mm).area_mm2 - area_mm2

    if table.side is not SideForm.PLAIN:
        plain = table.model_copy(update={"side": SideForm.PLAIN})
        least_mm = width_for_area_mm(plain, area_mm2)
        most_mm = least_mm + 2.0 * table.side_depth_mm
        return float(brentq(missing_mm2, least_mm, most_mm, xtol=1e-5))
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
        return float(brentq(missing_mm2, least_mm, most_mm, xtol=1e-5))
    return sqrt(area_mm2 / drawn_outline(table.outline, 1.0).area_mm2)


def width_for_volume_mm(table: PastryTable, volume_mm3: float, height_to_width: float) -> float:
    """Return the width of the prism of a volume and a height-to-width ratio, exact [mm].

    Flutes and reeds are left out of it.
    """
    table = table.model_copy(update={"side": SideForm.PLAIN})
    widest = width_for_area_mm(table, (2.0 * volume_mm3 / height_to_width) ** (2 / 3)) * 2.0

    def excess(width_mm: float) -> float:
        # The prism's height is V / area; the width sought is that height over the proportion.
        return width_for_area_mm(table, volume_mm3 / (height_to_width * width_mm)) - width_mm

    return float(brentq(excess, 1e-3, widest, xtol=1e-9))


MOST_POWER: Final = -8.0
"""Steepest power of the width with which a piece's height falls, before its sides meet."""


def nearer_width_mm(tried: Sequence[tuple[float, float]], height_mm: float) -> float:
    """Return a width at which a piece has a height, from widths tried and their heights [mm].

    The height falls with a power of the width: the second for upright sides, a higher one where
    they lean. The power is that of the last two, or the second.
    """
    width_mm, found_mm = tried[-1]
    power = -2.0
    if len(tried) > 1 and (grown := log(width_mm / tried[-2][0])):
        power = min(max(log(found_mm / tried[-2][1]) / grown, MOST_POWER), -1.0)
    return width_mm * exp(log(height_mm / found_mm) / power)


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
