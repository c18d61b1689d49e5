from functools import cache
from math import pi, radians, tan

import numpy as np
import pytest
import trimesh
from mould.judge import body, ceiling_boxes_mm, cross_section, shared_mm3, steepest_overhang_deg
from mould.standin import Pastry, drop, prism, square
from shapely import Point
from shapely import Polygon as Shape

from moulddesign.artwork.outline import polygon_outline, scalloped_outline
from moulddesign.artwork.outline import round_outline as circle
from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould.press import press

PIECES = {
    "30 g round": Pastry(circle(40.0), 18.0),
    "75 g round": Pastry(circle(60.0), 21.0),
    "125 g square": Pastry(square(65.0), 24.0),
    "250 g square": Pastry(square(85.0), 28.0),
    "sharp square": Pastry(square(50.0, 0.0), 20.0),
    "nearly sharp square": Pastry(square(50.0, 0.7), 20.0),
    "hexagon": Pastry(polygon_outline("hexagon", 60.0, 6.0), 21.0),
    "sharp octagon": Pastry(polygon_outline("octagon", 60.0, 0.0), 21.0),
    "scalloped": Pastry(scalloped_outline(60.0, 12, 2.0), 21.0),
    "narrow valleys": Pastry(scalloped_outline(60.0, 24, 1.5), 21.0),
    "drawn": Pastry(drop(65.0), 21.0),
    "flat and wide, no relief": Pastry(circle(90.0), 9.0, depth_above_mm=0.0),
}
JOINTS = ("peg", "bolt")
ALWAYS_BOLTED = {"75 g round", "125 g square", "drawn"}
CASES = [
    pytest.param(
        (piece, joint),
        id=f"{piece} {joint}",
        marks=[] if joint == "peg" or piece in ALWAYS_BOLTED else pytest.mark.slow,
    )
    for piece in PIECES
    for joint in JOINTS
]
"""Every piece on a peg, and a few on a bolt; the long run takes all on both."""
DRAWN = {"drawn", "narrow valleys"}
"""Pieces whose outline has no arcs, or none that are left a wall's thickness further out."""
EXACT = [case for case in CASES if case.values[0][0] not in DRAWN]
MOST_BRIDGE_MM = 10.0
"""Bridges up to 10 mm: common practice, no source."""


@cache
def made(piece, joint):
    design = Design().with_values({"mould.joint": joint})
    return press(design.mould, design.printer, PIECES[piece])


@pytest.fixture(params=CASES)
def case(request):
    return PIECES[request.param[0]], made(*request.param)


def test_each_part_is_one_closed_body(case):
    _, mould = case
    assert [part.name for part in mould.parts] == ["sleeve", "stamp", "plunger"]
    for part in mould.parts:
        body(part.mesh)
        body(part.printed)


@pytest.mark.parametrize("exact", EXACT)
def test_facets_hold_the_volume_of_the_exact_bodies(exact):
    parts = [part for part in made(*exact).parts if part.solid is not None]
    assert {"sleeve", "plunger"} <= {part.name for part in parts}
    for part in parts:
        # Facets lie within 0.005 mm of the surface: the volume differs by at most that shell.
        assert body(part.mesh).volume == pytest.approx(
            part.solid.volume_mm3, abs=0.005 * part.solid.area_mm2
        )
        assert body(part.mesh).volume == pytest.approx(part.solid.volume_mm3, rel=1e-3)


@pytest.mark.parametrize("exact", EXACT)
def test_stamp_is_its_blank_less_the_engraving(exact):
    pastry, stamp = PIECES[exact[0]], made(*exact).part("stamp")
    engraving = pastry.bar().volume_mm3 if pastry.depth_above_mm else 0.0
    # Facets of stamp and pocket within 0.005 mm of the blank's surfaces, as above.
    assert body(stamp.mesh).volume + engraving == pytest.approx(
        stamp.blank.volume_mm3, abs=0.005 * stamp.blank.area_mm2
    )


def test_printed_parts_stand_on_the_bed_about_its_middle(case):
    _, mould = case
    for part in mould.parts:
        low, high = body(part.printed).bounds
        assert low[2] == 0.0
        assert (low + high)[:2] / 2.0 == pytest.approx((110.0, 110.0), abs=1e-4)  # float32 steps
        # Some area lies flat on the bed: a part on an edge or a point would have none.
        seen = body(part.printed)
        on_bed = seen.triangles[:, :, 2].max(axis=1) < 1e-6
        assert seen.area_faces[on_bed].sum() > 0.1 * np.prod((high - low)[:2])


def test_no_slope_overhangs_more_than_45_deg(case):
    _, mould = case
    for part in mould.parts:
        assert steepest_overhang_deg(part.mesh.turned_over()) <= 45.0


def test_level_ceilings_are_short_bridges(case):
    _, mould = case
    limit = mould.layout.mould.bridge_mm
    assert ceiling_boxes_mm(mould.part("sleeve").printed) == []
    stamp = ceiling_boxes_mm(mould.part("stamp").printed)
    assert [min(size) <= limit + 1e-4 for size in stamp] == [True]
    plunger = ceiling_boxes_mm(mould.part("plunger").printed)
    if mould.layout.mould.joint == "peg":
        assert plunger == []
    assert all(max(size) <= MOST_BRIDGE_MM for size in plunger)


def test_the_bore_is_the_outline_and_sharp_at_the_table(case):
    pastry, mould = case
    (wall,) = cross_section(mould.part("sleeve").mesh, 1e-4)
    bore, outline = Shape(wall.interiors[0]), Shape(pastry.outline.points)
    # Both polygons stand in for the same curve, chords within 0.005 mm.
    assert bore.hausdorff_distance(outline) <= 0.005
    lip = Point(0, 0).distance(wall.exterior) - Point(0, 0).distance(wall.interiors[0])
    assert lip > 0.5 * mould.layout.mould.wall_mm


def test_gap_between_bore_and_guides_is_the_clearance(case):
    _, mould = case
    layout = mould.layout
    (wall,) = cross_section(mould.part("sleeve").mesh, layout.height_mm)
    bore = Shape(wall.interiors[0])
    for name, height in (
        ("stamp", layout.height_mm + 3.0),
        ("plunger", (layout.back_mm + layout.vane_top_mm) / 2.0),
    ):
        (guide,) = cross_section(mould.part(name).mesh, height)
        assert bore.contains(guide)
        # Chords of bore and guide lie within 0.005 mm of their curves.
        assert bore.exterior.distance(guide) == pytest.approx(0.3, abs=0.005 + 1e-6)


def test_nothing_collides_from_the_heavy_press_to_the_eject(case):
    _, mould = case
    layout = mould.layout
    sleeve = mould.part("sleeve").mesh
    for down in np.linspace(-layout.band_mm, layout.stroke_mm, 6):
        for name in ("stamp", "plunger"):
            moved = mould.part(name).mesh.moved((0.0, 0.0, -down))
            # At the eject disc and sleeve touch: a face of 100 cm^2 times a double's round-off.
            assert shared_mm3(sleeve, moved) < 1e-6
    on = mould.part("plunger").mesh.moved((0.0, 0.0, -layout.stroke_mm - 0.1))
    assert shared_mm3(sleeve, on) > 1.0


def test_stamp_meets_the_pastry_and_leaves_the_bore_past_the_rim(case):
    pastry, mould = case
    stamp = mould.part("stamp").mesh
    core = prism(pastry.outline.points, 0.0, pastry.height_mm)
    assert shared_mm3(core, stamp) < 1e-6
    assert stamp.bounds[0, 2] == pytest.approx(pastry.height_mm, abs=1e-5)  # float32 of the pastry
    assert stamp.bounds[0, 2] - mould.layout.stroke_mm == pytest.approx(-1.0, abs=1e-5)


@pytest.mark.parametrize(
    "piece",
    [pytest.param(p, marks=[] if p in ALWAYS_BOLTED else pytest.mark.slow) for p in PIECES],
)
def test_a_bolted_plunger_shares_nothing_with_the_stamp(piece):
    mould = made(piece, "bolt")
    assert shared_mm3(mould.part("stamp").mesh, mould.part("plunger").mesh) < 1e-6


@pytest.mark.parametrize("piece", PIECES)
def test_a_plunger_meets_the_stamp_only_in_the_peg(piece):
    mould = made(piece, "peg")
    layout, peg = mould.layout, mould.layout.joint
    stamp, plunger = mould.part("stamp").mesh, mould.part("plunger").mesh
    both = shared_mm3(stamp, plunger)
    # The overlap is a sleeve half the interference thick over the flank, less the eased ends.
    mean = (peg.diameter_mm / 2.0 + peg.tip_radius_mm) / 2.0
    whole = 2.0 * pi * mean * peg.length_mm * peg.interference_mm / 2.0
    assert 0.7 * whole < both < whole
    for below in (2.0, 4.0):
        (hole,) = cross_section(stamp, layout.back_mm - below)
        (solid,) = cross_section(plunger, layout.back_mm - below)
        pocket, pin = Shape(hole.interiors[0]).bounds, solid.bounds
        assert (pin[2] - pin[0]) - (pocket[2] - pocket[0]) == pytest.approx(0.05, abs=0.01)


def test_skin_between_engraving_and_pocket_is_solid(case):
    pastry, mould = case
    layout = mould.layout
    low = pastry.height_mm + pastry.depth_above_mm
    # The middle of the skin has no hole at all.
    (skin,) = cross_section(mould.part("stamp").mesh, low + layout.mould.skin_mm / 2.0)
    assert not skin.interiors
    (hollow,) = cross_section(mould.part("stamp").mesh, low + layout.mould.skin_mm + 0.05)
    assert hollow.interiors


def test_rings_stand_where_the_sleeve_ends_at_light_nominal_and_heavy(case):
    _, mould = case
    layout = mould.layout
    bottom = layout.stem_radius_mm - layout.groove_mm
    vertices = mould.part("plunger").mesh.vertices
    radius = np.hypot(*vertices[:, :2].T)
    at_bottom = (np.abs(radius - bottom) < 1e-6) & (vertices[:, 2] > layout.back_mm)
    found = np.unique(np.round(vertices[at_bottom, 2], 6))
    plunger_moves = np.array(layout.pressed_heights_mm) - layout.height_mm
    expected = layout.sleeve_height_mm - plunger_moves
    assert found == pytest.approx(np.sort(expected), abs=1e-5)
    # Between the vanes the stem is bare: at 45 deg nothing lies outside it.
    (slice_,) = cross_section(mould.part("plunger").mesh, layout.sleeve_height_mm)
    ray = Shape([(0, 0), (99, 98), (98, 99)])
    assert slice_.intersection(ray).hausdorff_distance(Point(0, 0)) == pytest.approx(
        bottom, abs=0.01
    )


def test_sleeve_of_a_round_is_the_sum_of_its_rings():
    layout = made("75 g round", "peg").layout
    top, under = layout.sleeve_height_mm, layout.sleeve_height_mm - 4.0

    def cone(a, b, height):
        return pi * height * (a * a + a * b + b * b) / 3.0

    lead_in, rim_edge = 1.0 / tan(radians(44.0)), 0.6 / tan(radians(44.0))
    wall, rim = 30.0 + 2.8, 30.0 + 2.8 + 8.0
    outside = cone(wall - 0.6, wall, 0.6) + cone(wall, wall, under - 2.0 - 0.6)
    outside += cone(wall, wall + 2.0, 2.0)
    outside += cone(rim - 0.6, rim, 0.6) + cone(rim, rim, 4.0 - 0.6 - rim_edge)
    outside += cone(rim - 0.6, rim, rim_edge)
    bore = cone(30.0, 30.0, top - lead_in) + cone(30.0, 31.0, lead_in)
    # Exact surfaces: round-off of the kernel's booleans, 1e-7 mm over 4e4 mm^2.
    assert made("75 g round", "peg").part("sleeve").solid.volume_mm3 == pytest.approx(
        outside - bore, abs=1e-2
    )


def test_edge_of_the_stamp_on_the_bed_is_cut_back():
    (first_layer,) = cross_section(made("75 g round", "peg").part("stamp").printed, 0.01)
    # 0.6 mm at the bed; 0.01 mm above it, 44 deg take back less than 0.01 mm of that.
    assert Shape(first_layer.exterior).area < pi * (29.7 - 0.59) ** 2


def test_same_design_same_parts():
    again = press(Design().mould, Design().printer, PIECES["75 g round"])
    for part, other in zip(made("75 g round", "peg").parts, again.parts, strict=True):
        assert np.array_equal(part.printed.vertices, other.printed.vertices)
        assert np.array_equal(part.printed.triangles, other.printed.triangles)


def test_relief_is_turned_not_mirrored():
    # The bar reaches further towards +x; turned over about x it still does.
    stamp = made("75 g round", "peg").part("stamp").printed
    top = stamp.bounds[1, 2]
    (face,) = cross_section(stamp, top - 0.5)
    assert face.interiors
    low, _, high, _ = face.interiors[0].bounds
    assert (low - 110.0, high - 110.0) == pytest.approx((-9.0, 18.0), abs=1e-4)


def test_part_that_outgrows_the_bed_is_refused():
    design = Design().with_values({"printer.bed_mm": [100.0, 100.0, 60.0]})
    with pytest.raises(SpecError, match=r"printer\.bed_mm.*smaller than the sleeve along z"):
        press(design.mould, design.printer, PIECES["75 g round"])


@pytest.mark.parametrize("values", [
    {"mould.flange_width_mm": 0.0},
    {"mould.wall_mm": 0.9, "mould.lead_in_mm": 0.2},
    {"mould.clearance_mm": 2.0, "mould.guide_to_width": 0.7},
    {"mould.bridge_mm": 10.0, "mould.peg_diameter_mm": 8.0},
    {"mould.past_rim_mm": 0.0, "mould.height_band": 0.5},
    {"mould.peg_interference_mm": 0.0},
    {"mould.joint": "bolt", "mould.bolt": "M6"},
])  # fmt: skip
@pytest.mark.parametrize(
    "piece", ["75 g round", pytest.param("250 g square", marks=pytest.mark.slow)]
)
def test_odd_but_valid_moulds_come_out_closed_and_printable(piece, values):
    design = Design().with_values(values)
    mould = press(design.mould, design.printer, PIECES[piece])
    for part in mould.parts:
        body(part.printed)
        assert steepest_overhang_deg(part.mesh.turned_over()) <= 45.0


def test_exact_bodies_are_there_for_every_outline_of_arcs():
    exact = {piece for piece in PIECES if made(piece, "peg").part("sleeve").solid is not None}
    assert exact == set(PIECES) - {"drawn", "narrow valleys"}


def test_cavity_under_the_stamp_is_the_pastry():
    pastry, mould = PIECES["75 g round"], made("75 g round", "peg")
    middle = pastry.height_mm / 2.0
    # A rod whose surface lies inside the sleeve's wall, as high as the pressed pastry.
    rod = trimesh.creation.cylinder(radius=31.5, height=pastry.height_mm, sections=512)
    rod.apply_translation((0.0, 0.0, middle))
    parts = [body(mould.part(name).mesh) for name in ("sleeve", "stamp")]
    cavity = trimesh.boolean.difference([rod, *parts], engine="manifold")
    target = pi * 30.0**2 * pastry.height_mm
    # An inscribed bore with a sagitta of 0.005 mm is smaller by 4/3 of 0.005 / 30.
    assert target * (1.0 - 4.0 / 3.0 * 0.005 / 30.0) < cavity.volume < target


@pytest.mark.parametrize("piece", ["75 g round", "125 g square", "drawn"])
def test_edges_of_the_vanes_are_eased(piece):
    mould = made(piece, "peg")
    layout, mesh = mould.layout, mould.part("plunger").mesh
    far, half = (
        PIECES[piece].outline.points[:, 0].max() - 0.3,
        1.5,
    )  # clearance, half a vane of 3 mm

    def vane(height):
        (slice_,) = cross_section(mesh, height)
        tip = slice_.intersection(Shape([(far - 4, -9), (far + 9, -9), (far + 9, 9), (far - 4, 9)]))
        return np.array(tip.exterior.coords)

    tip = vane((layout.back_mm + layout.vane_top_mm) / 2.0)
    assert tip[:, 0].max() == pytest.approx(far, abs=0.005)  # facets within 0.005 mm
    on_faces = tip[np.abs(tip[:, 1]) > half - 1e-4]
    on_bore = tip[tip[:, 0] > far - 0.06]  # 3 mm wide on a radius of 30 mm: the arc is 0.04 deep
    # 0.6 mm along the faces, from where bore and face would meet: up to 0.04 mm further in.
    assert 0.59 < far - on_faces[:, 0].max() < 0.65
    assert 0.4 < half - np.abs(on_bore[:, 1]).max() < 0.6
    # Each edge below is cut back as well: a step above the back, the section is narrower.
    for step in (0.1, 0.3, 0.5):
        low = vane(layout.back_mm + step)
        assert np.abs(low[:, 1]).max() == pytest.approx(half - (0.6 - step), abs=0.005)
        assert low[:, 0].max() == pytest.approx(far - (0.6 - step), abs=0.005)
