"""Roofs against closed forms, against shapely's distances, and against the rules of a surface."""

from math import pi, radians, tan

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from relief.surfaces import (
    closed,
    directed_edges,
    heights_at,
    plan_areas,
    points_inside,
    roofed,
)
from strategies import polygons, regular, star, strokes

from moulddesign.design import Profile
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import VORONOI_GRID_MM, snapped_to_grid

LARGEST_ERROR_MM = {Profile.FLAT: 0.02, Profile.BEVEL: 0.02, Profile.PILLOW: 0.03}
"""What the relief may be off by, as the job asks [mm]."""
BOX = shapely.box


def ellipse(a, b, sides=200):
    return shapely.transform(regular(sides), lambda points: points * (a, b))


def annulus(outer, inner):
    return regular(256, outer).difference(regular(256, inner))


def random_strokes(count, seed):
    rng = np.random.default_rng(seed)
    lines = [
        shapely.LineString(rng.uniform(-25, 25, (2, 2))).buffer(rng.uniform(0.2, 1.0))
        for _ in range(count)
    ]
    return shapely.union_all(lines)


def random_dots(count, seed):
    rng = np.random.default_rng(seed)
    places, radii = rng.uniform(0, 9, (count, 2)), rng.uniform(0.01, 0.9, count)
    return shapely.union_all(shapely.buffer(shapely.points(places), radii))


def triangle_hole(x, y):
    return shapely.Polygon([(x, y), (x + 2, y - 1), (x + 2, y + 1)])


REGIONS = {
    "box": BOX(0, 0, 10, 4),
    "box as narrow as two drafts": BOX(0, 0, 10, 2 * 1.5 * tan(radians(15))),
    "thin box": BOX(0, 0, 10, 0.6),
    "square": BOX(-4, -4, 4, 4),
    "sliver": shapely.Polygon([(0, 0), (20, 0), (20, 0.05)]),
    "needle with a bend": shapely.LineString([(0, 0), (9, 0.3), (18, 0)]).buffer(0.02),
    "star": star(5, 10, 4),
    "star of many points": star(24, 10, 7),
    "annulus": annulus(10, 9),
    "ellipse strokes": shapely.union_all(
        [
            shapely.affinity.rotate(ellipse(9, 3).exterior.buffer(0.5), angle, origin=(0, 0))
            for angle in (0, 60, 120)
        ]
    ),
    "L of overlapping squares": BOX(0, 0, 5, 5).union(BOX(4, 4, 9, 9)),
    "squares that touch in a corner": shapely.MultiPolygon([BOX(0, 0, 5, 5), BOX(5, 5, 9, 9)]),
    "squares that share a side": shapely.union_all([BOX(0, 0, 5, 5), BOX(5, 1, 9, 4)]),
    "four squares around a point": shapely.union_all(
        [BOX(0, 0, 3, 3), BOX(3, 3, 6, 6), BOX(6, 0, 9, 3), BOX(3, -3, 6, 0)]
    ),
    "hole that touches the edge": BOX(0, 0, 9, 9).difference(triangle_hole(0, 4)),
    "holes that touch each other": BOX(0, 0, 9, 9)
    .difference(triangle_hole(2, 4))
    .difference(triangle_hole(4, 4)),
    "holes and edge in a chain": BOX(0, 0, 9, 9)
    .difference(triangle_hole(0, 4))
    .difference(triangle_hole(2, 4))
    .difference(triangle_hole(4, 4)),
    "waist that splits on the way up": BOX(0, 0, 4, 4)
    .union(BOX(3, 1.8, 7, 2.2))
    .union(BOX(6, 0, 10, 4)),
    "thick comb": shapely.union_all(
        [BOX(0, 0, 12, 2), *(BOX(x, 1, x + 1, 6) for x in range(0, 12, 2))]
    ),
    "island in a sharp corner, before both walls' tops": BOX(0, 0, 9, 9).difference(
        BOX(0.05, 0.05, 0.08, 0.08)
    ),
    "island before the fan of a reflex corner": BOX(0, 0, 9, 9)
    .difference(BOX(0, 0, 4, 4))
    .difference(BOX(4.49, 4.49, 4.52, 4.52)),
    "spike with a corner on its straight side, but for half the grid": shapely.Polygon(
        [(0, 2.2), (-0.3765169578426959, 0.0006904577197586313), (-1.7, -7.73), (0, 0.02)]
    ),
    "the same, begun at that corner": shapely.Polygon(
        [(-0.3765169578426959, 0.0006904577197586313), (-1.7, -7.73), (0, 0.02), (0, 2.2)]
    ),
    "random strokes": random_strokes(25, 1),
    "random dots": random_dots(60, 2),
}


def assert_surface(region, made, draft_deg, depth_mm):
    """Assert what holds of every roof, whatever its region."""
    body = closed(made)
    forth, back = directed_edges(body.triangles)
    assert len(np.unique(forth)) == len(forth), "an edge is used twice in one direction"
    assert np.isin(forth, back).all(), "an edge has no partner"
    surface = made.surface
    seen = plan_areas(surface)
    # Corners stand within a float step of 1e-14 mm of their place: no fold is larger than that
    # times the longest side.
    reach = float(np.ptp(surface.vertices[:, :2], axis=0).max())
    assert seen.min() >= -1e-9 * max(reach, 1.0)
    assert seen.sum() == pytest.approx(region.area, rel=1e-9)
    assert_draft(surface, draft_deg)
    heights = surface.vertices[surface.triangles.ravel(), 2]
    assert heights.min() >= 0.0
    assert heights.max() <= depth_mm * (1.0 + 1e-9)
    assert body.volume_mm3 > 0.0


def assert_draft(surface, draft_deg):
    """Assert that no facet is steeper than the draft.

    A facet's slope is known to (float step of its corners) / (its least height in plan): with
    corners within 1e-10 mm (the diagram's own arithmetic) and a least height of 1e-3 mm, that is
    1e-7, or 6e-6 deg; facets that are thinner in plan cannot be told from a line and are judged
    by that thickness.
    """
    corners = surface.corners
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max(axis=1)
    thin = length / np.where(sides > 0.0, sides, 1.0)
    angle = np.degrees(np.arcsin(np.clip(normal[:, 2] / np.where(length > 0, length, 1), -1, 1)))
    slack = np.degrees(1e-10 / np.maximum(thin, 1e-12)) + 1e-6
    assert (angle >= draft_deg - slack).all(), float((angle + slack).min())


@pytest.mark.parametrize("profile", Profile)
@pytest.mark.parametrize("name", REGIONS)
def test_height_follows_the_distance_that_shapely_measures(name, profile):
    region, wall, made = roofed(REGIONS[name], profile)
    assert_surface(region, made, 15.0, 1.5)
    points = points_inside(region, 10_000)
    found = heights_at(made.surface, points)
    assert np.isfinite(found).all(), "a point has no roof over it"
    distances = shapely.distance(region.boundary, shapely.points(points))
    asked = true_height(profile, distances, wall, 1.5)
    assert np.abs(found - asked).max() <= LARGEST_ERROR_MM[profile]


@pytest.mark.parametrize("profile", Profile)
def test_a_straight_corner_that_rounding_opens_leaves_no_hole(profile):
    # Found in a drawing of others: between two segments of one grid step in one line, the
    # diagram's rounding opens the corner's cell by 2.6e-7 mm. Facets that thin have no slope.
    up = [(15.625, 18.75001), (15.6192, 18.94061), (15.60182, 19.13016), (15.58339, 19.25)]
    down = [(15.58338, 18.25), (15.60181, 18.36985), (15.6192, 18.5594), (15.625, 18.74999)]
    shape = shapely.Polygon([(15.12, 18.25), *down, (15.625, 18.75), *up, (15.12, 19.25)])
    region, _, made = roofed(shape, profile)
    forth, back = directed_edges(closed(made).triangles)
    assert len(np.unique(forth)) == len(forth)
    assert np.isin(forth, back).all()
    assert plan_areas(made.surface).sum() == pytest.approx(region.area, rel=1e-9)


def true_height(profile, distances, wall, depth_mm):
    """Return the profile that the words describe, not its facets.

    The section gives only its end: where the plateau or ridge begins and how high it is.
    """
    end, top = wall.distances[-1], wall.heights[-1]
    share = np.minimum(distances / end, 1.0)
    if profile is not Profile.PILLOW:
        return np.minimum(share * top, depth_mm)
    # A circle's arc, level at the ridge, through the edge: r = (run^2 + rise^2) / (2 rise).
    radius = (end**2 + top**2) / (2.0 * top)
    return np.sqrt(radius**2 - (end * (1.0 - share)) ** 2) - (radius - top)


@pytest.mark.parametrize("draft_deg", [1.0, 5.0, 30.0, 60.0])
@pytest.mark.parametrize("name", ["star", "annulus", "holes and edge in a chain", "random strokes"])
def test_every_facet_keeps_any_draft(name, draft_deg):
    for profile in Profile:
        region, _, made = roofed(REGIONS[name], profile, draft_deg=draft_deg, depth_mm=2.0)
        assert_surface(region, made, draft_deg, 2.0)


class TestClosedForms:
    """A region with n sides in place of a circle is circumscribed by its roof's own n planes."""

    SIDES = 720
    RADIUS = 8.0

    def disc(self, profile, depth_mm, draft_deg=20.0):
        disc = regular(self.SIDES, self.RADIUS)
        return closed(roofed(disc, profile, depth_mm=depth_mm, draft_deg=draft_deg)[2]).volume_mm3

    # The inscribed n-gon loses 2 (pi / n)^2 / 3 of the area, 1.3e-5, the ridge as much again in
    # height, the grid 1e-5 mm on the radius; the draft allowance of the facets is derived below.
    TOLERANCE = 5e-5

    def test_flat_disc_is_a_cone_frustum(self):
        depth, draft = 1.5, 20.0
        # Facets may be laid flatter so that those around corners keep the draft: a fan of angle f
        # with 1 - cos(f / 2) = 0.01 / depth, so the run is longer by 1 / cos(f / 2).
        run = depth * tan(radians(draft)) / (1.0 - 0.01 / depth)
        top = self.RADIUS - run
        frustum = pi * depth * (self.RADIUS**2 + self.RADIUS * top + top**2) / 3.0
        assert self.disc(Profile.FLAT, depth, draft) == pytest.approx(frustum, rel=self.TOLERANCE)

    def test_bevel_disc_is_a_cone(self):
        cone = pi * self.RADIUS**2 * 2.0 / 3.0
        assert self.disc(Profile.BEVEL, 2.0) == pytest.approx(cone, rel=self.TOLERANCE)

    def test_pillow_disc_is_a_spherical_cap(self):
        height = 2.0
        sphere = (self.RADIUS**2 + height**2) / (2.0 * height)
        cap = pi * height**2 * (3.0 * sphere - height) / 3.0
        # Chords lie within 0.01 mm below the arc: at most that over the disc's area.
        below = 0.01 * pi * self.RADIUS**2
        found = self.disc(Profile.PILLOW, height)
        assert cap - below - self.TOLERANCE * cap <= found <= cap * (1.0 + self.TOLERANCE)

    @pytest.mark.parametrize(("length", "width"), [(60.0, 4.0), (60.0, 0.5), (9.0, 9.0)])
    def test_bevel_rectangle_is_a_hip_roof(self, length, width):
        # Hip roof: ridge of length - width, volume h w (3 length - width) / 6 (a prism and two
        # half pyramids).
        _, wall, made = roofed(BOX(0, 0, length, width), Profile.BEVEL, depth_mm=1.0)
        height = min(1.0, width / 2.0 / tan(radians(15.0)) * (1.0 - 0.01))
        assert wall.heights[-1] == pytest.approx(height, rel=1e-6)
        expected = height * width * (3.0 * length - width) / 6.0
        assert closed(made).volume_mm3 == pytest.approx(expected, rel=1e-6)

    def test_flat_rectangle_is_an_obelisk(self):
        length, width, depth = 60.0, 4.0, 1.0
        run = depth * tan(radians(15.0)) / (1.0 - 0.01 / depth)
        a, b = length - 2 * run, width - 2 * run
        # Obelisk: h (2 L W + L b + a W + 2 a b) / 6 (Heron, Stereometrica; Bronstein).
        obelisk = depth * (2 * length * width + length * b + a * width + 2 * a * b) / 6.0
        made = roofed(BOX(0, 0, length, width), Profile.FLAT, depth_mm=depth)[2]
        assert closed(made).volume_mm3 == pytest.approx(obelisk, rel=1e-6)

    def test_pillow_of_a_long_rectangle_is_a_circular_segment_along_it(self):
        width, height = 4.0, 1.0
        radius = (width**2 / 4.0 + height**2) / (2.0 * height)
        half = np.arcsin(width / 2.0 / radius)
        segment = radius**2 * (half - np.sin(half) * np.cos(half))
        volumes = [
            closed(roofed(BOX(0, 0, length, width), Profile.PILLOW, depth_mm=height)[2]).volume_mm3
            for length in (100.0, 200.0)
        ]
        # The ends are the same in both, so the difference is 100 mm of segment; chords lie within
        # 0.01 mm below the arc.
        found = (volumes[1] - volumes[0]) / 100.0
        assert segment - 0.01 * width <= found <= segment * (1.0 + 1e-9)

    def test_annulus_is_two_frusta_apart(self):
        outer, inner, depth = 10.0, 7.0, 1.0
        run = depth * tan(radians(15.0)) / (1.0 - 0.01 / depth)

        def frustum(r, s):
            return pi * depth * (r**2 + r * s + s**2) / 3.0

        expected = frustum(outer, outer - run) - frustum(inner, inner + run)
        ring = regular(720, outer).difference(regular(720, inner))
        found = closed(roofed(ring, Profile.FLAT, depth_mm=depth)[2]).volume_mm3
        assert found == pytest.approx(expected, rel=2e-4)


@pytest.mark.parametrize(
    ("profile", "run_mm"),
    [
        pytest.param(Profile.BEVEL, 0.1 * 2.0 / 0.5, id="bevel: 0.5 mm in half of 4 mm"),
        # The circle through (0, 0) and (2, 0.5), level there, has the radius 4.25.
        pytest.param(Profile.PILLOW, 2.0 - (4.25**2 - 3.85**2) ** 0.5, id="pillow: an arc"),
        pytest.param(Profile.FLAT, 0.1 * tan(radians(15.0)), id="flat: the draft"),
    ],
)
def test_a_wall_is_as_high_as_it_says_so_far_from_the_edge(profile, run_mm):
    bar = snapped_to_grid(BOX(0, 0, 4, 20))
    region = ReliefRegion(shape=bar, depth_mm=-0.5, profile=profile, draft_deg=15.0)
    # Chords are within 0.01 mm of the arc, which rises by 0.47 at its foot.
    assert region.run_mm(0.1) == pytest.approx(run_mm, abs=0.02)


def test_two_apart_hold_what_each_holds():
    one, other = star(5, 6, 3), shapely.affinity.translate(star(7, 5, 3), 20, 0)
    both = closed(roofed(shapely.MultiPolygon([one, other]), Profile.FLAT)[2]).volume_mm3
    each = sum(closed(roofed(s, Profile.FLAT)[2]).volume_mm3 for s in (one, other))
    assert both == pytest.approx(each, rel=1e-9)


@given(turn=st.floats(0.0, 360.0))
@settings(max_examples=15)
def test_turning_the_region_keeps_the_volume(turn):
    # The grid moves corners by 5e-6 mm; along an edge of 60 mm, 1.5 mm high, 4.5e-4 mm3.
    still = closed(roofed(star(5, 10, 4), Profile.FLAT)[2]).volume_mm3
    turned = shapely.affinity.rotate(star(5, 10, 4), turn, origin=(0, 0))
    found = closed(roofed(turned, Profile.FLAT)[2]).volume_mm3
    # Facets around a reflex corner begin where they begin: each is within the height error.
    assert found == pytest.approx(still, abs=1e-3)


SAMPLED = settings(max_examples=40)


@given(shape=strokes(), profile=st.sampled_from(Profile))
@SAMPLED
def test_any_strokes_take_a_roof(shape, profile):
    assert_any(shape, profile)


@given(shape=polygons(), profile=st.sampled_from(Profile))
@SAMPLED
def test_any_enclosed_area_takes_a_roof(shape, profile):
    assert_any(shape, profile)


@pytest.mark.slow
@given(shape=st.one_of(strokes(), polygons()), profile=st.sampled_from(Profile))
@settings(max_examples=1000)
def test_a_thousand_areas_take_a_roof(shape, profile):
    assert_any(shape, profile)


def assert_any(shape, profile):
    assume(not snapped_to_grid(shape).is_empty)
    region, wall, made = roofed(shape, profile)
    assert_surface(region, made, 15.0, 1.5)
    points = points_inside(region, 500)
    found = heights_at(made.surface, points)
    missing = ~np.isfinite(found)
    # A point on the grid's own step from an edge may lie on no facet that shapely can see.
    distances = shapely.distance(region.boundary, shapely.points(points))
    assert (distances[missing] <= VORONOI_GRID_MM).all()
    asked = true_height(profile, distances, wall, 1.5)
    assert np.abs(found - asked)[~missing].max(initial=0.0) <= LARGEST_ERROR_MM[profile]
