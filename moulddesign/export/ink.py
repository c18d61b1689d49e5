"""What a drawing is made of: strokes, circles, filled areas and lettering on layers by meaning.

Every length is in millimetres on the paper, x to the right, y up.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from moulddesign.export.letters import text_width_mm

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
