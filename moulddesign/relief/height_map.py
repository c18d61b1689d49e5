"""Height maps of other programs, made releasable: a picture of heights, or a mesh from above.

A sculpted map knows nothing of a mould. It is pressed to the depth that is asked for, and its walls
are leant until the piece comes out of the stamp: a surface with the draft a is one whose slope is
at most k = cot a. Of all such surfaces the highest one below the map and the lowest one above it
are its two cone envelopes, and the one midway between them moves the worst place the least [1]_.

.. [1] E. J. McShane, "Extension of range of functions", Bulletin of the American Mathematical
   Society 40 (1934), 837-842: both envelopes are extensions with the slope k, and all others lie
   between them.
"""

import io
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from scipy.fft import dctn, idctn
from scipy.ndimage import gaussian_filter, map_coordinates, spline_filter

from moulddesign.artwork.patterns import (
    WHITE_8_BIT,
    WHITE_16_BIT,
    read_picture,
    scaled_down,
)
from moulddesign.core import FileError, say
from moulddesign.geometry import Points
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.geometry.sampling import Grid, grid_over, top_heights_mm
from moulddesign.relief.field import Heights

Raster = NDArray[np.float64]
"""Heights of square pixels, shape (rows, columns), row 0 at the least y."""

HEIGHT_PICTURES: Final = frozenset({".png", ".tif", ".tiff", ".jpg", ".jpeg"})
MOST_ACROSS: Final = 1000
"""Pixels along the larger side that are worked on; a finer map is averaged down to it."""
PIXEL_MM: Final = 0.06
"""Least pixel; a seventh of a usual nozzle's line [mm]."""
MM_PER_INCH: Final = 25.4
EVEN: Final = 1e-4
"""Range of a map that says nothing, as a share of white."""

ROUNDING_MM: Final = 0.12
"""Spread of the blur that rounds the corners that the envelopes leave; with it the facets keep the
draft; from trials [mm]."""
MARGIN: Final = 1.02
"""Of the slope: the spline between the pixels and the facets on it take the rest."""
DETAIL: Final = 10.0
"""Strength of the compression where all detail is kept: so many times the mean slope; by eye."""

CHAMFER: Final = ((0, 1), (1, 1), (1, 2), (1, 3), (2, 3))
"""Steps of a cone on pixels, rows and columns, up to symmetry: 32 headings."""
CHAMFER_LONG: Final = 1.0131
"""Longest way along these steps over the straight one: between (3, 1) and (1, 0) headings lie
18.43 deg apart, and 1 / cos 9.22 deg is 1.01308."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HeightMap:
    """A map as its file has it."""

    share: Raster
    """Height from 0 to 1, square pixels."""
    covered: NDArray[np.bool_]
    """Where the map says something: not clear, or under the mesh."""


def read_height_map(path: Path) -> HeightMap:
    """Return the heights in a grey picture, white high, or of a mesh seen from above.

    Parameters
    ----------
    path : Path
        PNG, TIFF or JPEG, of 8 or 16 bits or of floating point; or STL, 3MF, OBJ or PLY.

    Raises
    ------
    FileError
        It cannot be read, is too large or too small, or is level.
    """
    if path.suffix.lower() in HEIGHT_PICTURES:
        formats = ("PNG", "TIFF", "JPEG")
        made = read_picture(path, formats, _shares, say("relief.no-height-picture"))
    else:
        made = _of_mesh(path)
    if np.ptp(made.share[made.covered]) <= EVEN:
        raise FileError(str(path), say("relief.level-map"))
    low, high = (fold(made.share[made.covered]) for fold in (np.min, np.max))
    share = np.where(made.covered, (made.share - low) / (high - low), 0.0)
    return HeightMap(share=share, covered=made.covered)


def _of_mesh(path: Path) -> HeightMap:
    mesh = read_mesh(path)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    across = float((high - low)[:2].max())
    heights = top_heights_mm(mesh, grid_over(low[:2], high[:2], across / MOST_ACROSS))[1:-1, 1:-1]
    covered = np.isfinite(heights)
    return HeightMap(share=np.where(covered, heights, low[2]), covered=covered)


def _shares(image: Image.Image) -> HeightMap:
    """Return brightness as height, scaled down where it is large, row 0 lowest."""
    if image.mode.startswith("I"):
        grey = Image.fromarray(np.asarray(image, dtype=np.float32) / np.float32(WHITE_16_BIT))
        clear = None
    elif image.mode == "F":
        grey, clear = image, None
    else:
        grey = Image.fromarray(
            np.asarray(image.convert("L"), dtype=np.float32) / np.float32(WHITE_8_BIT)
        )
        clear = image.convert("RGBA").getchannel("A")
    grey = scaled_down(grey, MOST_ACROSS)
    share = np.asarray(grey, dtype=np.float64)[::-1]
    covered = np.isfinite(share)
    if clear is not None:
        covered &= np.asarray(scaled_down(clear, MOST_ACROSS))[::-1] >= WHITE_8_BIT / 2.0
    return HeightMap(share=np.where(covered, share, 0.0), covered=covered)


def height_png(heights: Raster, pixel_mm: float) -> bytes:
    """Return heights as a grey picture of 16 bits, which `read_height_map` reads.

    Parameters
    ----------
    heights : ndarray
        From 0 upwards, shape (rows, columns), row 0 at the least y [mm].
    pixel_mm : float
        Side of a pixel; the file says it as pixels to a metre [mm].

    Returns
    -------
    bytes
        PNG; its text `mm per step` is the height of one step of grey.
    """
    high_mm = float(heights.max())
    steps = np.rint(heights / high_mm * WHITE_16_BIT).astype(np.uint16)[::-1]
    told = PngInfo()
    told.add_text("mm per step", f"{high_mm / WHITE_16_BIT:.9g}")
    return grey_png(steps, pixel_mm, told)


def grey_png(steps: NDArray[np.uint16], pixel_mm: float, told: PngInfo) -> bytes:
    """Return a grey picture of 16 bits, row 0 on top; its resolution is whole pixels to a metre."""
    file = io.BytesIO()
    per_inch = round(1000.0 / pixel_mm) * MM_PER_INCH / 1000.0
    Image.fromarray(steps).save(file, format="PNG", dpi=(per_inch, per_inch), pnginfo=told)
    return file.getvalue()


def compressed(share: Raster, keep_detail: float) -> Raster:
    """Return a height map whose steep places are flattened more than its fine ones.

    Parameters
    ----------
    share : ndarray
        Heights from 0 to 1, shape (rows, columns).
    keep_detail : float
        0 leaves the map as it is; towards 1 large steps give up their height to fine detail.

    Notes
    -----
    Each slope g becomes log(1 + a g) / a, g relative to the mean of all that are not level, and a
    map whose slopes are these as nearly as can be is found by least squares: Poisson's equation
    with free edges, by the cosine transform [1]_.

    References
    ----------
    .. [1] T. Weyrich, J. Deng, C. Barnes, S. Rusinkiewicz, A. Finkelstein, "Digital bas-relief
       from 3D scenes", ACM Transactions on Graphics 26 (2007), no. 3, article 32.
    """
    if keep_detail == 0.0:
        return share
    down, right = np.diff(share, axis=0), np.diff(share, axis=1)
    steep = np.concatenate([np.abs(down).ravel(), np.abs(right).ravel()])
    strength = DETAIL * keep_detail / float(steep[steep > 0.0].mean())
    down, right = (np.sign(g) * np.log1p(strength * np.abs(g)) / strength for g in (down, right))
    made = integrated(down, right)
    return np.asarray((made - made.min()) / np.ptp(made), dtype=np.float64)


def integrated(down: Raster, right: Raster) -> Raster:
    """Return the heights whose differences are nearest to given ones, by least squares.

    Parameters
    ----------
    down, right : ndarray
        Differences of neighbouring rows, shape (rows - 1, columns), and columns, shape (rows,
        columns - 1), in pixels' widths; Poisson's equation with free edges.

    Returns
    -------
    ndarray
        Shape (rows, columns), their mean 0.

    Examples
    --------
    >>> steps = np.array([[0.0, 1.0, 3.0], [2.0, 3.0, 5.0]])
    >>> integrated(np.diff(steps, axis=0), np.diff(steps, axis=1)).round(6).tolist()
    [[-2.333333, -1.333333, 0.666667], [-0.333333, 0.666667, 2.666667]]
    """
    source = -np.diff(down, axis=0, prepend=0.0, append=0.0)
    source -= np.diff(right, axis=1, prepend=0.0, append=0.0)
    turns = [2.0 - 2.0 * np.cos(np.pi * np.arange(n) / n) for n in source.shape]
    share = turns[0][:, None] + turns[1]
    share[0, 0] = 1.0  # the mean height is free
    return np.asarray(idctn(dctn(source, norm="ortho") / share, norm="ortho"), dtype=np.float64)


def highest_below(heights: Raster, slope: float) -> Raster:
    """Return the highest surface below a map that is nowhere steeper than a slope.

    Parameters
    ----------
    heights : ndarray
        In pixels' widths, shape (rows, columns).
    slope : float
        Rise over run.

    Notes
    -----
    The lower envelope, min over all q of h(q) + k |p - q|, by shifts along 32 headings until
    nothing changes. Ways along these are up to 1.3 % longer than straight ones; the slope is
    lowered by that, so the envelope is never too steep and at most that share too low.
    """
    made = heights.copy()
    rise = slope / CHAMFER_LONG
    steps = sorted({step for a, b in CHAMFER for step in ((a, b), (b, a), (a, -b), (b, -a))})
    while True:
        before = made.copy()
        for row, column in steps:
            if row < 0 or (row == 0 and column < 0):
                continue
            near = made[row:, max(column, 0) : made.shape[1] + min(column, 0)]
            far = made[: made.shape[0] - row, max(-column, 0) : made.shape[1] - max(column, 0)]
            cost = rise * hypot(row, column)
            np.minimum(near, far + cost, out=near)
            np.minimum(far, near + cost, out=far)
        if np.array_equal(before, made):
            return made


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPlace:
    """Where a height map lies on the face."""

    size_mm: float
    """Its larger side."""
    x_mm: float = 0.0
    y_mm: float = 0.0
    """Where its middle lies."""
    turn_deg: float = 0.0
    """Counter-clockwise."""

    @property
    def _axes(self) -> Points:
        """The map's x and y axis, one a row."""
        turn = radians(self.turn_deg)
        return np.array([[cos(turn), sin(turn)], [-sin(turn), cos(turn)]])

    def on_map(self, points: Points) -> Points:
        """Return points in the map's axes, its middle at the origin, shape (n, 2) [mm]."""
        made: Points = (points - [self.x_mm, self.y_mm]) @ self._axes.T
        return made

    def on_face(self, points: Points) -> Points:
        """Return points of the map's axes on the face, shape (n, 2) [mm]."""
        made: Points = points @ self._axes + [self.x_mm, self.y_mm]
        return made


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Carving:
    """A height map where it lies on the face, releasable; heights over the ground [mm]."""

    place: MapPlace
    grid: Grid
    """Its pixels, in the map's axes."""
    spline: Raster
    """Coefficients of its cubic spline."""
    moved: Raster
    """How far the draft and the rounding moved it [mm]."""
    covered: NDArray[np.bool_]
    """Where the map says something."""

    def __call__(self, points: Points) -> Heights:
        """Return heights at points, shape (n, 2) to (n,); 0 beyond the map [mm]."""
        made: Heights = map_coordinates(
            self.spline, self._pixels(points), order=3, prefilter=False, mode="nearest"
        )
        return made

    def covers(self, points: Points) -> NDArray[np.bool_]:
        """Return which points lie where the map says something, shape (n, 2) to (n,)."""
        rows, columns = np.rint(self._pixels(points)).astype(np.int64)
        inside = (rows >= 0) & (rows < self.grid.shape[0])
        inside &= (columns >= 0) & (columns < self.grid.shape[1])
        found = np.zeros(len(points), dtype=bool)
        found[inside] = self.covered[rows[inside], columns[inside]]
        return found

    def _pixels(self, points: Points) -> Points:
        """Return rows and columns of points, shape (2, n)."""
        pixels = (self.place.on_map(points) - self.grid.low_mm) / self.grid.pixel_mm - 0.5
        turned: Points = pixels.T[::-1]
        return turned

    @property
    def moved_mm(self) -> float:
        """The most that the draft and the rounding moved it [mm]."""
        return float(np.abs(self.moved).max())

    @property
    def moved_at_mm(self) -> tuple[float, float]:
        """Where that is, x and y [mm]."""
        row, column = np.unravel_index(int(np.abs(self.moved).argmax()), self.moved.shape)
        x, y = self.grid.centres_mm
        ((x_mm, y_mm),) = self.place.on_face(np.array([[x[column], y[row]]])).tolist()
        return x_mm, y_mm


def carving(
    made: HeightMap, place: MapPlace, *, depth_mm: float, keep_detail: float, slope: float
) -> Carving:
    """Return a height map laid on the face, with no wall steeper than a slope.

    Parameters
    ----------
    made : HeightMap
        What the file holds.
    depth_mm : float
        Height of its highest place over its lowest [mm].
    keep_detail : float
        As `compressed` has it.
    slope : float
        Steepest rise over run: cot of the draft, less the ground's own slope.
    """
    pixel_mm = max(PIXEL_MM, place.size_mm / MOST_ACROSS)
    share, covered = _resampled(made, place.size_mm / pixel_mm)
    share = np.where(covered, compressed(share, keep_detail), 0.0)
    # Beyond its edge the map is level ground, far enough for the longest wall and the rounding.
    room = int(np.ceil((depth_mm / slope + 4.0 * ROUNDING_MM) / pixel_mm)) + 2
    asked = np.pad(share * depth_mm, room)
    covered = np.pad(covered, room)
    limit = slope / MARGIN
    below = highest_below(asked / pixel_mm, limit)
    above = -highest_below(-asked / pixel_mm, limit)
    midway = (below + above) / 2.0 * pixel_mm
    rounded = gaussian_filter(midway, ROUNDING_MM / pixel_mm, mode="nearest")
    rows, columns = asked.shape
    low_mm = -np.array([columns, rows]) * pixel_mm / 2.0
    return Carving(
        place=place,
        grid=Grid(low_mm=low_mm, pixel_mm=pixel_mm, shape=(rows, columns)),
        spline=np.asarray(spline_filter(rounded, 3, mode="nearest"), dtype=np.float64),
        moved=rounded - asked,
        covered=covered,
    )


def _resampled(made: HeightMap, across: float) -> tuple[Raster, NDArray[np.bool_]]:
    """Return the map with so many pixels along its larger side."""
    scale = across / max(made.share.shape)
    rows, columns = (max(round(side * scale), 2) for side in made.share.shape)
    pictures = (
        Image.fromarray(each.astype(np.float32)).resize(
            (columns, rows), Image.Resampling.BOX if scale < 1.0 else Image.Resampling.BICUBIC
        )
        for each in (made.share, made.covered)
    )
    share, covered = (np.asarray(each, dtype=np.float64) for each in pictures)
    return share.clip(0.0, 1.0), covered >= 0.5  # noqa: PLR2004 (half of a pixel)
