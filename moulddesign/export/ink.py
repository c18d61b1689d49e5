"""What a drawing is made of.

Strokes, circles, areas, lettering and dimensions on layers by meaning.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from math import cos, radians, sin
from typing import Final

import numpy as np
from PIL import ImageFont

from moulddesign.export.glyphs import face_path, own_faces

Point = tuple[float, float]

TIMES: Final = "\N{MULTIPLICATION SIGN}"
"""Stands between lengths, and after a count."""


class Layer(StrEnum):
    """What an entity means; a layer of the DXF file and a class of the SVG file."""

    OUTLINE = "outline"
    EDGE = "edge"
    ARTWORK = "artwork"
    PASTRY = "pastry"
    CENTRE = "centre"
    HIDDEN = "hidden"
    HATCH = "hatch"
    AXIS = "axis"
    CUT = "cut"
    DIMENSION = "dimension"
    LABEL = "label"
    FRAME = "frame"


class Align(StrEnum):
    """Which end of a line of lettering stands at its point."""

    LEFT = "left"
    MIDDLE = "middle"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line through points.

    Parameters
    ----------
    points : tuple of (float, float)
        At least two [mm].
    layer : Layer
        Its meaning.
    closed : bool
        Whether it returns to its first point.
    """

    points: tuple[Point, ...]
    layer: Layer
    closed: bool = False

    def moved(self, x: float, y: float) -> "Stroke":
        """Return it moved [mm]."""
        return replace(self, points=tuple((px + x, py + y) for px, py in self.points))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y [mm]."""
        xs, ys = zip(*self.points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A full circle.

    Parameters
    ----------
    middle : (float, float)
        Its centre [mm].
    radius_mm : float
        Its radius [mm].
    layer : Layer
        Its meaning.
    """

    middle: Point
    radius_mm: float
    layer: Layer

    def moved(self, x: float, y: float) -> "Circle":
        """Return it moved [mm]."""
        return replace(self, middle=(self.middle[0] + x, self.middle[1] + y))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y [mm]."""
        (x, y), r = self.middle, self.radius_mm
        return x - r, y - r, x + r, y + r


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """A filled triangle: an arrowhead.

    Parameters
    ----------
    points : tuple of (float, float)
        Three corners [mm].
    layer : Layer
        Its meaning.
    """

    points: tuple[Point, ...]
    layer: Layer

    def moved(self, x: float, y: float) -> "Fill":
        """Return it moved [mm]."""
        return replace(self, points=tuple((px + x, py + y) for px, py in self.points))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y [mm]."""
        xs, ys = zip(*self.points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettering:
    """One line of text.

    Parameters
    ----------
    text : str
        The text.
    at : (float, float)
        Where its base line begins, has its middle or ends, as `align` says [mm].
    capital_mm : float
        Height of its capitals [mm].
    layer : Layer
        Its meaning.
    align : Align
        Which end stands at the point.
    upright_deg : int
        0, or 90 where it reads from the right of the sheet [deg].
    """

    text: str
    at: Point
    capital_mm: float
    layer: Layer = Layer.LABEL
    align: Align = Align.LEFT
    upright_deg: int = 0

    def moved(self, x: float, y: float) -> "Lettering":
        """Return it moved [mm]."""
        return replace(self, at=(self.at[0] + x, self.at[1] + y))

    @property
    def width_mm(self) -> float:
        """Length of the line in a wide face; other faces are narrower [mm]."""
        return text_width_mm(self.text, self.capital_mm)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y, descenders included [mm]."""
        start = {Align.LEFT: 0.0, Align.MIDDLE: -0.5, Align.RIGHT: -1.0}[self.align] * self.width_mm
        low, high = -0.33 * self.capital_mm, 1.05 * self.capital_mm
        x, y = self.at
        if self.upright_deg:
            return x - high, y + start, x - low, y + start + self.width_mm
        return x + start, y + low, x + start + self.width_mm, y + high


Mark = Stroke | Circle | Fill | Lettering


class Measures(StrEnum):
    """What a dimension measures, by its points."""

    LEVEL = "level"
    """From the first point to the second along x; the third lies on the dimension line."""

    UPRIGHT = "upright"
    """The same along y."""

    DIAMETER = "diameter"
    """From the first point to the second, through the middle of a circle."""

    RADIUS = "radius"
    """From the first point, the middle, to the second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A dimension: what it measures, and how it is drawn.

    Parameters
    ----------
    measures : Measures
        What the points are.
    points : tuple of (float, float)
        Two or three [mm].
    marks : tuple of Stroke, Fill and Lettering
        Its lines, arrows and figure.
    """

    measures: Measures
    points: tuple[Point, ...]
    marks: tuple[Mark, ...]

    def moved(self, x: float, y: float) -> "Dimension":
        """Return it moved [mm]."""
        points = tuple((px + x, py + y) for px, py in self.points)
        marks = tuple(mark.moved(x, y) for mark in self.marks)
        return replace(self, points=points, marks=marks)

    @property
    def figure(self) -> Lettering:
        """Its figure, with the sign before it."""
        return next(mark for mark in self.marks if isinstance(mark, Lettering))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y [mm]."""
        return box_of(self.marks)


Ink = Mark | Dimension


def marks_of(inks: Iterable[Ink]) -> Iterator[Mark]:
    """Yield entities with every dimension taken apart into lines, arrows and figure."""
    for ink in inks:
        if isinstance(ink, Dimension):
            yield from ink.marks
        else:
            yield ink


def box_of(inks: Sequence[Ink]) -> tuple[float, float, float, float]:
    """Return least x and y, largest x and y of entities [mm]."""
    boxes = np.array([ink.box for ink in inks])
    (a, b), (c, d) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
    return a, b, c, d


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A line's width, colour and rhythm.

    Parameters
    ----------
    width_um : int
        Width of the line, from the series of ISO 128 [um].
    number : int
        Colour number in DXF; 7 is black on white and white on black.
    colour : str
        The same colour in SVG.
    line_type : str
        Name in DXF.
    dashes_mm : tuple of float
        Dash, gap and so on in SVG; none where the line is continuous [mm].
    """

    width_um: int
    number: int = 7
    colour: str = "#000"
    line_type: str = "CONTINUOUS"
    dashes_mm: tuple[float, ...] = ()


PENS: Final = {
    Layer.OUTLINE: Pen(width_um=500),
    Layer.EDGE: Pen(width_um=250),
    Layer.ARTWORK: Pen(width_um=250, number=30, colour="#a04000"),
    Layer.PASTRY: Pen(width_um=350, number=30, colour="#a04000"),
    Layer.CENTRE: Pen(width_um=250, number=30, colour="#a04000"),
    Layer.HIDDEN: Pen(
        width_um=180,
        number=30,
        colour="#a04000",
        line_type="DASHED2",
        dashes_mm=(3.0, 1.0),
    ),
    Layer.HATCH: Pen(width_um=130, number=8, colour="#777"),
    Layer.AXIS: Pen(
        width_um=180,
        number=150,
        colour="#3050a0",
        line_type="CENTER2",
        dashes_mm=(6.0, 1.2, 0.8, 1.2),
    ),
    Layer.CUT: Pen(width_um=500),
    Layer.DIMENSION: Pen(width_um=180, number=150, colour="#3050a0"),
    Layer.LABEL: Pen(width_um=180),
    Layer.FRAME: Pen(width_um=350),
}
"""Pen of each layer."""

CAPITAL: Final = 0.729
"""Height of a capital of the face that lettering is measured with, as a share of its size."""

MEASURE_PX: Final = 200
"""Size at which lettering is measured [px]."""


def text_width_mm(text: str, capital_mm: float) -> float:
    """Return how long a line of text is in a wide sans-serif face, kerning left out.

    What the face lacks is counted as long as the code points that may stand in its place.

    Parameters
    ----------
    text : str
        The text.
    capital_mm : float
        Height of its capitals [mm].
    """
    return float(_face().getlength(own_faces().marked(text))) * capital_mm / (CAPITAL * MEASURE_PX)


def fitted(text: str, *, capital_mm: float, least_mm: float, room_mm: float) -> tuple[str, float]:
    """Return a text and its capitals' height so that it fits a width.

    Parameters
    ----------
    text : str
        The text.
    capital_mm, least_mm : float
        Height of the capitals as wished, and at the least [mm].
    room_mm : float
        Width that there is [mm].

    Returns
    -------
    text : str
        Cut with an ellipsis only where it is too long at the least height.
    capital_mm : float
        The height that fits [mm].
    """
    wide = text_width_mm(text, capital_mm)
    if wide <= room_mm:
        return text, capital_mm
    height = max(least_mm, capital_mm * room_mm / wide)
    while len(text) > 1 and text_width_mm(text, height) > room_mm * (1.0 + 1e-9):
        text = text.removesuffix("…")[:-1].rstrip() + "…"
    return text, height


@cache
def _face() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(face_path()), MEASURE_PX, layout_engine=ImageFont.Layout.BASIC)


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
