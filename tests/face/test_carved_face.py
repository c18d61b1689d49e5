"""Faces against closed forms, and no step of any of them steeper than the draft."""

import pickle
from math import pi

import numpy as np
import pytest
import shapely
import trimesh
from relief.surfaces import heights_at

from moulddesign.artwork.outline import outline_of_width, round_outline
from moulddesign.core import SpecError
from moulddesign.design import PastryTable
from moulddesign.design.face_tables import FaceTable, Figure, Fill, Tip, face_names
from moulddesign.face.carved_face import carved_face
from moulddesign.face.silhouettes import GAP_RATIO, StarEdge
from moulddesign.face.surface import steepest
from moulddesign.geometry import Mesh
from moulddesign.relief.carved_surface import carved_surface

DRAFT_DEG = 15.0
STEP_MM = 0.01


def outline(name, width_mm=54.0):
    return outline_of_width(PastryTable(outline=name), width_mm)


def face(values, name="round", width_mm=54.0):
    table = FaceTable.of(values)
    return carved_face(table, outline(name, width_mm), draft_deg=DRAFT_DEG)


def points_within(shape, count):
    """Return points of a lattice that fill a shape evenly: the plastic number's, R2 sequence."""
    left, low, right, high = shape.bounds
    plastic = 1.32471795724474602596
    steps = np.arange(1, count + 1)[:, None] / np.array([plastic, plastic**2])
    found = np.array([left, low]) + np.mod(steps, 1.0) * np.array([right - left, high - low])
    return found[shapely.contains_xy(shape.buffer(-2.0 * STEP_MM), found[:, 0], found[:, 1])]


def steepest_step(made, shape, count=15_000):
    """Return the largest rise over a short step, in two directions, and where it is."""
    points = points_within(shape, count)
    here = made.field(points).height
    slopes = [
        np.abs(made.field(points + way).height - here) / STEP_MM
        for way in np.array([[STEP_MM, 0.0], [0.0, STEP_MM], [0.6 * STEP_MM, 0.8 * STEP_MM]])
    ]
    steep = np.max(slopes, axis=0)
    return float(steep.max()), points[int(steep.argmax())]


def test_a_domed_ground_is_a_cap_of_a_sphere():
    made = face({"ground": {"form": "domed", "rise_mm": 3.0}})
    points = points_within(outline("round").shape, 500)
    heights = made.field(points).height
    # Spherical cap (Weisstein, MathWorld): R = (a^2 + h^2) / (2 h), its middle R - h below.
    ball = (27.0**2 + 3.0**2) / 6.0
    reach = np.hypot(np.hypot(*points.T), heights + ball - 3.0)
    assert reach == pytest.approx(np.full(len(points), ball), abs=1e-9)


def test_a_round_band_is_half_an_ellipse_where_its_wall_is_not_lower():
    band = {"section": "round", "width_mm": 3.0, "height_mm": 1.0}
    made = face({"land_mm": 2.0, "bands": [band]})
    across = np.linspace(-1.3, 1.3, 41)
    heights = made.field(np.column_stack([27.0 - 3.5 - across, np.zeros(41)])).height
    assert (across / 1.5) ** 2 + heights**2 == pytest.approx(np.ones(41), abs=1e-6)


def test_a_step_raises_all_inside_of_it_by_its_height():
    made = face({"land_mm": 2.0, "bands": [{"section": "step", "height_mm": 0.8}]})
    heights = made.field(np.array([[0.0, 0.0], [20.0, 0.0], [26.0, 0.0]])).height
    assert heights == pytest.approx([0.8, 0.8, 0.0])


@pytest.mark.parametrize(
    ("name", "corners"), [("round", 1), ("square", 4), ("hexagon", 6), ("scalloped", 12)]
)
def test_repeats_are_whole_and_mirrored_between_corners(name, corners):
    band = {"width_mm": 2.0, "height_mm": 0.9, "fill": "beads", "pitch_mm": 2.4}
    shape = outline(name)
    made = face({"land_mm": 1.0, "bands": [band]}, name)
    line = shape.inset(2.0).shape.exterior
    # One bead has its top at one height only: heights along the middle line repeat.
    along = np.linspace(0.0, line.length, 4001)[:-1]
    points = np.array([line.interpolate(place).coords[0] for place in along])
    pieces = np.unique(made.field(points).piece // 16)
    beads = len(pieces[pieces > pieces.min()])
    per_side = line.length / corners / 2.4
    whole = round(per_side) if corners == 1 else 2 * round(per_side / 2)
    assert beads == corners * whole


GROUNDS = [{"form": form} for form in ("flat", "domed", "dished", "stepped")]
KINDS = [
    *[{"ground": ground, "crowns": [{"veins": 3}]} for ground in GROUNDS],
    *[
        {"bands": [{"fill": fill.value, "width_mm": 3.2, "height_mm": 1.2}]}
        for fill in Fill
        if fill is not Fill.TEXT
    ],
    {"bands": [{"fill": "rope", "width_mm": 3.2, "height_mm": 1.2, "corners": "leaf"}]},
    *[{"crowns": [{"tip": tip.value, "tuck": 0.2, "width_ratio": 1.2}]} for tip in Tip],
    {"crowns": [{"cup": -0.6, "meets": "into"}]},
    *[{"bands": [{"section": s, "width_mm": 2.5}]} for s in ("round", "hollow", "ogee", "fillet")],
    *[
        {"parts": [{"figure": figure.value, "at_ratio": 0.3, "copies": 5, "bend": 0.1}]}
        for figure in Figure
    ],
    {"medallion": {"beads": 30, "dome_mm": 1.0}, "ground": {"form": "domed"}},
    {"medallion": {"ground": "raised", "lobes": 8}},
    {"edge": "run-over", "shoulder_mm": 3.0, "crowns": [{"tip": "open", "to_ratio": 1.2}]},
]


def kind(values):
    return "-".join(str(value) for value in values.values())[:60]


@pytest.mark.parametrize("name", ["square", "scalloped"])
@pytest.mark.parametrize("values", KINDS, ids=kind)
def test_no_kind_of_piece_is_steeper_than_the_draft(values, name):
    steep, where = steepest_step(face(values, name), outline(name).shape)
    assert steep <= steepest(DRAFT_DEG), where


@pytest.mark.parametrize("values", KINDS, ids=kind)
def test_another_process_is_sent_the_same_field(values):
    made, points = face(values, "square").field, points_within(outline("square").shape, 2_000)
    here, there = made(points), pickle.loads(pickle.dumps(made))(points)
    assert np.array_equal(here.height, there.height)
    assert np.array_equal(here.piece, there.piece)


@pytest.mark.parametrize("bundled", face_names())
@pytest.mark.parametrize("name", ["square", "scalloped"])
def test_no_bundled_face_is_steeper_than_the_draft(bundled, name):
    steep, where = steepest_step(face({"name": bundled}, name), outline(name).shape, 6_000)
    assert steep <= steepest(DRAFT_DEG), where


FINE = [
    *[
        {"bands": [{"fill": fill, "width_mm": 2.2, "height_mm": 1.4}]}
        for fill in ("rope", "leaves", "flutes")
    ],
    {"bands": [{"fill": "leaves", "width_mm": 2.2, "height_mm": 1.4, "corners": "leaf"}]},
    *[
        {"parts": [{"figure": figure, "copies": 4, "height_mm": 2.5, "veins": 5}]}
        for figure in ("leaf", "burr")
    ],
    {
        "edge": "run-over",
        "shoulder_mm": 2.5,
        "bands": [{"fill": "rope", "width_mm": 3.2, "height_mm": 1.2}],
        "parts": [{"figure": "leaf", "at_ratio": 0.1, "length_ratio": 0.85, "veins": 5}],
    },
    *[{"name": bundled} for bundled in ("chestnut", "leaf", "wreath")],
]
"""Grooves, veins, strands and spikes that would be steeper than a flat wall."""


@pytest.mark.parametrize("draft_deg", [28.0, 38.0])
@pytest.mark.parametrize("values", FINE, ids=kind)
def test_what_is_fine_is_no_steeper_than_the_flattest_wall(values, draft_deg):
    if "edge" in values and draft_deg > 32.0:
        draft_deg = 32.0  # a shoulder leaves no slope to more
    shape = outline("square", 42.0)
    made = carved_face(FaceTable.of(values), shape, draft_deg=draft_deg)
    steep, where = steepest_step(made, shape.shape, 6_000)
    assert steep <= steepest(draft_deg), where


def test_a_leaf_keeps_its_grooves_at_usual_drafts():
    part = {"figure": "leaf", "at_ratio": 0.1, "length_ratio": 0.8, "width_ratio": 0.5}
    part |= {"towards_deg": 0.0, "height_mm": 2.8, "veins": 0}
    table, shape = FaceTable.of({"parts": [part]}), outline("round", 40.0)
    along = np.array([[9.0, 0.0], [9.0, 0.9]])
    deep = [
        np.subtract(*carved_face(table, shape, draft_deg=draft).field(along).height[::-1])
        for draft in (10.0, 15.0, 20.0)
    ]
    # The groove is 1.2 * 0.22 of the height; the blade falls towards its edge by some of it.
    assert deep[0] == deep[1] == deep[2] == pytest.approx(0.264 * 2.8, abs=0.2)


def test_a_face_at_a_steep_draft_is_meshed_as_one_at_a_usual_draft():
    part = {"figure": "leaf", "at_ratio": 0.1, "length_ratio": 0.8, "height_mm": 2.2, "veins": 5}
    table, shape = FaceTable.of({"parts": [part]}), outline("round", 24.0)
    count = []
    for draft_deg in (15.0, 38.0):
        made = carved_face(table, shape, draft_deg=draft_deg)
        surface = carved_surface(
            shape.shape, made.field, made.regions, inset_mm=0.0, draft_deg=draft_deg
        )
        body = trimesh.Trimesh(surface.vertices, surface.triangles, process=False)
        slopes = np.degrees(np.arctan2(body.face_normals[:, 2], np.hypot(*body.face_normals.T[:2])))
        places = points_within(shape.shape, 3_000)
        off = (
            heights_at(Mesh(surface.vertices, surface.triangles), places)
            - made.field(places).height
        )
        count.append(len(surface.triangles))
        assert np.abs(off).max() <= 0.03
        assert body.area_faces[slopes < draft_deg - 1e-6].sum() <= 1e-5 * body.area
    # A field that is steeper somewhere is divided there down to slivers: 3 times as many.
    assert count[1] <= 1.5 * count[0]


def test_a_round_piece_measures_its_edge_by_its_radius():
    made = carved_face(FaceTable(), round_outline(50.0), draft_deg=DRAFT_DEG, shoulder_radius_mm=2)
    rim = made.field(np.array([[25.0, 0.0], [0.0, 20.0]])).height
    # An arc from 45 deg to level falls by r (1 - 1 / sqrt 2).
    assert rim == pytest.approx([-2.0 * (1.0 - np.sqrt(0.5)), 0.0])


def off_ground(made, ground, shape):
    """Return how far a face lies off its bare ground, on a lattice over the piece [mm]."""
    points = points_within(shape, 8_000)
    height = made.field(points).height
    for region in made.regions:
        inside = shapely.contains_xy(region.shape.buffer(-0.2), points[:, 0], points[:, 1])
        height[inside] += np.sign(region.depth_mm) * min(abs(region.depth_mm), 0.5)
    return height - ground.field(points).height


RIM_MM = 0.6
"""Outline to the rim of the stamp of an unmeasured printer."""


def test_a_band_leaves_the_stamps_rim_the_tip_that_its_rib_needs():
    # Two lines of 0.42 mm beside the stamp's rim, which lies 0.6 mm inside the outline.
    table = FaceTable.of({"bands": [{"height_mm": 1.2}]})
    made = carved_face(table, round_outline(50.0), draft_deg=DRAFT_DEG, rim_mm=RIM_MM)
    away = RIM_MM + np.array([2.0 * 0.42, 1.0])
    found = made.field(np.column_stack([25.0 - away, np.zeros(2)])).height
    assert found[0] == 0.0 < found[1]


def is_carved_all_over(bundled, name, weight_g):
    # A cake of 1.2 g/mL, half as high as wide: its width from its weight.
    width_mm = 10.0 * (4.0 * weight_g / 1.2 / (np.pi * 0.5)) ** (1.0 / 3.0)
    shape = outline(name, width_mm)
    table = FaceTable.of({"name": bundled}).whole()
    bare = {"bands": (), "crowns": (), "parts": (), "medallion": None, "name": None}
    made, ground = (
        carved_face(each, shape, draft_deg=DRAFT_DEG, rim_mm=RIM_MM)
        for each in (table, table.model_copy(update=bare))
    )
    # What the stamp presses.
    off = off_ground(made, ground, shape.shape.buffer(-RIM_MM))
    shares = np.histogram(off, np.arange(-3.0, 8.0, 0.4))[0] / len(off)
    return np.mean(np.abs(off) >= 0.2) >= 0.7, np.count_nonzero(shares >= 0.05) >= 3


NAMES = ("round", "square", "scalloped", "hexagon")
QUICK = [
    (bundled, NAMES[place % 4], (30, 75, 250)[place % 3])
    for place, bundled in enumerate(face_names())
]


@pytest.mark.parametrize(("bundled", "name", "weight_g"), QUICK)
def test_a_bundled_face_is_carved_all_over_and_in_three_levels(bundled, name, weight_g):
    # 70 % of the face off the ground by 0.2 mm, three levels of 0.4 mm with 5 % each: our choice.
    assert is_carved_all_over(bundled, name, weight_g) == (True, True)


def test_keys_beside_a_name_change_the_bundled_face():
    table = FaceTable.of({"name": "sun", "medallion": {"ring_height_mm": 1.0}}).whole()
    usual = FaceTable.of({"name": "sun"}).whole()
    assert table.medallion.ring_height_mm == 1.0
    assert table.medallion.radius_ratio == usual.medallion.radius_ratio
    assert table.crowns == usual.crowns


@pytest.mark.parametrize("points", [4, 5, 16])
def test_inside_a_star_the_nearest_side_is_as_far_as_its_polygon_says(points):
    """Held against shapely; where a gap is nearest, a side's line is nearer still."""
    turn = np.arange(2 * points) * pi / points
    far = 5.0 * np.where(np.arange(2 * points) % 2, GAP_RATIO, 1.0)
    corners = np.column_stack([5.0 + far * np.cos(turn), far * np.sin(turn)])
    x, y = np.random.default_rng(4).uniform((0.0, -5.0), (10.0, 5.0), (2000, 2)).T
    star, edge = shapely.Polygon(corners), StarEdge(10.0, points)
    inside = shapely.contains_xy(star, x, y)
    made = edge(0, x[inside], y[inside])
    true = shapely.distance(star.exterior, shapely.points(x, y))[inside]
    gaps = shapely.distance(shapely.multipoints(corners[1::2]), shapely.points(x, y))[inside]

    assert (edge(0, x[~inside], y[~inside]) <= 0.0).all()
    assert (made <= true + 1e-12).all()
    assert np.allclose(made[true < gaps - 1e-9], true[true < gaps - 1e-9])
    assert sorted(set(edge.sectors(x, y))) == list(range(2 * points))


def steepest_along_rays(made, shape, draft_deg):
    """Return the largest rise along rays from the middle, over that of the draft."""
    away = np.arange(0.01, 100.0, 0.002)
    steep = []
    for turn in (0.3, 1.7, 4.4):
        points = away[:, None] * np.array([np.cos(turn), np.sin(turn)])
        heights = made.field(points[shapely.contains_xy(shape, *points.T)]).height
        steep.append(np.abs(np.diff(heights)).max() / 0.002 / steepest(draft_deg))
    return max(steep)


@pytest.mark.parametrize("bundled", ["knot", "lantern", "seal"])
@pytest.mark.parametrize("draft_deg", [22.0, 30.0])
def test_flat_walls_reach_down_to_what_lies_under_them(bundled, draft_deg):
    shape = outline("round", 90.0)
    made = carved_face(FaceTable(name=bundled), shape, draft_deg=draft_deg)
    # Where a wall is cut off above its foot the field jumps: over 2 um, by tens of times the slope.
    assert steepest_along_rays(made, shape.shape, draft_deg) <= 1.05


def test_a_draft_that_leaves_walls_no_slope_is_refused_with_the_most_that_does():
    values = {"edge": "run-over", "shoulder_mm": 3.0, "crowns": [{}]}
    table, shape = FaceTable.of(values), outline("round")
    with pytest.raises(SpecError, match=r"relief\.draft_deg = 45.*at most 32 deg"):
        carved_face(table, shape, draft_deg=45.0)
    # cot 32 = 1.600: 0.9 of it is 1.44, and 1 is the shoulder's.
    assert carved_face(table, shape, draft_deg=32.0) is not None
