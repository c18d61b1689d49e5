"""What is true of an artwork at a size, and its flat picture with thin strokes and gaps ringed."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from io import BytesIO
from math import ceil, isfinite
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from shapely import MultiPolygon, Polygon

from moulddesign.artwork.legibility import (
    ThinPlace,
    least_gap_mm,
    least_stroke_mm,
    thin_gaps,
    thin_strokes,
)
from moulddesign.artwork.lettering import default_font
from moulddesign.artwork.patterns import artwork, pattern_names
from moulddesign.artwork.polygons import Region
from moulddesign.core import SpecError, say

FINER: Final = 3
"""Drawn so many times larger and scaled down, which smooths its edges."""
PICTURING_PAPER: Final = 255
PICTURING_DOUGH: Final = 226
SHARE_OF_TOP: Final = 0.94
COLUMNS: Final = 5
CELL_PX: Final = 300
LABEL_PX: Final = 34


def picture(regions: tuple[Region, ...], size_px: int) -> Image.Image:
    """Return artwork as a grey picture on a round top.

    Parameters
    ----------
    regions : tuple of Region
        In the unit square.
    size_px : int
        Width and height [px].
    """
    side = size_px * FINER
    image = Image.new("L", (side, side), PICTURING_PAPER)
    ImageDraw.Draw(image).ellipse((FINER, FINER, side - FINER, side - FINER), fill=PICTURING_DOUGH)
    for region in regions:
        tone = round(PICTURING_DOUGH * (1.0 - region.depth_share))
        for part in region.shape.geoms:
            image.paste(tone, mask=_mask_picturing(part, side))
    return image.resize((size_px, size_px), Image.Resampling.LANCZOS)


def _mask_picturing(part: shapely.Polygon, side: int) -> Image.Image:
    mask = Image.new("1", (side, side))
    pen = ImageDraw.Draw(mask)
    for fill, ring in ((1, part.exterior), *((0, hole) for hole in part.interiors)):
        pen.polygon(_pixels(shapely.get_coordinates(ring), side).tolist(), fill=fill)
    return mask


def _pixels(points: NDArray[np.float64], side: int) -> NDArray[np.float64]:
    """Return x and y in turn, in pixels, y down."""
    scaled: NDArray[np.float64] = (points * (1.0, -1.0) * SHARE_OF_TOP + 0.5) * side
    return scaled.ravel()


def sheet_png() -> bytes:
    """Return one picture of all bundled patterns with their names, as a PNG file."""
    names = pattern_names()
    rows = ceil(len(names) / COLUMNS)
    sheet = Image.new("L", (COLUMNS * CELL_PX, rows * (CELL_PX + LABEL_PX)), PICTURING_PAPER)
    pen = ImageDraw.Draw(sheet)
    letters = ImageFont.truetype(str(default_font()), LABEL_PX * 0.55)
    for index, name in enumerate(names):
        left, top = index % COLUMNS * CELL_PX, index // COLUMNS * (CELL_PX + LABEL_PX)
        sheet.paste(picture(artwork(name, Path()), CELL_PX - 12), (left + 6, top + 6))
        middle = (left + CELL_PX / 2, top + CELL_PX + LABEL_PX / 3)
        pen.text(middle, name, fill=0, font=letters, anchor="mm")
    return png(sheet)


def png(image: Image.Image) -> bytes:
    """Return a picture as a PNG file."""
    buffer = BytesIO()
    image.save(buffer, format="PNG")
    return buffer.getvalue()


Colour = tuple[int, int, int]
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
PAPER_COLOUR: Final[Colour] = (255, 255, 255)
DOUGH_COLOUR: Final[Colour] = (236, 226, 208)
RAISED_COLOUR: Final[Colour] = (110, 78, 48)
SUNK_COLOUR: Final[Colour] = (150, 160, 176)


class ThinKind(StrEnum):
    """What is thin."""

    STROKE = "stroke"
    GAP = "gap"


RING_COLOURS: Final[dict[ThinKind, Colour]] = {
    ThinKind.STROKE: (206, 32, 32),
    ThinKind.GAP: (28, 80, 200),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ColouredRegion:
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
class ThinMark:
    """A thin place to be ringed.

    Parameters
    ----------
    kind : Kind
        Stroke or gap.
    place : Thin
        Where, and how thin.
    """

    kind: ThinKind
    place: ThinPlace


def thin_marks(
    shape: Polygon | MultiPolygon, *, least_stroke_mm: float, least_gap_mm: float
) -> tuple[ThinMark, ...]:
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
        *(ThinMark(kind=ThinKind.STROKE, place=place) for place in strokes),
        *(ThinMark(kind=ThinKind.GAP, place=place) for place in gaps),
    )


def marked_picture(
    drawn: Iterable[ColouredRegion], marks: tuple[ThinMark, ...], caption: str
) -> Image.Image:
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
    image = Image.new("RGB", (FINER * size[0], FINER * size[1]), PAPER_COLOUR)
    view = _View.of(layers[0].shape)
    for layer in layers:
        image.paste(layer.colour, mask=_mask_marking(layer.shape, view, image.size))
    pen = ImageDraw.Draw(image)
    shown = [mark for kind in ThinKind for mark in _of(kind, marks)[:MOST_MARKS]]
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


def _mask_marking(shape: Polygon | MultiPolygon, view: _View, size: tuple[int, int]) -> Image.Image:
    """Return where a region is; larger parts first, so that islands lie in their holes."""
    mask = Image.new("1", size)
    pen = ImageDraw.Draw(mask)
    for part in sorted(shapely.get_parts(shape), key=lambda part: -Polygon(part.exterior).area):
        for fill, ring in ((1, part.exterior), *((0, hole) for hole in part.interiors)):
            pen.polygon(view.pixels(shapely.get_coordinates(ring)).ravel().tolist(), fill=fill)
    return mask


def _of(kind: ThinKind, marks: tuple[ThinMark, ...]) -> list[ThinMark]:
    return [mark for mark in marks if mark.kind is kind]


def _callouts(pen: ImageDraw.ImageDraw, marks: list[ThinMark], view: _View) -> None:
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
    mark: ThinMark,
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
    colour = RING_COLOURS[mark.kind]
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


MOST_SIZE_MM: Final = 400.0
"""As large as a layer may be [mm]."""
GOOD_STROKE_MM: Final = 0.9
"""A relief's stroke: two lines of a 0.42 mm line width; common practice, no source [mm]."""
GOOD_GAP_MM: Final = 0.8
"""A gap that dough fills and a nozzle leaves open: two lines; common practice, no source [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArtworkCheck:
    """A piece of artwork at a size.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of what is drawn, where the frame's larger side has the size asked for [mm].
    regions : int
        Connected parts.
    points : int
        Corners of all their outlines.
    depth_shares : tuple of float
        Shares of the depth that occur, deepest first.
    covered : float
        Share of the frame's square that is drawn.
    thin_stroke, thin_gap : Thin or None
        Thinnest stroke and gap below `GOOD_STROKE_MM` and `GOOD_GAP_MM`; None where all are wider.
    shape : MultiPolygon
        All that is drawn, at that size [mm].
    """

    width_mm: float
    height_mm: float
    regions: int
    points: int
    depth_shares: tuple[float, ...]
    covered: float
    thin_stroke: ThinPlace | None
    thin_gap: ThinPlace | None
    shape: MultiPolygon

    @property
    def reads(self) -> bool:
        """Whether no stroke and no gap is too thin."""
        return self.thin_stroke is None and self.thin_gap is None


def check_artwork(name_or_path: str, folder: Path, *, size_mm: float) -> ArtworkCheck:
    """Return what is true of a pattern or a file at a size.

    Parameters
    ----------
    name_or_path : str
        A bundled pattern's name, or a path to an SVG, PNG or JPEG file.
    folder : Path
        What a relative path starts from.
    size_mm : float
        Larger side of the drawing's frame [mm].

    Raises
    ------
    SpecError
        The size is not above 0 and at most 400 mm, or the name is unknown.
    FileError
        The file cannot become relief.
    """
    if not (isfinite(size_mm) and 0.0 < size_mm <= MOST_SIZE_MM):
        raise SpecError("size", size_mm, say("artwork.check-size", most_mm=MOST_SIZE_MM))
    found = artwork(name_or_path, folder)
    united = shapely.union_all([region.shape for region in found])
    parts = [part for part in shapely.get_parts(united) if part.area > 0.0]
    whole = shapely.transform(MultiPolygon(parts), lambda points: points * size_mm)
    width, height = np.ptp(np.reshape(whole.bounds, (2, 2)), axis=0)
    return ArtworkCheck(
        width_mm=float(width),
        height_mm=float(height),
        regions=len(parts),
        points=sum(len(shapely.get_coordinates(region.shape)) for region in found),
        depth_shares=tuple(region.depth_share for region in found),
        covered=sum(region.shape.area for region in found),
        thin_stroke=least_stroke_mm(whole, below_mm=GOOD_STROKE_MM),
        thin_gap=least_gap_mm(whole, below_mm=GOOD_GAP_MM),
        shape=whole,
    )


def check_picture(found: ArtworkCheck) -> Image.Image:
    """Return the artwork as a picture on which every thin stroke and gap is ringed.

    Parameters
    ----------
    found : ArtworkCheck
        What was found of it.
    """
    marks = thin_marks(found.shape, least_stroke_mm=GOOD_STROKE_MM, least_gap_mm=GOOD_GAP_MM)
    outcome = "Thinner ones are ringed" if marks else "None is thinner"
    caption = f"Stroke at least {GOOD_STROKE_MM:g} mm, gap {GOOD_GAP_MM:g} mm\n{outcome}"
    return marked_picture([ColouredRegion(shape=found.shape, colour=RAISED_COLOUR)], marks, caption)
