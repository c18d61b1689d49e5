"""Motifs that fill an outline from its middle: petals, rays, rings, a lattice, scales.

Each takes the outline [mm] and a size: parts, width of strokes or gaps, and the radius left free at
the middle.
"""

from collections.abc import Iterable
from dataclasses import astuple
from math import cos, pi, sin, tan, tau
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon

from moulddesign.pastry.motif_size import MotifSize

LEAST_PETALS: Final = 3
ARC: Final = 32
GRID_MM: Final = 1e-6
"""Overlays snap to this: then no near touch can make them fail [mm]."""
CREVICE: Final = 0.9
"""Gaps narrower than this share of a stroke are filled."""
CREVICE_ARC: Final = 8
FLAT_MM: Final = 0.002
"""Corners that move an edge by less are left out [mm]."""
Points = NDArray[np.float64]


def petals(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return pointed petals around a round eye, each with a groove along it."""
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    shapes: list[shapely.Geometry] = [middle.buffer(band_mm, quad_segs=ARC)]
    for index in range(count):
        angle = pi / 2.0 + tau * index / count
        start, end = band_mm + stroke_mm, _reach(outline, middle, angle)
        widest = start + 0.62 * (end - start)
        # one or two petals have the whole side to themselves
        half = max(widest * tan(pi / max(count, LEAST_PETALS)) - stroke_mm / 2.0, 0.0)
        petal = _petal(start, end, min(half, 0.36 * (end - start)))
        groove = LineString([(start + 0.22 * (end - start), 0), (start + 0.7 * (end - start), 0)])
        petal = petal.intersection(_wedge(count, end, stroke_mm))
        cut = petal.difference(groove.buffer(stroke_mm / 2.0, quad_segs=ARC))
        shapes.append(_turned(cut, middle, angle))
    return _polygons(shapes)


def _petal(start: float, end: float, half: float) -> Polygon:
    t = np.linspace(0.0, 1.0, 48)
    along = start + (end - start) * t
    width = half * np.sin(pi * t**1.45) ** 0.85
    side = np.stack([along, width], axis=1)
    return shapely.make_valid(Polygon(np.concatenate([side, (side * (1.0, -1.0))[::-1]])))


def _wedge(count: int, end: float, gap_mm: float) -> Polygon:
    """Return one petal's share of the round, half a gap narrower to each side."""
    half = pi / max(count, LEAST_PETALS)
    apex, far = gap_mm / 2.0 / sin(half), 2.0 * end
    high = (far - apex) * tan(half)
    return Polygon([(apex, 0.0), (far, -high), (far, high)])


def rays(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rays that widen from a ring around the middle to the outline, long and short."""
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    ring = middle.buffer(band_mm - stroke_mm, quad_segs=ARC)
    ring = ring.difference(middle.buffer(max(band_mm - 3.0 * stroke_mm, 0.0), quad_segs=ARC))
    shapes: list[shapely.Geometry] = [ring]
    for index in range(count):
        angle = pi / 2.0 + tau * index / count
        end = _reach(outline, middle, angle)
        end = end if index % 2 == 0 else band_mm + 0.62 * (end - band_mm)
        near = max(band_mm * tan(pi / count) - stroke_mm / 2.0, 0.0)
        far = max(end * tan(pi / count) - stroke_mm / 2.0, 0.0) * 0.8
        wedge = Polygon([(band_mm, -near), (end - far, -far), (end - far, far), (band_mm, near)])
        tip = Point(end - far, 0.0).buffer(far, quad_segs=ARC)
        shapes.append(_turned(wedge.union(tip), middle, angle))
    return _polygons(shapes)


def rings(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rings that follow the outline at even distances, around a bead."""
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    inner = float(outline.exterior.distance(middle))
    pitch = (inner - band_mm) / count
    shapes: list[shapely.Geometry] = [middle.buffer(band_mm, quad_segs=ARC)]
    for index in range(count):
        outer = outline.buffer(-index * pitch, quad_segs=ARC)
        width = min(stroke_mm, 0.7 * pitch)
        shapes.append(outer.difference(outline.buffer(-index * pitch - width, quad_segs=ARC)))
    return _polygons(shapes)


def lattice(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return crossed diagonal bars inside a frame, a bead in every field."""
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    half = max(np.hypot(*np.ptp(shapely.get_coordinates(outline), axis=0)) / 2.0, band_mm)
    pitch = 2.0 * half / (count + 1)
    steps = (np.arange(count) - (count - 1) / 2.0) * pitch
    bars = [LineString([(-half, step), (half, step)]) for step in steps]
    bars += [LineString([(step, -half), (step, half)]) for step in steps]
    strokes = [bar.buffer(stroke_mm / 2.0, cap_style="flat") for bar in bars]
    fields = np.stack(np.meshgrid(steps[:-1] + pitch / 2.0, steps[:-1] + pitch / 2.0), axis=-1)
    radius = min(max(pitch / 2.0 - 1.5 * stroke_mm, 0.0), band_mm)
    dots = shapely.buffer(shapely.points(fields.reshape(-1, 2)), radius, quad_segs=8)
    inside = outline.buffer(-stroke_mm, quad_segs=ARC)
    crossed = _turned(shapely.union_all(strokes), middle, pi / 4.0)
    bars_and_frame = without_crevices(outline.difference(inside).union(crossed), stroke_mm)
    turned = [_turned(dot, middle, pi / 4.0) for dot in dots]
    return _polygons([bars_and_frame, *clear_of(bars_and_frame, turned, stroke_mm)])


def scales(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rows of overlapping round scales inside a frame, an eye in each."""
    count, stroke_mm, band_mm = astuple(size)
    left, low, right, high = outline.bounds
    radius = (right - left) / count / 2.0
    centres = [
        Point(left + radius * (2 * column + 1 + row % 2), high - radius * (row - 1))
        for row in range(int((high - low) / radius) + 3)
        for column in range(-1, count + 2)
    ]
    inside = outline.buffer(-stroke_mm, quad_segs=ARC)
    rims = shapely.union_all([_rim(centre, radius, stroke_mm) for centre in centres])
    drawn = without_crevices(outline.difference(inside).union(rims & inside), stroke_mm)
    eye_mm = min(band_mm, 0.2 * radius, 0.58 * radius - 1.5 * stroke_mm)
    eyes = [Point(at.x, at.y - 0.42 * radius).buffer(eye_mm, quad_segs=8) for at in centres]
    within = [eye for eye in eyes if inside.contains(eye)]
    return _polygons([drawn, *clear_of(drawn, within, stroke_mm)])


def _rim(centre: Point, radius: float, stroke_mm: float) -> shapely.Geometry:
    """Return the lower half of a scale's rim."""
    x, y = centre.x, centre.y
    lower = shapely.box(x - 2.0 * radius, y - 2.0 * radius, x + 2.0 * radius, y)
    outer = centre.buffer(radius + stroke_mm / 2.0, quad_segs=ARC)
    rim = outer.difference(centre.buffer(radius - stroke_mm / 2.0, quad_segs=ARC))
    return rim.intersection(lower)


def without_crevices(shape: shapely.Geometry, stroke_mm: float) -> shapely.Geometry:
    """Return a shape whose gaps narrower than nine tenths of a stroke are filled.

    Where a frame cuts a field, or two arcs meet, a gap tapers to nothing: dough does not fill it,
    and a nozzle cannot draw the wall that it is in the stamp.

    Parameters
    ----------
    shape : shapely geometry
        Strokes [mm].
    stroke_mm : float
        Their width [mm].
    """
    radius_mm = CREVICE * stroke_mm / 2.0
    grown = shapely.buffer(shape, radius_mm, quad_segs=CREVICE_ARC)
    filled = shapely.buffer(grown, -radius_mm, quad_segs=CREVICE_ARC)
    # an arc grown and shrunk gains corners at each step
    return shapely.simplify(filled, FLAT_MM)


def clear_of(
    strokes: shapely.Geometry, dots: Iterable[shapely.Geometry], stroke_mm: float
) -> list[shapely.Geometry]:
    """Return those dots around which such a gap is free.

    Parameters
    ----------
    strokes : shapely geometry
        What is drawn [mm].
    dots : iterable of shapely geometry
        What may be added [mm].
    stroke_mm : float
        Width of the strokes [mm].
    """
    shapely.prepare(strokes)
    return [dot for dot in dots if strokes.distance(dot) >= CREVICE * stroke_mm]


def _reach(outline: Polygon, middle: Point, angle: float) -> float:
    """Return how far a ray from the middle runs inside the outline [mm]."""
    far = 2.0 * outline.length
    end = (middle.x + far * cos(angle), middle.y + far * sin(angle))
    ray = LineString([(middle.x, middle.y), end])
    return float(outline.exterior.intersection(ray).distance(middle))


def _turned(shape: shapely.Geometry, middle: Point, angle: float) -> shapely.Geometry:
    cosine, sine = cos(angle), sin(angle)
    turn = np.array([[cosine, sine], [-sine, cosine]])
    return shapely.transform(shape, lambda points: points @ turn + (middle.x, middle.y))


def _polygons(shapes: list[shapely.Geometry]) -> MultiPolygon:
    union = shapely.union_all(shapes, grid_size=GRID_MM)
    return MultiPolygon([part for part in shapely.get_parts(union) if isinstance(part, Polygon)])
