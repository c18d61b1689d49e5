"""What a drawing is made of: strokes, circles, filled areas and lettering on layers by meaning.

Every length is in millimetres on the paper, x to the right, y up.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from typing import Final

import numpy as np
from PIL import ImageFont

from moulddesign.export.glyphs import face_path, own_faces

Point = tuple[float, float]

TIMES: Final = "\N{MULTIPLICATION SIGN}"
"""Stands between lengths, and after a count."""

CAPITAL: Final = 0.729
"""Height of a capital of the face that lettering is measured with, as a share of its size."""

MEASURE_PX: Final = 200
"""Size at which lettering is measured [px]."""


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


Ink = Stroke | Circle | Fill | Lettering


def box_of(inks: tuple[Ink, ...]) -> tuple[float, float, float, float]:
    """Return least x and y, largest x and y of entities [mm]."""
    boxes = np.array([ink.box for ink in inks])
    (a, b), (c, d) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
    return a, b, c, d


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
