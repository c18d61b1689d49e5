"""Flat areas with their share of the relief's depth, and the curves that bound them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import acos, ceil, hypot, isfinite, radians, sqrt
from typing import Any, Final, TypeAlias

import numpy as np
import pathops
import shapely
from manifold3d import CrossSection, FillRule, JoinType, OpType
from numpy.typing import NDArray
from picosvg.arc_to_cubic import EllipticalArc
from picosvg.geometric_types import Point
from picosvg.svg_transform import Affine2D
from shapely import MultiPolygon, Polygon

from moulddesign.core import KernelError, SpecError

Area: TypeAlias = CrossSection
"""A flat area inside this module and those that stack it; shapely's regions leave the room."""

LEAST_CORNERS: Final = 3
AREA_STEP: Final = 1e-9
"""Clipper rounds to 1e-8: a drawing's area may move by that times its edges' length."""


def nonzero(lines: Sequence[NDArray[np.float64]]) -> Area:
    """Return what closed lines wind around, whichever way [square units]."""
    return _filled(lines, FillRule.NonZero)


def even_odd(lines: Sequence[NDArray[np.float64]]) -> Area:
    """Return what lies inside an odd number of closed lines [square units]."""
    return _filled(lines, FillRule.EvenOdd)


def _filled(lines: Sequence[NDArray[np.float64]], rule: FillRule) -> Area:
    usable = [
        np.ascontiguousarray(line, dtype=np.float64) for line in lines if len(line) >= LEAST_CORNERS
    ]
    return CrossSection(usable, rule) if usable else CrossSection()


def joined(areas: Sequence[Area]) -> Area:
    """Return the union of areas."""
    return CrossSection.batch_boolean(list(areas), OpType.Add) if areas else CrossSection()


def within(area: Area, window: Area) -> Area:
    """Return what of an area lies in a window; untouched where it surely lies inside."""
    if area.is_empty() or window.is_empty():
        return CrossSection()
    left, low, right, high = window.bounds()
    upright = abs((right - left) * (high - low) - window.area()) <= AREA_STEP
    inner = area.bounds()
    if upright and inner[0] >= left and inner[1] >= low and inner[2] <= right and inner[3] <= high:
        return area
    return area ^ window


def offset(area: Area, by: float, segments: int) -> Area:
    """Return an area grown by a distance to all sides, or shrunk where it is negative.

    Parameters
    ----------
    area : Area
        The area.
    by : float
        The distance, in the area's unit.
    segments : int
        Sides of the polygon that stands for a whole circle.
    """
    return area.offset(by, JoinType.Round, 2.0, segments)


def stacked(paints: Iterable[tuple[Area, float]]) -> list[tuple[Area, float]]:
    """Return what stays visible of paint laid in order, one area a share, deepest first.

    Parameters
    ----------
    paints : iterable of (Area, float)
        Areas with their share of the depth, first laid first; a share of 0 erases.

    Returns
    -------
    list of (Area, float)
        Areas without overlap, none empty.
    """
    runs: list[tuple[list[Area], float]] = []
    for area, share in paints:
        if runs and runs[-1][1] == share:
            runs[-1][0].append(area)
        else:
            runs.append(([area], share))
    visible: dict[float, list[Area]] = {}
    covered = CrossSection()
    for areas, share in reversed(runs):
        whole = joined(areas)
        visible.setdefault(share, []).append(whole - covered)
        covered += whole
    shares = sorted((share for share in visible if share > 0.0), reverse=True)
    result = [(joined(visible[share]), share) for share in shares]
    return [(area, share) for area, share in result if not area.is_empty()]


def multipolygon(area: Area, step: str) -> MultiPolygon:
    """Return an area as valid polygons; `step` names it in a `KernelError`.

    Rings that touch themselves in a point come out as SFS wants them: split, or as a hole.
    """
    shape = MultiPolygon([polygon for part in area.decompose() for polygon in _polygons(part)])
    if not shape.is_valid:
        shape = _polygonal(shapely.make_valid(shape))
    if abs(shape.area - area.area()) > AREA_STEP * (1.0 + shape.length):
        raise KernelError(
            step, "its lines lie too close together; draw it with fewer doubled lines"
        )
    return shape


def parts(area: Area, least_area: float, step: str) -> list[Polygon]:
    """Return the connected parts of an area that are at least so large, as valid polygons."""
    large = [part for part in area.decompose() if part.area() >= least_area]
    return [polygon for part in large for polygon in multipolygon(part, step).geoms]


def area_of(shape: Polygon | MultiPolygon) -> Area:
    """Return polygons as an area to combine with others."""
    rings = [
        shapely.get_coordinates(ring)[:-1]
        for polygon in shapely.get_parts(shape)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return even_odd(rings)


def _polygons(part: Area) -> list[Polygon]:
    """Return the one polygon of a connected part, or none where it is too thin for floats."""
    rings = sorted(part.to_polygons(), key=lambda ring: -abs(_signed(ring)))
    usable = [ring for ring in rings if len(ring) >= LEAST_CORNERS]
    return [Polygon(usable[0], usable[1:])] if usable else []


def _signed(ring: NDArray[np.float64]) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def _polygonal(shape: shapely.Geometry) -> MultiPolygon:
    """Return the polygons among what a repair left, without its points and lines."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon)])


@dataclass(frozen=True, slots=True)
class Region:
    """A part of the artwork that takes one depth.

    Parameters
    ----------
    shape : MultiPolygon
        Valid polygons, x to the right and y up as the eater reads them. Artwork with a square
        frame lies in the unit square around the origin; lettering and motifs are in [mm].
    depth_share : float
        Share of the relief's depth, above 0 and at most 1.
    """

    shape: MultiPolygon
    depth_share: float

    def __post_init__(self) -> None:
        if not (isfinite(self.depth_share) and 0.0 < self.depth_share <= 1.0):
            raise SpecError("depth_share", self.depth_share, "must be above 0 and at most 1")


def regions(paints: list[tuple[Area, float]], step: str) -> tuple[Region, ...]:
    """Return the regions that paint leaves visible, deepest first, without overlap.

    Parameters
    ----------
    paints : list of (Area, float)
        First laid first; a share of 0 erases what lies below.
    step : str
        Names the drawing in an error.
    """
    found = [Region(multipolygon(area, step), share) for area, share in stacked(paints)]
    return tuple(region for region in found if not region.shape.is_empty)


Command = tuple[str, tuple[float, ...]]
"""A letter of SVG's path grammar in absolute form (M L Q C A Z), with its numbers."""
Polyline = NDArray[np.float64]

FLATNESS: Final = 5e-5
"""Largest distance between a curve and its chords, of a drawing one unit wide: 4 um at 80 mm."""
STROKE_SCALE: Final = 65_536.0
"""Skia strokes within a quarter of its unit, in float32: at this many units the quarter is 4e-6 of
the drawing's width, and so is the float32 step."""
FARTHEST: Final = 1e9
"""Farthest point of a drawing one unit wide: beyond it the areas' integers end; our choice."""
LEAST_RADIUS: Final = 1e-150
"""An arc of a smaller one is a line, as one of none: its square is no float."""
MOST_PIECES: Final = 2_000
"""Most chords of one curve; a curve that asks for more lies far outside the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """How a path is stroked, in the path's own units.

    Parameters
    ----------
    width : float
        Width of the stroke.
    cap, join : str
        SVG's words: butt, round, square; miter, round, bevel.
    miter_limit : float
        Longest mitre, in widths of the stroke.
    dashes : tuple of float
        Lengths drawn and left out in turn; empty for a whole line.
    dash_offset : float
        Where in the dashes the path begins.
    """

    width: float
    cap: str = "butt"
    join: str = "miter"
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0


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


def stretch(matrix: Affine2D) -> float:
    """Return the largest factor by which an affine map lengthens, its largest singular value.

    Examples
    --------
    >>> stretch(Affine2D(3.0, 0.0, 0.0, -2.0, 5.0, 5.0))
    3.0
    """
    a, b, c, d = matrix[:4]
    return (hypot(a + d, b - c) + hypot(a - d, b + c)) / 2.0


def polylines(
    commands: Iterable[Command], matrix: Affine2D, flatness: float = FLATNESS
) -> list[Polyline]:
    """Return one polyline for each subpath, mapped by an affine map.

    Parameters
    ----------
    commands : iterable of Command
        Absolute path commands.
    matrix : Affine2D
        Map from the path's units to the result's.
    flatness : float
        Largest distance between a curve and its chords, in the result's units.

    Returns
    -------
    list of ndarray of float64, shape (n, 2)
        Points; the closing point is not repeated.

    Raises
    ------
    SpecError
        It reaches farther than drawings do.
    """
    result: list[Polyline] = []
    pieces: list[Polyline] = []
    start = here = (0.0, 0.0)
    size = stretch(matrix) or 1.0
    commands = list(commands)
    _refuse_far(commands, matrix, size)
    for letter, numbers in commands:
        if letter == "M":
            _finish(pieces, result)
            start = here = _pair(numbers)
            pieces = [np.array([start])]
            continue
        if letter == "Z":
            _finish(pieces, result)
            pieces, here = [np.array([start])], start
            continue
        pieces.append(_piece(here, (letter, numbers), flatness / size))
        here = _pair(numbers[-2:])
    _finish(pieces, result)
    turn = np.array([[matrix.a, matrix.c], [matrix.b, matrix.d]])
    return [line @ turn.T + (matrix.e, matrix.f) for line in result]


def _refuse_far(commands: Iterable[Command], matrix: Affine2D, size: float) -> None:
    """Raise `SpecError` where floats would overflow, or areas' integers end."""
    numbers = [abs(number) for _, group in commands for number in group]
    if max(numbers, default=0.0) * size + abs(matrix.e) + abs(matrix.f) <= FARTHEST:
        return
    need = f"must not reach farther than {FARTHEST:g} times its frame; draw it inside the page"
    raise SpecError("drawing", "out of reach", need)


def stroked(commands: Sequence[Command], pen: Pen, scale: float) -> list[Command]:
    """Return the outline of a stroke, to be filled by the nonzero rule.

    Parameters
    ----------
    commands : sequence of Command
        Absolute path commands.
    pen : Pen
        Width, caps, joins, dashes, in the path's units.
    scale : float
        Skia's units in one of the path's; the outline lies within a quarter of Skia's unit.

    Returns
    -------
    list of Command
        In the path's own units; conics ("K", with their weight first) stand for round parts.
    """
    path = pathops.Path()
    for command in commands:
        _draw(path, command, scale)
    path.stroke(
        pen.width * scale, CAPS[pen.cap], JOINS[pen.join], pen.miter_limit,
        [dash * scale for dash in pen.dashes] or None, pen.dash_offset * scale,
    )  # fmt: skip
    return [_drawn(verb, points, 1.0 / scale) for verb, points in path]


def _draw(path: Any, command: Command, scale: float) -> None:  # noqa: ANN401 (pathops has no types)
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


def _drawn(verb: Any, points: Any, scale: float) -> Command:  # noqa: ANN401 (pathops has no types)
    names = {
        pathops.PathVerb.MOVE: "M", pathops.PathVerb.LINE: "L", pathops.PathVerb.QUAD: "Q",
        pathops.PathVerb.CONIC: "K", pathops.PathVerb.CUBIC: "C", pathops.PathVerb.CLOSE: "Z",
    }  # fmt: skip
    weight: tuple[float, ...] = ()
    if verb == pathops.PathVerb.CONIC:
        *points, weight_value = points
        weight = (float(weight_value),)
    numbers = weight + tuple(float(value) * scale for point in points for value in point)
    if not all(isfinite(number) for number in numbers):
        raise KernelError(
            "the outline of a stroke", "it reaches beyond any number; draw it smaller"
        )
    return names[verb], numbers


def _finish(pieces: list[Polyline], result: list[Polyline]) -> None:
    if len(pieces) > 1:
        result.append(np.concatenate(pieces))


def _pair(numbers: Sequence[float]) -> tuple[float, float]:
    return numbers[0], numbers[1]


def _piece(here: tuple[float, float], command: Command, flatness: float) -> Polyline:
    """Return the points of one command, without its first."""
    letter, numbers = command
    if letter == "L":
        return np.array([numbers])
    if letter == "A":
        return _arc(here, numbers, flatness)
    weight, controls = (numbers[0], numbers[1:]) if letter == "K" else (1.0, numbers)
    points = np.array([here, *zip(controls[::2], controls[1::2], strict=True)])
    bend = np.abs(np.diff(points, n=2, axis=0)).max(axis=0)
    factor = 0.75 if letter == "C" else 0.25
    t = _steps(sqrt(factor * hypot(*bend) / flatness))
    if letter == "C":
        return _blend(points, ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3))
    return _blend(points, ((1 - t) ** 2, 2 * weight * t * (1 - t), t**2))


def _blend(points: Polyline, shares: Iterable[Polyline]) -> Polyline:
    """Return points weighted by shares that are made to sum to one, as a rational curve asks."""
    table = np.stack(list(shares), axis=1)
    blended: Polyline = table @ points / table.sum(axis=1, keepdims=True)
    blended[-1] = points[-1]
    return blended


def _arc(here: tuple[float, float], numbers: tuple[float, ...], flatness: float) -> Polyline:
    """Return points on an elliptical arc, as SVG's implementation notes derive it from its ends."""
    rx, ry, turn, large, sweep = numbers[:5]
    end = Point(*numbers[5:])
    arc = EllipticalArc(Point(*here), abs(rx), abs(ry), turn, int(large), int(sweep), end)
    if min(arc.rx, arc.ry) < LEAST_RADIUS or arc.is_zero_length():
        return np.array([tuple(end)])
    arc = arc.correct_out_of_range_radii()
    frame = arc.end_to_center_parametrization()
    radius = max(arc.rx, arc.ry)
    step = 2.0 * acos(max(1.0 - flatness / radius, 0.0))
    angle = frame.theta1 + frame.theta_arc * _steps(abs(frame.theta_arc) / step)
    cosine, sine = np.cos(radians(turn)), np.sin(radians(turn))
    x, y = arc.rx * np.cos(angle), arc.ry * np.sin(angle)
    points: Polyline = np.stack([cosine * x - sine * y, sine * x + cosine * y], axis=1)
    points += tuple(frame.center_point)
    points[-1] = end
    return points


def _steps(pieces: float) -> Polyline:
    """Return parameters from 0 (left out) to 1 for at least so many pieces."""
    count = min(max(ceil(pieces), 1), MOST_PIECES)
    return np.arange(1, count + 1) / count
