"""Artwork drawn as a flat picture: what stands out dark, on a round or square top."""

from io import BytesIO
from math import ceil
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from moulddesign.pastry.artwork import artwork, pattern_names
from moulddesign.pastry.font import default_font
from moulddesign.pastry.region import Region

FINER: Final = 3
"""Drawn so many times larger and scaled down, which smooths its edges."""
PAPER: Final = 255
DOUGH: Final = 226
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
    image = Image.new("L", (side, side), PAPER)
    ImageDraw.Draw(image).ellipse((FINER, FINER, side - FINER, side - FINER), fill=DOUGH)
    for region in regions:
        tone = round(DOUGH * (1.0 - region.depth_share))
        for part in region.shape.geoms:
            image.paste(tone, mask=_mask(part, side))
    return image.resize((size_px, size_px), Image.Resampling.LANCZOS)


def _mask(part: shapely.Polygon, side: int) -> Image.Image:
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
    sheet = Image.new("L", (COLUMNS * CELL_PX, rows * (CELL_PX + LABEL_PX)), PAPER)
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
