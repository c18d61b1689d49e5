"""The z-buffer, held against rays, closed forms and the area of what it covers."""

import numpy as np
import pytest
import trimesh
from scipy.spatial import Delaunay

from moulddesign.render.rasteriser import NOTHING, corner_weights, nearest_facets

SIZE = (60, 40)


def pixel_middles(size):
    columns, rows = np.meshgrid(np.arange(size[0]) + 0.5, np.arange(size[1]) + 0.5)
    return columns, rows


def nearest_by_rays(corners, size):
    """Cast a ray through each pixel at each facet (Moeller and Trumbore, JGT 2 (1997), 21-28)."""
    columns, rows = pixel_middles(size)
    origin = np.stack([columns.ravel(), rows.ravel(), np.full(columns.size, 1e3)], axis=1)
    nearest, facet = np.full(columns.size, -np.inf), np.full(columns.size, NOTHING)
    direction = np.array([0.0, 0.0, -1.0])
    for number, (a, b, c) in enumerate(corners):
        across = np.cross(direction, c - a)
        determinant = (b - a) @ across
        if determinant == 0.0:
            continue
        u = (origin - a) @ across / determinant
        turned = np.cross(origin - a, b - a)
        v = turned @ direction / determinant
        depth = 1e3 - turned @ (c - a) / determinant
        closer = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (depth > nearest)
        nearest[closer], facet[closer] = depth[closer], number
    return facet.reshape(columns.shape), nearest.reshape(columns.shape)


def test_it_sees_what_rays_meet_first():
    # Facets through each other, off every pixel's middle, some of them on edge and off the picture.
    chance = np.random.default_rng(7)
    middles = chance.uniform((-5, -5, 0), (65, 45, 30), (150, 1, 3))
    corners = middles + chance.normal(0.0, 6.0, (150, 3, 3))
    corners[0, 2] = corners[0, 1]
    facet, depth = nearest_facets(corners, SIZE)
    expected, far = nearest_by_rays(corners, SIZE)
    assert (facet == expected).all()
    assert np.isfinite(depth).mean() > 0.5
    np.testing.assert_allclose(depth[facet != NOTHING], far[facet != NOTHING], atol=1e-9)


def test_a_sheet_of_facets_has_no_crack():
    # Corners on the middles and edges of pixels too, where an edge belongs to one side only.
    chance = np.random.default_rng(3)
    inner = chance.integers(0, 2 * np.array(SIZE), (400, 2)) / 2.0
    points = np.concatenate([inner, [[0, 0], [SIZE[0], 0], [0, SIZE[1]], SIZE]])
    points = np.unique(points, axis=0)
    corners = np.zeros((len(Delaunay(points).simplices), 3, 3))
    corners[:, :, :2] = points[Delaunay(points).simplices]
    facet, _ = nearest_facets(corners, SIZE)
    assert (facet != NOTHING).all()
    # Whatever the order of facets and corners, each pixel lies in the facet that is seen there.
    at = np.stack(pixel_middles(SIZE), axis=2).reshape(-1, 2)
    seen = corners[facet.ravel(), :, :2]
    weights = corner_weights(seen, at)
    np.testing.assert_allclose(np.einsum("ij,ijk->ik", weights, seen), at, atol=1e-9)


def test_the_depth_of_a_sphere_is_the_root_of_what_is_left_of_its_radius():
    radius, size = 18.0, (40, 40)
    ball = trimesh.creation.icosphere(subdivisions=5, radius=radius)
    facet, depth = nearest_facets(ball.triangles + np.array((20.0, 20.0, 0.0)), size)
    x, y = pixel_middles(size)
    away = np.hypot(x - 20.0, y - 20.0)
    inside = away < radius - 1.0
    # A chord of length s lies s^2 / 8 r below its arc, a facet a third more below its sphere;
    # seen at a slant that grows by the ratio of radius and depth.
    sag = ball.edges_unique_length.max() ** 2 / (6.0 * radius)
    height = np.sqrt(radius**2 - away[inside] ** 2)
    assert (facet[inside] != NOTHING).all()
    assert (facet[away > radius] == NOTHING).all()
    below = height - depth[inside]
    assert below.min() > -1e-9
    assert (below <= sag * radius / height).all()


def test_the_depth_of_a_cone_falls_in_proportion_to_the_way_from_its_axis():
    size, rim, high = (50, 50), 20.0, 30.0
    turns = np.linspace(0.0, 2.0 * np.pi, 721)
    edge = np.stack([25.0 + rim * np.cos(turns), 25.0 + rim * np.sin(turns), 0 * turns], axis=1)
    tip = np.broadcast_to((25.0, 25.0, high), (720, 3))
    _, depth = nearest_facets(np.stack([tip, edge[:-1], edge[1:]], axis=1), size)
    x, y = pixel_middles(size)
    away = np.hypot(x - 25.0, y - 25.0)
    # Between two of its lines a facet lies nearer to the axis by 1 - cos of half their angle.
    slack = high * (1.0 - np.cos(np.pi / 720)) + 1e-9
    below = high * (1.0 - away / rim) - depth
    assert np.abs(below[away < rim - 1.0]).max() < slack


@pytest.mark.parametrize("size", [(1, 1), (3, 500)])
def test_no_facet_is_nothing(size):
    facet, depth = nearest_facets(np.zeros((0, 3, 3)), size)
    assert facet.shape == depth.shape == size[::-1]
    assert (facet == NOTHING).all()
