"""How surfaces look: normals smooth but for creases, browned dough and plaster, and their light."""

from dataclasses import dataclass
from math import cos, radians
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.geometry import Indices, Mesh, Points, normals_and_areas
from moulddesign.render.baked_map import (
    LAMP,
    BakedMap,
    HeightGrid,
    Raster,
    sampled,
)

CREASE_DEG: Final = 32.0
"""Facets that meet at a larger angle are shaded apart [deg]."""

LEAST_AREA_MM2: Final = 1e-10
"""Smaller facets have no direction worth averaging [mm^2]."""

Colour = tuple[float, float, float]
"""Red, green and blue, 0 to 1."""

RAMP: Final = (
    (0.00, (0.957, 0.839, 0.627)),
    (0.30, (0.910, 0.706, 0.408)),
    (0.52, (0.831, 0.549, 0.243)),
    (0.75, (0.667, 0.361, 0.133)),
    (1.00, (0.439, 0.204, 0.071)),
)
"""sRGB of dough over browning."""

PLASTER_WARM: Final = (1.1, 1.2, 1.35)
"""The same on plaster, which is paler."""

GAMMA: Final = 2.2

DOUGH: Final = np.stack(
    [
        np.interp(np.linspace(0.0, 1.0, 512), [level for level, _ in RAMP], one)
        for one in (np.array([colour for _, colour in RAMP]) ** GAMMA).T
    ],
    axis=1,
).astype(np.float32)
"""How much of each colour dough throws back, pale to dark in even steps of browning."""

FILL: Final = (0.50, -0.66, 0.56)
"""Towards the light that fills: from the front right."""

LAMP_COLOUR: Final = (1.0, 0.93, 0.80)
SKY_COLOUR: Final = (1.0, 0.98, 0.95)
FILL_COLOUR: Final = (1.0, 0.95, 0.88)
CRUST_SHEEN: Final = (1.0, 0.72, 0.40)

WARM: Final = (0.94, 1.31, 1.81)
"""Powers of the sky's share on dough, red to blue: light between warm walls stays warm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SmoothParts:
    """A mesh divided at its creases."""

    corner_normals: Points
    """Unit normal for each corner of each facet, shape (m, 3, 3)."""
    group: Indices
    """Number shared by corners that are one vertex with one normal, shape (m, 3)."""
    part: Indices
    """Number of the smooth part that each facet belongs to, shape (m,)."""


def smooth_parts(mesh: Mesh) -> SmoothParts:
    """Return a mesh divided at edges that bend by more than 32 degrees.

    Normals of facets around a vertex are averaged, each weighted by its angle there [1]_, as far
    as one comes from one to the next without crossing a crease.

    References
    ----------
    .. [1] G. Thuermer and C. A. Wuethrich, "Computing vertex normals from polygonal facets",
       Journal of Graphics Tools 3 (1998), 43-46.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> smooth_parts(box((0, 0, 0), (1, 1, 1))).part.max() + 1
    np.int64(6)
    """
    corners = mesh.corners
    normals, areas = normals_and_areas(corners)
    pairs = _smooth_edges(mesh, normals, areas)
    groups, group = _joined(pairs, 3 * len(mesh.triangles))
    weighted = np.repeat(normals, 3, axis=0) * _angles(corners).ravel()[:, None]
    sums = np.stack([np.bincount(group, w, groups) for w in weighted.T], axis=1)
    lengths = np.linalg.norm(sums, axis=1, keepdims=True)
    averaged = (sums / np.where(lengths > 0.0, lengths, 1.0))[group].reshape(-1, 3, 3)
    _, part = _joined(pairs // 3, len(mesh.triangles))
    return SmoothParts(corner_normals=averaged, group=group.reshape(-1, 3), part=part)


def _joined(pairs: Indices, count: int) -> tuple[int, Indices]:
    """Return how many groups pairs of numbers below a count form, and the group of each."""
    links = coo_array((np.ones(len(pairs), dtype=np.int8), tuple(pairs.T)), shape=(count, count))
    groups, group = connected_components(links, directed=False)
    return groups, group.astype(np.int64)


def _smooth_edges(mesh: Mesh, normals: Points, areas: Points) -> Indices:
    """Return pairs of corners that are one vertex on both sides of an edge without a crease."""
    # Half-edge 3 f + k runs from corner k of facet f to the next.
    start = mesh.triangles.ravel()
    end = np.roll(mesh.triangles, -1, axis=1).ravel()
    edge = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    order = np.argsort(edge, kind="stable")
    same = np.flatnonzero(np.diff(edge[order]) == 0)
    one, other = order[same], order[same + 1]
    facet, opposite = one // 3, other // 3
    bends = np.einsum("ij,ij->i", normals[facet], normals[opposite]) > cos(radians(CREASE_DEG))
    turned = start[one] == end[other]
    sound = np.minimum(areas[facet], areas[opposite]) > LEAST_AREA_MM2
    one, other = one[bends & turned & sound], other[bends & turned & sound]
    # The neighbour's half-edge runs the other way: its end is where this one starts.
    return np.concatenate(
        [np.stack([one, _next(other)], axis=1), np.stack([_next(one), other], axis=1)]
    )


def _next(half_edge: Indices) -> Indices:
    facet = half_edge // 3
    return 3 * facet + (half_edge - 3 * facet + 1) % 3


def _angles(corners: Points) -> Points:
    """Return the angle of each facet at each of its corners, shape (m, 3) [rad]."""
    on = np.roll(corners, -1, axis=1) - corners
    back = np.roll(corners, 1, axis=1) - corners
    lengths = np.linalg.norm(on, axis=2) * np.linalg.norm(back, axis=2)
    cosines = np.einsum("ijk,ijk->ij", on, back) / np.where(lengths > 0.0, lengths, 1.0)
    angles: Points = np.arccos(cosines.clip(-1.0, 1.0))
    return angles


STEEP: Final = 0.95
"""z of a unit normal below which a surface is looked up beside its place."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """What reaches points of a surface, each of shape (n,), 0 to 1."""

    sky: Raster
    """Share of the sky that is seen."""
    lamp: Raster
    """Share of the lamp."""
    brown: Raster
    """How brown the place is, where it is dough."""


class Surroundings:
    """What a baked map says of any point of its body's surface, not only of its top."""

    def __init__(self, baked: BakedMap, low_mm: float) -> None:
        self.baked = baked
        self.low_mm = low_mm
        heights, lamp = baked.grid.heights, baked.lamp
        self.top: Raster = np.stack([baked.sky, lamp.share, baked.brown], axis=2)
        self.before_walls: Raster = np.stack(
            [baked.sky, lamp.share, heights, baked.tops_mm, lamp.ceiling_mm, lamp.penumbra_mm],
            axis=2,
        )

    def light(self, points: Raster, normals: Raster) -> Light:
        """Return what reaches points, shape (n, 3), with unit normals, of the same shape."""
        grid = self.baked.grid
        sky, lamp, brown = sampled(self.top, *grid.places(points[:, 0], points[:, 1])).T
        steep = np.flatnonzero(normals[:, 2] < STEEP)
        sky[steep], lamp[steep] = self._wall_light(points[steep], normals[steep])
        brown[steep] = self._wall_browning(points[steep], normals[steep])
        return Light(sky=sky.clip(0.0, 1.0), lamp=lamp, brown=brown)

    def _wall_light(self, points: Raster, normals: Raster) -> tuple[Raster, Raster]:
        """Return the shares of sky and lamp that walls see.

        A wall sees what the ground before it sees. From there to the height of what stands
        around, the sky opens.
        """
        grid = self.baked.grid
        height = points[:, 2] - np.float32(self.low_mm)
        places = _moved(grid, points, normals, 1.3 * grid.pixel_mm)
        sky, lamp, ground, tops, ceiling, penumbra = sampled(self.before_walls, *places).T
        up = ((height - ground) / np.maximum(tops - ground, 0.1)).clip(0.0, 1.0)
        sky = (sky + (1.0 - sky) * up) * (1.0 + 0.6 * np.minimum(normals[:, 2], 0.0))
        above = ((height - ceiling) / penumbra + 0.5).clip(0.0, 1.0)
        on_wall = ((height - ground) / 0.5).clip(0.0, 1.0)
        return sky, lamp + (above - lamp) * on_wall

    def _wall_browning(self, points: Raster, normals: Raster) -> Raster:
        """Return how brown walls are: of the relief as the top, of the piece by their height."""
        grid = self.baked.grid
        height = points[:, 2] - np.float32(self.low_mm)
        top = _moved(grid, points, normals, -0.8 * grid.pixel_mm)
        brown = sampled(self.baked.brown[:, :, None], *top)[:, 0]
        inner = sampled(grid.heights[:, :, None], *_moved(grid, points, normals, -1.0))[:, 0]
        share = height / np.float32(max(self.baked.flat_mm, 1e-3))
        side = 0.42 + 0.22 * _smooth(share, 0.74, 1.0) + 0.16 * _smooth(1.0 - share, 0.84, 1.0)
        # Walls of the relief are less far below the top than the piece's own side.
        depth_mm = 1.1 * self.baked.relief_mm + 0.3
        mixed: Raster = brown + (side - brown) * _smooth(
            inner - height, 0.4 * depth_mm, depth_mm + 3.0
        )
        return mixed


def _moved(
    grid: HeightGrid, points: Raster, normals: Raster, by_mm: float
) -> tuple[Raster, Raster]:
    """Return places on a map beside points, the farther the steeper their surface."""
    moved = points[:, :2] + np.float32(by_mm) * normals[:, :2]
    return grid.places(moved[:, 0], moved[:, 1])


def _smooth(values: Raster, low: float, high: float) -> Raster:
    """Return 0 below one value, 1 above another, and a smooth step between."""
    share = ((values - np.float32(low)) / np.float32(high - low)).clip(0.0, 1.0)
    step: Raster = share * share * (3.0 - 2.0 * share)
    return step


def dough_colours(light: Light, normals: Raster, eye: Points) -> Raster:
    """Return the sRGB of baked dough seen from a direction, shape (n, 3), 0 to 1."""
    base = DOUGH.take((light.brown * (len(DOUGH) - 1)).astype(np.int64), axis=0)
    shown = _power(light.sky[:, None], WARM)
    sheen = 0.30 * light.lamp * _mirrored(normals, LAMP, eye, 26)
    sheen += 0.16 * _mirrored(normals, FILL, eye, 18)
    glow = (0.55 * sheen * light.sky)[:, None] * np.array(CRUST_SHEEN, dtype=np.float32)
    return _toned(base * (_lamp(normals, light.lamp) + shown * _sky(normals)) + glow)


def plaster_colours(rgb: Colour, light: Light, normals: Raster) -> Raster:
    """Return the sRGB of a matt part, shape (n, 3), 0 to 1."""
    base = (np.array(rgb) ** GAMMA).astype(np.float32)
    shown = 1.15 * _power(light.sky[:, None], PLASTER_WARM)
    return _toned(base * (_lamp(normals, light.lamp) + shown * _sky(normals)))


def _power(values: Raster, power: ArrayLike) -> Raster:
    """Return values to a power, 0 where they are negative; in float32 quicker than numpy's."""
    logarithms = np.log(np.maximum(values, 1e-12))
    powers: Raster = np.exp(logarithms * np.asarray(power, dtype=np.float32))
    return powers


def _unit(direction: Colour) -> Raster:
    unit: Raster = (np.array(direction) / np.linalg.norm(direction)).astype(np.float32)
    return unit


def _lamp(normals: Raster, share: Raster) -> Raster:
    direct: Raster = 2.0 * (normals @ _unit(LAMP)).clip(0.0, None) * share
    light: Raster = direct[:, None] * np.array(LAMP_COLOUR, dtype=np.float32)
    return light


def _sky(normals: Raster) -> Raster:
    """Return the light of the sky and of what fills, where nothing hides them."""
    even = 0.52 * (0.6 + 0.4 * normals[:, 2:]) * np.array(SKY_COLOUR, dtype=np.float32)
    fill = 0.72 * (normals @ _unit(FILL)).clip(0.0, None)
    light: Raster = even + fill[:, None] * np.array(FILL_COLOUR, dtype=np.float32)
    return light


def _mirrored(normals: Raster, light: Colour, eye: Points, power: int) -> Raster:
    """Return how much of a light is mirrored towards the eye (Blinn's half-way vector)."""
    between = _unit(light) + eye.astype(np.float32)
    between /= np.linalg.norm(between)
    return _power(normals @ between, power)


def _toned(light: Raster) -> Raster:
    """Return light as sRGB: what is very bright is drawn in, so that it keeps its colour."""
    light = 0.92 * light
    drawn_in = light * (1.0 + light / 5.5) / (1.0 + 0.75 * light)
    return _power(drawn_in, 1.0 / GAMMA).clip(0.0, 1.0)
