"""Four carved faces of 75 g that tests measure: lobes, a square frame, an imported map, flutes.

Each is an outline, a labelled field of heights and regions of artwork. They are made by hand from
`highest` and `lowest` of smooth pieces, so that nothing but the field stands behind them.
"""

from functools import cache
from math import pi, radians, tan
from typing import NamedTuple

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter, map_coordinates, spline_filter

from moulddesign.artwork.lettering import default_font, lettering
from moulddesign.design import Profile
from moulddesign.relief.field import EdgeDistance, Field, FieldValues, highest, lowest
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import snapped_to_grid

WALL = 3.5
"""Slope of walls: 15.9 deg from the pull direction."""
STEEPEST = 1.0 / tan(radians(15.0))


class Face(NamedTuple):
    outline: shapely.Polygon
    field: Field
    regions: tuple[ReliefRegion, ...] = ()


def of(height, number):
    height = np.asarray(height, dtype=np.float64)
    return FieldValues(height, np.broadcast_to(np.asarray(number, dtype=np.int64), height.shape))


def dome(radius, base, rise):
    """Return heights of a spherical cap over a circle of radius `base`."""
    sphere = (base**2 + rise**2) / (2.0 * rise)
    return np.sqrt(np.maximum(sphere**2 - radius**2, 1.0)) - (sphere - rise)


def polar(points):
    return np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])


def folded(angle, count, start=0.0):
    """Return angles from the nearest of `count` spokes, and its number."""
    share = (angle - start) / (2 * pi / count)
    nearest = np.round(share)
    return (share - nearest) * 2 * pi / count, np.mod(nearest, count).astype(np.int64)


def lobed(radius, count, depth):
    angle = np.linspace(0, 2 * pi, 48 * count, endpoint=False)
    away = radius - depth * (1.0 - np.abs(np.cos(count * angle / 2)) ** 0.9)
    return shapely.Polygon(np.column_stack([away * np.cos(angle), away * np.sin(angle)]))


def raised_disc(under, radius, disc, *, level, number):
    """Cut a pit to a level and put a disc of that level into it, both with walls."""
    floor = of(np.full(len(radius), level), number)
    pit = highest(floor, of(level + WALL * (radius - disc), number + 1))
    return highest(
        lowest(under, pit), lowest(floor, of(level + WALL * (disc + 0.8 - radius), number + 2))
    )


def ring(under, radius, middle, *, base, number, half=0.95, rise=1.7):
    """Lay a half-elliptic ring over what is there."""
    off = radius - middle
    top = base + rise * np.sqrt(np.maximum(1.0 - (off / half) ** 2, 0.0))
    side = of(base + WALL * (half - np.abs(off)), np.where(off > 0.0, number + 1, number + 2))
    return highest(under, lowest(of(top, number), side))


def letter(character, size_mm, depth_mm, profile=Profile.FLAT):
    (glyph,) = lettering(character, default_font())
    shape = snapped_to_grid(shapely.transform(glyph.shape, lambda points: points * size_mm))
    return ReliefRegion(shape=shape, depth_mm=depth_mm, profile=profile, draft_deg=15.3)


class Petals:
    """A row of petals that stand on a ground: cupped, veined, with drafted walls."""

    def __init__(
        self, count, inner, outer, height, *, number, start=0.0, tip=0.5, cup=0.5, wall=WALL
    ):
        self.count, self.inner, self.outer, self.height = count, inner, outer, height
        self.number, self.start, self.tip, self.cup, self.wall = number, start, tip, cup, wall
        share = np.concatenate(
            [np.linspace(0, 1 - tip, 8)[:-1], 1 - tip + tip * np.sin(np.linspace(0, pi / 2, 40))]
        )
        away = inner + share * (outer - inner)
        half = np.minimum(self.half_width(share), pi / count * away * 0.999)
        edge = np.concatenate([np.column_stack([away, half]), np.column_stack([away, -half])[::-1]])
        self.widest = half.max()
        self.distance = EdgeDistance(shapely.Polygon(edge).buffer(0), reach_mm=0.75)

    def half_width(self, share):
        away = self.inner + share * (self.outer - self.inner)
        round_tip = 1.0 - np.clip((share - (1 - self.tip)) / self.tip, 0, 1) ** 2.2
        return pi / self.count * away * round_tip**0.62 * np.clip((share + 0.35) / 0.5, 0, 1) ** 0.4

    def __call__(self, points, ground):
        radius, angle = polar(points)
        off, which = folded(angle, self.count, self.start)
        own = np.column_stack([radius * np.cos(off), radius * np.sin(off)])
        share = (own[:, 0] - self.inner) / (self.outer - self.inner)
        across = own[:, 1] / np.maximum(self.half_width(np.clip(share, 0, 0.97)), 0.5)
        across = np.clip(across, -1.2, 1.2)
        body = (1 - self.cup * across**2) * (1 - 0.25 * np.clip((share - 0.75) / 0.25, 0, 1) ** 2)
        body = body - veins(across, share, 0.12)
        wall = np.full(len(points), -9.0)
        near = (own[:, 0] > self.inner - 0.1) & (own[:, 0] < self.outer + 0.1)
        near &= np.abs(own[:, 1]) < self.widest + 0.1
        wall[near] = self.wall * self.distance(own[near])
        number = self.number + 4 * which
        return lowest(of(ground + self.height * body, number), of(ground + wall, number + 1))


def veins(across, share, depth):
    fade = np.clip((1 - share) * 2.2, 0, 1) * np.clip(share * 4, 0, 1)
    return depth * np.clip(np.cos(across * pi * 1.5), 0, 1) ** 14 * fade


@cache
def lobes():
    """Return twelve lobes on a dome, beads, a ring and a sunk medallion with a letter."""

    def field(points):
        radius, angle = polar(points)
        ground = dome(radius, 26.0, 3.0)
        off, which = folded(angle, 12)
        across, share = off / (pi / 12), (radius - 13.5) / 16.5
        body = 1.7 * (1 - 0.75 * across**2) * (1 - 0.25 * np.clip((share - 0.75) / 0.25, 0, 1) ** 2)
        made = of(ground + body - veins(across, share, 0.2), 4 * which)
        off, which = folded(angle, 36)
        away = np.hypot(radius * np.cos(off) - 15.1, radius * np.sin(off))
        base = dome(15.1, 26.0, 3.0) + 1.0
        bead = of(base + 1.1 * np.sqrt(np.maximum(1 - (away / 0.75) ** 2, 0)), 1000 + 4 * which)
        made = highest(made, lowest(bead, of(base + WALL * (0.75 - away), 1001 + 4 * which)))
        made = raised_disc(made, radius, 12.6, level=3.1, number=2003)
        return ring(made, radius, 13.0, base=dome(13.0, 26.0, 3.0) + 0.55, number=2010)

    return Face(lobed(26.8, 12, 2.0), field, (letter("R", 15.5, 1.5),))


@cache
def frame():
    """Return a dished square: leaves between ridges, three rows of petals, a medallion."""
    outline = shapely.box(-20.5, -20.5, 20.5, 20.5).buffer(5, quad_segs=24)
    rows = [
        Petals(16, 8.0, 19.4, 1.35, number=4000, start=pi / 16, tip=0.4, cup=0.55),
        Petals(16, 7.0, 18.2, 1.9, number=3000, cup=0.55),
        Petals(12, 5.0, 13.8, 2.5, number=5000, start=0.1),
    ]

    def ground_at(radius):
        return 1.8 - (180.0 - np.sqrt(180.0**2 - np.minimum(radius, 100.0) ** 2))

    def field(points):
        radius, _ = polar(points)
        ground = ground_at(radius)
        made = of(ground, 0)
        for row in rows:
            made = highest(made, row(points, ground))
        base = ground_at(0.0) + 1.5
        cap = of(base + 0.1 + dome(radius, 8.6, 1.5), 2003)
        made = lowest(made, highest(cap, of(base + WALL * (radius - 8.2), 2004)))
        made = highest(made, lowest(cap, of(base + WALL * (8.9 - radius), 2005)))
        return ring(made, radius, 8.6, base=base, number=2000, half=0.8)

    def band(middle, half, depth_mm):
        outer = outline.buffer(half - middle, quad_segs=24)
        shape = outer.difference(outline.buffer(-half - middle, quad_segs=24))
        return pillow(shapely.MultiPolygon([shape]), depth_mm)

    regions = (band(1.55, 0.65, 1.2), band(5.0, 0.45, 0.9), pillow(leaves(outline), 1.0))
    return Face(outline, field, (*regions, letter("R", 9.6, 1.3)))


def pillow(shape, depth_mm):
    return ReliefRegion(
        shape=snapped_to_grid(shape), depth_mm=depth_mm, profile=Profile.PILLOW, draft_deg=15.3
    )


def leaves(outline):
    """Return leaves of 4.4 mm along a parallel of an outline, running to and fro."""
    line = outline.buffer(-3.3, quad_segs=24).exterior
    count = 2 * round(line.length / 8.8)
    made = []
    for number in range(count):
        at = np.linspace(number + 0.06, number + 0.94, 24) * line.length / count
        places = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        along = np.gradient(places, axis=0)
        along /= np.linalg.norm(along, axis=1)[:, None]
        share = np.linspace(0, 1, 24)[:: 1 if number % 2 else -1]
        out = 0.92 * np.sin(pi * share**0.75)[:, None] * along[:, ::-1] * (-1.0, 1.0)
        made.append(
            shapely.Polygon(np.concatenate([places + out, (places - out)[-2:0:-1]])).buffer(0)
        )
    return shapely.MultiPolygon(
        [part for part in shapely.get_parts(shapely.union_all(made)) if part.geom_type == "Polygon"]
    )


@cache
def imported():
    """Return a sculpted blossom of 16 bits on a dome: one piece without creases."""
    pixel_mm, depth_mm = 0.06, 2.8
    start = -31.0
    axis = np.arange(start, 31.0, pixel_mm)
    x, y = np.meshgrid(axis, axis)
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    petal = (
        np.abs(np.cos(4 * angle)) * np.clip(radius / 6.0, 0, 1) * np.clip((24.0 - radius) / 4, 0, 1)
    )
    grain = 0.05 * np.cos(24 * angle) * np.clip(radius / 10.0 - 0.5, 0, 1)
    eye = np.exp(-((radius / 4.0) ** 2)) * (0.8 + 0.1 * np.cos(9 * radius))
    shape = np.clip(0.75 * petal + grain * petal + eye, 0, 1)
    stored = np.round(shape * 65535).astype(np.uint16) / 65535.0 * depth_mm
    rounded = gaussian_filter(stored + dome(radius, 26.0, 2.5), 0.12 / pixel_mm)
    spline = spline_filter(rounded, 3)

    def field(points):
        at = [(points[:, 1] - start) / pixel_mm, (points[:, 0] - start) / pixel_mm]
        return of(map_coordinates(spline, at, order=3, prefilter=False, mode="nearest"), 0)

    return Face(lobed(26.2, 8, 1.6), field)


@cache
def flutes():
    """Return petals that run over a shoulder of 3 mm into sixteen flutes, and a flower."""
    outline = lobed(26.8, 16, 1.6)
    distance = EdgeDistance(outline, reach_mm=3.0)
    flower = Petals(8, 2.0, 11.0, 1.7, number=3000, wall=3.4)
    shoulder, steep = 3.0, 0.13

    def field(points):
        radius, angle = polar(points)
        off, which = folded(angle, 16)
        near = radius > 21.0
        inside = np.full(len(points), 9.0)
        inside[near] = np.maximum(distance(points[near]), 0.0)
        body = 1.6 * (1 - 0.7 * (off / (pi / 16)) ** 2) * np.clip((radius - 10) / 2, 0, 1)
        # A quarter circle is upright at the outline: its last bit has the slope of 3 at most.
        share = np.minimum(inside / shoulder, 1)
        drop = shoulder * (1 - np.sqrt(1 - (1 - share) ** 2))
        end = shoulder * (1 - np.sqrt(1 - (1 - steep / shoulder) ** 2))
        drop = np.where(inside < steep, shoulder * (steep - inside) + end, drop)
        zone = np.select([inside < steep, inside < shoulder], [2, 1], 0)
        made = of(dome(radius, 26.8, 2.5) + body - drop, 4 * which + zone)
        made = raised_disc(made, radius, 11.8, level=1.9, number=2003)
        made = highest(made, flower(points, np.full(len(points), 1.9)))
        made = ring(made, radius, 12.2, base=2.6, number=2010)
        cap = 1.9 + 2.6 * np.sqrt(np.maximum(1 - (radius / 2.4) ** 2, 0))
        return highest(made, lowest(of(cap, 2020), of(1.9 + WALL * (2.4 - radius), 2021)))

    return Face(outline, field)


FACES = {"lobes": lobes, "frame": frame, "imported": imported, "flutes": flutes}
