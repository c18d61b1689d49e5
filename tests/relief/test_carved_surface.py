"""Carved surfaces against closed forms, the field itself, and another library's measures."""

from math import acos, pi

import numpy as np
import pytest
import shapely
import trimesh
from relief.carved_faces import dome, letter, of, polar
from strategies import regular

from moulddesign.core import SpecError
from moulddesign.geometry.topology import is_closed
from moulddesign.relief.carved_surface import carved_surface

DISC = regular(256, 10.0)


def made_of(field, outline=DISC, regions=(), inset_mm=0.0, draft_deg=15.0):
    return carved_surface(outline, field, regions, inset_mm=inset_mm, draft_deg=draft_deg)


def closed(surface, floor_mm=-5.0):
    """Return the solid between a surface and a level floor, as trimesh reads it."""
    count = len(surface.vertices)
    below = surface.vertices * (1.0, 1.0, 0.0) + (0.0, 0.0, floor_mm)
    high, low = surface.rim, surface.rim + count
    side = [
        np.column_stack([low, np.roll(low, -1), np.roll(high, -1)]),
        np.column_stack([low, np.roll(high, -1), high]),
    ]
    triangles = np.concatenate([surface.triangles, surface.triangles[:, ::-1] + count, *side])
    assert is_closed(triangles)
    return trimesh.Trimesh(np.concatenate([surface.vertices, below]), triangles, process=False)


def cap(points):
    return of(dome(polar(points)[0], 10.0, 3.0), 0)


def cone(points):
    return of(3.0 - 0.3 * polar(points)[0], 0)


def torus_ring(points):
    off = polar(points)[0] - 6.0
    section = dome(np.minimum(np.abs(off), 2.0), 2.0, 1.0)
    return of(section, np.where(np.abs(off) < 2.0, 1, 0))


@pytest.mark.parametrize(
    ("field", "above_mm3"),
    [
        pytest.param(cap, pi * 3.0 * (3 * 10.0**2 + 3.0**2) / 6.0, id="cap: pi h (3 a2 + h2) / 6"),
        pytest.param(cone, pi * 10.0**2 * 3.0 / 3.0, id="cone: pi r2 h / 3"),
        # The circle through (+-2, 0) and (0, 1) has the radius 2.5; its segment turns round 6 mm.
        pytest.param(
            torus_ring, (2.5**2 * acos(0.6) - 1.5 * 2.0) * 2.0 * pi * 6.0, id="torus ring: Pappus"
        ),
    ],
)
def test_volume_is_that_of_the_closed_form(field, above_mm3):
    solid = closed(made_of(field))

    # Heights are within 0.02 mm; the outline of 256 sides lacks 0.01 % of the circle.
    assert solid.is_watertight
    assert solid.volume - 5.0 * DISC.area == pytest.approx(above_mm3, abs=0.02 * DISC.area)


def test_artwork_stands_on_the_dome():
    surface = made_of(cap, regions=(letter("R", 9.0, 1.2),), inset_mm=0.3)
    solid = closed(surface)

    assert solid.is_watertight
    assert surface.vertices[:, 2].max() == pytest.approx(4.2, abs=0.05)
    rim = surface.vertices[surface.stamp_rim, :2]
    assert shapely.Polygon(rim).area == pytest.approx(pi * 9.7**2, rel=1e-3)


def test_artwork_over_a_step_is_refused():
    def step(points):
        return of(np.clip(3.5 * points[:, 0], 0.0, 2.0), 0)

    with pytest.raises(SpecError, match="a step; move it"):
        made_of(step, regions=(letter("R", 9.0, 1.2),))


def test_corners_of_the_outline_stay_where_they_are():
    outline = shapely.Polygon([(-8, -6), (9, -5.123456789), (7.1, 6), (0.3, 2.2), (-7, 7)])
    surface = made_of(cap, outline, inset_mm=0.25)
    rim = surface.vertices[surface.rim, :2]

    for corner in shapely.get_coordinates(outline)[:-1]:
        assert (rim == corner).all(axis=1).sum() == 1
    assert shapely.Polygon(rim).area == pytest.approx(outline.area, rel=1e-12)
