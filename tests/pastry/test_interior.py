"""Crust, filling and centres against closed forms, another quadrature, and trimesh."""

from itertools import combinations
from math import cos, hypot, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.artwork.outline import outline_of_width, round_outline, scalloped_outline
from moulddesign.core import SpecError
from moulddesign.design import OUTLINES, Design, PastryTable
from moulddesign.pastry.interior import (
    Ball,
    Interior,
    crust_thickness_mm,
    interior,
    ring_mm,
    ring_reach_mm,
)
from moulddesign.pastry.pastry import Pastry, pastry
from moulddesign.pastry.top_surface import drafted_side
from moulddesign.portion import portion

NAMES = ("date", "chestnut", "walnut", "quince")


def plain(outline, height, *, draft=0.0, shoulder=0.0):
    """Return a pastry without relief."""
    side = drafted_side(outline, draft_deg=draft, radius_mm=shoulder) if draft else None
    return Pastry(
        outline=outline, height_mm=height, shoulder_radius_mm=shoulder, relief=(), roofs=(),
        side=side,
    )  # fmt: skip


def thickness(outline, height, filled, **more):
    return crust_thickness_mm(plain(outline, height, **more), filled)


def made(**values):
    """Return the interior of a design, and its portion."""
    design = Design().with_values({"relief.layers": [{"motif": "petals", "count": 6}]} | values)
    piece = portion(design.portion)
    return interior(design, pastry(design, piece.volume_ml), piece), piece


def body(mesh):
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)


def distances(points, surface):
    """Return the distance of each point to the nearest triangle."""
    corners = surface.triangles
    return np.array(
        [
            np.linalg.norm(
                trimesh.triangles.closest_point(corners, np.tile(point, (len(corners), 1))) - point,
                axis=1,
            ).min()
            for point in points
        ]
    )


@given(
    width=st.floats(20.0, 120.0),
    height_share=st.floats(0.2, 1.5),
    crust_share=st.floats(0.02, 0.95),
)
@settings(max_examples=60)
def test_a_round_crust_solves_the_cylinders_equation(width, height_share, crust_share):
    outline, height = round_outline(width), width * height_share
    thick = crust_share * min(width, height) / 2.0
    # An n-gon with apothem a has the area n tan(pi / n) a^2, and so has its inset with a - t.
    sides = len(outline.points)
    apothem = width / 2.0 * np.cos(pi / sides)
    filled = sides * tan(pi / sides) * (apothem - thick) ** 2 * (height - 2.0 * thick)
    # brentq's own 1e-9 mm, and shapely's offset within a few float steps of 1e-14 mm.
    assert thickness(outline, height, filled) == pytest.approx(thick, abs=2e-9)


@given(width=st.floats(20.0, 120.0), height=st.floats(8.0, 200.0), share=st.floats(0.02, 0.98))
@settings(max_examples=60)
def test_a_sharp_square_crust_solves_the_blocks_equation(width, height, share):
    table = PastryTable(outline="square", corner_radius_mm=0.0)
    thick = share * min(width, height) / 2.0
    filled = (width - 2.0 * thick) ** 2 * (height - 2.0 * thick)
    outline = outline_of_width(table, width)
    assert thickness(outline, height, filled) == pytest.approx(thick, abs=2e-9)


@pytest.mark.parametrize("draft", [7.0, 20.0])
def test_a_drafted_square_crust_is_the_pyramids_frustum(draft):
    """V = h (A + a + sqrt(A a)) / 3 of the handbooks, with squares inset by t / cos + z tan."""
    outline = outline_of_width(PastryTable(outline="square", corner_radius_mm=0.0), 60.0)
    lean, thick, high = radians(draft), 3.0, 24.0
    low, top = (60.0 - 2.0 * (thick / cos(lean) + z * tan(lean)) for z in (thick, high - thick))
    filled = (high - 2.0 * thick) * (low**2 + top**2 + low * top) / 3.0
    # brentq's own 1e-9 mm; square functions of the height are integrated exactly.
    assert thickness(outline, high, filled, draft=draft) == pytest.approx(thick, abs=2e-9)
    found = Interior(pastry=plain(outline, high, draft=draft), crust_mm=thick).filling
    # float32 and the grid of 1e-5 mm: at most 1e-5 mm on each of 6 faces of 3,600 mm2 at most.
    assert body(found).volume == pytest.approx(filled, abs=0.2)


@pytest.mark.parametrize("outline", OUTLINES)
@pytest.mark.parametrize("height_mm", [10.0, 30.0, 90.0])
@pytest.mark.parametrize("share", [0.001, 0.3, 0.7, 0.97, 0.9999])
def test_every_outline_takes_every_share(outline, height_mm, share):
    found = outline_of_width(PastryTable(outline=outline), 50.0)
    room = found.area_mm2 * height_mm
    thick = thickness(found, height_mm, share * room)
    assert 0.0 < thick < min(25.0, height_mm / 2.0)
    # More filling, thinner crust.
    assert thickness(found, height_mm, 0.99 * share * room) > thick


def test_a_filling_larger_than_the_piece_is_refused():
    outline = round_outline(50.0)
    with pytest.raises(SpecError, match=r"leaves no crust in a pastry of .* mL"):
        thickness(outline, 20.0, 1.001 * outline.area_mm2 * 20.0)


SIDES = {
    "press": ({"mould.kind": "press"}, 6.0),
    **{
        f"block {draft}": ({"mould.kind": "block", "mould.side_draft_deg": draft}, shoulder)
        for draft, shoulder in ((0.0, 0.0), (7.0, 0.0), (20.0, 6.0))
    },
}
"""Kinds of mould and leaning sides, with a radius of the shoulder."""


@pytest.mark.parametrize(
    ("outline", "side"),
    [
        pytest.param(outline, side, marks=() if (a + b) % 2 else pytest.mark.slow)
        for a, outline in enumerate(OUTLINES)
        for b, side in enumerate(SIDES)
    ],
)
def test_crust_and_filling_are_the_portions_and_the_filling_lies_inside(outline, side):
    mould, shoulder = SIDES[side]
    found, piece = made(
        **mould,
        **{"pastry.outline": outline, "pastry.shoulder_radius_mm": shoulder,
           "portion.ratio": "2:8", "pastry.height_to_width": 0.4},
    )  # fmt: skip
    filling, whole = body(found.filling), body(found.pastry.mesh)
    assert filling.is_watertight
    assert filling.is_winding_consistent
    # float32 holds 64 mm within 4e-6 mm; facets around the scalloped outline's valleys span
    # chords that a smooth offset does not have, 1e-5 of the whole.
    filled = piece.volume_ml - piece.crust_ml
    assert filling.volume / 1000.0 == pytest.approx(filled, rel=2e-5)
    assert (whole.volume - filling.volume) / 1000.0 == pytest.approx(piece.crust_ml, rel=1e-4)
    # Cavalieri by the midpoint rule over trimesh's level sections, which share no code with ours.
    levels = np.linspace(*filling.bounds[:, 2], 31)
    middles = (levels[1:] + levels[:-1]) / 2.0
    areas = [filling.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1)) for z in middles]
    slices = sum(path.to_2D()[0].area for path in areas) * (levels[1] - levels[0])
    # The midpoint rule's error: (b - a)^3 f'' / 24 n^2, f'' below 8 tan(20)^2 + arcs; 1e-3 at most.
    assert slices == pytest.approx(filling.volume, rel=1e-3)
    # As deep everywhere: from each corner of the filling to the plain piece's surface. A facet
    # that spans f = 14.5 deg around a corner lies 1 - cos(f / 2) = 0.8 % nearer.
    surface = body(plain_of(found.pastry).mesh)
    both = trimesh.boolean.union([filling, surface], engine="manifold")
    assert both.volume == pytest.approx(surface.volume, rel=1e-9)  # nothing stands out of it
    depth = distances(filling.vertices[:: len(filling.vertices) // 40], surface)
    assert depth.min() == pytest.approx(found.crust_mm, abs=0.012 + 0.008 * found.crust_mm)


def plain_of(pressed):
    """Return the same pastry without its relief."""
    return plain(
        pressed.outline, pressed.height_mm, draft=pressed.side_draft_deg,
        shoulder=pressed.shoulder_radius_mm,
    )  # fmt: skip


@pytest.mark.parametrize("draft", [0.0, 7.0, 20.0])
def test_the_section_of_a_round_filling_is_the_cones(draft):
    """In the plane of the axis a cone's frustum is a trapezium, its corners by hand."""
    found = Interior(pastry=plain(round_outline(60.0), 24.0, draft=draft), crust_mm=3.0)
    lean = radians(draft)
    low, top = (30.0 - 3.0 / cos(lean) - z * tan(lean) for z in (3.0, 21.0))
    trapezium = shapely.Polygon([(-low, 3.0), (low, 3.0), (top, 21.0), (-top, 21.0)])
    # The outline's chords lie at most 0.002 mm inside the circle.
    missing = shapely.symmetric_difference(found.filling_section, trapezium).area
    assert missing < 0.003 * 2 * 18.0 / cos(lean)


def test_a_flat_piece_with_a_large_shoulder_has_a_filling_like_a_lens():
    """Its side is used up by the shoulder: the spherical segment of the arc's torus is left."""
    # Middle of the arc 14.142 mm inside and 13 mm below the table, radius 20 - 2.5 = 17.5 mm.
    found = Interior(pastry=plain(round_outline(60.0), 7.0, shoulder=20.0), crust_mm=2.5)
    z = np.linspace(2.5, 4.5, 20_001)
    middles = (z[1:] + z[:-1]) / 2.0
    radii = 30.0 - 20.0 * sqrt(0.5) + np.sqrt(17.5**2 - (middles + 13.0) ** 2)
    by_slices = pi * np.sum(radii**2) * (z[1] - z[0])
    # Chords of the arc lie at most 0.01 mm inside it, on some 2,000 mm2: 1 % of so flat a piece.
    assert found.filling_mm3 == pytest.approx(by_slices, rel=0.01)
    assert body(found.filling).is_watertight
    assert body(found.filling).volume == pytest.approx(found.filling_mm3, rel=1e-4)


def test_a_filling_that_falls_apart_is_several_closed_surfaces():
    """A dumbbell's thin bar is all crust: its two ends are left."""
    bar = shapely.box(-20.0, -2.0, 20.0, 2.0)
    ends = [shapely.Point(x, 0.0).buffer(12.0) for x in (-20.0, 20.0)]
    shape = shapely.union_all([bar, *ends])
    outline = scalloped_outline(60.0, 12, 2.0)
    outline = type(outline)(
        name="drawn", width_mm=64.0, depth_mm=24.0, arcs=(),
        points=shapely.get_coordinates(shapely.orient_polygons(shape).exterior)[:-1],
    )  # fmt: skip
    found = Interior(pastry=plain(outline, 20.0, draft=5.0), crust_mm=3.0)
    filling = body(found.filling)
    assert filling.is_watertight
    assert filling.body_count == 2
    assert len(shapely.get_parts(found.filling_section)) == 2
    assert filling.volume == pytest.approx(found.filling_mm3, rel=1e-4)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("draft", [0.0, 20.0])
def test_centres_are_balls_of_their_mass_that_touch_each_other_and_nothing_else(count, draft):
    centres = [
        {"name": name, "mass_g": 3.0 + place, "density_g_per_ml": 1.1}
        for place, name in enumerate(NAMES[:count])
    ]
    found, _ = made(
        **{"portion.centres": centres, "portion.finished_weight_g": 250.0, "mould.kind": "block",
           "mould.side_draft_deg": draft}
    )  # fmt: skip
    assert [ball.name for ball in found.centres] == list(NAMES[:count])
    for place, ball in enumerate(found.centres):
        assert pi / 6.0 * ball.diameter_mm**3 / 1000.0 == pytest.approx((3.0 + place) / 1.1)
        assert ball.at_mm[2] == pytest.approx(found.pastry.height_mm / 2.0)
        # A ball's mesh has its corners on it.
        corners = np.linalg.norm(ball.mesh.vertices - ball.at_mm, axis=1)
        assert corners == pytest.approx(np.full(len(corners), ball.radius_mm))
    apart = [
        np.linalg.norm(np.subtract(a.at_mm, b.at_mm)) - a.radius_mm - b.radius_mm
        for a, b in combinations(found.centres, 2)
    ]
    assert min(apart, default=0.0) == pytest.approx(0.0, abs=1e-6)  # they touch
    # The room around them, by trimesh on the filling's mesh: distance to it less the radius.
    middles = np.array([ball.at_mm for ball in found.centres])
    depth = distances(middles, body(found.filling))
    least = (depth - [ball.radius_mm for ball in found.centres]).min()
    assert found.least_paste_mm == pytest.approx(least, abs=0.003)  # chords of the outline


def test_a_centre_that_reaches_into_the_crust_has_less_than_no_paste():
    big = Ball(name="chestnut", diameter_mm=22.0, at_mm=(0.0, 0.0, 10.0))
    found = Interior(pastry=plain(round_outline(50.0), 20.0), crust_mm=3.0, centres=(big,))
    assert found.least_paste_mm == pytest.approx(7.0 - 11.0)  # the filling ends 7 mm from it
    beside = Ball(name="date", diameter_mm=6.0, at_mm=(23.0, 0.0, 10.0))
    found = Interior(pastry=plain(round_outline(50.0), 20.0), crust_mm=3.0, centres=(beside,))
    # 25 mm less 3 of crust and 23: 1 mm outside the filling, less the radius of 3.
    assert found.least_paste_mm == pytest.approx(-4.0, abs=0.002)
    assert Interior(pastry=plain(round_outline(50.0), 20.0), crust_mm=3.0).least_paste_mm == np.inf


def test_three_balls_touch_the_circle_that_descartes_theorem_gives():
    """The outer Soddy circle: k = a + b + c - 2 sqrt(ab + bc + ca) of curvatures, negative."""
    sizes = [14.0, 15.0, 17.0]
    a, b, c = (2.0 / size for size in sizes)
    outer = -1.0 / (a + b + c - 2.0 * sqrt(a * b + b * c + c * a))
    assert ring_reach_mm(sizes) == pytest.approx(outer, rel=1e-9)
    for (x, y), size in zip(ring_mm(sizes), sizes, strict=True):
        assert hypot(x, y) + size / 2.0 == pytest.approx(outer, rel=1e-8)  # each touches it


@pytest.mark.parametrize("count", range(3, 13))
def test_equal_balls_form_a_regular_ring(count):
    """The published ring: n circles of the radius r around one of r (1 + 1 / sin(pi / n))."""
    places = np.array(ring_mm([6.0] * count))
    assert ring_reach_mm([6.0] * count) == pytest.approx(3.0 * (1.0 + 1.0 / sin(pi / count)))
    gaps = np.linalg.norm(places - np.roll(places, 1, axis=0), axis=1)
    assert gaps == pytest.approx(np.full(count, 6.0))


@given(st.lists(st.floats(2.0, 40.0), min_size=1, max_size=14))
@settings(max_examples=100)
def test_balls_of_any_sizes_never_overlap(sizes):
    places = ring_mm(sizes)
    for (p, one), (q, other) in combinations(zip(places, sizes, strict=True), 2):
        # Places are rounded to 1e-9 mm.
        assert hypot(p[0] - q[0], p[1] - q[1]) >= (one + other) / 2.0 - 1e-6
    assert ring_reach_mm(sizes) <= sum(sizes) + 1e-9  # never worse than twice a row of them
