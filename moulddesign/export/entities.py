"""What a drawing consists of: lines, circles, texts and dimensions, on layers by meaning.

Lengths are millimetres on the paper, x to the right and y up.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from math import cos, radians, sin
from typing import Final, Self

import numpy as np
from PIL import ImageFont

from moulddesign.artwork.font_files import regular_font
from moulddesign.export.fonts import bundled_fonts

Point = tuple[float, float]

Bounds = tuple[float, float, float, float]
"""Least x and y, largest x and y [mm]."""

TIMES: Final = "\N{MULTIPLICATION SIGN}"
"""Between lengths, and after a count."""


class DrawingLayer(StrEnum):
    """What an entity means; a layer of the DXF file and a group of the SVG file."""

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
    CONTOUR = "contour"
    TEMPLATE = "template"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """How the lines of a layer look."""

    width_um: int
    """From the series of ISO 128 [um]."""
    dxf_colour: int = 7
    """Colour number; 7 is black on white and white on black."""
    svg_colour: str = "#000"
    dxf_line_type: str = "CONTINUOUS"
    svg_dashes_mm: tuple[float, ...] = ()
    """Dash, gap and so on; none where the line is continuous [mm]."""


LINE_STYLES: Final = {
    DrawingLayer.OUTLINE: LineStyle(width_um=500),
    DrawingLayer.EDGE: LineStyle(width_um=250),
    DrawingLayer.ARTWORK: LineStyle(width_um=250, dxf_colour=30, svg_colour="#a04000"),
    DrawingLayer.PASTRY: LineStyle(width_um=350, dxf_colour=30, svg_colour="#a04000"),
    DrawingLayer.CENTRE: LineStyle(width_um=250, dxf_colour=30, svg_colour="#a04000"),
    DrawingLayer.HIDDEN: LineStyle(
        width_um=180,
        dxf_colour=30,
        svg_colour="#a04000",
        dxf_line_type="DASHED2",
        svg_dashes_mm=(3.0, 1.0),
    ),
    DrawingLayer.HATCH: LineStyle(width_um=130, dxf_colour=8, svg_colour="#777"),
    DrawingLayer.AXIS: LineStyle(
        width_um=180,
        dxf_colour=150,
        svg_colour="#3050a0",
        dxf_line_type="CENTER2",
        svg_dashes_mm=(6.0, 1.2, 0.8, 1.2),
    ),
    DrawingLayer.CUT: LineStyle(width_um=500),
    DrawingLayer.DIMENSION: LineStyle(width_um=180, dxf_colour=150, svg_colour="#3050a0"),
    DrawingLayer.LABEL: LineStyle(width_um=180),
    DrawingLayer.FRAME: LineStyle(width_um=350),
    DrawingLayer.CONTOUR: LineStyle(width_um=130, dxf_colour=94, svg_colour="#2e6b2e"),
    DrawingLayer.TEMPLATE: LineStyle(width_um=250, dxf_colour=10, svg_colour="#a01010"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Path:
    """Points in order [mm]."""

    points: tuple[Point, ...]
    layer: DrawingLayer

    def moved(self, x: float, y: float) -> Self:
        """Return it moved [mm]."""
        return replace(self, points=tuple((px + x, py + y) for px, py in self.points))

    @property
    def bounds(self) -> Bounds:
        xs, ys = zip(*self.points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLine(_Path):
    """A line through at least two points."""

    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrowhead(_Path):
    """A filled triangle, its tip first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A full circle."""

    centre: Point
    radius_mm: float
    layer: DrawingLayer

    def moved(self, x: float, y: float) -> "Circle":
        """Return it moved [mm]."""
        return replace(self, centre=(self.centre[0] + x, self.centre[1] + y))

    @property
    def bounds(self) -> Bounds:
        """Its box."""
        (x, y), r = self.centre, self.radius_mm
        return x - r, y - r, x + r, y + r


class Align(StrEnum):
    """Which end of a text lies at its point."""

    LEFT = "left"
    MIDDLE = "middle"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of text."""

    text: str
    at: Point
    """Where its base line begins, has its middle or ends, as `align` says [mm]."""
    capital_mm: float
    """Height of its capitals [mm]."""
    layer: DrawingLayer = DrawingLayer.LABEL
    align: Align = Align.LEFT
    rotation_deg: int = 0
    """0, or 90 where it reads from the right of the sheet [deg]."""

    def moved(self, x: float, y: float) -> "Text":
        """Return it moved [mm]."""
        return replace(self, at=(self.at[0] + x, self.at[1] + y))

    @property
    def width_mm(self) -> float:
        """Length of the line in a wide typeface; in others it is shorter [mm]."""
        return text_width_mm(self.text, self.capital_mm)

    @property
    def bounds(self) -> Bounds:
        """Its box, descenders included."""
        start = {Align.LEFT: 0.0, Align.MIDDLE: -0.5, Align.RIGHT: -1.0}[self.align] * self.width_mm
        low, high = -0.33 * self.capital_mm, 1.05 * self.capital_mm
        x, y = self.at
        if self.rotation_deg:
            return x - high, y + start, x - low, y + start + self.width_mm
        return x + start, y + low, x + start + self.width_mm, y + high


Primitive = DrawnLine | Arrowhead | Circle | Text


class DimensionKind(StrEnum):
    """What a dimension measures, and what its points are."""

    HORIZONTAL = "horizontal"
    """From the first point to the second along x; the third lies on the dimension line."""

    VERTICAL = "vertical"
    """The same along y."""

    DIAMETER = "diameter"
    """From the first point to the second, through the centre of a circle."""

    RADIUS = "radius"
    """From the first point, the centre, to the second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A dimension: what it measures, and how it is drawn."""

    kind: DimensionKind
    points: tuple[Point, ...]
    """Two or three, as `kind` says [mm]."""
    primitives: tuple[Primitive, ...]
    """Its lines, arrows and figure."""

    def moved(self, x: float, y: float) -> "Dimension":
        """Return it moved [mm]."""
        points = tuple((px + x, py + y) for px, py in self.points)
        return replace(
            self, points=points, primitives=tuple(one.moved(x, y) for one in self.primitives)
        )

    @property
    def figure(self) -> Text:
        """Its figure, with the sign before it."""
        return next(one for one in self.primitives if isinstance(one, Text))

    @property
    def bounds(self) -> Bounds:
        """The box around all that is drawn of it."""
        return bounds_of(self.primitives)


Entity = Primitive | Dimension


def primitives_of(entities: Iterable[Entity]) -> Iterator[Primitive]:
    """Yield entities, and of each dimension its lines, arrows and figure."""
    for entity in entities:
        if isinstance(entity, Dimension):
            yield from entity.primitives
        else:
            yield entity


def bounds_of(entities: Sequence[Entity]) -> Bounds:
    """Return the box around entities."""
    boxes = np.array([entity.bounds for entity in entities])
    (a, b), (c, d) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
    return a, b, c, d


CAPITAL_RATIO: Final = 0.729
"""Height of a capital over the font's size, in the font that texts are measured with."""

MEASURED_AT_PX: Final = 200
"""Size at which texts are measured [px]."""


def text_width_mm(text: str, capital_mm: float) -> float:
    """Return how long a line of text is in a wide sans-serif typeface, kerning left out.

    What the font lacks is counted as wide as it is high: another font has it, for `Fonts.text` has
    put code points in the place of what none has.
    """
    lacks = bundled_fonts().lacks
    own = "".join(one for one in text if not lacks(one))
    length_px = _measuring_font().getlength(own) + MEASURED_AT_PX * (len(text) - len(own))
    return float(length_px) * capital_mm / (CAPITAL_RATIO * MEASURED_AT_PX)


def fit_text(
    text: str, *, capital_mm: float, least_capital_mm: float, room_mm: float
) -> tuple[str, float]:
    """Return a text and the height of its capitals so that it fits a width.

    The text is cut, with an ellipsis, only where it is too long at the least height.
    """
    width_mm = text_width_mm(text, capital_mm)
    if width_mm <= room_mm:
        return text, capital_mm
    height = max(least_capital_mm, capital_mm * room_mm / width_mm)
    while len(text) > 1 and text_width_mm(text, height) > room_mm * (1.0 + 1e-9):
        text = text.removesuffix("…")[:-1].rstrip() + "…"
    return text, height


@cache
def _measuring_font() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(
        str(regular_font()), MEASURED_AT_PX, layout_engine=ImageFont.Layout.BASIC
    )


def format_number(value: float) -> str:
    """Return a number as drawing and card show it: at most two decimals, no trailing zero.

    Examples
    --------
    >>> format_number(53.5), format_number(26.474), format_number(4.0)
    ('53.5', '26.47', '4')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".")


# Dimensions after ISO 129-1:
#
#     |        view        |
#                               gap
#     |                    |    extension lines
#     |<------- 52 ------->|    dimension line; the figure stands above it, not in it
#     |                    |    overshoot
#
# Where arrows or figure have no room between the extension lines, the arrows point inwards from
# outside, and the figure stands to the right of them.

FIGURE_MM: Final = 2.5
"""Height of a figure, the least of ISO 3098 that reads well in a workshop [mm]."""

ARROW_MM: Final = 2.5
"""Length of an arrow [mm]."""

ROW_MM: Final = 7.0
"""From one dimension line to the next, and from the view to the first [mm]."""

OVERSHOOT_MM: Final = 1.5
"""How far an extension line runs beyond the dimension line [mm]."""

FIGURE_GAP_MM: Final = 0.8
"""Between a dimension line and its figure [mm]."""

EXTENSION_GAP_MM: Final = 1.0
"""Between the view and an extension line [mm]."""

LEADER_MM: Final = 6.0
"""From a circle to the bend of the line that carries its figure [mm]."""

LEADER_DEG: Final = 45.0
"""Direction of that line, seen from the circle's centre [deg]."""


def horizontal_dimension(
    ends: tuple[Point, Point], line_y: float, text: str, *, crossing_x: Sequence[float] = ()
) -> Dimension:
    """Return the dimension of a width, its line at `line_y` below or above the view.

    The figure stays clear of extension lines of other dimensions at `crossing_x`.
    """
    (left, left_y), (right, right_y) = ends
    (start, end), figure_x, align = _dimension_line((left, right), text, crossing_x)
    if right - left < 3.0 * ARROW_MM:
        arrows = ((left, -1.0), (right, 1.0))  # from outside
    else:
        arrows = ((left, 1.0), (right, -1.0))
    return Dimension(
        kind=DimensionKind.HORIZONTAL,
        points=((left, left_y), (right, right_y), (right, line_y)),
        primitives=(
            _extension_line(left, left_y, line_y),
            _extension_line(right, right_y, line_y),
            DrawnLine(points=((start, line_y), (end, line_y)), layer=DrawingLayer.DIMENSION),
            *(_arrow((x, line_y), (backward, 0.0)) for x, backward in arrows),
            _figure(text, (figure_x, line_y + FIGURE_GAP_MM), align),
        ),
    )


def vertical_dimension(ends: tuple[Point, Point], line_x: float, text: str) -> Dimension:
    """Return the dimension of a height, low end first; its figure reads from the right.

    The figure of a short height stands below the low end.
    """
    (low_x, low), (high_x, high) = ends
    # A quarter turn takes x to -y: what is drawn for the turned ends is turned back.
    turned = horizontal_dimension(((-high, high_x), (-low, low_x)), line_x, text)
    return Dimension(
        kind=DimensionKind.VERTICAL,
        points=((low_x, low), (high_x, high), (line_x, high)),
        primitives=tuple(map(_turned_back, turned.primitives)),
    )


def diameter_dimension(centre: Point, radius_mm: float, text: str) -> Dimension:
    """Return the dimension of a circle; its figure stands outside, above to the right."""
    x, y = _towards_leader(radius_mm)
    points = ((centre[0] - x, centre[1] - y), (centre[0] + x, centre[1] + y))
    return Dimension(
        kind=DimensionKind.DIAMETER, points=points, primitives=_leader(points[1], text)
    )


def radius_dimension(centre: Point, radius_mm: float, text: str) -> Dimension:
    """Return the dimension of a rounded corner that points above to the right."""
    x, y = _towards_leader(radius_mm)
    points = (centre, (centre[0] + x, centre[1] + y))
    return Dimension(kind=DimensionKind.RADIUS, points=points, primitives=_leader(points[1], text))


def _dimension_line(
    ends: tuple[float, float], text: str, crossing_x: Sequence[float]
) -> tuple[tuple[float, float], float, Align]:
    """Return both ends of the line, where the figure stands on it, and by which end."""
    left, right = ends
    width_mm = text_width_mm(text, FIGURE_MM)
    if right - left >= 3.0 * ARROW_MM and right - left >= width_mm + 1.0:
        return (left, right), (left + right) / 2.0, Align.MIDDLE
    start = right + 2.0 * ARROW_MM
    for x in sorted(x for x in crossing_x if x > right):
        if start - FIGURE_GAP_MM < x < start + width_mm + FIGURE_GAP_MM:
            start = x + FIGURE_GAP_MM
    return (left - 2.0 * ARROW_MM, start + width_mm), start, Align.LEFT


def _extension_line(x: float, view_y: float, line_y: float) -> DrawnLine:
    away = 1.0 if line_y > view_y else -1.0
    ends = ((x, view_y + away * EXTENSION_GAP_MM), (x, line_y + away * OVERSHOOT_MM))
    return DrawnLine(points=ends, layer=DrawingLayer.DIMENSION)


def _turned_back(primitive: Primitive) -> Primitive:
    """Return what is drawn along x drawn along y: x is minus the height, y is x."""
    if isinstance(primitive, Text):
        # The figure lies left of its line, so that it reads from the right of the sheet.
        x, y = primitive.at
        align = {Align.LEFT: Align.RIGHT, Align.RIGHT: Align.LEFT}.get(
            primitive.align, primitive.align
        )
        return replace(primitive, at=(y - 2.0 * FIGURE_GAP_MM, -x), align=align, rotation_deg=90)
    if isinstance(primitive, Circle):  # pragma: no cover (no dimension has one)
        return primitive
    return replace(primitive, points=tuple((y, -x) for x, y in primitive.points))


def _towards_leader(length_mm: float) -> Point:
    return length_mm * cos(radians(LEADER_DEG)), length_mm * sin(radians(LEADER_DEG))


def _leader(tip: Point, text: str) -> tuple[Primitive, ...]:
    """Return an arrow that touches a circle from outside, and the line that carries its figure."""
    x, y = _towards_leader(LEADER_MM)
    bend = (tip[0] + x, tip[1] + y)
    end = (bend[0] + 1.0 + text_width_mm(text, FIGURE_MM), bend[1])
    return (
        DrawnLine(points=(tip, bend, end), layer=DrawingLayer.DIMENSION),
        _arrow(tip, (x / LEADER_MM, y / LEADER_MM)),
        _figure(text, (bend[0] + 1.0, bend[1] + FIGURE_GAP_MM), Align.LEFT),
    )


def _arrow(tip: Point, backward: Point) -> Arrowhead:
    """Return an arrow from its tip and the unit vector from the tip to its base."""
    (x, y), (along, aside) = tip, backward
    base = (x + ARROW_MM * along, y + ARROW_MM * aside)
    half = ARROW_MM / 6.0
    sides = ((base[0] - half * aside, base[1] + half * along),
             (base[0] + half * aside, base[1] - half * along))  # fmt: skip
    return Arrowhead(points=(tip, *sides), layer=DrawingLayer.DIMENSION)


def _figure(text: str, at: Point, align: Align) -> Text:
    return Text(text=text, at=at, capital_mm=FIGURE_MM, layer=DrawingLayer.DIMENSION, align=align)
