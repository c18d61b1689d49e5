"""Artwork by name or by file: a bundled pattern, an SVG drawing, or a picture, which is traced."""

import warnings
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Final, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError
from scipy.ndimage import minimum_filter
from skimage.filters import gaussian, threshold_otsu
from skimage.measure import find_contours

from moulddesign.artwork import polygons
from moulddesign.artwork.bundled_patterns import PICTURES, artwork_file
from moulddesign.artwork.svg import svg_regions
from moulddesign.core import FileError, Message, SpecError, limits, read_bytes, say

Made = TypeVar("Made")

LEAST_PIXELS: Final = 16
SMOOTHING_PX: Final = 0.8
"""Spread of the blur before the threshold: takes the stairs out of an edge without grey pixels."""
TRACE_TOLERANCE_PX: Final = 0.15
"""How far a contour may move when points are left out, in pixels of what is traced."""
WHITE_8_BIT: Final = 255.0
WHITE_16_BIT: Final = 65_535.0
EVEN_TONE: Final = 1.0 / 255.0


def picture_regions(path: Path, threshold: float | None = None) -> tuple[polygons.Region, ...]:
    """Return what is dark in a PNG or JPEG picture.

    Its larger side becomes 1, around the origin; clear pixels count as white. Pixels darker than
    the threshold, a brightness from 0 to 1, stand out; without one Otsu's method [1]_ finds it.
    Contours lie within 0.15 pixel of the traced edge.

    References
    ----------
    .. [1] N. Otsu, "A threshold selection method from gray-level histograms", IEEE Transactions
       on Systems, Man, and Cybernetics 9 (1979), 62-66.
    """
    if threshold is not None and not 0.0 < threshold < 1.0:
        raise SpecError("threshold", threshold, say("artwork.threshold"))
    grey = _brightness(path)
    tone = _threshold(grey, threshold, path)
    smooth = gaussian(grey, sigma=SMOOTHING_PX, mode="nearest")
    framed = np.pad(smooth, 1, constant_values=1.0)
    if _edges(framed > tone) > limits.MOST_POINTS:
        raise FileError(str(path), say("artwork.too-grainy", most=limits.MOST_POINTS))
    height, width = grey.shape
    lines = [
        _in_unit_square(line, width, height)
        for line in find_contours(framed, tone, fully_connected="high")
    ]
    shape = polygons.multipolygon(
        polygons.fill_even_odd(lines), say("artwork.file-outline", name=path.name)
    )
    # One by one: together, each point that is left out is compared with all other polygons.
    simple = shapely.simplify(
        shapely.get_parts(shape), TRACE_TOLERANCE_PX / max(width, height), preserve_topology=True
    )
    found = polygons.visible_regions(
        [(polygons.polygon_set(part), 1.0) for part in simple],
        say("artwork.file-relief", name=path.name),
    )
    if not found:
        raise FileError(str(path), say("artwork.nothing-dark"))
    return found


def _edges(light: NDArray[np.bool_]) -> int:
    """Return how often neighbouring pixels differ: each is a point of a contour."""
    return sum(int(np.count_nonzero(np.diff(light, axis=axis))) for axis in (0, 1))


def _in_unit_square(line: NDArray[np.float64], width: int, height: int) -> NDArray[np.float64]:
    """Return a contour of rows and columns in the unit square, y up."""
    row, column = (line - 1.0 + 0.5).T
    side = max(width, height)
    return np.stack([(column - width / 2.0) / side, (height / 2.0 - row) / side], axis=1)


def _threshold(grey: NDArray[np.float64], threshold: float | None, path: Path) -> float:
    if np.ptp(grey) <= EVEN_TONE:
        raise FileError(str(path), say("artwork.even-tone"))
    if threshold is not None:
        return threshold
    # Otsu's optimum lies midway between the means of its two classes. His value itself is the last
    # tone of the dark class: a contour at that value would run beside the edge of a picture
    # without grey, not along it.
    dark = grey <= threshold_otsu(grey)
    return float(grey[dark].mean() + grey[~dark].mean()) / 2.0


LEVEL_STEP: Final = 0.12
"""Difference in brightness from that of most of what is dark, or light, that is another shade; our
choice."""
EDGE_PX: Final = 3
"""Pixels beside an edge that may be grey for the sake of the edge."""


def picture_greys(name_or_path: str, folder: Path) -> float:
    """Return the share of a picture's area that is neither its dark nor its light shade.

    Those greys are lost: below the threshold they stand out fully, above it not at all. Pixels
    beside an edge between the two are not counted. 0 for a drawing, whose greys are depths.
    """
    path = artwork_file(name_or_path, folder)
    if path.suffix.lower() not in PICTURES:
        return 0.0
    grey = _brightness(path)
    dark = grey < _threshold(grey, None, path)
    lost = 0
    for shade in (dark, ~dark):
        inside = minimum_filter(shade, 2 * EDGE_PX + 1)
        if inside.any():
            lost += int((np.abs(grey[inside] - np.median(grey[inside])) > LEVEL_STEP).sum())
    return lost / grey.size


def _brightness(path: Path) -> NDArray[np.float64]:
    """Return brightness, 0 to 1, shape (rows, columns), scaled down where it is large."""
    return read_picture(path, ("PNG", "JPEG"), _grey, say("artwork.no-picture"))


def read_picture(
    path: Path, formats: tuple[str, ...], read: Callable[[Image.Image], Made], otherwise: Message
) -> Made:
    """Return what is read from a picture file, upright and of a fit size.

    Parameters
    ----------
    path : Path
        The file.
    formats : tuple of str
        Kinds of files that are taken, as Pillow calls them.
    read : callable
        What is done while the file is open.
    otherwise : Message
        What a file of another kind is told.

    Raises
    ------
    FileError
        It is no such picture, too large or too small, or cannot be unpacked.
    """
    advice = say("artwork.scale-picture-down")
    raw = read_bytes(path, most_bytes=limits.MOST_PICTURE_BYTES, advice=advice)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(BytesIO(raw), formats=formats) as image:
                return read(_upright(image, path))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise FileError(
            str(path), say("artwork.too-many-pixels", most=limits.MOST_PICTURE_PIXELS)
        ) from error
    except UnidentifiedImageError as error:
        raise FileError(str(path), otherwise) from error
    except (OSError, SyntaxError, ValueError) as error:
        reason = say("artwork.unreadable-picture", reason=str(error).rstrip("."))
        raise FileError(str(path), reason) from error


def _upright(image: Image.Image, path: Path) -> Image.Image:
    """Return a picture upright, checked for its size before it is unpacked."""
    width, height = image.size
    if width * height > limits.MOST_PICTURE_PIXELS:
        raise FileError(str(path), say("artwork.too-many-pixels", most=limits.MOST_PICTURE_PIXELS))
    if min(width, height) < LEAST_PIXELS:
        need = say("artwork.too-few-pixels", least=LEAST_PIXELS)
        raise FileError(str(path), need)
    return ImageOps.exif_transpose(image)


def scaled_down(image: Image.Image, most: int) -> Image.Image:
    """Return a picture whose larger side has at most so many pixels, averaged where it had more."""
    larger = max(image.size)
    if larger <= most:
        return image
    width, height = (max(round(side * most / larger), 1) for side in image.size)
    return image.resize((width, height), Image.Resampling.BOX)


def _grey(image: Image.Image) -> NDArray[np.float64]:
    if image.mode.startswith("I"):
        grey = Image.fromarray(
            np.asarray(image, dtype=np.float32) * np.float32(WHITE_8_BIT / WHITE_16_BIT)
        )
    else:
        clear = image.convert("RGBA")
        paper = Image.new("RGBA", clear.size, "white")
        grey = Image.alpha_composite(paper, clear).convert("L").convert("F")
    grey = scaled_down(grey, limits.MOST_TRACED)
    brightness: NDArray[np.float64] = np.asarray(grey, dtype=np.float64) / WHITE_8_BIT
    return brightness


def artwork(
    name_or_path: str, folder: Path, threshold: float | None = None
) -> tuple[polygons.Region, ...]:
    """Return the regions of a pattern or of a file of one's own.

    It lies in the unit square around the origin, x right and y up, without overlap, deepest first.
    A relative path starts from the folder of the design file. Below the threshold, a brightness
    from 0 to 1, what is drawn stands out fully, and nothing else does.
    """
    path = artwork_file(name_or_path, folder)
    if path.suffix.lower() in PICTURES:
        return picture_regions(path, threshold)
    found = svg_regions(path)
    return found if threshold is None else _two_shades(found, threshold, path)


def _two_shades(
    found: tuple[polygons.Region, ...], threshold: float, path: Path
) -> tuple[polygons.Region, ...]:
    """Return what of a drawing is darker than the threshold, at full depth."""
    dark = [polygons.polygon_set(r.shape) for r in found if 1.0 - r.depth_share < threshold]
    if not dark:
        raise FileError(str(path), say("artwork.nothing-dark"))
    whole = [(polygons.polygon_union(dark), 1.0)]
    return polygons.visible_regions(whole, say("artwork.file-relief", name=path.name))
