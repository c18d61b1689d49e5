"""Motifs that fill an outline from its middle: petals, rays, rings, a lattice, scales.

Each takes the outline [mm] and a size: parts, width of strokes or gaps, and the radius left free at
the middle.
"""

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
    frame = outline.difference(inside)
    whole = _turned(shapely.union_all([*strokes, *dots]), middle, pi / 4.0)
    return _polygons([frame, whole])


def scales(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rows of overlapping round scales, each drawn as two arcs."""
    count, stroke_mm, band_mm = astuple(size)
    left, low, right, high = outline.bounds
    radius = (right - left) / count / 2.0
    shapes: list[shapely.Geometry] = []
    rows = int((high - low) / radius) + 3
    for row in range(rows):
        y = high - radius * (row - 1)
        shift = radius * (row % 2)
        for column in range(-1, count + 2):
            centre = Point(left + radius * (2 * column + 1) + shift, y)
            shapes.append(_scale(centre, radius, stroke_mm=stroke_mm, eye_mm=band_mm))
    inside = outline.buffer(-stroke_mm, quad_segs=ARC)
    frame = outline.difference(inside)
    return _polygons([frame, shapely.union_all(shapes).intersection(inside)])


def _scale(centre: Point, radius: float, *, stroke_mm: float, eye_mm: float) -> shapely.Geometry:
    """Return the lower half of a scale: its rim, and the eye inside."""
    x, y = centre.x, centre.y
    lower = shapely.box(x - 2.0 * radius, y - 2.0 * radius, x + 2.0 * radius, y)
    outer = centre.buffer(radius + stroke_mm / 2.0, quad_segs=ARC)
    rim = outer.difference(centre.buffer(radius - stroke_mm / 2.0, quad_segs=ARC))
    eye = Point(x, y - 0.42 * radius).buffer(min(eye_mm, 0.2 * radius), quad_segs=ARC)
    return shapely.union(rim.intersection(lower), eye)


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
