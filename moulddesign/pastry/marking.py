"""A region drawn flat with its thin strokes and gaps ringed and labelled in millimetres."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from shapely import MultiPolygon, Polygon

from moulddesign.pastry.font import default_font
from moulddesign.pastry.legibility import Thin, thin_gaps, thin_strokes

Colour = tuple[int, int, int]

FINER: Final = 3
"""Drawn so many times larger and averaged down, which smooths its edges."""
SIDE_PX: Final = 900
CAPTION_PX: Final = 90
LETTERS_PX: Final = 20
COLUMN_PX: Final = 190
LINE_PX: Final = 28
MARGIN: Final = 0.06
"""Free paper around what is drawn, as a share of its larger side."""
LEAST_RING_PX: Final = 15
RING_PX: Final = 3
MOST_MARKS: Final = 12
"""More rings of a kind than this hide what they mark; the caption counts the others."""
PAPER: Final[Colour] = (255, 255, 255)
DOUGH: Final[Colour] = (236, 226, 208)
RAISED: Final[Colour] = (110, 78, 48)
SUNK: Final[Colour] = (150, 160, 176)


class Kind(StrEnum):
    """What is thin."""

    STROKE = "stroke"
    GAP = "gap"


RINGS: Final[dict[Kind, Colour]] = {Kind.STROKE: (206, 32, 32), Kind.GAP: (28, 80, 200)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A region in a colour.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        x right, y up [mm].
    colour : tuple of int
        Red, green, blue, 0 to 255.
    """

    shape: Polygon | MultiPolygon
    colour: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A thin place to be ringed.

    Parameters
    ----------
    kind : Kind
        Stroke or gap.
    place : Thin
        Where, and how thin.
    """

    kind: Kind
    place: Thin


def thin_marks(
    shape: Polygon | MultiPolygon, *, least_stroke_mm: float, least_gap_mm: float
) -> tuple[Mark, ...]:
    """Return every stroke and every gap of a region that is thinner than its limit.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid [mm].
    least_stroke_mm, least_gap_mm : float
        The limits [mm].
    """
    strokes = thin_strokes(shape, below_mm=least_stroke_mm)
    gaps = thin_gaps(shape, below_mm=least_gap_mm)
    return (
        *(Mark(kind=Kind.STROKE, place=place) for place in strokes),
        *(Mark(kind=Kind.GAP, place=place) for place in gaps),
    )


def marked_picture(drawn: Iterable[Drawn], marks: tuple[Mark, ...], caption: str) -> Image.Image:
    """Return regions as a picture, thin places ringed and labelled.

    Parameters
    ----------
    drawn : iterable of Drawn
        The first is drawn first; the picture is as large as it.
    marks : tuple of Mark
        The thinnest of each kind first; of each only the first twelve are ringed.
    caption : str
        Up to three lines below, such as the limits.
    """
    layers = tuple(drawn)
    size = (SIDE_PX + 2 * COLUMN_PX, SIDE_PX + CAPTION_PX)
    image = Image.new("RGB", (FINER * size[0], FINER * size[1]), PAPER)
    view = _View.of(layers[0].shape)
    for layer in layers:
        image.paste(layer.colour, mask=_mask(layer.shape, view, image.size))
    pen = ImageDraw.Draw(image)
    shown = [mark for kind in Kind for mark in _of(kind, marks)[:MOST_MARKS]]
    _callouts(pen, shown, view)
    hidden = len(marks) - len(shown)
    said = f"{caption}, {hidden} more are not" if hidden else caption
    pen.text(
        (image.width / 2, FINER * (SIDE_PX + CAPTION_PX * 0.4)),
        said,
        fill=(0, 0, 0),
        font=_letters(),
        anchor="mm",
        align="center",
    )
    return image.resize(size, Image.Resampling.BOX)


@dataclass(frozen=True, slots=True)
class _View:
    """Where millimetres fall on the picture."""

    px_per_mm: float
    middle: tuple[float, float]

    @classmethod
    def of(cls, shape: shapely.Geometry) -> "_View":
        left, low, right, high = shape.bounds
        side = max(right - left, high - low) * (1.0 + 2.0 * MARGIN)
        return cls(FINER * SIDE_PX / side, ((left + right) / 2.0, (low + high) / 2.0))

    def pixels(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return points in pixels, y down, shape (n, 2)."""
        moved = (points - np.array(self.middle)) * (self.px_per_mm, -self.px_per_mm)
        centre = np.array([COLUMN_PX + SIDE_PX / 2.0, SIDE_PX / 2.0])
        placed: NDArray[np.float64] = moved + FINER * centre
        return placed


def _mask(shape: Polygon | MultiPolygon, view: _View, size: tuple[int, int]) -> Image.Image:
    """Return where a region is; larger parts first, so that islands lie in their holes."""
    mask = Image.new("1", size)
    pen = ImageDraw.Draw(mask)
    for part in sorted(shapely.get_parts(shape), key=lambda part: -Polygon(part.exterior).area):
        for fill, ring in ((1, part.exterior), *((0, hole) for hole in part.interiors)):
            pen.polygon(view.pixels(shapely.get_coordinates(ring)).ravel().tolist(), fill=fill)
    return mask


def _of(kind: Kind, marks: tuple[Mark, ...]) -> list[Mark]:
    return [mark for mark in marks if mark.kind is kind]


def _callouts(pen: ImageDraw.ImageDraw, marks: list[Mark], view: _View) -> None:
    """Ring thin places, and write their widths in the columns to both sides."""
    places = [view.pixels(np.array([[m.place.x_mm, m.place.y_mm]]))[0].tolist() for m in marks]
    found = sorted(zip(places, marks, strict=True), key=lambda one: (one[0][1], one[0][0]))
    middle = FINER * (COLUMN_PX + SIDE_PX / 2)
    for left in (True, False):
        column = [one for one in found if (one[0][0] < middle) is left]
        lines = _spread([y for (_, y), _ in column])
        for (place, mark), line in zip(column, lines, strict=True):
            _callout(pen, mark, (place[0], place[1]), view=view, line=(left, line))


def _spread(heights: list[float]) -> list[float]:
    """Return where lines of lettering stand, in the same order and none over another."""
    least, most = FINER * LINE_PX, FINER * (SIDE_PX - LINE_PX)
    lines: list[float] = []
    for number, height in enumerate(heights):
        after = lines[-1] + FINER * LINE_PX if lines else least
        # as many lines as follow must still find room below
        before = most - FINER * LINE_PX * (len(heights) - 1 - number)
        lines.append(min(max(height, after), before))
    return lines


def _callout(
    pen: ImageDraw.ImageDraw,
    mark: Mark,
    place: tuple[float, float],
    *,
    view: _View,
    line: tuple[bool, float],
) -> None:
    """Draw one ring, its leader and its label on a line of the left or right column."""
    left, height = line
    radius = max(FINER * LEAST_RING_PX, mark.place.width_mm * view.px_per_mm)
    edge = FINER * (COLUMN_PX if left else COLUMN_PX + SIDE_PX)
    towards = np.array([edge, height]) - place
    start = place + towards / np.hypot(*towards) * radius
    colour = RINGS[mark.kind]
    x, y = place
    box = (x - radius, y - radius, x + radius, y + radius)
    pen.ellipse(box, outline=colour, width=FINER * RING_PX)
    pen.line([*start.tolist(), edge, height], fill=colour, width=FINER)
    pen.text(
        (edge + FINER * (-6 if left else 6), height),
        f"{mark.kind} {mark.place.width_mm:.2f} mm",
        fill=colour,
        font=_letters(),
        anchor="rm" if left else "lm",
    )


def _letters() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(default_font()), FINER * LETTERS_PX)
