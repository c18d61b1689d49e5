"""Motifs by construction, for a maker without a drawing: each fills or follows any outline.

A border follows the outline: it is drawn in coordinates along a line inside the outline (a share of
its length) and across it (towards the middle), so one formula fits a circle and a square. A filling
covers the whole: petals and rays in polar coordinates about the centroid, rings by offsets of the
outline, lattice and scales as a repeat that the outline cuts. Exponents and factors without a unit
were chosen by eye.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import astuple, dataclass, replace
from math import cos, hypot, isfinite, pi, sin, sqrt, tan, tau
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.polygon import orient

from moulddesign.artwork.outline import rotational_symmetry
from moulddesign.artwork.polygons import Region
from moulddesign.core import SpecError, say
from moulddesign.design import Motif
from moulddesign.geometry import Points

MOST_MOTIF_PARTS: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class MotifSize:
    """What a motif is made to."""

    count: int
    """Parts around the centre or along the edge; rings; lines of a lattice from edge to edge."""
    stroke_mm: float
    """Width of its strokes, or of the gaps between its parts."""
    band_mm: float
    """Width of a border, from the outline inwards; radius of the eye or free middle of a
    filling."""

    def __post_init__(self) -> None:
        if not 1 <= self.count <= MOST_MOTIF_PARTS:
            raise SpecError("count", self.count, say("artwork.motif-count", most=MOST_MOTIF_PARTS))
        for name in ("stroke_mm", "band_mm"):
            value = getattr(self, name)
            if not (isfinite(value) and value > 0.0):
                raise SpecError(name, value, say("artwork.motif-length"))


BORDER_QUAD_SEGS: Final = 16
"""Chords of a quarter turn in borders."""
LEAN: Final = 0.6
"""How far a strand of the rope leans to either side, in strands."""
OVERLAY_GRID_MM: Final = 1e-6
"""Overlays snap to this: then no near touch can make them fail [mm]."""
POINTS_A_PERIOD: Final = 48
"""Points for each period of a wave."""


@dataclass(frozen=True, slots=True, eq=False)
class _BorderLine:
    """A closed line that a border runs along, counter-clockwise from its top [mm]."""

    line: LineString

    @property
    def length_mm(self) -> float:
        return float(self.line.length)

    def at(self, along: Points, across_mm: Points) -> Points:
        """Return points beside the line, shape (n, 2) [mm].

        `along` is a share of the length, whole numbers are the top; `across_mm` is the distance to
        the left of the way, towards the middle.
        """
        # The normal is that of a chord of a five-hundredth of the length, so that it turns
        # steadily where the line bends.
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


def _border_line(outline: Polygon, inset_mm: float, bend_mm: float) -> _BorderLine:
    """Return the line inside an outline at a distance, no bend of it tighter than a radius.

    An inset by more than the distance, grown back by a disc of the bend's radius: a dilation
    leaves no convex corner sharper than its disc.
    """
    inner = outline.buffer(-inset_mm - bend_mm, quad_segs=BORDER_QUAD_SEGS)
    if inner.is_empty or not isinstance(inner, Polygon):
        need = say("artwork.motif-outline-too-narrow", inset_mm=inset_mm)
        raise SpecError("band_mm", inset_mm, need)
    ring = orient(inner.buffer(bend_mm, quad_segs=4 * BORDER_QUAD_SEGS)).exterior
    low_x, _, high_x, high_y = ring.bounds
    top = ring.project(Point((low_x + high_x) / 2.0, high_y))
    whole = np.append(np.linspace(0.0, 1.0, 720, endpoint=False), 0.0)
    points = shapely.get_coordinates(ring.interpolate((whole * ring.length + top) % ring.length))
    return _BorderLine(LineString(points))


def scallops(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a row of arches that stand on a line along the edge, beads in them where all fit.

    An arch is |sin|^0.7 of the way: steeper at its feet than a sine, and rounder on top.
    """
    count, stroke_mm, band_mm = astuple(size)
    path = _border_line(outline, stroke_mm / 2.0, 1.6 * band_mm)
    wave = np.linspace(0.0, 1.0, count * POINTS_A_PERIOD, endpoint=False)
    rise = band_mm - stroke_mm
    arches = path.at(wave, rise * np.abs(np.sin(pi * wave * count)) ** 0.7)
    middles = path.at((np.arange(count) + 0.5) / count, np.full(count, rise / 2.0))
    # A stroke's width is left free around the bead; where there is none, there is no bead.
    bead = (min(rise, path.length_mm / count) - 3.4 * stroke_mm) / 2.0
    lines = [_closed(arches), _closed(path.at(wave, np.zeros_like(wave)))]
    strokes = [line.buffer(stroke_mm / 2.0, quad_segs=BORDER_QUAD_SEGS) for line in lines]
    drawn = _crevices_filled(shapely.union_all(strokes), stroke_mm)
    eyes = shapely.buffer(shapely.points(middles), bead, quad_segs=BORDER_QUAD_SEGS)
    clear = _dots_clear_of(drawn, eyes, stroke_mm)
    return _polygons([drawn, *(clear if len(clear) == count else [])])


def leaf_ring(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a twig along the edge with leaves to both sides, all running the same way."""
    count, stroke_mm, band_mm = astuple(size)
    path = _border_line(outline, band_mm / 2.0, band_mm)
    whole = np.linspace(0.0, 1.0, 720, endpoint=False)
    twig = _closed(path.at(whole, np.zeros_like(whole))).buffer(
        stroke_mm / 2.0, quad_segs=BORDER_QUAD_SEGS
    )
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


def _leaf(path: _BorderLine, start: float, *, reach_mm: float, span: float) -> Polygon:
    """Return a leaf that grows from a line, by shares of its length and a reach to one side.

    Its spine leaves the line and bends until it runs along it, a quarter of a sine. Its half width
    is sin(pi t^0.8)^0.9: 0 at both ends, and widest before the middle of the spine.
    """
    t = np.linspace(0.0, 1.0, 24)
    spine_along, spine_across = start + span * t, reach_mm * 0.62 * np.sin(pi * t / 2.0)
    half = abs(reach_mm) * 0.34 * np.sin(pi * t**0.8) ** 0.9
    outer = path.at(spine_along, spine_across + np.sign(reach_mm) * half)
    inner = path.at(spine_along, spine_across - np.sign(reach_mm) * half)
    return shapely.make_valid(Polygon(np.concatenate([outer, inner[::-1]])))


def braid(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return two strands that cross over and under each other along the edge.

    The strands are sines of opposite sign, so they cross where the sine is 0: twice a period. At
    each crossing, in turn, one is on top: a piece of it, wider by a gap, is cut from the other.
    """
    count, stroke_mm, band_mm = astuple(size)
    path = _border_line(outline, band_mm / 2.0, band_mm)
    swing = (band_mm - stroke_mm) / 2.0
    gap = 0.6 * stroke_mm
    strands = [
        _strand(path, count, swing_mm=swing * side, stroke_mm=stroke_mm) for side in (1.0, -1.0)
    ]
    for crossing in range(2 * count):
        over = crossing % 2
        middle, reach = crossing / (2.0 * count), 0.2 / count
        share = np.linspace(middle - reach, middle + reach, POINTS_A_PERIOD)
        wave = (1.0 - 2.0 * over) * swing * np.sin(2.0 * pi * count * share)
        bridge = LineString(path.at(share, wave))
        cut = bridge.buffer(stroke_mm / 2.0 + gap, cap_style="flat", quad_segs=BORDER_QUAD_SEGS)
        strands[1 - over] = strands[1 - over].difference(cut)
    return _polygons(strands)


def _strand(
    path: _BorderLine, count: int, *, swing_mm: float, stroke_mm: float
) -> shapely.Geometry:
    along = np.linspace(0.0, 1.0, count * POINTS_A_PERIOD, endpoint=False)
    wave = path.at(along, swing_mm * np.sin(2.0 * pi * count * along))
    return _closed(wave).buffer(stroke_mm / 2.0, quad_segs=BORDER_QUAD_SEGS)


def rope(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return a rope along the edge: slanting strands, with gaps as wide as a stroke.

    A strand leans by `LEAN` strands to both sides over the border's width, less a sine that bends
    it into an S. Its half length is constant but at its ends, where (1 - t^6)^0.5 rounds it.
    """
    count, stroke_mm, band_mm = astuple(size)
    path = _border_line(outline, band_mm / 2.0, band_mm)
    t = np.linspace(-1.0, 1.0, 24)
    # A gap is as wide as a stroke across the slant, so it is longer along the way.
    slant = hypot(1.0, 2.0 * LEAN * path.length_mm / count / band_mm)
    gap = stroke_mm * slant / path.length_mm / 2.0
    half = 0.5 / count - gap
    if half <= gap / 2.0:
        raise SpecError("count", count, say("artwork.motif-strands-touch"))
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
    path = _border_line(outline, band_mm / 2.0, band_mm)
    radius = min(band_mm, path.length_mm / count - stroke_mm) / 2.0
    if radius <= stroke_mm / 4.0:
        raise SpecError("count", count, say("artwork.motif-beads-touch"))
    centres = path.at(np.arange(count) / count, np.zeros(count))
    return _polygons(
        list(shapely.buffer(shapely.points(centres), radius, quad_segs=BORDER_QUAD_SEGS))
    )


def _closed(points: Points) -> LineString:
    return LineString(np.concatenate([points, points[:1]]))


def _polygons(shapes: list[shapely.Geometry]) -> MultiPolygon:
    union = shapely.union_all(shapes, grid_size=OVERLAY_GRID_MM)
    return MultiPolygon([part for part in shapely.get_parts(union) if isinstance(part, Polygon)])


LEAST_WEDGES: Final = 3
"""Fewer petals than this take a wedge of a third: the wedge of one would be the whole round."""
FILL_QUAD_SEGS: Final = 32
"""Chords of a quarter turn in fillings."""
CREVICE_SHARE: Final = 0.9
"""Gaps narrower than this share of a stroke are filled."""
CREVICE_QUAD_SEGS: Final = 8
LEAST_MESH_SHARE: Final = 0.15
"""A mesh that the frame cuts down to less than this share of a whole one is filled; our choice."""
ARC_SIMPLIFIED_MM: Final = 0.002
"""Corners that move an edge by less are left out [mm]."""


def petals(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return pointed petals around a round eye, each with a groove along it.

    Each is made along the x axis, cut to its own wedge of the round, and rotated. Its half width is
    sin(pi t^1.45)^0.85 of the way t: widest at t = 0.62, slender at the foot, blunter at the tip.
    """
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    shapes: list[shapely.Geometry] = [middle.buffer(band_mm, quad_segs=FILL_QUAD_SEGS)]
    for index in range(count):
        angle = pi / 2.0 + tau * index / count
        start, end = band_mm + stroke_mm, _reach(outline, middle, angle)
        widest = start + 0.62 * (end - start)
        # One or two petals have a whole side to themselves.
        half = max(widest * tan(pi / max(count, LEAST_WEDGES)) - stroke_mm / 2.0, 0.0)
        petal = _petal(start, end, min(half, 0.36 * (end - start)))
        groove = LineString([(start + 0.22 * (end - start), 0), (start + 0.7 * (end - start), 0)])
        petal = petal.intersection(_wedge(count, end, stroke_mm))
        cut = petal.difference(groove.buffer(stroke_mm / 2.0, quad_segs=FILL_QUAD_SEGS))
        shapes.append(_rotated(cut, middle, angle))
    return _polygons(shapes)


def _petal(start: float, end: float, half: float) -> Polygon:
    t = np.linspace(0.0, 1.0, 48)
    along = start + (end - start) * t
    width = half * np.sin(pi * t**1.45) ** 0.85
    side = np.stack([along, width], axis=1)
    return shapely.make_valid(Polygon(np.concatenate([side, (side * (1.0, -1.0))[::-1]])))


def _wedge(count: int, end: float, gap_mm: float) -> Polygon:
    """Return one petal's share of the round, half a gap narrower on each side.

    Its sides are the wedge's own, moved inwards by g / 2, so they meet at (g / 2) / sin(a).
    """
    half = pi / max(count, LEAST_WEDGES)
    apex, far = gap_mm / 2.0 / sin(half), 2.0 * end
    high = (far - apex) * tan(half)
    return Polygon([(apex, 0.0), (far, -high), (far, high)])


def rays(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rays that widen from a ring around the middle to the outline, long and short.

    A ray is the trapezium between two radii, half a gap narrower on each side, with a round end.
    """
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    ring = middle.buffer(band_mm - stroke_mm, quad_segs=FILL_QUAD_SEGS)
    ring = ring.difference(
        middle.buffer(max(band_mm - 3.0 * stroke_mm, 0.0), quad_segs=FILL_QUAD_SEGS)
    )
    shapes: list[shapely.Geometry] = [ring]
    for index in range(count):
        angle = pi / 2.0 + tau * index / count
        end = _reach(outline, middle, angle)
        end = end if index % 2 == 0 else band_mm + 0.62 * (end - band_mm)
        near = max(band_mm * tan(pi / count) - stroke_mm / 2.0, 0.0)
        far = max(end * tan(pi / count) - stroke_mm / 2.0, 0.0) * 0.8
        wedge = Polygon([(band_mm, -near), (end - far, -far), (end - far, far), (band_mm, near)])
        tip = Point(end - far, 0.0).buffer(far, quad_segs=FILL_QUAD_SEGS)
        shapes.append(_rotated(wedge.union(tip), middle, angle))
    return _polygons(shapes)


def rings(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rings that follow the outline at even distances, around a bead."""
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    inner = float(outline.exterior.distance(middle))
    pitch = (inner - band_mm) / count
    shapes: list[shapely.Geometry] = [middle.buffer(band_mm, quad_segs=FILL_QUAD_SEGS)]
    for index in range(count):
        outer = outline.buffer(-index * pitch, quad_segs=FILL_QUAD_SEGS)
        width = min(stroke_mm, 0.7 * pitch)
        shapes.append(
            outer.difference(outline.buffer(-index * pitch - width, quad_segs=FILL_QUAD_SEGS))
        )
    return _polygons(shapes)


def lattice(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return crossed diagonal bars inside a frame, a bead in every mesh of the lattice.

    It is drawn upright, as large as the outline's bounding circle, and rotated by 45 deg.
    """
    count, stroke_mm, band_mm = astuple(size)
    middle = outline.centroid
    half = max(np.hypot(*np.ptp(shapely.get_coordinates(outline), axis=0)) / 2.0, band_mm)
    pitch = 2.0 * half / (count + 1)
    steps = (np.arange(count) - (count - 1) / 2.0) * pitch
    bars = [LineString([(-half, step), (half, step)]) for step in steps]
    bars += [LineString([(step, -half), (step, half)]) for step in steps]
    strokes = [bar.buffer(stroke_mm / 2.0, cap_style="flat") for bar in bars]
    meshes = np.stack(np.meshgrid(steps[:-1] + pitch / 2.0, steps[:-1] + pitch / 2.0), axis=-1)
    radius = min(max(pitch / 2.0 - 1.5 * stroke_mm, 0.0), band_mm)
    dots = shapely.buffer(shapely.points(meshes.reshape(-1, 2)), radius, quad_segs=8)
    inside = outline.buffer(-stroke_mm, quad_segs=FILL_QUAD_SEGS)
    crossed = _rotated(shapely.union_all(strokes), middle, pi / 4.0)
    bars_and_frame = _crevices_filled(outline.difference(inside).union(crossed), stroke_mm)
    bars_and_frame = _cut_meshes_filled(bars_and_frame)
    turned = [_rotated(dot, middle, pi / 4.0) for dot in dots]
    return _polygons([bars_and_frame, *_dots_clear_of(bars_and_frame, turned, stroke_mm)])


def scales(outline: Polygon, size: MotifSize) -> MultiPolygon:
    """Return rows of overlapping round scales inside a frame, an eye in each.

    Rows are one radius apart and each is shifted by a radius against the last. Of a circle only
    the lower half is drawn: the next row covers the rest.
    """
    count, stroke_mm, band_mm = astuple(size)
    left, low, right, high = outline.bounds
    radius = (right - left) / count / 2.0
    centres = [
        Point(left + radius * (2 * column + 1 + row % 2), high - radius * (row - 1))
        for row in range(int((high - low) / radius) + 3)
        for column in range(-1, count + 2)
    ]
    inside = outline.buffer(-stroke_mm, quad_segs=FILL_QUAD_SEGS)
    rims = shapely.union_all([_rim(centre, radius, stroke_mm) for centre in centres])
    drawn = _crevices_filled(outline.difference(inside).union(rims & inside), stroke_mm)
    drawn = _cut_meshes_filled(drawn)
    eye_mm = min(band_mm, 0.2 * radius, 0.58 * radius - 1.5 * stroke_mm)
    eyes = [Point(at.x, at.y - 0.42 * radius).buffer(eye_mm, quad_segs=8) for at in centres]
    within = [eye for eye in eyes if inside.contains(eye)]
    return _polygons([drawn, *_dots_clear_of(drawn, within, stroke_mm)])


def _rim(centre: Point, radius: float, stroke_mm: float) -> shapely.Geometry:
    """Return the lower half of a scale's rim."""
    x, y = centre.x, centre.y
    lower = shapely.box(x - 2.0 * radius, y - 2.0 * radius, x + 2.0 * radius, y)
    outer = centre.buffer(radius + stroke_mm / 2.0, quad_segs=FILL_QUAD_SEGS)
    rim = outer.difference(centre.buffer(radius - stroke_mm / 2.0, quad_segs=FILL_QUAD_SEGS))
    return rim.intersection(lower)


def _crevices_filled(shape: shapely.Geometry, stroke_mm: float) -> shapely.Geometry:
    """Return a shape whose gaps narrower than nine tenths of a stroke are filled.

    Where a frame cuts a filling, or two arcs meet, a gap tapers to nothing: dough does not fill it,
    and a nozzle cannot draw the wall that it is in the stamp. A morphological closing, a dilation
    and an erosion by one radius, fills what is narrower than twice that radius.
    """
    radius_mm = CREVICE_SHARE * stroke_mm / 2.0
    grown = shapely.buffer(shape, radius_mm, quad_segs=CREVICE_QUAD_SEGS)
    filled = shapely.buffer(grown, -radius_mm, quad_segs=CREVICE_QUAD_SEGS)
    # A dilated and eroded arc gains corners at each step.
    return shapely.simplify(filled, ARC_SIMPLIFIED_MM)


def _cut_meshes_filled(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a shape without the small holes that its frame cuts off a repeat.

    What is left of a mesh that the frame cuts looks like a fault of the print where it is small.
    """
    holes = [Polygon(ring) for part in shapely.get_parts(shape) for ring in part.interiors]
    whole = max((hole.area for hole in holes), default=0.0)
    cut = [hole for hole in holes if hole.area < LEAST_MESH_SHARE * whole]
    return shapely.union_all([shape, *cut])


def _dots_clear_of(
    strokes: shapely.Geometry, dots: Iterable[shapely.Geometry], stroke_mm: float
) -> list[shapely.Geometry]:
    """Return those dots around which such a gap stays free."""
    shapely.prepare(strokes)
    return [dot for dot in dots if strokes.distance(dot) >= CREVICE_SHARE * stroke_mm]


def _reach(outline: Polygon, middle: Point, angle: float) -> float:
    """Return how far a ray from the middle runs inside the outline [mm]."""
    far = 2.0 * outline.length
    end = (middle.x + far * cos(angle), middle.y + far * sin(angle))
    ray = LineString([(middle.x, middle.y), end])
    return float(outline.exterior.intersection(ray).distance(middle))


def _rotated(shape: shapely.Geometry, middle: Point, angle: float) -> shapely.Geometry:
    cosine, sine = cos(angle), sin(angle)
    turn = np.array([[cosine, sine], [-sine, cosine]])
    return shapely.transform(shape, lambda points: points @ turn + (middle.x, middle.y))


Construction: TypeAlias = Callable[[Polygon, MotifSize], MultiPolygon]

CONSTRUCTIONS: Final[Mapping[Motif, Construction]] = MappingProxyType(
    {
        Motif.PETALS: petals,
        Motif.RAYS: rays,
        Motif.RINGS: rings,
        Motif.LATTICE: lattice,
        Motif.SCALES: scales,
        Motif.SCALLOPS: scallops,
        Motif.LEAF_RING: leaf_ring,
        Motif.BRAID: braid,
        Motif.ROPE: rope,
        Motif.BEADS: beads,
    }
)
DEFAULT_SIZES: Final[Mapping[Motif, MotifSize]] = MappingProxyType(
    {
        Motif.PETALS: MotifSize(count=8, stroke_mm=1.2, band_mm=3.0),
        Motif.RAYS: MotifSize(count=24, stroke_mm=1.2, band_mm=9.0),
        Motif.RINGS: MotifSize(count=5, stroke_mm=1.6, band_mm=2.0),
        Motif.LATTICE: MotifSize(count=9, stroke_mm=1.4, band_mm=1.0),
        Motif.SCALES: MotifSize(count=6, stroke_mm=1.2, band_mm=1.0),
        Motif.SCALLOPS: MotifSize(count=20, stroke_mm=1.1, band_mm=4.6),
        Motif.LEAF_RING: MotifSize(count=20, stroke_mm=1.2, band_mm=7.0),
        Motif.BRAID: MotifSize(count=20, stroke_mm=1.6, band_mm=6.0),
        Motif.ROPE: MotifSize(count=36, stroke_mm=1.0, band_mm=4.5),
        Motif.BEADS: MotifSize(count=32, stroke_mm=1.0, band_mm=4.0),
    }
)
"""Sizes that look well on a top of 60 mm, our choice."""
USUAL_TOP_MM: Final = 60.0
"""Diameter of the top for which they were chosen [mm]."""
BORDERS: Final = frozenset({Motif.SCALLOPS, Motif.LEAF_RING, Motif.BRAID, Motif.ROPE, Motif.BEADS})
"""Motifs whose parts lie along the edge."""
STARS: Final = frozenset({Motif.PETALS, Motif.RAYS})
"""Motifs whose parts lie around the middle."""


def whole_repeats(kind: Motif, outline: Polygon) -> int:
    """Return the count of which a motif's count has to be a multiple to match an outline.

    It is the order of the outline's rotational symmetry, and twice that for rays, of which a long
    and a short one make a repeat; 1 where any count matches: on a disc, or where the motif's parts
    do not go around.
    """
    if kind not in BORDERS | STARS:
        return 1
    return rotational_symmetry(outline) * (2 if kind is Motif.RAYS else 1)


def fitted_size(kind: Motif, outline: Polygon) -> MotifSize:
    """Return the usual size of a motif with as many whole repeats as an outline takes.

    Parts of a border, meshes and scales stay about as large as on the usual top. Those that go
    around are a multiple of `whole_repeats`.

    Examples
    --------
    >>> square = shapely.box(-15, -15, 15, 15)
    >>> fitted_size(Motif.BRAID, square).count, fitted_size(Motif.PETALS, square).count
    (12, 8)
    """
    usual = DEFAULT_SIZES[kind]
    left, low, right, high = outline.bounds
    if kind in BORDERS:
        # The middle line of a border lies half its width inside the edge, so by the formula for
        # parallel curves it is pi times that width shorter.
        ratio = (outline.length / pi - usual.band_mm) / (USUAL_TOP_MM - usual.band_mm)
    elif kind is Motif.LATTICE:
        # Bars are a whole number of meshes apart across the box where one more than them is even.
        across = hypot(right - left, high - low) / (sqrt(2.0) * USUAL_TOP_MM)
        return replace(usual, count=max(2 * round((usual.count + 1) * across / 2.0) - 1, 1))
    elif kind is Motif.SCALES:
        ratio = (right - left) / USUAL_TOP_MM
    else:
        ratio = 1.0
    step = whole_repeats(kind, outline)
    return replace(usual, count=max(round(usual.count * ratio / step), 1) * step)


def motif(kind: Motif, outline: Polygon, size: MotifSize) -> tuple[Region, ...]:
    """Return a motif that fits an outline.

    Examples
    --------
    >>> disc = shapely.Point(0, 0).buffer(25.0)
    >>> (region,) = motif(Motif.BEADS, disc, DEFAULT_SIZES[Motif.BEADS])
    >>> len(region.shape.geoms)
    32
    """
    drawn = CONSTRUCTIONS[kind](outline, size)
    inside = shapely.intersection(drawn, outline, grid_size=OVERLAY_GRID_MM)
    parts = [
        part for part in shapely.get_parts(inside) if isinstance(part, Polygon) and part.area > 0.0
    ]
    if not parts:
        need = say("artwork.motif-without-room")
        raise SpecError("motif", kind.value, need)
    return (Region(MultiPolygon(parts), 1.0),)
