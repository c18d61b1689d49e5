"""Polygon sets with their share of the relief's depth, and the curves that bound them.

A polygon set is the flat kernel's value (Clipper's, through manifold3d): any number of polygons
with holes, closed under union, difference, intersection and offset. It stays inside this room;
shapely's multipolygons, valid and simple, leave it as `Region`s.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import acos, ceil, hypot, isfinite, radians
from typing import Any, Final, TypeAlias

import numpy as np
import pathops
import shapely
from manifold3d import CrossSection, FillRule, JoinType, OpType
from picosvg.arc_to_cubic import EllipticalArc
from picosvg.geometric_types import Point
from picosvg.svg_transform import Affine2D
from shapely import MultiPolygon, Polygon

from moulddesign.core import KernelError, Message, SpecError, limits, say
from moulddesign.geometry import Indices, Points

PolygonSet: TypeAlias = CrossSection

LEAST_CORNERS: Final = 3
CLIPPER_STEP: Final = 1e-9
"""Clipper rounds to 1e-8: a drawing's area may move by that times its edges' length."""


def fill_nonzero(rings: Sequence[Points]) -> PolygonSet:
    """Return what closed lines wind around, whichever way: SVG's `nonzero` rule."""
    return _filled(rings, FillRule.NonZero)


def fill_even_odd(rings: Sequence[Points]) -> PolygonSet:
    """Return what lies inside an odd number of closed lines: SVG's `evenodd` rule."""
    return _filled(rings, FillRule.EvenOdd)


def _filled(rings: Sequence[Points], rule: FillRule) -> PolygonSet:
    usable = [
        np.ascontiguousarray(ring, dtype=np.float64) for ring in rings if len(ring) >= LEAST_CORNERS
    ]
    return CrossSection(usable, rule) if usable else CrossSection()


MOST_PAIRS: Final = 100_000
"""Pairs of edges that `crossing_count` compares: some milliseconds."""
LEAST_SAMPLE: Final = 16
MOST_SAMPLE: Final = 32
"""Of many small paths each is compared: their samples together stay small."""


def crossing_count(rings: Sequence[Points]) -> int:
    """Return how often the edges of closed lines cross, estimated where there are many.

    The flat kernel takes time by the crossing, and scribbled lines have as many as their number
    squared. Edges that only touch or share an end do not count.

    Examples
    --------
    >>> bow_tie = np.array([[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]])
    >>> crossing_count([bow_tie])
    1
    """
    whole = [ring for ring in rings if len(ring)]
    if sum(map(len, whole)) <= LEAST_CORNERS:
        return 0
    start, first_of = np.concatenate(whole).T, _first_rows(whole)
    count = start.shape[1]
    following = np.arange(1, count + 1)
    following[np.append(first_of[1:], count) - 1] = first_of
    end = start[:, following]
    along = end - start
    sample = _sample(count)
    # Two edges cross where each has the ends of the other on either side: one row an edge of the
    # sample, one column an edge.
    here, there = start[:, sample, np.newaxis], along[:, sample, np.newaxis]
    first, last = start[:, np.newaxis], end[:, np.newaxis]
    apart = _cross(there, first - here) * _cross(there, last - here) < 0.0
    across = _cross(along[:, np.newaxis], here - first)
    beyond = _cross(along[:, np.newaxis], here + there - first)
    met = int(np.count_nonzero(apart & (across * beyond < 0.0)))
    return int(met * count // (2 * len(sample)))


def nesting_count(rings: Sequence[Points]) -> int:
    """Return how often a closed line lies in another's box, estimated where there are many.

    The flat kernel takes time by the lines around each line.

    Examples
    --------
    >>> ring = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    >>> nesting_count([ring, 2.0 * ring, 3.0 * ring, ring + 9.0])
    3
    """
    whole = [ring for ring in rings if len(ring)]
    if len(whole) <= 1:
        return 0
    points, first_of = np.concatenate(whole), _first_rows(whole)
    low, high = (each.reduceat(points, first_of, axis=0) for each in (np.minimum, np.maximum))
    sample = _sample(len(whole))
    around = (low < low[sample, np.newaxis]) & (high > high[sample, np.newaxis])
    return int(np.count_nonzero(around.all(axis=2)) * len(whole) // len(sample))


def _first_rows(rings: Sequence[Points]) -> Indices:
    """Return the row of each ring's first point where all stand one after another."""
    lengths = np.array([len(ring) for ring in rings])
    first: Indices = lengths.cumsum() - lengths
    return first


def _sample(count: int) -> Indices:
    """Return some of so many rows, spread evenly."""
    most = min(max(LEAST_SAMPLE, MOST_PAIRS // count), MOST_SAMPLE)
    return np.arange(count) if count <= most else np.linspace(0, count - 1, most).astype(int)


def _cross(first: Points, second: Points) -> Points:
    crossed: Points = first[0] * second[1] - first[1] * second[0]
    return crossed


def polygon_union(sets: Sequence[PolygonSet]) -> PolygonSet:
    """Return the union of polygon sets."""
    return CrossSection.batch_boolean(list(sets), OpType.Add) if sets else CrossSection()


def clip(polygons: PolygonSet, window: PolygonSet) -> PolygonSet:
    """Return what of a polygon set lies in a window; untouched where it surely lies inside."""
    if polygons.is_empty() or window.is_empty():
        return CrossSection()
    left, low, right, high = window.bounds()
    upright = abs((right - left) * (high - low) - window.area()) <= CLIPPER_STEP
    inner = polygons.bounds()
    if upright and inner[0] >= left and inner[1] >= low and inner[2] <= right and inner[3] <= high:
        return polygons
    return polygons ^ window


def offset(polygons: PolygonSet, by: float, segments: int) -> PolygonSet:
    """Return a polygon set grown by a distance to all sides, or shrunk where it is negative.

    Convex corners become arcs of a circle of so many segments.
    """
    return polygons.offset(by, JoinType.Round, 2.0, segments)


def visible_polygons(paints: Iterable[tuple[PolygonSet, float]]) -> list[tuple[PolygonSet, float]]:
    """Return what stays visible of paint laid in order, one set a share, deepest first.

    Paint of a share of 0 erases. The sets do not overlap, and none is empty.
    """
    # Laid in order, the last one covers; so from the last to the first, each one adds what is
    # not covered yet. Neighbours of one share are united first: most drawings have one share.
    runs: list[tuple[list[PolygonSet], float]] = []
    for polygons, share in paints:
        if runs and runs[-1][1] == share:
            runs[-1][0].append(polygons)
        else:
            runs.append(([polygons], share))
    visible: dict[float, list[PolygonSet]] = {}
    covered = CrossSection()
    for sets, share in reversed(runs):
        whole = polygon_union(sets)
        visible.setdefault(share, []).append(whole - covered)
        covered += whole
    shares = sorted((share for share in visible if share > 0.0), reverse=True)
    result = [(polygon_union(visible[share]), share) for share in shares]
    return [(polygons, share) for polygons, share in result if not polygons.is_empty()]


def multipolygon(polygons: PolygonSet, step: Message) -> MultiPolygon:
    """Return a polygon set as valid polygons; `step` names it in a `KernelError`.

    Rings that touch themselves in a point come out as the Simple Features standard (OGC 06-103r4)
    wants them: split, or as a hole.
    """
    if polygons.num_contour() > limits.MOST_CONTOURS:
        raise KernelError(step, say("artwork.too-many-contours", most=limits.MOST_CONTOURS))
    shape = MultiPolygon([polygon for part in polygons.decompose() for polygon in _polygons(part)])
    if not shape.is_valid:
        # A repair leaves points and lines beside the polygons.
        repaired = shapely.get_parts(shapely.get_parts(shapely.make_valid(shape)))
        shape = MultiPolygon([part for part in repaired if isinstance(part, Polygon)])
    if abs(shape.area - polygons.area()) > CLIPPER_STEP * (1.0 + shape.length):
        raise KernelError(step, say("artwork.lines-too-close"))
    return shape


def connected_parts(polygons: PolygonSet, least_area: float, step: Message) -> list[Polygon]:
    """Return the connected parts of at least an area, as valid polygons."""
    large = [part for part in polygons.decompose() if part.area() >= least_area]
    return [polygon for part in large for polygon in multipolygon(part, step).geoms]


def polygon_set(shape: Polygon | MultiPolygon) -> PolygonSet:
    """Return shapely's polygons as a polygon set."""
    rings = [
        shapely.get_coordinates(ring)[:-1]
        for polygon in shapely.get_parts(shape)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return fill_even_odd(rings)


def _polygons(part: PolygonSet) -> list[Polygon]:
    """Return the one polygon of a connected part, or none where it is too thin for floats."""
    rings = part.to_polygons()
    if len(rings) > 1:  # the outer one is that with the largest area
        rings.sort(key=lambda ring: -abs(_signed_area(ring)))
    usable = [ring for ring in rings if len(ring) >= LEAST_CORNERS]
    return [Polygon(usable[0], usable[1:])] if usable else []


def _signed_area(ring: Points) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


@dataclass(frozen=True, slots=True)
class Region:
    """A part of the artwork that takes one depth."""

    shape: MultiPolygon
    """Valid polygons, x to the right and y up as the eater reads them. Artwork with a square
    frame lies in the unit square around the origin; lettering and motifs are in [mm]."""
    depth_share: float
    """Share of the relief's depth, above 0 and at most 1."""

    def __post_init__(self) -> None:
        if not (isfinite(self.depth_share) and 0.0 < self.depth_share <= 1.0):
            raise SpecError("depth_share", self.depth_share, say("artwork.depth-share"))


def visible_regions(paints: list[tuple[PolygonSet, float]], step: Message) -> tuple[Region, ...]:
    """Return the regions that paint leaves visible, deepest first, without overlap."""
    found = [Region(multipolygon(part, step), share) for part, share in visible_polygons(paints)]
    return tuple(region for region in found if not region.shape.is_empty)


PathCommand = tuple[str, tuple[float, ...]]
"""A letter of SVG's path grammar in absolute form (M L Q C A Z), with its numbers. K, which SVG
lacks, is a rational quadratic (a conic): the weight of its middle control point comes first."""

FLATNESS: Final = 5e-5
"""Largest distance between a curve and its chords, of a drawing one unit wide: 4 um at 80 mm."""
STROKE_SCALE: Final = 65_536.0
"""Skia strokes within a quarter of its unit, in float32: at this many units the quarter is 4e-6 of
the drawing's width, and so is the float32 step."""
FARTHEST: Final = 1e9
"""Farthest point of a drawing one unit wide: beyond it Clipper's integers end; our choice."""
LEAST_RADIUS: Final = 1e-150
"""An arc of a smaller one is a line, as one of none: its square is no float."""
MOST_CHORDS: Final = 2_000
"""Most chords of one curve; a curve that asks for more lies far outside the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeStyle:
    """How a path is stroked; lengths are in the path's own units."""

    width: float
    cap: str = "butt"
    """One of `CAPS`."""
    join: str = "miter"
    """One of `JOINS`."""
    miter_limit: float = 4.0
    """Longest mitre, in widths of the stroke."""
    dashes: tuple[float, ...] = ()
    """Lengths drawn and left out in turn; empty for a whole line."""
    dash_offset: float = 0.0
    """Where in the dashes the path begins."""


CAPS: Final = {
    "butt": pathops.LineCap.BUTT_CAP,
    "round": pathops.LineCap.ROUND_CAP,
    "square": pathops.LineCap.SQUARE_CAP,
}
JOINS: Final = {
    "miter": pathops.LineJoin.MITER_JOIN,
    "round": pathops.LineJoin.ROUND_JOIN,
    "bevel": pathops.LineJoin.BEVEL_JOIN,
}


def largest_scale(matrix: Affine2D) -> float:
    """Return the largest factor by which an affine map lengthens, its largest singular value.

    Notes
    -----
    A plane map is the sum of a rotation with scale p and a reflection with scale q; a vector
    along which both point the same way is lengthened by p + q. With the matrix [[a, c], [b, d]],
    p = hypot(a + d, b - c) / 2 and q = hypot(a - d, b + c) / 2.

    Examples
    --------
    >>> largest_scale(Affine2D(3.0, 0.0, 0.0, -2.0, 5.0, 5.0))
    3.0
    """
    a, b, c, d = matrix[:4]
    return (hypot(a + d, b - c) + hypot(a - d, b + c)) / 2.0


def polylines(
    commands: Iterable[PathCommand], matrix: Affine2D, flatness: float = FLATNESS
) -> list[Points]:
    """Return one polyline for each subpath, mapped by an affine map.

    Chords lie within `flatness` of a curve, in units of the result; the closing point is not
    repeated.
    """
    commands = list(commands)
    if not commands:
        return []
    scale = largest_scale(matrix)
    scale = scale if scale > 0.0 else 1.0
    _refuse_far(commands, matrix, scale)
    kinds, first = _by_kind(commands)
    counts = np.ones(len(commands), dtype=int)
    flattened: list[tuple[list[int], Points]] = []
    for letter, (places, rows) in kinds.items():
        points, counts[places] = _flattened(letter, rows, flatness / scale)
        flattened.append((places, points))
    ends = counts.cumsum()
    result = np.empty((ends[-1], 2))
    for places, points in flattened:
        among = counts[places]
        result[np.arange(len(points)) + np.repeat(ends[places] - among.cumsum(), among)] = points
    linear = np.array([[matrix.a, matrix.c], [matrix.b, matrix.d]])
    mapped = result @ linear.T + (matrix.e, matrix.f)
    cuts = (0, *(ends[first] - 1).tolist(), len(mapped))
    return [mapped[begin:end] for begin, end in pairwise(cuts) if end - begin > 1]


def _by_kind(
    commands: Sequence[PathCommand],
) -> tuple[dict[str, tuple[list[int], list[tuple[float, ...]]]], list[int]]:
    """Return the places of commands by letter, each with its points, and where subpaths begin.

    A line's row is its end, and so is that of a command which begins a subpath; a curve's row
    begins with its weight and where it starts.
    """
    kinds: dict[str, tuple[list[int], list[tuple[float, ...]]]] = defaultdict(lambda: ([], []))
    first: list[int] = []
    start = here = (0.0, 0.0)
    for place, (letter, numbers) in enumerate(commands):
        row: tuple[float, ...] = numbers
        if letter in "MZ":
            start = here = (numbers[0], numbers[1]) if letter == "M" else start
            letter, row = "L", here  # noqa: PLW2901 (its only point is where it begins)
            first.append(place)
        elif letter != "L":
            weight, rest = (numbers[0], numbers[1:]) if letter == "K" else (1.0, numbers)
            row = (weight, *here, *rest)
        here = (row[-2], row[-1])
        places, rows = kinds[letter]
        places.append(place)
        rows.append(row)
    return kinds, first


def _refuse_far(commands: Iterable[PathCommand], matrix: Affine2D, scale: float) -> None:
    """Raise `SpecError` where floats would overflow, or Clipper's integers end."""
    numbers = [abs(number) for _, group in commands for number in group]
    if max(numbers, default=0.0) * scale + abs(matrix.e) + abs(matrix.f) > FARTHEST:
        raise SpecError("drawing", "out of reach", say("artwork.out-of-reach", most=FARTHEST))


def stroke_outline(
    commands: Sequence[PathCommand], stroke: StrokeStyle, scale: float
) -> list[PathCommand]:
    """Return the outline of a stroke, to be filled by the nonzero rule.

    Notes
    -----
    The parallels of a cubic are no cubics, so Skia fits quadratics to both sides of each curve
    and adds caps and joins. The outline runs over itself where the path bends sharply or crosses
    itself: by the nonzero rule that is filled all the same, by the even-odd rule it is a hole.
    """
    path = pathops.Path()
    for command in commands:
        _add_to_skia(path, command, scale)
    path.stroke(
        stroke.width * scale, CAPS[stroke.cap], JOINS[stroke.join], stroke.miter_limit,
        [dash * scale for dash in stroke.dashes] or None, stroke.dash_offset * scale,
    )  # fmt: skip
    return [_from_skia(verb, points, 1.0 / scale) for verb, points in path]


def _add_to_skia(path: Any, command: PathCommand, scale: float) -> None:  # noqa: ANN401 (pathops has no types)
    letter, numbers = command
    if letter == "A":
        rx, ry, turn, large, sweep, x, y = numbers
        size = pathops.ArcSize.LARGE if large else pathops.ArcSize.SMALL
        way = pathops.Direction.CW if sweep else pathops.Direction.CCW
        path.arcTo(rx * scale, ry * scale, turn, size, way, x * scale, y * scale)
        return
    verb = {
        "M": path.moveTo,
        "L": path.lineTo,
        "Q": path.quadTo,
        "C": path.cubicTo,
        "Z": path.close,
    }
    verb[letter](*(number * scale for number in numbers))


LETTERS: Final = {
    pathops.PathVerb.MOVE: "M", pathops.PathVerb.LINE: "L", pathops.PathVerb.QUAD: "Q",
    pathops.PathVerb.CONIC: "K", pathops.PathVerb.CUBIC: "C", pathops.PathVerb.CLOSE: "Z",
}  # fmt: skip


def _from_skia(verb: Any, points: Any, scale: float) -> PathCommand:  # noqa: ANN401 (pathops has no types)
    weight: tuple[float, ...] = ()
    if verb == pathops.PathVerb.CONIC:  # skia-pathops 0.9 gives the weight after the points
        *points, weight_value = points
        weight = (float(weight_value),)
    numbers = weight + tuple(float(value) * scale for point in points for value in point)
    if not all(map(isfinite, numbers)):
        raise KernelError(say("artwork.stroke-outline"), say("artwork.stroke-too-far"))
    return LETTERS[verb], numbers


def _flattened(
    letter: str, rows: Sequence[tuple[float, ...]], flatness: float
) -> tuple[Points, Indices]:
    """Return the points of commands of one kind, each without its first, and how many each has.

    A chord over a parameter step h leaves its curve by at most h^2 / 8 times the largest second
    derivative. For a quadratic that is 2 |P0 - 2 P1 + P2|, for a cubic at most 6 times the larger
    of its two second differences: so n = sqrt(k D / flatness) chords are enough, with D the
    second difference and k = 2 / 8 or 6 / 8. A conic is divided as a quadratic is.
    """
    if letter == "L":
        return np.array(rows), np.ones(len(rows), dtype=int)
    if letter == "A":
        arcs = [_flattened_arc((row[1], row[2]), row[3:], flatness) for row in rows]
        return np.concatenate(arcs), np.array([len(arc) for arc in arcs])
    table = np.array(rows)
    points = table[:, 1:].reshape(len(rows), -1, 2)
    bend = np.abs(np.diff(points, n=2, axis=1)).max(axis=1)
    factor = 0.75 if letter == "C" else 0.25
    chords = np.sqrt(factor * np.hypot(*bend.T) / flatness)
    counts = np.clip(np.ceil(chords), 1, MOST_CHORDS).astype(int)
    ends, owner = counts.cumsum(), np.repeat(np.arange(len(rows)), counts)
    t = (np.arange(1, len(owner) + 1) - (ends - counts)[owner]) / counts[owner]
    shares: tuple[Points, ...]
    if letter == "C":
        shares = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
    else:
        shares = ((1 - t) ** 2, 2 * table[owner, 0] * t * (1 - t), t**2)
    weights = np.stack(shares, axis=1)
    # The shares of a rational curve do not sum to one by themselves.
    blended: Points = np.einsum("ij,ijk->ik", weights, points[owner])
    blended /= weights.sum(axis=1, keepdims=True)
    blended[ends - 1] = points[:, -1]
    return blended, counts


def _flattened_arc(
    here: tuple[float, float], numbers: tuple[float, ...], flatness: float
) -> Points:
    """Return points on an elliptical arc, without its first.

    SVG gives both ends, the radii, the ellipse's turn and two flags: of the two ellipses through
    both ends, `large` and `sweep` choose one and one way around it. picosvg finds the centre and
    the angles as SVG 2, appendix B.2.4 derives them, and scales up radii that are too small to
    reach (B.2.5). A chord over an angle a leaves a circle of radius r by r (1 - cos(a / 2)), and
    an ellipse by no more than the circle of its larger radius.
    """
    rx, ry, turn, large, sweep = numbers[:5]
    end = Point(*numbers[5:])
    arc = EllipticalArc(Point(*here), abs(rx), abs(ry), turn, int(large), int(sweep), end)
    if min(arc.rx, arc.ry) < LEAST_RADIUS or arc.is_zero_length():
        return np.array([tuple(end)])
    arc = arc.correct_out_of_range_radii()
    frame = arc.end_to_center_parametrization()
    step = 2.0 * acos(max(1.0 - flatness / max(arc.rx, arc.ry), 0.0))
    angle = frame.theta1 + frame.theta_arc * _parameters(abs(frame.theta_arc) / step)
    cosine, sine = np.cos(radians(turn)), np.sin(radians(turn))
    x, y = arc.rx * np.cos(angle), arc.ry * np.sin(angle)
    points: Points = np.stack([cosine * x - sine * y, sine * x + cosine * y], axis=1)
    points += tuple(frame.center_point)
    points[-1] = end
    return points


def _parameters(chords: float) -> Points:
    """Return parameters from 0 (left out) to 1 for at least so many chords."""
    count = min(max(ceil(chords), 1), MOST_CHORDS)
    return np.arange(1, count + 1) / count
