from functools import cache
from math import pi

import numpy as np
import pytest
import trimesh
from mould.judge import (
    body,
    bounds_mm,
    ceiling_boxes_mm,
    cross_section,
    off_surface_mm,
    shared_mm3,
    steepest_overhang_deg,
)
from mould.standin import Pastry, drop, prism, square
from shapely import Point
from shapely import Polygon as Shape

from moulddesign.artwork.outline import (
    fluted_outline,
    outline_of_points,
    polygon_outline,
    scalloped_outline,
)
from moulddesign.artwork.outline import round_outline as circle
from moulddesign.core import SpecError
from moulddesign.design import Design, SideForm
from moulddesign.geometry import spread_points
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
DRAWN = {"drawn", "narrow valleys"}
"""Pieces whose outline has no arcs, or none that are left a wall's thickness further out."""
EXACT = [piece for piece in PIECES if piece not in DRAWN]
SLOT_MM2 = 11.6 * 28.0
"""More than the plan of the slot in any of these stamps [mm2]."""
UPRIGHT = {"stop", "shim-0.4", "shim-0.8", "shim-1.6"}
"""Parts that are printed as they stand."""
NAMES = ["sleeve", "stamp", "plunger", "stop", "shim-0.4", "shim-0.8", "shim-1.6"]


@cache
def made(piece):
    return press(Design().mould, Design().printer, PIECES[piece])


@pytest.fixture(params=PIECES)
def case(request):
    return PIECES[request.param], made(request.param)


def test_each_part_is_one_closed_body(case):
    _, mould = case
    assert [part.name for part in mould.parts] == NAMES
    for part in mould.parts:
        body(part.mesh)
        body(part.printed)


@pytest.mark.parametrize(
    "exact",
    [pytest.param(one, marks=pytest.mark.slow if " g " in one and one != "75 g round" else ())
     for one in EXACT],
)  # fmt: skip
def test_facets_hold_the_volume_of_the_exact_bodies(exact):
    parts = [part for part in made(exact).parts if part.solid is not None]
    assert {"sleeve", "plunger", "stop"} <= {part.name for part in parts}
    for part in parts:
        solid, mesh = part.solid(), body(part.mesh)
        # Facets lie within 0.005 mm of the surface: the volume differs by at most that shell.
        assert mesh.volume == pytest.approx(solid.volume_mm3, abs=0.005 * solid.area_mm2)
        assert mesh.volume == pytest.approx(solid.volume_mm3, rel=1e-3)


@pytest.mark.parametrize("exact", ["75 g round", "125 g square"])
@pytest.mark.parametrize("name", ["sleeve", "plunger", "stop"])
def test_facets_lie_on_the_exact_surfaces(exact, name):
    part = made(exact).part(name)
    points, _ = spread_points(part.mesh, 60)
    assert off_surface_mm(points, part.solid()).max() <= 0.005  # as far as a facet may lie off
    # Where a cut crosses the surface at an angle, its end moves by more than the facet lies off.
    assert part.mesh.bounds == pytest.approx(bounds_mm(part.solid()), abs=0.01)


@pytest.mark.parametrize("exact", EXACT)
def test_stamp_is_its_blank_less_the_engraving(exact):
    pastry, stamp = PIECES[exact], made(exact).part("stamp")
    engraving = pastry.bar().volume_mm3 if pastry.depth_above_mm else 0.0
    blank = stamp.blank()
    # Facets of stamp and pocket within 0.005 mm of the blank's surfaces, as above.
    assert body(stamp.mesh).volume + engraving == pytest.approx(
        blank.volume_mm3, abs=0.005 * blank.area_mm2
    )


@pytest.mark.parametrize(
    ("radii_mm", "apart_mm"), [((20.0, 20.0), 20.0), ((20.0, 20.0), 30.0), ((26.5, 18.5), 38.0)]
)
def test_a_press_for_an_outline_with_a_waist_moves_in_its_bore(radii_mm, apart_mm):
    # Two discs, one above the other. Between them the outline is narrowest, and there the plunger's
    # key is, and the tabs of stop and shims. Where one is smaller, vanes and mouth reach less far.
    low, high = radii_mm
    middles = Point(0.0, -apart_mm / 2.0), Point(0.0, apart_mm / 2.0)
    discs = middles[0].buffer(low, 64).union(middles[1].buffer(high, 64))
    points = np.array(discs.buffer(6.0, 64).buffer(-6.0, 64).exterior.coords)[:-1]
    mould = press(
        Design().mould, Design().printer, Pastry(outline_of_points("drawn", points), 21.0)
    )
    layout = mould.layout
    for part in mould.parts:
        body(part.mesh)
    bore = Shape(points).buffer(-layout.clearance_mm + 0.01)  # facets of offset curves
    for height_mm in np.linspace(layout.back_mm - 2.0, layout.vane_top_mm, 12):
        assert all(map(bore.contains, cross_section(mould.part("plunger").mesh, height_mm)))
    # The arms beside the mouth end in no knife's edge: drawn back by 0.4 mm and out again, a wedge
    # of 45 deg loses 0.2 mm2, one of 10 deg 1.6.
    middle_mm = layout.sleeve_height_mm + layout.stop_height_mm - 2.0
    (ring,) = cross_section(mould.part("stop").mesh, middle_mm)
    assert ring.area - ring.buffer(-0.4).buffer(0.4).area < 1.0


def test_printed_parts_stand_on_the_bed_about_its_middle(case):
    _, mould = case
    for part in mould.parts:
        low, high = body(part.printed).bounds
        assert low[2] == 0.0
        assert (low + high)[:2] / 2.0 == pytest.approx((110.0, 110.0), abs=1e-4)  # float32 steps
        # Some area lies flat on the bed: a part on an edge or a point would have none.
        seen = body(part.printed)
        on_bed = seen.triangles[:, :, 2].max(axis=1) < 1e-6
        least = 0.03 if part.name in UPRIGHT else 0.1  # stop and shims are rings
        assert seen.area_faces[on_bed].sum() > least * np.prod((high - low)[:2])


def test_no_slope_overhangs_more_than_45_deg(case):
    _, mould = case
    for part in mould.parts:
        turned = part.mesh if part.name in UPRIGHT else part.mesh.turned_over()
        assert steepest_overhang_deg(turned) <= 45.0


@pytest.mark.parametrize("corner_mm", [0.0, 0.5, 6.0])
@pytest.mark.parametrize("side", SideForm)
def test_the_lead_in_of_a_fluted_square_leans_no_more_at_its_corners(corner_mm, side):
    plain = square(50.0, corner_mm)
    outline = plain if side is SideForm.PLAIN else fluted_outline(plain, side, 24, 0.7)
    sleeve = press(Design().mould, Design().printer, Pastry(outline, 20.0)).part("sleeve")
    assert steepest_overhang_deg(sleeve.mesh.turned_over()) <= 45.0


def test_no_level_ceiling_is_wider_than_the_ridge_of_the_slot(case):
    _, mould = case
    for part in mould.parts:
        found = ceiling_boxes_mm(part.printed)
        limit = 2.0 * mould.layout.joint.ridge_mm if part.name == "stamp" else 0.0
        assert all(min(size) <= limit + 1e-4 for size in found), part.name


def test_the_bore_is_the_outline_and_sharp_at_the_table(case):
    pastry, mould = case
    (wall,) = cross_section(mould.part("sleeve").mesh, 1e-4)
    bore, outline = Shape(wall.interiors[0]), Shape(pastry.outline.points)
    # Both polygons stand in for the same curve, chords within 0.005 mm.
    assert bore.hausdorff_distance(outline) <= 0.005
    lip = Point(0, 0).distance(wall.exterior) - Point(0, 0).distance(wall.interiors[0])
    assert lip > 0.5 * mould.layout.wall_mm


def test_gap_between_bore_and_guides_is_twice_the_error_and_a_tenth(case):
    _, mould = case
    layout = mould.layout
    (wall,) = cross_section(mould.part("sleeve").mesh, layout.height_mm)
    bore = Shape(wall.interiors[0])
    for name, height in (
        ("stamp", layout.height_mm + 1.0),
        ("plunger", (layout.back_mm + layout.vane_top_mm) / 2.0),
    ):
        (guide,) = cross_section(mould.part(name).mesh, height)
        assert bore.contains(guide)
        # Nobody measured this printer: 0.25 mm of error on both sides. Chords of bore and guide lie
        # within 0.005 mm of their curves.
        assert bore.exterior.distance(guide) == pytest.approx(0.6, abs=0.005 + 1e-6)


def test_above_its_land_the_stamp_stands_back(case):
    _, mould = case
    layout, stamp = mould.layout, mould.part("stamp").mesh
    (land,) = cross_section(stamp, layout.height_mm + 3.0)
    (above,) = cross_section(stamp, layout.height_mm + 4.5)
    edge = Shape(land.exterior).buffer(-0.5, join_style="mitre")
    # 0.5 mm inside the land all round, but where the slot is open and at corners that were sharp.
    outside = Shape(above.exterior).difference(edge.buffer(0.01))
    assert outside.area < 1e-3 * land.area
    assert Shape(above.exterior).area > edge.area - 2.0 * SLOT_MM2


def test_nothing_collides_from_the_heavy_press_to_the_eject(case):
    _, mould = case
    layout = mould.layout
    sleeve = mould.part("sleeve").mesh
    low = layout.stroke_mm - 1.6  # where the lip of the disc meets the flange
    for down in np.linspace(-0.1 * layout.height_mm, low, 6):
        for name in ("stamp", "plunger"):
            moved = mould.part(name).mesh.moved((0.0, 0.0, -down))
            # At the eject disc and sleeve touch: a face of 100 cm^2 times a double's round-off.
            assert shared_mm3(sleeve, moved) < 1e-6
    on = mould.part("plunger").mesh.moved((0.0, 0.0, -low - 0.1))
    assert shared_mm3(sleeve, on) > 1.0


def test_stamp_meets_the_pastry_and_leaves_the_bore_past_the_rim(case):
    pastry, mould = case
    stamp = mould.part("stamp").mesh
    core = prism(pastry.outline.points, 0.0, pastry.height_mm)
    assert shared_mm3(core, stamp) < 1e-6
    assert stamp.bounds[0, 2] == pytest.approx(pastry.height_mm, abs=1e-5)  # float32 of the pastry
    # The lip meets the flange when the stamp is out by 1.6 mm, or up to a layer more.
    out = mould.layout.stroke_mm - 1.6 - stamp.bounds[0, 2]
    assert 1.6 - 1e-5 <= out < 1.8 + 1e-5


def test_the_foot_stands_free_in_the_slot_and_the_shoulder_bears(case):
    _, mould = case
    stamp, plunger = mould.part("stamp").mesh, mould.part("plunger").mesh
    assert shared_mm3(stamp, plunger) < 1e-6
    assert shared_mm3(stamp, plunger.moved((0.0, 0.0, -0.01))) > 1.0
    # Only the shoulder is near: half a millimetre to each side the foot still stands free.
    for way in ((0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5)):
        assert shared_mm3(stamp, plunger.moved((*way, 0.0))) < 1e-6


def test_lifted_the_stamp_hangs_behind_the_lip_and_standing_it_slides_off(case):
    _, mould = case
    joint = mould.layout.joint
    stamp, plunger = mould.part("stamp").mesh, mould.part("plunger").mesh
    hung = joint.drop_mm
    assert shared_mm3(stamp, plunger.moved((0.0, 0.0, hung - 0.02))) < 1e-3
    assert shared_mm3(stamp, plunger.moved((0.0, 0.0, hung + 0.1))) > 0.1
    # The lip is in the way a gap further out: a millimetre on, the lugs are 1 mm deep in it.
    assert shared_mm3(stamp, plunger.moved((joint.gap_mm + 1.0, 0.0, hung - 0.02))) > 1.0
    out = mould.layout.wide_mm / 2.0 + joint.half_length_mm + 1.0
    for way in np.linspace(0.0, out, 9):
        assert shared_mm3(stamp, plunger.moved((way, 0.0, 0.3))) < 1e-3


def test_plunger_and_stamp_go_together_one_way_round_only(case):
    _, mould = case
    stamp, plunger = mould.part("stamp").mesh, mould.part("plunger").mesh
    x, y, z = plunger.vertices.T
    turned = type(plunger)(np.column_stack([-x, -y, z]), plunger.triangles)
    for lift in (0.0, mould.layout.joint.lift_mm):
        assert shared_mm3(stamp, turned.moved((0.0, 0.0, lift))) > 1.0


def test_skin_between_engraving_and_pocket_is_solid(case):
    pastry, mould = case
    layout = mould.layout
    low = pastry.height_mm + pastry.depth_above_mm
    # The middle of the skin is whole; the slot's ridge begins less than a layer above it.
    (skin,) = cross_section(mould.part("stamp").mesh, low + layout.mould.skin_mm / 2.0)
    (hollow,) = cross_section(mould.part("stamp").mesh, low + layout.mould.skin_mm + 1.0)
    assert not skin.interiors
    assert Shape(hollow.exterior).area < Shape(skin.exterior).area - 5.0


def test_stop_stands_on_the_flange_and_reaches_the_disc_from_below(case):
    _, mould = case
    layout = mould.layout
    sleeve, stop, plunger = (mould.part(n).mesh for n in ("sleeve", "stop", "plunger"))
    assert stop.bounds[0, 2] == pytest.approx(sleeve.bounds[1, 2], abs=1e-6)
    assert shared_mm3(sleeve, stop) < 1e-6
    assert shared_mm3(sleeve, stop.moved((0.0, 0.0, -0.1))) > 5.0  # it bears on the flange
    down = layout.stroke_mm - layout.stop_height_mm
    assert -1e-9 < down < 0.2 + 1e-9  # a layer
    assert shared_mm3(stop, plunger.moved((0.0, 0.0, -down))) < 1e-6
    assert shared_mm3(stop, plunger.moved((0.0, 0.0, -down - 0.1))) > 5.0


def test_stop_comes_off_sideways_with_the_disc_lifted_a_little(case):
    _, mould = case
    layout = mould.layout
    stop, plunger = mould.part("stop").mesh, mould.part("plunger").mesh
    down = layout.stroke_mm - layout.stop_height_mm
    lifted = plunger.moved((0.0, 0.0, 2.0 - down))
    for way in np.linspace(0.0, 2.0 * layout.wide_mm, 9):
        assert shared_mm3(stop.moved((way, 0.0, 0.0)), lifted) < 1e-6


def test_fingers_find_two_lobes_outside_the_disc(case):
    _, mould = case
    sleeve, disc = mould.part("sleeve").mesh, mould.part("plunger").mesh
    low, high = sleeve.bounds[:, 1]
    assert (-low, high) == pytest.approx((disc.bounds[1, 1] + 28.0,) * 2, abs=0.01)


def test_edge_of_the_stamp_on_the_bed_is_cut_back():
    (first_layer,) = cross_section(made("75 g round").part("stamp").printed, 0.01)
    # 0.5 mm above the land and 0.6 mm more at the bed; 44 deg take back less than 0.01 mm of that.
    assert Shape(first_layer.exterior).area < pi * (29.4 - 1.09) ** 2


def test_same_design_same_parts():
    again = press(Design().mould, Design().printer, PIECES["75 g round"])
    for part, other in zip(made("75 g round").parts, again.parts, strict=True):
        assert np.array_equal(part.printed.vertices, other.printed.vertices)
        assert np.array_equal(part.printed.triangles, other.printed.triangles)


def test_relief_is_turned_not_mirrored():
    # The bar reaches further towards +x; turned over about x it still does.
    stamp = made("75 g round").part("stamp").printed
    top = stamp.bounds[1, 2]
    (face,) = cross_section(stamp, top - 0.5)
    assert face.interiors
    low, _, high, _ = face.interiors[0].bounds
    assert (low - 110.0, high - 110.0) == pytest.approx((-9.0, 18.0), abs=1e-4)


def test_part_that_outgrows_the_bed_is_refused():
    design = Design().with_values({"printer.bed_mm": [100.0, 100.0, 60.0]})
    with pytest.raises(SpecError, match=r"printer\.bed_mm.*smaller than the sleeve along y, z"):
        press(design.mould, design.printer, PIECES["75 g round"])


@pytest.mark.parametrize("values", [
    {"mould.lobe_mm": 0.0},
    {"mould.wall_mm": 0.9, "mould.lead_in_mm": 0.4},
    {"mould.wall_mm": 9.0, "mould.flange_thickness_mm": 2.0},
    {"mould.clearance_mm": 2.0, "mould.guide_to_width": 0.7},
    {"mould.past_rim_mm": 0.0, "mould.vane_thickness_mm": 9.0},
    {"printer.print_error_mm": 0.0},
    {"printer.layer_height_mm": 0.3},
])  # fmt: skip
@pytest.mark.parametrize(
    "piece", ["75 g round", pytest.param("250 g square", marks=pytest.mark.slow)]
)
def test_odd_but_valid_moulds_come_out_closed_and_printable(piece, values):
    design = Design().with_values(values)
    mould = press(design.mould, design.printer, PIECES[piece])
    for part in mould.parts:
        body(part.printed)
        turned = part.mesh if part.name in UPRIGHT else part.mesh.turned_over()
        assert steepest_overhang_deg(turned) <= 45.0


def test_exact_bodies_are_there_for_every_outline_of_arcs():
    exact = {piece for piece in PIECES if made(piece).part("sleeve").solid is not None}
    assert exact == set(PIECES) - {"drawn", "narrow valleys"}


def test_cavity_under_the_stamp_is_the_pastry():
    pastry, mould = PIECES["75 g round"], made("75 g round")
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
    mould = made(piece)
    layout, mesh = mould.layout, mould.part("plunger").mesh
    far, half = (
        PIECES[piece].outline.points[:, 0].max() - 0.6,
        2.0,
    )  # clearance, half a vane of 4 mm

    def vane(height):
        (slice_,) = cross_section(mesh, height)
        tip = slice_.intersection(Shape([(far - 4, -9), (far + 9, -9), (far + 9, 9), (far - 4, 9)]))
        return np.array(tip.exterior.coords)

    tip = vane((layout.back_mm + layout.vane_top_mm) / 2.0)
    assert tip[:, 0].max() == pytest.approx(far, abs=0.005)  # facets within 0.005 mm
    on_faces = tip[np.abs(tip[:, 1]) > half - 1e-4]
    on_bore = tip[tip[:, 0] > far - 0.1]  # 4 mm wide on a radius of 29 mm: the arc is 0.07 deep
    # 0.6 mm along the faces, from where bore and face would meet: up to 0.07 mm further in.
    assert 0.59 < far - on_faces[:, 0].max() < 0.69
    assert 0.4 < half - np.abs(on_bore[:, 1]).max() < 0.6
    # Each edge below is cut back as well: a step above the back, the section is narrower.
    for step in (0.1, 0.3, 0.5):
        low = vane(layout.back_mm + step)
        assert np.abs(low[:, 1]).max() == pytest.approx(half - (0.6 - step), abs=0.005)
        assert low[:, 0].max() == pytest.approx(far - (0.6 - step), abs=0.005)
