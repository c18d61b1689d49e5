"""Scenes and their pictures: bodies on a board in parallel projection, drawn without a screen."""

import io
from dataclasses import dataclass
from math import ceil, cos, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import affine_transform, gaussian_filter

from moulddesign.geometry import Indices, Mesh, Points, joined, normals_and_areas
from moulddesign.render.baked_map import (
    HeightGrid,
    Raster,
    baked_grid,
    baked_map,
    heights_from_above,
    lamp_shadow,
    sky_share,
)
from moulddesign.render.rasteriser import NOTHING, corner_weights, nearest_facets
from moulddesign.render.shading import (
    Colour,
    Light,
    Surroundings,
    dough_colours,
    plaster_colours,
    smooth_parts,
)

Picture = NDArray[np.uint8]
"""Rows from the top, shape (height, width, 3) or, with how much each pixel covers, (..., 4)."""

THUMBNAIL_PX: Final = (480, 384)
"""Size of the picture that goes with a design: shown at half of it, it is sharp everywhere."""

MARGIN: Final = 0.06
"""Empty rim of a picture, as a share of its size."""

FINER: Final = 2
"""Samples along each side of a pixel."""

SMOOTH_PX: Final = 6.0
"""Depth of a pixel's samples, in pixels, within which one stands for all on a smooth surface."""

ON_BOARD_MM: Final = 0.1
"""Bodies that are no higher stand on the board [mm]."""

LEAST_MAP_PX: Final = 96
MOST_MAP_PX: Final = 384
MAP_RATIO: Final = 0.75
"""Pixels of a body's map over pixels of the body in the picture."""

SAMPLES_AT_ONCE: Final = 30_000
"""Shaded at once, so that what is worked on stays near the processor."""

BOARD_MAP_PX: Final = 160
BOARD_DIRECTIONS: Final = 16
BOARD_FADE: Final = 0.2
"""Rim of the board's map over which the shadow fades, as a share of its side."""
BOARD_FREE: Final = 2.4
"""Side of the board's map over the bodies'."""

COARSER: Final = 4
"""Pixels along each side of a square for which the board's shadow is looked up once."""

FADING: Final = 0.16
"""Rim of a picture over which shadows fade, as a share of its smaller side."""

SHADOW_COLOUR: Final = (0.212, 0.141, 0.078)
SHADOW_STRENGTH: Final = 0.72
LEAST_ELEVATION_DEG: Final = 5.0
"""Seen from lower, a board shows nothing [deg]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A mesh and what it is made of."""

    mesh: Mesh
    rgb: Colour | None = None
    """sRGB of a matt part, 0 to 1; None for baked dough."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """Bodies over a board as low as the lowest, in parallel projection, filling the picture."""

    bodies: tuple[Body, ...]
    azimuth_deg: float
    """Direction to the eye: from the front (-y) towards the right (+x) [deg]."""
    elevation_deg: float
    """The same upwards [deg]."""
    size_px: tuple[int, int]
    """Width and height of the picture [px]."""

    @property
    def axes(self) -> Points:
        """Right, up and towards the eye, shape (3, 3)."""
        turn, tilt = radians(self.azimuth_deg), radians(self.elevation_deg)
        right = (cos(turn), sin(turn), 0.0)
        eye = (sin(turn) * cos(tilt), -cos(turn) * cos(tilt), sin(tilt))
        return np.array([right, np.cross(eye, right), eye])

    @property
    def frame(self) -> tuple[Points, float]:
        """The middle of the picture along its axes, shape (2,), and half its height [mm]."""
        seen = np.concatenate([body.mesh.vertices for body in self.bodies]) @ self.axes[:2].T
        low, high = seen.min(axis=0), seen.max(axis=0)
        wide, tall = (high - low).tolist()
        aspect = self.size_px[0] / self.size_px[1]
        half_mm = max(tall, wide / aspect) / 2.0 / (1.0 - 2.0 * MARGIN)
        return (low + high) / 2.0, half_mm


def picture(scene: Scene) -> Picture:
    """Return a scene on white, shape (height, width, 3)."""
    drawn = _drawn(scene)
    return _bytes(drawn[:, :, :3] + 1.0 - drawn[:, :, 3:])


def picture_png(scene: Scene) -> bytes:
    """Return a scene on white as a PNG file."""
    return png_bytes(picture(scene))


def thumbnail_png(pastry: Mesh) -> bytes:
    """Return the small picture of a pastry that goes with a design, as a PNG file."""
    return png_bytes(thumbnail(pastry, THUMBNAIL_PX))


def thumbnail(pastry: Mesh, size_px: tuple[int, int]) -> Picture:
    """Return a small picture of a pastry with its shadow and nothing else, shape (h, w, 4)."""
    return cutout(
        Scene(bodies=(Body(mesh=pastry),), azimuth_deg=0.0, elevation_deg=52.0, size_px=size_px)
    )


def cutout(scene: Scene) -> Picture:
    """Return a scene with its shadow and nothing behind it, shape (height, width, 4)."""
    drawn = _drawn(scene)
    covered = np.maximum(drawn[:, :, 3:], 1e-6)
    return _bytes(np.concatenate([drawn[:, :, :3] / covered, drawn[:, :, 3:]], axis=2))


def height_picture(heights: Raster, pixel_mm: float) -> Picture:
    """Return heights of a baked piece as seen from above, on white, shape (rows, columns, 3).

    Parameters
    ----------
    heights : Raster
        Heights over a board, 0 where it is bare, rows along +y, shape (n, n): two samples along
        each side of a pixel [mm].
    pixel_mm : float
        Side of a pixel of the picture [mm].

    Examples
    --------
    >>> plain = height_picture(np.full((8, 8), 20.0, dtype=np.float32), 0.5)
    >>> plain.shape, bool((plain == plain[0, 0]).all())
    ((4, 4, 3), True)
    """
    rows, columns = heights.shape[0] // FINER, heights.shape[1] // FINER
    blocks = heights.reshape(rows, FINER, columns, FINER)
    cover = (blocks > 0.0).mean(axis=(1, 3), dtype=np.float32)
    mean = blocks.mean(axis=(1, 3), dtype=np.float32) / np.maximum(cover, 1e-3)
    inside = cover > 0.0
    grid = HeightGrid(heights=mean, inside=inside, corner=(0.0, 0.0), pixel_mm=pixel_mm)
    baked = baked_grid(grid)
    slopes = np.gradient(np.where(inside, mean, np.median(grid.top)), pixel_mm)
    normals = np.stack([-slopes[1], -slopes[0], np.ones_like(mean)], axis=2).reshape(-1, 3)
    normals = (normals / np.linalg.norm(normals, axis=1, keepdims=True)).astype(np.float32)
    light = Light(sky=baked.sky.ravel(), lamp=baked.lamp.share.ravel(), brown=baked.brown.ravel())
    dough = dough_colours(light, normals, np.array([0.0, 0.0, 1.0]))
    board = 1.0 - _board_dark(light.sky, light.lamp)[:, None] * (
        1.0 - np.array(SHADOW_COLOUR, dtype=np.float32)
    )
    covered = cover.ravel()[:, None]
    shown = covered * dough + (1.0 - covered) * board
    return _bytes(shown.reshape(rows, columns, 3)[::-1])


def png_bytes(image: Picture) -> bytes:
    """Return an image as a PNG file without text or time."""
    file = io.BytesIO()
    Image.fromarray(image).save(file, format="PNG", compress_level=4)
    return file.getvalue()


def _bytes(shares: Raster) -> Picture:
    return (shares.clip(0.0, 1.0) * 255.0).round().astype(np.uint8)


def _drawn(scene: Scene) -> Raster:
    """Return red, green and blue as far as a pixel is covered, and how far it is, 0 to 1."""
    sight = _Sight(scene)
    quads = sight.quads
    one, some = _smooth_and_mixed(sight)
    offsets = [(x - FINER / 2.0 + 0.5, y - FINER / 2.0 + 0.5) for y, x in np.ndindex(FINER, FINER)]
    hits = [some[quad[some] != NOTHING] for quad in quads]
    # Inside the facet: the middle of the pixel may lie far outside a sliver.
    shaded = [one, *hits]
    facets = [quad[pixels] for quad, pixels in zip([quads[0], *quads], shaded, strict=True)]
    places = [
        sight.middles(pixels) + offset
        for pixels, offset in zip(shaded, [offsets[0], *offsets], strict=True)
    ]
    colours = sight.colours(np.concatenate(facets), np.concatenate(places))
    drawn = np.zeros((len(quads[0]), 4), dtype=np.float32)
    drawn[one], start = colours[: len(one)], len(one)
    for hit in hits:
        drawn[hit] += colours[start : start + len(hit)] / np.float32(len(quads))
        start += len(hit)
    image: Raster = drawn.reshape(sight.height, sight.width, 4)
    if scene.elevation_deg > LEAST_ELEVATION_DEG:
        shadow = np.array([*SHADOW_COLOUR, 1.0], dtype=np.float32)
        dark = _board_shadow(scene) * _fading(sight.width, sight.height)
        image += (1.0 - image[:, :, 3:]) * dark[:, :, None] * shadow
    return image


def _smooth_and_mixed(sight: "_Sight") -> tuple[Indices, Indices]:
    """Return the pixels of which one sample tells all, and others that show something."""
    first, *others = sight.quads
    one = first != NOTHING
    some, every = one.copy(), one.copy()
    for other in others:
        one &= other == first
        some |= other != NOTHING
        every &= other != NOTHING
    unsure = np.flatnonzero(every & ~one)
    part = sight.part[first[unsure]]
    depths = [depth[unsure] for depth in sight.depths]
    smooth = np.ptp(depths, axis=0) < SMOOTH_PX * FINER / sight.px_per_mm
    for other in others:
        smooth &= sight.part[other[unsure]] == part
    one[unsure[smooth]] = True
    return np.flatnonzero(one), np.flatnonzero(some & ~one)


class _Sight:
    """What the eye sees of a scene, and how it looks."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.width, self.height = scene.size_px
        middle, half_mm = scene.frame
        self.px_per_mm = FINER * self.height / 2.0 / half_mm
        meshes = [body.mesh for body in scene.bodies]
        fronts = [_front(mesh, scene.axes[2]) for mesh in meshes]
        self.owners = np.repeat(np.arange(len(meshes)), [len(front.corners) for front in fronts])
        self.corners = np.concatenate([front.corners for front in fronts])
        counts = np.cumsum([0, *(front.parts for front in fronts)])
        self.part = np.concatenate(
            [front.part + count for front, count in zip(fronts, counts, strict=False)]
        )
        # Place and normal of each corner beside each other, for they are looked up together.
        smooth = np.concatenate([front.corner_normals for front in fronts])
        attributes = np.concatenate([self.corners, smooth], axis=2).astype(np.float32)
        self.attributes = [np.ascontiguousarray(attributes[:, corner]) for corner in range(3)]
        self.seen = self.corners @ scene.axes.T
        self.seen[:, :, :2] = (self.seen[:, :, :2] - middle) * (self.px_per_mm, -self.px_per_mm)
        self.seen[:, :, :2] += FINER * np.array(scene.size_px) / 2.0
        facet, depth = nearest_facets(self.seen, (FINER * self.width, FINER * self.height))
        steps = list(np.ndindex(FINER, FINER))
        # For each place in a pixel: the facet that is seen there and its depth, shape (pixels,).
        self.quads = [facet[y::FINER, x::FINER].ravel() for y, x in steps]
        self.depths = [depth[y::FINER, x::FINER].ravel() for y, x in steps]
        self.flat = np.ascontiguousarray(self.seen[:, :, :2])
        self.around = [self._surroundings(mesh) for mesh in meshes]

    def _surroundings(self, mesh: Mesh) -> Surroundings:
        across_px = float(mesh.size_mm[:2].max()) * self.px_per_mm / FINER
        size_px = round(min(max(MAP_RATIO * across_px, LEAST_MAP_PX), MOST_MAP_PX))
        return Surroundings(baked_map(mesh, size_px), float(mesh.bounds[0, 2]))

    def middles(self, pixels: Indices) -> Points:
        """Return the middles of pixels, in samples, shape (n, 2)."""
        rows, columns = np.divmod(pixels, self.width)
        return FINER * (np.stack([columns, rows], axis=1) + 0.5)

    def colours(self, facet: Indices, at_px: Points) -> Raster:
        """Return colour and cover of samples, shape (n, 4)."""
        made = np.ones((len(facet), 4), dtype=np.float32)
        for start in range(0, len(facet), SAMPLES_AT_ONCE):
            some = slice(start, start + SAMPLES_AT_ONCE)
            made[some, :3] = self._some_colours(facet[some], at_px[some])
        return made

    def _some_colours(self, facet: Indices, at_px: Points) -> Raster:
        weights = corner_weights(self.flat.take(facet, axis=0), at_px).astype(np.float32)
        attributes = weights[:, :1] * self.attributes[0].take(facet, axis=0)
        for corner in (1, 2):
            attributes += weights[:, corner, None] * self.attributes[corner].take(facet, axis=0)
        points, normals = attributes[:, :3], attributes[:, 3:]
        normals /= np.sqrt(np.maximum(np.einsum("ij,ij->i", normals, normals), 1e-12))[:, None]
        owners = self.owners[facet]
        made = np.zeros((len(facet), 3), dtype=np.float32)
        for number, (body, around) in enumerate(zip(self.scene.bodies, self.around, strict=True)):
            mine = np.flatnonzero(owners == number)
            if not len(mine):
                continue
            light = around.light(points[mine], normals[mine])
            if body.rgb is None:
                made[mine] = dough_colours(light, normals[mine], self.scene.axes[2])
            else:
                made[mine] = plaster_colours(body.rgb, light, normals[mine])
        return made


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Front:
    """The facets of a mesh that face the eye."""

    corners: Points
    corner_normals: Points
    part: Indices
    parts: int


def _front(mesh: Mesh, eye: Points) -> _Front:
    smooth = smooth_parts(mesh)
    facing = normals_and_areas(mesh.corners)[0] @ eye > 0.0
    return _Front(
        corners=mesh.corners[facing],
        corner_normals=smooth.corner_normals[facing],
        part=smooth.part[facing],
        parts=int(smooth.part.max()) + 1,
    )


def _fading(width: int, height: int) -> Raster:
    """Return 1 but for the rim of a picture, where a shadow would end in a line, shape (h, w)."""
    rim = FADING * min(width, height)
    shares = [
        ((np.minimum(np.arange(count), np.arange(count)[::-1]) + 0.5) / rim).clip(0.0, 1.0)
        for count in (height, width)
    ]
    fading: Raster = np.multiply.outer(*(share**2 * (3.0 - 2.0 * share) for share in shares))
    return fading.astype(np.float32)


def _board_dark(sky: Raster, lamp: Raster) -> Raster:
    """Return how dark a board is that sees shares of sky and lamp, 0 to 1."""
    dark: Raster = SHADOW_STRENGTH * (1.0 - (0.5 + 0.5 * lamp) * (0.45 + 0.55 * sky))
    return dark


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardShadow:
    """How dark a board is under and around what stands on it."""

    dark: Raster
    """0 to 1 on square pixels, rows along +y, columns along +x."""
    corner: tuple[float, float]
    """Outer corner of the first pixel: least x and y [mm]."""
    pixel_mm: float


def board_shadow(standing: Mesh) -> BoardShadow:
    """Return the soft shadow that a mesh leaves on the board as low as its lowest point."""
    grid = heights_from_above(standing, BOARD_MAP_PX, free=BOARD_FREE)
    reach_mm = 0.9 * float(grid.heights.max())
    sky = sky_share(grid.heights, grid.pixel_mm, reach_mm, directions=BOARD_DIRECTIONS)
    lit = lamp_shadow(grid.heights, grid.pixel_mm).share
    # Under a body it is dark, so that no light shines out from below its edge.
    sky[grid.inside], lit[grid.inside] = 0.25, 0.0
    sky, lit = gaussian_filter(sky, 1.5), gaussian_filter(lit, 1.5)
    away = np.abs((np.arange(BOARD_MAP_PX) + 0.5) / BOARD_MAP_PX - 0.5)
    fade = ((0.5 - np.maximum.outer(away, away)) / BOARD_FADE).clip(0.0, 1.0)
    dark = (fade * _board_dark(sky, lit)).astype(np.float32)
    return BoardShadow(dark=dark, corner=grid.corner, pixel_mm=grid.pixel_mm)


def _board_shadow(scene: Scene) -> Raster:
    """Return how dark the board is behind each pixel, shape (height, width), 0 to 1."""
    floor_mm = min(float(body.mesh.bounds[0, 2]) for body in scene.bodies)
    standing = joined(
        body.mesh for body in scene.bodies if body.mesh.bounds[0, 2] - floor_mm < ON_BOARD_MM
    )
    cast = board_shadow(standing)
    # A point (x, y, floor) lies at x right + y up over the picture: two equations, two unknowns.
    (middle_x, middle_y), half_mm = scene.frame
    right, up, _ = scene.axes
    width, height = scene.size_px
    pixel_mm = 2.0 * half_mm / height
    plane = np.linalg.inv(np.array([right[:2], up[:2]]))
    # It is affine, as is the way from there to the pixels of the map. Shadows are smooth, so they
    # are looked up on few pixels and drawn larger.
    few = (ceil(width / COARSER), ceil(height / COARSER))
    step_x_mm, step_y_mm = pixel_mm * width / few[0], pixel_mm * height / few[1]
    corner = plane @ (
        middle_x + (step_x_mm - pixel_mm * width) / 2.0,
        middle_y + (pixel_mm * height - step_y_mm) / 2.0 - floor_mm * up[2],
    )
    first = (corner - cast.corner) / cast.pixel_mm - 0.5
    along, down = plane[:, 0] * step_x_mm / cast.pixel_mm, -plane[:, 1] * step_y_mm / cast.pixel_mm
    shadow = affine_transform(
        cast.dark,
        np.array([[down[1], along[1]], [down[0], along[0]]]),
        offset=first[::-1],
        output_shape=few[::-1],
        order=1,
    )
    larger = Image.fromarray(shadow).resize((width, height), Image.Resampling.BILINEAR)
    return np.asarray(larger)
