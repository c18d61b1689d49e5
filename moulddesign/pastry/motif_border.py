"""Borders that follow any outline: scallops, leaves, a braid, a rope, beads.

Each takes the outline [mm] and a size: parts along it, width of strokes or gaps, and width of the
band from the outline inwards.
"""

from dataclasses import astuple, dataclass
from math import hypot, pi
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.polygon import orient

from moulddesign.errors import SpecError
from moulddesign.pastry.motif_field import clear_of, without_crevices
from moulddesign.pastry.motif_size import MotifSize

ARC: Final = 16
LEAN: Final = 0.6
"""How far a strand of the rope leans to either side, in strands."""
GRID_MM: Final = 1e-6
"""Overlays snap to this: then no near touch can make them fail [mm]."""
FINE: Final = 48
"""Points for each period of a wave."""
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A closed line that a border runs along, counter-clockwise from its top.

    Parameters
    ----------
    line : LineString
        Closed [mm].
    """

    line: LineString

    @property
    def length_mm(self) -> float:
        """Its length [mm]."""
        return float(self.line.length)

    def at(self, along: Points, across_mm: Points) -> Points:
        """Return points beside the line.

        Parameters
        ----------
        along : ndarray, shape (n,)
            Share of the length; whole numbers are the top.
        across_mm : ndarray, shape (n,)
            Distance to the left of the way, towards the middle [mm].

        Returns
        -------
        ndarray, shape (n, 2)
            Points [mm].
        """
        length = self.length_mm
        step = length * 1e-3
        place = np.asarray(along) % 1.0 * length
        here = shapely.get_coordinates(self.line.interpolate(place))
        ahead = shapely.get_coordinates(self.line.interpolate((place + step) % length))
        behind = shapely.get_coordinates(self.line.interpolate((place - step) % length))
        way = ahead - behind
        way /= np.hypot(*way.T)[:, None]
        points: Points = here + np.stack([-way[:, 1], way[:, 0]], axis=1) * across_mm[:, None]
        return points


def track(outline: Polygon, inset_mm: float, bend_mm: float) -> Track:
    """Return the line inside an outline at a distance, its corners rounded.

    Parameters
    ----------
    outline : Polygon
        The outline [mm].
    inset_mm : float
        Distance from it [mm].
    bend_mm : float
        Least radius of a bend [mm].

    Raises
    ------
    SpecError
        The outline is too small, or falls apart at that distance.
    """
    inner = outline.buffer(-inset_mm - bend_mm, quad_segs=ARC)
    if inner.is_empty or not isinstance(inner, Polygon):
        need = f"must leave room inside: the outline is too narrow {inset_mm:.1f} mm from its edge"
        raise SpecError("band_mm", inset_mm, need)
    ring = orient(inner.buffer(bend_mm, quad_segs=4 * ARC)).exterior
    low_x, _, high_x, high_y = ring.bounds
    top = ring.project(Point((low_x + high_x) / 2.0, high_y))
    whole = np.append(np.linspace(0.0, 1.0, 720, endpoint=False), 0.0)
    points = shapely.get_coordinates(ring.interpolate((whole * ring.length + top) % ring.length))
    return Track(LineString(points))


def scallops(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a row of arches that stand on a line along the edge, beads in them where all fit."""
    count, stroke_mm, band_mm = astuple(size)
    path = track(outline, stroke_mm / 2.0, 1.6 * band_mm)
    wave = np.linspace(0.0, 1.0, count * FINE, endpoint=False)
    rise = band_mm - stroke_mm
    arches = path.at(wave, rise * np.abs(np.sin(pi * wave * count)) ** 0.7)
    middles = path.at((np.arange(count) + 0.5) / count, np.full(count, rise / 2.0))
    # a stroke's width is left free around the bead; where there is none, there is no bead
    bead = (min(rise, path.length_mm / count) - 3.4 * stroke_mm) / 2.0
    lines = [_closed(arches), _closed(path.at(wave, np.zeros_like(wave)))]
    strokes = [line.buffer(stroke_mm / 2.0, quad_segs=ARC) for line in lines]
    drawn = without_crevices(shapely.union_all(strokes), stroke_mm)
    eyes = shapely.buffer(shapely.points(middles), bead, quad_segs=ARC)
    clear = clear_of(drawn, eyes, stroke_mm)
    return _polygons([drawn, *(clear if len(clear) == count else [])])


def leaf_ring(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a twig along the edge with leaves to both sides, all running the same way."""
    count, stroke_mm, band_mm = astuple(size)
    path = track(outline, band_mm / 2.0, band_mm)
    whole = np.linspace(0.0, 1.0, 720, endpoint=False)
    twig = _closed(path.at(whole, np.zeros_like(whole))).buffer(stroke_mm / 2.0, quad_segs=ARC)
    leaves = [
        _leaf(
            path,
            (index + 0.25 * (side > 0)) / count,
            reach_mm=side * band_mm / 2.0,
            span=1.15 / count,
        )
        for index in range(count)
        for side in (-1.0, 1.0)
    ]
    return _polygons([twig, *leaves])


def _leaf(path: Track, start: float, *, reach_mm: float, span: float) -> Polygon:
    """Return a leaf that grows from a track, by shares of its length and a reach to one side."""
    t = np.linspace(0.0, 1.0, 24)
    spine_along, spine_across = start + span * t, reach_mm * 0.62 * np.sin(pi * t / 2.0)
    half = abs(reach_mm) * 0.34 * np.sin(pi * t**0.8) ** 0.9
    outer = path.at(spine_along, spine_across + np.sign(reach_mm) * half)
    inner = path.at(spine_along, spine_across - np.sign(reach_mm) * half)
    return shapely.make_valid(Polygon(np.concatenate([outer, inner[::-1]])))


def braid(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return two strands that cross over and under each other along the edge."""
    count, stroke_mm, band_mm = astuple(size)
    path = track(outline, band_mm / 2.0, band_mm)
    swing = (band_mm - stroke_mm) / 2.0
    gap = 0.6 * stroke_mm
    strands = [
        _strand(path, count, swing_mm=swing * side, stroke_mm=stroke_mm) for side in (1.0, -1.0)
    ]
    for crossing in range(2 * count):
        over = crossing % 2
        middle, reach = crossing / (2.0 * count), 0.2 / count
        share = np.linspace(middle - reach, middle + reach, FINE)
        wave = (1.0 - 2.0 * over) * swing * np.sin(2.0 * pi * count * share)
        bridge = LineString(path.at(share, wave))
        cut = bridge.buffer(stroke_mm / 2.0 + gap, cap_style="flat", quad_segs=ARC)
        strands[1 - over] = strands[1 - over].difference(cut)
    return _polygons(strands)


def _strand(path: Track, count: int, *, swing_mm: float, stroke_mm: float) -> shapely.Geometry:
    along = np.linspace(0.0, 1.0, count * FINE, endpoint=False)
    wave = path.at(along, swing_mm * np.sin(2.0 * pi * count * along))
    return _closed(wave).buffer(stroke_mm / 2.0, quad_segs=ARC)


def rope(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a rope along the edge: slanting strands, with gaps as wide as a stroke."""
    count, stroke_mm, band_mm = astuple(size)
    path = track(outline, band_mm / 2.0, band_mm)
    t = np.linspace(-1.0, 1.0, 24)
    # a gap is as wide as a stroke across the slant, so it is longer along the way
    slant = hypot(1.0, 2.0 * LEAN * path.length_mm / count / band_mm)
    gap = stroke_mm * slant / path.length_mm / 2.0
    half = 0.5 / count - gap
    if half <= gap / 2.0:
        raise SpecError("count", count, "must be lower, for the strands of the rope touch")
    lean = (LEAN * t - 0.12 * np.sin(pi * t)) / count
    across = band_mm / 2.0 * t
    belly = half * np.sqrt(np.maximum(1.0 - t**6, 0.0))
    strands = [
        Polygon(
            np.concatenate(
                [
                    path.at(index / count + lean + belly, across),
                    path.at(index / count + lean - belly, across)[::-1],
                ]
            )
        )
        for index in range(count)
    ]
    return _polygons(strands)


def beads(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return round beads along the edge, at least a stroke's width apart."""
    count, stroke_mm, band_mm = astuple(size)
    path = track(outline, band_mm / 2.0, band_mm)
    radius = min(band_mm, path.length_mm / count - stroke_mm) / 2.0
    if radius <= stroke_mm / 4.0:
        raise SpecError("count", count, "must be lower, for the beads touch")
    centres = path.at(np.arange(count) / count, np.zeros(count))
    return _polygons(list(shapely.buffer(shapely.points(centres), radius, quad_segs=ARC)))


def _closed(points: Points) -> LineString:
    return LineString(np.concatenate([points, points[:1]]))


def _polygons(shapes: list[shapely.Geometry]) -> MultiPolygon:
    union = shapely.union_all(shapes, grid_size=GRID_MM)
    return MultiPolygon([part for part in shapely.get_parts(union) if isinstance(part, Polygon)])
