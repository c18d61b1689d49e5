"""Artwork seen flat: bundled patterns on one sheet, thin strokes and gaps ringed."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil, radians, tan
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import distance_transform_edt
from shapely import MultiPolygon, Polygon

from moulddesign.artwork.artwork_check import (
    GOOD_GAP_MM,
    GOOD_STROKE_MM,
    ArtworkCheck,
    ThinKind,
    ThinMark,
    thin_marks,
)
from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.artwork.font_files import default_font
from moulddesign.artwork.patterns import artwork
from moulddesign.artwork.polygons import Region
from moulddesign.core import LANGUAGES, Message, in_words, say
from moulddesign.design import Design
from moulddesign.geometry import Points
from moulddesign.render import Picture, height_picture, png_bytes


def check_png(found: ArtworkCheck) -> bytes:
    """Return the artwork as a PNG file on which every thin stroke and gap is ringed."""
    marks = thin_marks(found.shape, least_stroke_mm=GOOD_STROKE_MM, least_gap_mm=GOOD_GAP_MM)
    caption = (
        say("export.relief-least", stroke_mm=GOOD_STROKE_MM, gap_mm=GOOD_GAP_MM),
        outcome(marks, thickened=not found.added.is_empty),
    )
    drawn = [
        ColouredRegion(shape=found.shape, colour=RAISED_COLOUR),
        ColouredRegion(shape=found.added, colour=THICKENED_COLOUR),
    ]
    lines = "\n".join(in_words(line, LANGUAGES[0]) for line in caption)
    return png_bytes(marked_picture(drawn, marks, lines))


def outcome(marks: Sequence[ThinMark], *, thickened: bool) -> Message:
    """Return what a picture by `marked_picture` shows of thin places, and of thickened ones."""
    hidden = len(marks) - len(_ringed(marks))
    said = say("export.relief-none-thinner")
    if marks:
        said = say("export.relief-ringed")
    if hidden:
        said = say("export.relief-some-ringed", hidden=hidden)
    if not thickened:
        return said
    return say("core.two-sentences", first=said, second=say("export.relief-thickened"))


def _ringed(marks: Sequence[ThinMark]) -> list[ThinMark]:
    return [mark for kind in ThinKind for mark in [m for m in marks if m.kind is kind][:MOST_MARKS]]


OVERSAMPLING: Final = 3
"""Drawn so many times larger and scaled down, which smooths its edges."""
SHARE_OF_TOP: Final = 0.94
"""The frame of the artwork as a share of the round top's diameter."""
SHEET_COLUMNS: Final = 5
CELL_PX: Final = 300
FREE_PX: Final = 28
"""Free paper around a piece on the sheet [px]."""
LABEL_PX: Final = 34
SHOWN_MM: Final = 52.0
"""Diameter of the round pieces on the sheet, about 75 g when eaten [mm]."""
EDGE_MM: Final = 1.5
"""Radius of their edge [mm]."""
THICK_MM: Final = 4.0
"""As high as they look, by their shadow [mm]."""


def pattern_picture(regions: tuple[Region, ...], size_px: int) -> Picture:
    """Return artwork in the unit square pressed into a round piece, as seen from above."""
    side = 2 * size_px  # two samples along each side of a pixel
    pixel_mm = SHOWN_MM / (size_px - 2 * FREE_PX)
    ruler = (np.arange(side) + 0.5 - size_px) * pixel_mm / 2.0
    inwards_mm = SHOWN_MM / 2.0 - np.hypot.outer(ruler, ruler)

    def pixels(points: Points) -> Points:
        return points * (1.0, -1.0) * SHARE_OF_TOP * 2.0 * SHOWN_MM / pixel_mm + size_px

    relief = Design().relief
    raised_mm = np.zeros((side, side))
    for region in regions:
        mask = np.asarray(_mask(region.shape, pixels, (side, side)))
        # The roof over a region: as steep as its draft lets it be, and no higher than its depth.
        away_mm = distance_transform_edt(mask) * pixel_mm / 2.0
        high_mm = np.minimum(away_mm / tan(radians(relief.draft_deg)), relief.depth_mm)
        raised_mm = np.maximum(raised_mm, high_mm * region.depth_share)
    # A rounded edge: a quarter of a circle.
    fall_mm = (EDGE_MM - inwards_mm).clip(0.0, EDGE_MM)
    edge_mm = EDGE_MM - np.sqrt(EDGE_MM**2 - fall_mm**2)
    heights = np.where(inwards_mm > 0.0, THICK_MM - edge_mm + raised_mm[::-1], 0.0)
    return height_picture(heights.astype(np.float32), pixel_mm)


def _mask(
    shape: Polygon | MultiPolygon, pixels: Callable[[Points], Points], size: tuple[int, int]
) -> Image.Image:
    """Return where a region is; larger parts first, so that islands lie in their holes."""
    mask = Image.new("1", size)
    pen = ImageDraw.Draw(mask)
    for part in sorted(shapely.get_parts(shape), key=lambda part: -Polygon(part.exterior).area):
        for fill, ring in ((1, part.exterior), *((0, hole) for hole in part.interiors)):
            pen.polygon(pixels(shapely.get_coordinates(ring)).ravel().tolist(), fill=fill)
    return mask


def sheet_png(faces: Sequence[tuple[str, Picture]]) -> bytes:
    """Return one picture of carved faces and of all bundled patterns, as a PNG file.

    Parameters
    ----------
    faces : sequence of (str, Picture)
        Names and pictures, `CELL_PX` along each side; they come first.
    """
    drawn = ((name, pattern_picture(artwork(name, Path()), CELL_PX)) for name in pattern_names())
    shown = [*faces, *drawn]
    rows = ceil(len(shown) / SHEET_COLUMNS)
    size = (SHEET_COLUMNS * CELL_PX, rows * (CELL_PX + LABEL_PX))
    sheet = Image.new("RGB", size, PAPER_COLOUR)
    pen = ImageDraw.Draw(sheet)
    letters = ImageFont.truetype(str(default_font()), LABEL_PX * 0.55)
    for index, (name, made) in enumerate(shown):
        left, top = index % SHEET_COLUMNS * CELL_PX, index // SHEET_COLUMNS * (CELL_PX + LABEL_PX)
        sheet.paste(Image.fromarray(made), (left, top))
        middle = (left + CELL_PX / 2, top + CELL_PX + LABEL_PX / 3)
        pen.text(middle, name, fill=(0, 0, 0), font=letters, anchor="mm")
    return png_bytes(np.asarray(sheet))


Colour = tuple[int, int, int]
"""Red, green, blue, 0 to 255."""
SIDE_PX: Final = 900
CAPTION_PX: Final = 90
LETTERS_PX: Final = 20
CALLOUT_PX: Final = 190
"""Width of the columns of labels on both sides."""
LINE_PX: Final = 28
FREE_SHARE: Final = 0.06
"""Free paper around what is drawn, as a share of its larger side."""
LEAST_RING_PX: Final = 15
RING_PX: Final = 3
MOST_MARKS: Final = 12
"""More rings of a kind than this hide what they mark; the caption counts the others."""
PAPER_COLOUR: Final[Colour] = (255, 255, 255)
DOUGH_COLOUR: Final[Colour] = (236, 226, 208)
RAISED_COLOUR: Final[Colour] = (110, 78, 48)
SUNK_COLOUR: Final[Colour] = (150, 160, 176)
THICKENED_COLOUR: Final[Colour] = (240, 140, 20)


RING_COLOURS: Final[dict[ThinKind, Colour]] = {
    ThinKind.STROKE: (206, 32, 32),
    ThinKind.GAP: (28, 80, 200),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ColouredRegion:
    """A region in a colour; x right, y up [mm]."""

    shape: Polygon | MultiPolygon
    colour: Colour


def marked_picture(
    drawn: Iterable[ColouredRegion],
    marks: tuple[ThinMark, ...],
    caption: str,
    seen: Picture | None = None,
) -> Picture:
    """Return regions as a picture, thin places ringed and labelled.

    The first region is drawn first, and the picture is as large as it. Marks come with the thinnest
    of each kind first; only the first twelve of each are ringed. The caption has up to three lines.
    A picture of `seen_square`, `SIDE_PX` wide, takes the place of what is drawn within the first.
    """
    layers = tuple(drawn)
    size = (SIDE_PX + 2 * CALLOUT_PX, SIDE_PX + CAPTION_PX)
    image = Image.new("RGB", (OVERSAMPLING * size[0], OVERSAMPLING * size[1]), PAPER_COLOUR)
    view = _View.of(layers[0].shape)
    masks = (_mask(layer.shape, view.pixels, image.size) for layer in layers)
    if seen is None:
        for layer, mask in zip(layers, masks, strict=True):
            image.paste(layer.colour, mask=mask)
    else:
        size_px = (OVERSAMPLING * SIDE_PX, OVERSAMPLING * SIDE_PX)
        whole = Image.fromarray(seen).resize(size_px, Image.Resampling.NEAREST)
        left = OVERSAMPLING * CALLOUT_PX
        within = next(masks).crop((left, 0, left + whole.width, whole.height))
        image.paste(whole, (left, 0), within)
    pen = ImageDraw.Draw(image)
    _draw_callouts(pen, _ringed(marks), view)
    pen.text(
        (image.width / 2, OVERSAMPLING * (SIDE_PX + CAPTION_PX * 0.4)),
        caption,
        fill=(0, 0, 0),
        font=_letters(),
        anchor="mm",
        align="center",
    )
    return np.asarray(image.resize(size, Image.Resampling.BOX))


def seen_square(shape: shapely.Geometry) -> tuple[Points, float]:
    """Return the lower left corner and the side of what `marked_picture` shows [mm]."""
    left, low, right, high = shape.bounds
    side = max(right - left, high - low) * (1.0 + 2.0 * FREE_SHARE)
    return np.array([left + right - side, low + high - side]) / 2.0, side


@dataclass(frozen=True, slots=True)
class _View:
    """Where millimetres fall on the picture."""

    px_per_mm: float
    middle: tuple[float, float]

    @classmethod
    def of(cls, shape: shapely.Geometry) -> "_View":
        left, low, right, high = shape.bounds
        _, side = seen_square(shape)
        return cls(OVERSAMPLING * SIDE_PX / side, ((left + right) / 2.0, (low + high) / 2.0))

    def pixels(self, points: Points) -> Points:
        """Return points in pixels, y down, shape (n, 2)."""
        moved = (points - np.array(self.middle)) * (self.px_per_mm, -self.px_per_mm)
        centre = np.array([CALLOUT_PX + SIDE_PX / 2.0, SIDE_PX / 2.0])
        placed: Points = moved + OVERSAMPLING * centre
        return placed


def _draw_callouts(pen: ImageDraw.ImageDraw, marks: list[ThinMark], view: _View) -> None:
    """Ring thin places, and write their widths in the columns on both sides."""
    places = [view.pixels(np.array([[m.place.x_mm, m.place.y_mm]]))[0].tolist() for m in marks]
    found = sorted(zip(places, marks, strict=True), key=lambda one: (one[0][1], one[0][0]))
    middle = OVERSAMPLING * (CALLOUT_PX + SIDE_PX / 2)
    for left in (True, False):
        column = [one for one in found if (one[0][0] < middle) is left]
        lines = _spread([y for (_, y), _ in column])
        for (place, mark), line in zip(column, lines, strict=True):
            _draw_callout(pen, mark, (place[0], place[1]), view=view, line=(left, line))


def _spread(heights: list[float]) -> list[float]:
    """Return where lines of lettering stand, in the same order and none over another."""
    least, most = OVERSAMPLING * LINE_PX, OVERSAMPLING * (SIDE_PX - LINE_PX)
    lines: list[float] = []
    for number, height in enumerate(heights):
        after = lines[-1] + OVERSAMPLING * LINE_PX if lines else least
        # as many lines as follow must still find room below
        before = most - OVERSAMPLING * LINE_PX * (len(heights) - 1 - number)
        lines.append(min(max(height, after), before))
    return lines


def _draw_callout(
    pen: ImageDraw.ImageDraw,
    mark: ThinMark,
    place: tuple[float, float],
    *,
    view: _View,
    line: tuple[bool, float],
) -> None:
    """Draw one ring, its leader and its label on a line of the left or right column."""
    left, height = line
    radius = max(OVERSAMPLING * LEAST_RING_PX, mark.place.width_mm * view.px_per_mm)
    edge = OVERSAMPLING * (CALLOUT_PX if left else CALLOUT_PX + SIDE_PX)
    towards = np.array([edge, height]) - place
    start = place + towards / np.hypot(*towards) * radius
    colour = RING_COLOURS[mark.kind]
    x, y = place
    box = (x - radius, y - radius, x + radius, y + radius)
    pen.ellipse(box, outline=colour, width=OVERSAMPLING * RING_PX)
    pen.line([*start.tolist(), edge, height], fill=colour, width=OVERSAMPLING)
    pen.text(
        (edge + OVERSAMPLING * (-6 if left else 6), height),
        f"{mark.kind} {mark.place.width_mm:.2f} mm",
        fill=colour,
        font=_letters(),
        anchor="rm" if left else "lm",
    )


def _letters() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(default_font()), OVERSAMPLING * LETTERS_PX)
