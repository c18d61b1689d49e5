"""Light from above, held against closed forms."""

from math import atan, cos, hypot, tan

import numpy as np
import pytest

from moulddesign.geometry import box, joined, union
from moulddesign.render.baked_map import (
    LAMP,
    SKY_DISTANCES,
    baked_map,
    heights_from_above,
    lamp_shadow,
    sampled,
    sky_share,
)

PIXEL_MM = 0.25


def beside_wall(high_mm, size=240):
    """Heights of level ground with a wall that takes the left third, and distances from it."""
    heights = np.zeros((size, size), dtype=np.float32)
    heights[:, : size // 3] = high_mm
    return heights, (np.arange(size) - size // 3 + 0.5) * PIXEL_MM


def test_a_plane_sees_the_whole_sky():
    assert (sky_share(np.full((30, 40), 3.0, dtype=np.float32), PIXEL_MM) == 1.0).all()


def test_the_foot_of_a_high_wall_sees_half_of_the_sky():
    heights, away = beside_wall(1e6)
    share = sky_share(heights, PIXEL_MM, reach_mm=40.0)[120]
    assert share[(away > 0) & (away < 5.0)] == pytest.approx(0.5, abs=1e-3)
    assert share[away < 0] == pytest.approx(1.0)


@pytest.mark.parametrize("steep", [0.5, 1.0, 2.0])
def test_before_a_long_wall_the_share_follows_from_its_elevation(steep):
    # In the direction p from the wall's normal the horizon's tangent is t cos p, t that of the
    # wall's elevation a; the mean of cos^2 = 1 / (1 + t^2 cos^2 p) over the wall's half of the
    # circle is cos a, and 1 over the other half: (1 + cos a) / 2.
    heights, away = beside_wall(6.0)
    share = sky_share(heights, PIXEL_MM, reach_mm=20.0, directions=48)[120]
    column = int(np.argmin(np.abs(away - 6.0 / steep)))
    tangent = 6.0 / away[column]
    # Of distances that grow by a factor the first beyond the edge may lie farther by that, and
    # the tangent there is smaller; whole pixels add their share.
    factor = (20.0 / PIXEL_MM) ** (1.0 / (SKY_DISTANCES - 1))
    least, most = ((1.0 + cos(atan(tan_)) + 0.02) / 2.0 for tan_ in (tangent, tangent / factor))
    assert least - 0.02 < share[column] < most


def test_a_shadow_is_as_long_as_its_edge_is_high_over_the_tangent_of_the_lamp():
    high_mm = 9.0
    size = 400
    heights = np.zeros((size, size), dtype=np.float32)
    # A half plane with its edge square to the lamp's azimuth, so that the shadow falls off it.
    x, y = np.meshgrid(*2 * [(np.arange(size) + 0.5 - size / 2) * PIXEL_MM])
    level = hypot(LAMP[0], LAMP[1])
    towards = (x * LAMP[0] + y * LAMP[1]) / level
    heights[towards > 0.0] = high_mm
    lamp = lamp_shadow(heights, PIXEL_MM)
    length_mm = high_mm / (LAMP[2] / level)
    assert length_mm == pytest.approx(high_mm / tan(atan(LAMP[2] / level)))
    behind = -towards
    middle = np.hypot(x, y) < 30.0
    shadow = middle & (behind > 1.0) & (behind < 0.8 * length_mm)
    light = middle & (behind > 1.3 * length_mm)
    assert lamp.share[shadow].max() < 0.2
    assert lamp.share[light].min() > 0.9
    # The ceiling over the ground is the line from the edge along the light.
    expected = high_mm - behind * LAMP[2] / level
    band = middle & (behind > 1.0) & (behind < length_mm)
    assert np.abs(lamp.ceiling_mm - expected)[band].max() < 2.0 * PIXEL_MM


def test_heights_are_those_of_the_top_faces():
    mesh = joined([box((0.0, 0.0, 2.0), (20.0, 10.0, 5.0)), box((4.0, 2.0, 5.0), (8.0, 6.0, 6.5))])
    grid = heights_from_above(mesh, 100)
    x = grid.corner[0] + (np.arange(100) + 0.5) * grid.pixel_mm
    y = grid.corner[1] + (np.arange(100) + 0.5) * grid.pixel_mm
    inside = np.logical_and.outer((y > 0) & (y < 10), (x > 0) & (x < 20))
    raised = np.logical_and.outer((y > 2) & (y < 6), (x > 4) & (x < 8))
    assert (grid.inside == inside).all()
    assert grid.heights[raised] == pytest.approx(4.5)
    assert grid.heights[inside & ~raised] == pytest.approx(3.0)
    assert (grid.heights[~inside] == 0.0).all()


def test_what_stands_out_browns_and_hollows_stay_pale():
    plate = box((0.0, 0.0, 0.0), (40.0, 40.0, 10.0))
    bead, edge_mm = box((10.0, 18.0, 9.0), (14.0, 22.0, 11.0)), 3.0
    baked = baked_map(union([plate, bead], step="plate"), 200)
    grid = baked.grid
    x = grid.corner[0] + (np.arange(200) + 0.5) * grid.pixel_mm
    deep = (x > edge_mm) & (x < 40.0 - edge_mm)
    ground = np.logical_and.outer(deep, deep) & (grid.heights < 10.5)
    raised = grid.heights > 10.5
    at_foot = np.zeros_like(ground)
    at_foot[np.ix_(np.abs(x - 20.0) < 1.5, (x > 14.3) & (x < 14.8))] = True
    far = np.zeros_like(ground)
    far[np.ix_(np.abs(x - 20.0) < 1.5, np.abs(x - 28.0) < 1.5)] = True
    assert baked.brown[raised].min() > baked.brown[ground].max()
    assert baked.brown[at_foot].max() < baked.brown[far].min()
    assert baked.flat_mm == pytest.approx(10.0)
    layers = baked.layers
    assert layers.shape == (200, 200, 3)
    assert layers.dtype == np.float32
    assert 0.0 <= layers.min() < layers.max() <= 1.0


def test_a_map_is_read_between_its_pixels():
    # A plane is linear, so it is met exactly; outside it goes on as at its edge.
    rows, columns = np.mgrid[0:6, 0:9].astype(np.float32)
    plane = (2.0 * columns + 3.0 * rows)[:, :, None]
    where = (np.array([0.5, 3.25, 8.0, -4.0], "f4"), np.array([0.5, 4.75, 5.0, 2.0], "f4"))
    assert sampled(plane, *where)[:, 0] == pytest.approx([2.5, 20.75, 31.0, 6.0], abs=0.02)
