"""What light from above leaves on a piece: sky, lamp and browning on a square map of its top.

Heights are sampled from above on square pixels. For each pixel the horizon is sought in some
directions, which gives the share of an even sky that it sees, and towards the lamp, which gives
the height under which it lies in shadow.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, cos, hypot, pi, sin
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, maximum_filter, uniform_filter

from moulddesign.geometry import Mesh, Points
from moulddesign.render.rasteriser import NOTHING, nearest_facets

Raster = NDArray[np.floating[Any]]
"""Values on the pixels of a map, float32; rows run along +y, columns along +x."""

LAMP: Final = (-0.62, 0.50, 0.60)
"""Towards the lamp: from the back left, raking."""

LAMP_SPREAD: Final = (-0.16, 0.0, 0.16)
"""Azimuths of the lamp's parts, for a lamp is wide [rad]."""

PENUMBRA: Final = 0.22
"""Width of a shadow's edge over its distance from what casts it."""

LEAST_PENUMBRA_MM: Final = 0.05
"""And its width where that distance is 0 [mm]."""

NO_CEILING_MM: Final = -1e4
"""Where nothing lies towards the lamp; finite, for what lies between two pixels is mixed [mm]."""

SKY_DIRECTIONS: Final = 12
SKY_DISTANCES: Final = 14
NEAR_PX: Final = 8
"""Up to there the horizon is sought among single pixels [px]."""

SKY_REACH_MM: Final = 9.0
"""What is farther does not darken a piece's top [mm]."""

EACH_STEP_PX: Final = 24
"""So far every pixel is looked at on the way to the lamp, then ever fewer [px]."""

FREE: Final = 1.03
"""Side of a map over the larger side of its piece."""

LEVEL: Final = 1.0
"""Slope, rise over run, below which a place counts as top and not as side."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeightGrid:
    """Heights of a scene from above, on square pixels."""

    heights: Raster
    """Over the lowest point; 0 where there is nothing, as on the board [mm]."""
    inside: NDArray[np.bool_]
    """Where there is something."""
    corner: tuple[float, float]
    """Outer corner of the first pixel: least x and y [mm]."""
    pixel_mm: float

    @property
    def top(self) -> Points:
        """Heights of what is not steep, shape (n,); 0 where there is nothing [mm]."""
        slopes = np.hypot(*np.gradient(self.heights, self.pixel_mm))
        found = self.heights[self.inside & (slopes < LEVEL)]
        return found.astype(np.float64) if len(found) else np.zeros(1)

    def places(self, x: Raster, y: Raster) -> tuple[Raster, Raster]:
        """Return the column and row of points, counted from the middle of the first pixel."""
        columns = (x - self.corner[0]) / self.pixel_mm - 0.5
        rows = (y - self.corner[1]) / self.pixel_mm - 0.5
        return columns.astype(np.float32), rows.astype(np.float32)


def sampled(layers: Raster, columns: Raster, rows: Raster) -> Raster:
    """Return layers, shape (rows, columns, k), at places between pixels, shape (n, k); bilinear."""
    high, wide, count = layers.shape
    column = columns.clip(0, wide - 1.001).astype(np.int32)
    row = rows.clip(0, high - 1.001).astype(np.int32)
    right = (columns - column).clip(0.0, 1.0)[:, None]
    up = (rows - row).clip(0.0, 1.0)[:, None]
    flat, first = layers.reshape(-1, count), row * wide + column
    lower, upper = flat.take(first, axis=0), flat.take(first + wide, axis=0)
    lower += right * (flat.take(first + 1, axis=0) - lower)
    upper += right * (flat.take(first + wide + 1, axis=0) - upper)
    between: Raster = lower + up * (upper - lower)
    return between


def heights_from_above(mesh: Mesh, size_px: int, *, free: float = FREE) -> HeightGrid:
    """Return the heights of a mesh on a square of `size_px` by `size_px` pixels around it.

    `free` is the square's side over the larger side of the mesh. Facets that face down are not
    looked at.
    """
    low, high = mesh.bounds
    side_mm = free * float((high - low)[:2].max())
    corner = (low + high)[:2] / 2.0 - side_mm / 2.0
    corners = mesh.corners
    ux, uy = (corners[:, 1] - corners[:, 0])[:, :2].T
    vx, vy = (corners[:, 2] - corners[:, 0])[:, :2].T
    seen = corners[ux * vy - vx * uy > 0.0] - [*corner, low[2]]
    seen[:, :, :2] *= size_px / side_mm
    facet, heights = nearest_facets(seen, (size_px, size_px))
    inside = facet != NOTHING
    return HeightGrid(
        heights=np.where(inside, heights, 0.0).astype(np.float32),
        inside=inside,
        corner=(float(corner[0]), float(corner[1])),
        pixel_mm=side_mm / size_px,
    )


def sky_share(
    heights: Raster,
    pixel_mm: float,
    reach_mm: float = SKY_REACH_MM,
    *,
    directions: int = SKY_DIRECTIONS,
) -> Raster:
    """Return the share of an even sky that each pixel sees, weighted by the cosine: 0 to 1.

    On level ground with the horizon at the elevation h in the direction p the share is the mean of
    cos^2 h over all p [1]_, here over some. Behind the last pixel everything is level at 0.

    Parameters
    ----------
    heights : Raster
        Heights, shape (rows, columns) [mm].
    pixel_mm : float
        Side of a pixel [mm].
    reach_mm : float
        How far the horizon is sought [mm].
    directions : int
        How many there are, evenly spread.

    References
    ----------
    .. [1] J. Dozier and J. Frew, "Rapid calculation of terrain parameters for radiation modeling
       from digital elevation data", IEEE Transactions on Geoscience and Remote Sensing 28 (1990),
       963-969: the sky view factor, for a slope of 0.
    """
    hidden = np.zeros_like(heights)
    most_px = max(reach_mm / pixel_mm, 1.0)
    distances = np.unique(np.geomspace(1.0, most_px, SKY_DISTANCES).round().astype(int))
    # Farther off, single pixels stand for what lies around them, so they take its mean.
    levels = [
        heights if far < NEAR_PX else uniform_filter(heights, far // 4, mode="nearest")
        for far in distances.tolist()
    ]
    for number in range(directions):
        azimuth = 2.0 * pi * (number + 0.5) / directions
        steepest = np.zeros_like(heights)
        for distance, level in zip(distances, levels, strict=True):
            dx, dy = round(distance * cos(azimuth)), round(distance * sin(azimuth))
            mine, there = _overlap(heights.shape, dx, dy)
            rise = level[there] - heights[mine]
            rise *= np.float32(1.0 / (hypot(dx, dy) * pixel_mm))
            np.maximum(steepest[mine], rise, out=steepest[mine])
        # sin^2 of an elevation whose tangent is known.
        steepest *= steepest
        hidden += steepest / (1.0 + steepest)
    share: Raster = 1.0 - hidden / np.float32(directions)
    return share


def _overlap(shape: tuple[int, ...], dx: int, dy: int) -> tuple[tuple[slice, slice], ...]:
    """Return the pixels that have a neighbour dx columns and dy rows on, and those neighbours."""
    rows, columns = shape
    mine = (slice(max(-dy, 0), max(rows - max(dy, 0), 0)),
            slice(max(-dx, 0), max(columns - max(dx, 0), 0)))  # fmt: skip
    there = (slice(max(dy, 0), max(rows + min(dy, 0), 0)),
             slice(max(dx, 0), max(columns + min(dx, 0), 0)))  # fmt: skip
    return mine, there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LampShadow:
    """What one lamp leaves in shadow."""

    share: Raster
    """Of the wide lamp that each pixel sees, at its own height."""
    ceiling_mm: Raster
    """Height over each pixel above which the lamp's middle is seen [mm]."""
    penumbra_mm: Raster
    """Height over which the shadow fades there [mm]."""


def lamp_shadow(heights: Raster, pixel_mm: float) -> LampShadow:
    """Return what the lamp leaves in shadow.

    The middle of the lamp is seen from above z = max over d of H(d) - d tan(e), with H the height
    at the distance d towards it and e its elevation: an edge of height h casts a shadow h / tan(e)
    long on level ground.

    Parameters
    ----------
    heights : Raster
        Heights, shape (rows, columns) [mm].
    pixel_mm : float
        Side of a pixel [mm].
    """
    level = hypot(LAMP[0], LAMP[1])
    tangent = LAMP[2] / level
    seen = np.zeros_like(heights)
    ceiling = np.full_like(heights, NO_CEILING_MM)
    penumbra = np.full_like(heights, LEAST_PENUMBRA_MM)
    for spread in LAMP_SPREAD:
        # A part of the lamp that is farther round also hangs a little lower or higher.
        steep = tangent * (1.0 + 0.5 * spread)
        lit = np.ones_like(heights)
        for dx, dy in _steps(spread, float(np.ptp(heights)) / steep / pixel_mm):
            mine, there = _overlap(heights.shape, dx, dy)
            away_mm = hypot(dx, dy) * pixel_mm
            over = heights[there] - np.float32(away_mm * steep)
            width = np.float32(PENUMBRA * away_mm + LEAST_PENUMBRA_MM)
            clear = (heights[mine] - over) * (1.0 / width) + np.float32(0.5)
            np.minimum(lit[mine], clear, out=lit[mine])
            if spread == 0.0:
                higher = over > ceiling[mine]
                np.copyto(ceiling[mine], over, where=higher)
                np.copyto(penumbra[mine], width, where=higher)
        seen += lit.clip(0.0, 1.0)
    return LampShadow(
        share=seen / np.float32(len(LAMP_SPREAD)), ceiling_mm=ceiling, penumbra_mm=penumbra
    )


def _steps(spread: float, reach_px: float) -> Iterator[tuple[int, int]]:
    """Yield columns and rows from a pixel towards a part of the lamp, each once."""
    azimuth = atan2(LAMP[1], LAMP[0]) + spread
    near = np.arange(1.0, min(EACH_STEP_PX, reach_px + 1.0) + 1.0)
    far = np.geomspace(EACH_STEP_PX, max(reach_px, EACH_STEP_PX + 1.0), 24)
    distances = np.concatenate([near, far[far <= reach_px]])
    yield from dict.fromkeys(
        (round(distance * cos(azimuth)), round(distance * sin(azimuth))) for distance in distances
    )


def browning(grid: HeightGrid, sky: Raster) -> Raster:
    """Return how brown an oven makes each place of a piece's top: 0 pale to 1 dark.

    What stands out over its surroundings browns, hollows stay pale, and so does what sees little
    of the sky; the outer edge of the top browns first. A look, not a measurement: no source.
    """
    inside = grid.inside.astype(np.float32)
    heights, pixel_mm = grid.heights, grid.pixel_mm
    low, high = np.percentile(grid.top, (5.0, 99.5))
    relief_mm = max(float(high - low), 0.3)
    edge = ((0.9 - _blurred(inside, 1.6 / pixel_mm)) / 0.4).clip(0.0, 1.0)
    edge *= edge * (3.0 - 2.0 * edge)
    brown = np.float32(0.43) - np.float32(0.18) * (1.0 - sky)
    for spread_mm, full_mm, strength in (
        (3.2, max(0.45 * relief_mm, 0.3), 0.32),
        (0.55, 0.18, 0.24),
    ):
        around = _blurred(heights * inside, spread_mm / pixel_mm)
        around /= np.maximum(_blurred(inside, spread_mm / pixel_mm), 1e-3)
        out = ((heights - around) / np.float32(full_mm)).clip(-1.0, 1.0)
        # A shoulder that falls away is no hollow.
        brown += np.float32(strength) * np.where(out < 0.0, out * (1.0 - edge), out)
    brown += np.float32(0.26) * edge
    # What lies outside takes what is next to it, or filters would let the outside in.
    weight = np.maximum(gaussian_filter(inside, 2.0), 1e-3)
    carried = gaussian_filter(brown * inside, 2.0) / weight
    made: Raster = np.where(grid.inside, brown, carried).clip(0.16, 0.92).astype(np.float32)
    return made


def _blurred(values: Raster, spread_px: float) -> Raster:
    """Return values blurred about as by a Gaussian: three running means, alike on wide spreads.

    n means over w pixels have the variance n (w^2 - 1) / 12.
    """
    width = round((4.0 * spread_px**2 + 1.0) ** 0.5)
    if width < 6:  # noqa: PLR2004 (running means of few pixels are no Gaussian)
        blurred: Raster = gaussian_filter(values, spread_px, mode="constant")
        return blurred
    width += 1 - width % 2
    for _ in range(3):
        values = uniform_filter(values, width, mode="constant")
    return values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BakedMap:
    """Light and browning on a piece's top."""

    grid: HeightGrid
    sky: Raster
    """Share of the sky that is seen."""
    lamp: LampShadow
    brown: Raster
    flat_mm: float
    """Height of the top's ground over the lowest point [mm]."""
    relief_mm: float
    """How far the top reaches below or above that, but for single points [mm]."""

    @property
    def layers(self) -> Raster:
        """Browning, sky and lamp, 0 to 1, shape (size, size, 3)."""
        return np.stack([self.brown, self.sky, self.lamp.share], axis=2).clip(0.0, 1.0)

    @property
    def tops_mm(self) -> Raster:
        """Height of what stands within the sky's reach of each pixel [mm]."""
        reach_px = 2 * round(SKY_REACH_MM / self.grid.pixel_mm) + 1
        tops: Raster = maximum_filter(self.grid.heights, reach_px, mode="constant")
        return tops

    @property
    def walls(self) -> Raster:
        """What light on walls depends on besides, shape (size, size, 3).

        Heights of the ground, below which the lamp is hidden, and of what stands around [mm].
        """
        return np.stack([self.grid.heights, self.lamp.ceiling_mm, self.tops_mm], axis=2)


@lru_cache(maxsize=4)
def baked_map(mesh: Mesh, size_px: int) -> BakedMap:
    """Return light and browning on a mesh as seen from above.

    Parameters
    ----------
    mesh : Mesh
        Bounds a solid; it stands on its lowest point.
    size_px : int
        Side of the map [px].

    Returns
    -------
    BakedMap
        Its `layers` are the map as one array.
    """
    return baked_grid(heights_from_above(mesh, size_px))


def baked_grid(grid: HeightGrid) -> BakedMap:
    """Return light and browning on heights that are known."""
    low, flat_mm, high = np.percentile(grid.top, (5.0, 50.0, 99.5)).tolist()
    sky = sky_share(grid.heights, grid.pixel_mm)
    return BakedMap(
        grid=grid,
        sky=sky,
        lamp=lamp_shadow(grid.heights, grid.pixel_mm),
        brown=browning(grid, sky),
        flat_mm=flat_mm,
        relief_mm=max(high - flat_mm, flat_mm - low),
    )
