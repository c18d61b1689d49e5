"""Walls of vector regions that stand on a carved ground: the contour roof's, lifted by the field.

The roof is made as it is for flat ground, its walls flatter by what the ground slopes. Their edges
are halved, on both sides alike, until the ground under each is straight; then every corner is
lifted by the ground under it. Eaves and the edges of plateaus become constraint edges of the
ground's own facets.
"""

from dataclasses import dataclass, replace
from math import atan, degrees, floor, radians, tan
from typing import Final

import numpy as np
import shapely

from moulddesign.core import SpecError, say
from moulddesign.design import Profile
from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Field
from moulddesign.relief.roof import ReliefRegion, Roof
from moulddesign.relief.voronoi import snapped_to_grid

STEEPEST_GROUND: Final = 1.0
"""Slope of the ground up to which artwork may stand on it: 45 deg. Beyond lies a step."""
LEAST_WALL: Final = 0.4
"""Slope of a wall that still shows as one: a height of 1 mm has a foot of 2.5 mm; our choice."""
PROBE_MM: Final = 0.2
"""Spacing of the points at which the ground's slope is taken under artwork [mm]."""
REACH_MM: Final = 0.01
"""Over which the slope is taken [mm]."""
PILLOW_PLAN_MM: Final = 0.006
"""How far the edge of a pillow is simplified: each corner costs some twenty facets, and its wall,
at 15 deg 3.7 times as high as wide, is off by 0.022 mm at most [mm]."""
HALVINGS: Final = 10
"""Of a wall's edge: 40 mm come down to 0.04 mm."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LiftedWalls:
    """The walls of one region, over the ground."""

    vertices: Points
    """Height above the ground, shape (n, 3) [mm]."""
    triangles: Indices
    edges: Indices
    """Eaves and edges of plateaus, each with the walls on the left; rows of `vertices`."""
    area: shapely.Geometry
    """The whole region [mm]."""
    plateaus: shapely.Geometry
    depth_mm: float
    """Of the plateaus above the ground, negative where sunk."""


def lifted_walls(
    region: ReliefRegion, field: Field, *, draft_deg: float, bound_mm: float
) -> LiftedWalls:
    """Return the walls of a region, divided until they follow the ground within a bound.

    Parameters
    ----------
    draft_deg : float
        Least angle of the lifted walls, where the region's own is not larger [deg].

    Raises
    ------
    SpecError
        The region lies over a step of the ground, or its draft leaves it no walls there.
    """
    if region.profile is Profile.PILLOW:
        coarse = region.shape.simplify(PILLOW_PLAN_MM)
        region = replace(region, shape=snapped_to_grid(coarse))
    slope = _ground_slope(region.shape, field)
    if slope > STEEPEST_GROUND:
        raise SpecError("relief.layers", round(degrees(atan(slope))), say("relief.over-step"))
    # |grad(roof + ground)| is at most the sum of both, so the roof takes what the ground leaves.
    least_deg = max(draft_deg, region.draft_deg)
    wall = 1.0 / tan(radians(least_deg)) - slope
    if wall < LEAST_WALL:
        need = say(
            "relief.most-draft",
            most_deg=floor(degrees(atan(1.0 / (LEAST_WALL + slope)))),
            slope_deg=degrees(atan(slope)),
        )
        field_of_draft = "relief.draft_deg" if region.draft_deg <= draft_deg else "relief.layers"
        raise SpecError(field_of_draft, least_deg, need)
    made = replace(region, draft_deg=degrees(atan(1.0 / wall))).roof()
    vertices, triangles = _divided(made.vertices, made.walls, field, bound_mm)
    return LiftedWalls(
        vertices=vertices,
        triangles=triangles,
        edges=open_edges(triangles),
        area=region.shape,
        plateaus=_plateaus(made),
        depth_mm=region.depth_mm,
    )


def _ground_slope(shape: shapely.MultiPolygon, field: Field) -> float:
    """Return the steepest slope of the ground under a region, at points inside and on its edge."""
    left, low, right, high = shape.bounds
    grid = np.stack(
        np.meshgrid(np.arange(left, right, PROBE_MM), np.arange(low, high, PROBE_MM)), axis=-1
    ).reshape(-1, 2)
    shapely.prepare(shape)
    inside = grid[shapely.contains_xy(shape, grid[:, 0], grid[:, 1])]
    edge = shapely.get_coordinates(shapely.segmentize(shape, PROBE_MM))
    points = np.concatenate([inside, edge])
    steps = [
        (field(points + step).height - field(points - step).height) / (2.0 * REACH_MM)
        for step in (np.array([REACH_MM, 0.0]), np.array([0.0, REACH_MM]))
    ]
    return float(np.hypot(*steps).max())


def _plateaus(made: Roof) -> shapely.Geometry:
    rings = [shapely.linearrings(made.vertices[loop, :2]) for loop in made.plateaus]
    return shapely.build_area(shapely.geometrycollections(rings))


def open_edges(triangles: Indices) -> Indices:
    """Return edges with a triangle on their left only, shape (n, 2)."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2)
    names = edges.min(axis=1) * (int(triangles.max()) + 1) + edges.max(axis=1)
    order = np.argsort(names, kind="stable")
    change = names[order][1:] != names[order][:-1]
    single = np.append(True, change) & np.append(change, True)
    found: Indices = edges[np.sort(order[single])]
    return found


def _divided(
    vertices: Points, triangles: Indices, field: Field, bound_mm: float
) -> tuple[Points, Indices]:
    """Return triangles whose edges have been halved until the ground under each is straight."""
    ground = field(vertices[:, :2]).height
    for _ in range(HALVINGS):
        sides = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2)
        names, side = np.unique(sides[..., 0] * len(vertices) + sides[..., 1], return_inverse=True)
        edges = np.column_stack(np.divmod(names, len(vertices)))
        middle = vertices[edges].mean(axis=1)
        under = field(middle[:, :2]).height
        bent = np.abs(ground[edges].mean(axis=1) - under) > bound_mm
        if not bent.any():
            break
        number = np.full(len(edges), -1, dtype=np.int64)
        number[bent] = len(vertices) + np.arange(int(bent.sum()))
        vertices = np.concatenate([vertices, middle[bent]])
        ground = np.concatenate([ground, under[bent]])
        triangles = _split(triangles, number[side.reshape(-1, 3)])
    return vertices, triangles


def _split(triangles: Indices, middles: Indices) -> Indices:
    """Return triangles divided at the middles of their sides, -1 where a side stays whole."""
    cut = middles >= 0
    made = [triangles[~cut.any(axis=1)]]
    for turn in range(3):
        a, b, c = np.roll(triangles, -turn, axis=1).T
        ab, bc, ca = np.roll(middles, -turn, axis=1).T
        first, second, third = np.roll(cut, -turn, axis=1).T
        patterns = [
            (first & ~second & ~third, [(a, ab, c), (ab, b, c)]),
            (first & second & ~third, [(a, ab, bc), (ab, b, bc), (a, bc, c)]),
        ]
        if turn == 0:
            quarters = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
            patterns.append((first & second & third, quarters))
        for rows, parts in patterns:
            made += [np.column_stack(part)[rows] for part in parts]
    return np.concatenate(made)
