"""Relief from photos: one place of the camera, a lamp that goes around, and what it lights.

A dull surface is as bright as its slope towards the lamp: I = a (n . l), with the colour a, the
normal n and the lamp's direction l. Three photos give n, more of them let shadows and gloss be left
out. The slopes of all points then make the heights. A picture taken alone has no depth: a dark spot
may be a slope, a stain or a shadow.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from moulddesign.artwork.patterns import WHITE_8_BIT, WHITE_16_BIT, read_picture, scaled_down
from moulddesign.core import FileError, SpecError, say
from moulddesign.fit.scanned_mould import TO_SD, HeightRaster
from moulddesign.geometry import Points
from moulddesign.geometry.sampling import Grid
from moulddesign.relief.height_map import integrated

LEAST_PHOTOS: Final = 4
MOST_PHOTOS: Final = 8
MOST_ACROSS: Final = 1600
"""Pixels along the larger side of a photo that are read; a larger one is averaged down to it."""
LAMP_DEG: Final = (20.0, 75.0)
"""Lamp over the table: lower, shadows cover the relief, higher, all photos look alike [deg]."""
LEAST_SPREAD: Final = 0.3
"""Least singular value of the lamps' directions over that of a full circle of them; our choice."""
CLIPPED: Final = 0.98
"""A channel brighter than this share of white may have been brighter still."""
SHADED: Final = 0.1
"""A photo darker than this share of the pixel's brightest shows a shadow there; our choice."""
LEAST_STEEP: Final = 0.12
"""Least share of a normal along the view: walls steeper than 83 deg are taken as such."""
CAUCHY: Final = 2.385
"""Residuals of so many spreads count half (Cauchy's weight, 95 % efficient)."""
LEAST_RESIDUAL: Final = 0.005
"""Spread that is taken at the least, as a share of the mean light: a step of 8 bits there."""
ROUNDS: Final = 3
"""Rounds of weighting by residuals; more change nothing."""
BLUR_PX: Final = 0.7
"""Spread of the blur against the camera's noise [px]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The two ends of the known width in the photos, in pixels from the upper left corner."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LitRelief:
    """What photos show, as the camera sees it: x right, y up."""

    heights: HeightRaster
    """Up to a factor near 1 and a slow curve, shape of the grid [mm]."""
    unexplained: float
    """Light that a dull surface does not explain, as a share of all: its root mean square."""
    shaded: float
    """Share of pixels of all photos in shadow."""
    clipped: float
    """Share of pixels of all photos that are white or glossy."""


def lit_relief(
    paths: Sequence[Path],
    azimuths_deg: Sequence[float],
    *,
    lamp_deg: float,
    width_mm: float,
    marks: Marks | None,
    grid: Grid,
) -> LitRelief:
    """Return the relief that photos under a lamp from several sides show.

    Parameters
    ----------
    paths : sequence of Path
        PNG or JPEG, all from one place.
    azimuths_deg : sequence of float
        Where the lamp stands: 0 right of the picture, 90 above it, counter-clockwise [deg].
    lamp_deg : float
        Lamp over the table, seen from the middle [deg].
    width_mm : float
        Distance of the marks, or of the picture's left and right edge [mm].
    marks : Marks or None
        In the first photo.
    grid : Grid
        Pixels to work on, the middle of the width at the origin.

    Raises
    ------
    SpecError
        There are too few or too many photos, or their lamps do not tell slopes.
    FileError
        A photo cannot be read, or differs from the first in size or not at all.

    Notes
    -----
    Photometric stereo [1]_ by weighted least squares at each pixel: shadows are left out by a
    weight of the squared brightness, gloss by Cauchy's weight of the residual. Each photo's
    exposure is taken such that its median is that of all. The slopes are integrated by least
    squares, by the cosine transform, as Frankot and Chellappa did by Fourier's [2]_.

    References
    ----------
    .. [1] R. J. Woodham, "Photometric method for determining surface orientation from multiple
       images", Optical Engineering 19 (1980), 139-144.
    .. [2] R. T. Frankot, R. Chellappa, "A method for enforcing integrability in shape from shading
       algorithms", IEEE Transactions on Pattern Analysis and Machine Intelligence 10 (1988),
       439-451.
    """
    lamps = _lamps(len(paths), azimuths_deg, lamp_deg)
    photos = [_light(path) for path in paths]
    _refuse_unlike(paths, photos)
    light = np.stack([_laid(each, width_mm, marks, grid) for each in photos])
    if not np.isfinite(light).all():
        raise SpecError("marks", "outside", say("fit.photo-too-narrow"))
    white = light >= CLIPPED
    levels = np.median(light, axis=(1, 2))
    if levels.min() <= 0.0:
        raise FileError(str(paths[int(levels.argmin())]), say("fit.photo-black"))
    light *= (levels.mean() / levels)[:, None, None]
    shaded = light < SHADED * light.max(axis=0)
    normals, residual = _normals(light, lamps, white)
    steep = np.maximum(normals[..., 2], LEAST_STEEP * np.linalg.norm(normals, axis=2) + 1e-9)
    right, up = -normals[..., 0] / steep, -normals[..., 1] / steep
    heights = integrated((up[1:] + up[:-1]) / 2.0, (right[:, 1:] + right[:, :-1]) / 2.0)
    return LitRelief(
        heights=heights * grid.pixel_mm,
        unexplained=float(np.sqrt(np.mean(residual**2) / np.mean(light**2))),
        shaded=float(shaded.mean()),
        clipped=float(white.mean()),
    )


def _lamps(count: int, azimuths_deg: Sequence[float], lamp_deg: float) -> Points:
    """Return unit vectors towards the lamps, shape (n, 3)."""
    if count == 1:
        raise SpecError("photos", 1, say("fit.one-photo"))
    if not LEAST_PHOTOS <= count <= MOST_PHOTOS:
        need = say("fit.photo-count", least=LEAST_PHOTOS, most=MOST_PHOTOS)
        raise SpecError("photos", count, need)
    if len(azimuths_deg) != count or not all(map(isfinite, azimuths_deg)):
        need = say("fit.azimuth-each", count=count)
        raise SpecError("azimuths", ",".join(f"{a:g}" for a in azimuths_deg), need)
    if not LAMP_DEG[0] <= lamp_deg <= LAMP_DEG[1]:
        need = say("fit.lamp-height", least=LAMP_DEG[0], most=LAMP_DEG[1])
        raise SpecError("lamp-height", lamp_deg, need)
    around, high = np.radians(azimuths_deg), np.radians(lamp_deg)
    flat = np.column_stack([np.cos(around), np.sin(around)])
    # n lamps evenly around have both singular values sqrt(n / 2).
    spread = float(np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)[-1])
    if spread < LEAST_SPREAD * np.sqrt(count / 2.0):
        shown = ",".join(f"{a:g}" for a in azimuths_deg)
        raise SpecError("azimuths", shown, say("fit.azimuths-alike"))
    return np.column_stack([flat * np.cos(high), np.full(count, np.sin(high))])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Photo:
    light: HeightRaster
    """Share of white that fell on it, row 0 on top."""
    size: tuple[int, int]
    """Of the file, upright: width and height [px]."""


def _light(path: Path) -> _Photo:
    return read_picture(path, ("PNG", "JPEG"), _linear, say("artwork.no-picture"))


def _linear(image: Image.Image) -> _Photo:
    """Return light from the tones of a picture, by the curve of sRGB (IEC 61966-2-1)."""
    size = image.size
    if image.mode.startswith("I"):
        tones = np.asarray(image, dtype=np.float64)[..., None] / WHITE_16_BIT
    else:
        tones = np.asarray(image.convert("RGB"), dtype=np.float64) / WHITE_8_BIT
    tones = tones.clip(0.0, 1.0)
    light = np.where(tones <= 0.04045, tones / 12.92, ((tones + 0.055) / 1.055) ** 2.4)  # noqa: PLR2004 (the standard's)
    # A channel that is full counts as white: what it would have been is not known.
    grey = np.where(light.max(axis=2) >= CLIPPED, 1.0, light.mean(axis=2))
    small = scaled_down(Image.fromarray(grey.astype(np.float32)), MOST_ACROSS)
    return _Photo(light=np.asarray(small, dtype=np.float64), size=size)


def _refuse_unlike(paths: Sequence[Path], photos: Sequence[_Photo]) -> None:
    """Refuse photos that are not of one size, or of which two are the same."""
    for number, (path, photo) in enumerate(zip(paths, photos, strict=True)):
        first = photos[0].size
        if photo.size != first:
            width, height = photo.size
            need = say("fit.photo-sizes", width=width, height=height, first_width=first[0],
                       first_height=first[1])  # fmt: skip
            raise FileError(str(path), need)
        for other, before in zip(paths[:number], photos[:number], strict=True):
            if np.array_equal(photo.light, before.light):
                raise FileError(str(path), say("fit.photo-twice", other=other.name))


def _laid(photo: _Photo, width_mm: float, marks: Marks | None, grid: Grid) -> HeightRaster:
    """Return a photo's light at the pixels of a grid, not a number beyond its edges."""
    width, height = photo.size
    if marks is None:
        marks = Marks(x1=0.0, y1=height / 2.0, x2=float(width), y2=height / 2.0)
    a, b = np.array([marks.x1, marks.y1]), np.array([marks.x2, marks.y2])
    if not (np.isfinite(a).all() and np.isfinite(b).all()) or np.hypot(*(b - a)) < 1.0:
        shown = f"{marks.x1:g},{marks.y1:g},{marks.x2:g},{marks.y2:g}"
        raise SpecError("marks", shown, say("fit.marks-apart"))
    across = (b - a) / width_mm  # pixels of a millimetre to the right
    upward = np.array([across[1], -across[0]])  # rows run down
    x, y = np.meshgrid(*grid.centres_mm)
    places = (a + b) / 2.0 + x[..., None] * across + y[..., None] * upward
    smaller = photo.light.shape[1] / width
    rows, columns = places[..., 1] * smaller - 0.5, places[..., 0] * smaller - 0.5
    coarser = float(np.hypot(*across)) * smaller * grid.pixel_mm
    calm = ndimage.gaussian_filter(photo.light, max(BLUR_PX, coarser / 2.0), mode="nearest")
    bright = np.where(photo.light >= CLIPPED, 1.0, calm.clip(max=CLIPPED - 1e-6))
    made = ndimage.map_coordinates(bright, [rows, columns], order=1, mode="nearest")
    slack = 1.0
    inside = (rows > -slack) & (rows < photo.light.shape[0] - 1 + slack)
    inside &= (columns > -slack) & (columns < photo.light.shape[1] - 1 + slack)
    return np.where(inside, made, np.nan)


def _normals(
    light: HeightRaster, lamps: Points, white: NDArray[np.bool_]
) -> tuple[HeightRaster, HeightRaster]:
    """Return normals times brightness at each pixel, shape (rows, columns, 3), and residuals."""
    shadow = (light / np.maximum(light.max(axis=0), 1e-9)) ** 2
    weight = np.where(white, 1e-3, shadow)
    products = lamps[:, :, None] * lamps[:, None, :]
    residual, normals = np.zeros_like(light), np.zeros((*light.shape[1:], 3))
    for _ in range(ROUNDS):
        system = np.einsum("lij,lab->ijab", weight, products) + 1e-6 * np.eye(3)
        given = np.einsum("lij,la->ija", weight * light, lamps)
        normals = np.linalg.solve(system, given[..., None])[..., 0]
        residual = light - np.einsum("ija,la->lij", normals, lamps)
        lit = np.where(shadow > SHADED, residual, 0.0)
        spread = TO_SD * float(np.median(np.abs(lit[shadow > SHADED])))
        spread = max(spread, LEAST_RESIDUAL * float(light.mean()))
        weight = np.where(white, 1e-3, shadow) / (1.0 + (residual / (CAUCHY * spread)) ** 2)
    return normals, np.where(shadow > SHADED, residual, 0.0)
