"""Dimensions as ISO 129-1 draws them: a line between arrows, two extension lines, the figure."""

from collections.abc import Sequence
from dataclasses import replace
from math import cos, radians, sin
from typing import Final

from moulddesign.export.ink import (
    Align,
    Circle,
    Dimension,
    Fill,
    Layer,
    Lettering,
    Mark,
    Measures,
    Point,
    Stroke,
)
from moulddesign.export.letters import text_width_mm

CAPITAL_MM: Final = 2.5
"""Height of a figure, the least of ISO 3098 that reads well in a workshop [mm]."""

ARROW_MM: Final = 2.5
"""Length of an arrow [mm]."""

STEP_MM: Final = 7.0
"""Distance between one dimension line and the next; the first is as far from the view [mm]."""

OVER_MM: Final = 1.5
"""How far an extension line runs beyond the dimension line [mm]."""

LIFT_MM: Final = 0.8
"""Gap between a dimension line and its figure [mm]."""

LEADER_MM: Final = 6.0
"""From a circle to the bend of the line that carries its figure [mm]."""

LEADER_DEG: Final = 45.0
"""Direction of that line from the circle's middle [deg]."""

GAP_MM: Final = 1.0
"""Gap between the view and an extension line [mm]."""


def number(length_mm: float) -> str:
    """Return a length as it is written on a drawing: at most two decimals, no trailing zero.

    Examples
    --------
    >>> number(53.5), number(26.474), number(4.0)
    ('53.5', '26.47', '4')
    """
    return f"{length_mm:.2f}".rstrip("0").rstrip(".")


def across(
    ends: tuple[Point, Point], at_y: float, text: str, *, crossed: Sequence[float] = ()
) -> Dimension:
    """Return a dimension of a width, below or above a view.

    Parameters
    ----------
    ends : ((float, float), (float, float))
        What is measured, left and right [mm].
    at_y : float
        Where the dimension line runs [mm].
    text : str
        The figure.
    crossed : sequence of float
        x of extension lines that cross this line: the figure stays clear of them [mm].
    """
    (left, left_y), (right, right_y) = ends
    extensions = _extension_x(left, left_y, at_y) + _extension_x(right, right_y, at_y)
    line, place, align = _line((left, right), text, crossed)
    arrows = _arrows(left, right, outside=right - left < 3.0 * ARROW_MM)
    marks = (
        *extensions,
        Stroke(points=tuple((x, at_y) for x in line), layer=Layer.DIMENSION),
        *(_arrow((x, at_y), (-turn / ARROW_MM, 0.0)) for x, turn in arrows),
        _figure(text, (place, at_y + LIFT_MM), align),
    )
    points = ((left, left_y), (right, right_y), (right, at_y))
    return Dimension(measures=Measures.LEVEL, points=points, marks=marks)


def diameter(middle: Point, radius_mm: float, text: str) -> Dimension:
    """Return the dimension of a circle: its figure stands outside, above to the right.

    Parameters
    ----------
    middle : (float, float)
        Its middle [mm].
    radius_mm : float
        Its radius on the paper [mm].
    text : str
        The figure with its sign.
    """
    x, y = _towards(radius_mm)
    points = ((middle[0] - x, middle[1] - y), (middle[0] + x, middle[1] + y))
    return Dimension(measures=Measures.DIAMETER, points=points, marks=_leader(points[1], text))


def radius(middle: Point, radius_mm: float, text: str) -> Dimension:
    """Return the dimension of a rounded corner that looks above to the right.

    Parameters
    ----------
    middle : (float, float)
        The middle of its arc [mm].
    radius_mm : float
        Its radius on the paper [mm].
    text : str
        The figure with its sign.
    """
    x, y = _towards(radius_mm)
    points = (middle, (middle[0] + x, middle[1] + y))
    return Dimension(measures=Measures.RADIUS, points=points, marks=_leader(points[1], text))


def _towards(length_mm: float) -> Point:
    return length_mm * cos(radians(LEADER_DEG)), length_mm * sin(radians(LEADER_DEG))


def _leader(tip: Point, text: str) -> tuple[Mark, ...]:
    """Return an arrow on a circle from outside, and the line that carries its figure."""
    x, y = _towards(LEADER_MM)
    bend = (tip[0] + x, tip[1] + y)
    end = (bend[0] + 1.0 + text_width_mm(text, CAPITAL_MM), bend[1])
    return (
        Stroke(points=(tip, bend, end), layer=Layer.DIMENSION),
        _arrow(tip, (x / LEADER_MM, y / LEADER_MM)),
        _figure(text, (bend[0] + 1.0, bend[1] + LIFT_MM), Align.LEFT),
    )


def _arrow(tip: Point, back: Point) -> Fill:
    """Return an arrow by its tip and the direction in which it tapers out, a unit vector."""
    (x, y), (along, aside) = tip, back
    base = (x + ARROW_MM * along, y + ARROW_MM * aside)
    half = ARROW_MM / 6.0
    sides = ((base[0] - half * aside, base[1] + half * along),
             (base[0] + half * aside, base[1] - half * along))  # fmt: skip
    return Fill(points=(tip, *sides), layer=Layer.DIMENSION)


def _figure(text: str, at: Point, align: Align) -> Lettering:
    return Lettering(text=text, at=at, capital_mm=CAPITAL_MM, layer=Layer.DIMENSION, align=align)


def upright(ends: tuple[Point, Point], at_x: float, text: str) -> Dimension:
    """Return a dimension of a height, right of a view; the figure reads from the right.

    Parameters
    ----------
    ends : ((float, float), (float, float))
        What is measured, low and high [mm].
    at_x : float
        Where the dimension line runs [mm].
    text : str
        The figure; of a short height it stands below the low end.
    """
    (low_x, low), (high_x, high) = ends
    flat = across(((-high, high_x), (-low, low_x)), at_x, text)
    return Dimension(
        measures=Measures.UPRIGHT,
        points=((low_x, low), (high_x, high), (at_x, high)),
        marks=tuple(map(_quarter_turned, flat.marks)),
    )


def _quarter_turned(ink: Mark) -> Mark:
    """Return an entity drawn along x as one along y: x is minus the height, y is x."""
    if isinstance(ink, Lettering):
        # The figure lies left of its line, so that it reads from the right of the sheet.
        x, y = ink.at
        align = {Align.LEFT: Align.RIGHT, Align.RIGHT: Align.LEFT}.get(ink.align, ink.align)
        return replace(ink, at=(y - 2.0 * LIFT_MM, -x), align=align, upright_deg=90)
    if isinstance(ink, Circle):  # pragma: no cover (no dimension has one)
        return ink
    return replace(ink, points=tuple((y, -x) for x, y in ink.points))


def _extension_x(x: float, start_y: float, at_y: float) -> tuple[Mark, ...]:
    sign = 1.0 if at_y > start_y else -1.0
    ends = ((x, start_y + sign * GAP_MM), (x, at_y + sign * OVER_MM))
    return (Stroke(points=ends, layer=Layer.DIMENSION),)


def _arrows(low: float, high: float, *, outside: bool) -> tuple[tuple[float, float], ...]:
    """Return tip and signed length of each arrow: pointing outwards, or inwards from outside."""
    return ((low, ARROW_MM), (high, -ARROW_MM)) if outside else ((low, -ARROW_MM), (high, ARROW_MM))


def _line(
    ends: tuple[float, float], text: str, crossed: Sequence[float]
) -> tuple[tuple[float, float], float, Align]:
    """Return the ends of the dimension line, where its figure stands, and how."""
    low, high = ends
    wide = text_width_mm(text, CAPITAL_MM)
    if high - low >= 3.0 * ARROW_MM and high - low >= wide + 1.0:
        return (low, high), (low + high) / 2.0, Align.MIDDLE
    start = high + 2.0 * ARROW_MM
    for x in sorted(x for x in crossed if x > high):
        if start - 0.8 < x < start + wide + 0.8:
            start = x + 0.8
    return (low - 2.0 * ARROW_MM, start + wide), start, Align.LEFT
