from math import radians, tan

import numpy as np
import pytest
from manifold3d import Manifold
from verify.shapes import as_written, cone, cylinder, mesh_of, primitive

from moulddesign.core import KernelError
from moulddesign.geometry import Mesh, box, spread_points
from moulddesign.geometry.topology import welded
from moulddesign.verify.printing import (
    bed_finding,
    ceilings,
    layers_finding,
    overhang_findings,
    printing_findings,
    wall_finding,
    warping_finding,
    whole_layers_finding,
)
from moulddesign.verify.walls import thinnest_wall_mm

LINE_MM, LAYER_MM = 0.42, 0.2
BED = (220.0, 220.0, 250.0)


def part(body):
    return welded(as_written(body if isinstance(body, Mesh) else mesh_of(body)))


def cube(x, y, z, at=(0, 0, 0)):
    return Manifold.cube([x, y, z]).translate(list(at))


def hanging(body):
    over, bridge = overhang_findings(part(body), part="p", line_mm=LINE_MM, layer_mm=LAYER_MM)
    return over.verdict.value, bridge.verdict.value, over.measured, bridge.measured


def upside_down_cone(angle_deg):
    return cone(5, 5 + 10 * tan(radians(angle_deg)), 0, 10)


@pytest.mark.parametrize(("angle", "verdict"), [(44, "good"), (45, "good"), (46, "fail")])
def test_a_cone_that_widens_upwards(angle, verdict):
    over, bridge, measured, _ = hanging(upside_down_cone(angle))
    assert (over, bridge) == (verdict, "good")
    assert measured == pytest.approx(angle, abs=0.01)  # 256 facets lean by 0.004 deg less


def portal(span, legs=5.0):
    return cube(span + 2 * legs, 12, 15) - cube(span, 14, 10, (legs, -1, -1))


@pytest.mark.parametrize(("span", "verdict"), [(9.5, "good"), (10.5, "fail")])
@pytest.mark.parametrize("turn", [0, 17, 90])
def test_a_bridge_between_two_walls(span, verdict, turn):
    over, bridge, _, measured = hanging(portal(span).rotate([0, 0, turn]))
    assert (over, bridge) == ("good", verdict)
    assert measured == pytest.approx(span, abs=1e-4)  # float32


def test_a_ledge_with_one_wall_is_no_bridge():
    ledge = cube(10, 10, 10) + cube(14, 10, 3, (0, 0, 7))
    assert hanging(ledge)[:3:2] == ("fail", 90.0)


def test_a_ceiling_that_slopes_in_part_is_no_bridge():
    # Level over the left half, and over the right half 60 deg from the upright: too steep to print.
    rise = 4.0 / tan(radians(60.0))
    roof = [(9, 8), (9, 9), (13, 8), (13, 9 + rise)]
    slope = Manifold.hull_points(np.array([(x, y, z) for y in (-1.0, 13.0) for x, z in roof]))
    assert hanging(portal(8.0) - slope)[:3:2] == ("fail", 90.0)
    assert hanging(portal(8.0))[0] == "good"


@pytest.mark.parametrize("walls", ["x", "y"])
def test_a_ceiling_is_bridged_between_the_walls_that_it_has(walls):
    # 6 by 9 mm, open on two sides: lines run between the other two.
    room = cube(6, 30, 8, (2, -1, -1)) if walls == "x" else cube(30, 9, 8, (-1, 2, -1))
    plate = cube(10, 9, 12) if walls == "x" else cube(6, 13, 12)
    assert hanging(plate - room)[3] == pytest.approx(6 if walls == "x" else 9, abs=1e-4)


def test_a_ceiling_with_a_hole_in_it_is_no_bridge():
    # A counterbore from below: the ring's inner edge hangs in the air.
    plate = cylinder(15, 0, 10) - cylinder(8, -1, 5) - cylinder(3, -1, 11)
    assert hanging(plate)[0] == "fail"


def test_a_closed_round_ceiling_is_bridged_over_its_diameter():
    assert hanging(cylinder(15, 0, 10) - cylinder(4, -1, 5))[3] == pytest.approx(8, abs=0.01)


@pytest.mark.parametrize(("width", "verdict"), [(0.3, "good"), (0.6, "fail")])
def test_a_ledge_narrower_than_a_line_is_carried(width, verdict):
    assert hanging(cylinder(10, 0, 5) + cylinder(10 + width, 5, 8))[0] == verdict


def test_what_lies_on_the_bed_does_not_hang():
    assert ceilings(part(cube(9, 9, 9)), limit_deg=45, line_mm=LINE_MM, layer_mm=LAYER_MM) == ()


@pytest.mark.parametrize("wall", [0.8, 1.2, 2.8])
def test_wall_of_a_tube(wall):
    tube = primitive("annulus", r_min=20, r_max=20 + wall, height=15, sections=256)
    # Between facets a wall is up to R (1 - cos(pi / 256)) = 0.002 mm thinner or thicker.
    assert thinnest_wall_mm(tube) == pytest.approx(wall, abs=0.004)


@pytest.mark.parametrize("turn", [(0, 0, 0), (31, -47, 12)])
def test_wall_of_a_plate_in_any_pose(turn):
    plate = mesh_of(cube(40, 30, 1.7).rotate(list(turn)))
    assert thinnest_wall_mm(plate) == pytest.approx(1.7, abs=1e-6)


def test_a_thin_fin_on_a_thick_part_is_found():
    assert thinnest_wall_mm(
        mesh_of(cube(40, 40, 10) + cube(0.5, 20, 8, (5, 5, 9)))
    ) == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("angle", [25, 40, 60])
def test_the_edge_of_a_wedge_is_no_wall(angle):
    height = 20 * tan(radians(angle))
    wedge = Manifold.hull_points(
        np.array([(x, y, z) for y in (0.0, 30.0) for x, z in ((0, 0), (20, 0), (20, height))])
    )
    found = thinnest_wall_mm(mesh_of(wedge))
    assert found == pytest.approx(30.0, abs=1e-6)  # only the two ends are parallel


def test_a_ball_has_its_diameter():
    ball = primitive("icosphere", subdivisions=4, radius=10)
    assert thinnest_wall_mm(ball) == pytest.approx(20, abs=0.1)  # facets lie 0.03 mm inside


@pytest.mark.parametrize(
    ("wall", "verdict"), [(0.41, "fail"), (0.43, "warn"), (0.83, "warn"), (0.85, "good")]
)
def test_two_lines_are_the_least(wall, verdict):
    plate = mesh_of(cube(30, 30, wall))
    assert wall_finding(plate, part="p", line_mm=LINE_MM).verdict.value == verdict


def test_an_open_mesh_has_no_wall():
    whole = box((0, 0, 0), (1, 1, 1))
    with pytest.raises(KernelError, match="the walls' thickness failed"):
        thinnest_wall_mm(Mesh(whole.vertices, whole.triangles[1:]))


@pytest.mark.parametrize(
    ("size", "verdict"),
    [((220, 220, 250), "good"), ((221, 10, 10), "fail"), ((10, 10, 251), "fail")],
)
def test_bed(size, verdict):
    assert bed_finding(box((0, 0, 0), size), part="p", bed_mm=BED).verdict.value == verdict


def test_a_long_bed_takes_a_part_turned_by_a_quarter():
    found = bed_finding(box((0, 0, 0), (100, 200, 10)), part="p", bed_mm=(210.0, 110.0, 50.0))
    assert found.verdict.value == "good"


def test_a_solid_block_is_good_in_everything():
    found = printing_findings(
        part(cube(40, 30, 20)),
        part="p",
        bed_mm=BED,
        line_mm=LINE_MM,
        layer_mm=LAYER_MM,
        shrink=0.003,
    )
    assert {f.verdict.value for f in found} == {"good"}


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (lambda: cube(10, 10, 10, (0, 0, 0.05)), "lowest point"),
        (lambda: cube(10, 10, 2) + cube(60, 10, 5, (0, 0, 2)), "first layer"),
    ],
)
def test_a_part_off_the_bed_or_top_heavy_fails(body, word):
    found = printing_findings(
        part(body()), part="p", bed_mm=BED, line_mm=LINE_MM, layer_mm=LAYER_MM, shrink=0.003
    )
    assert any(word in f.name and f.verdict.value == "fail" for f in found)


@pytest.mark.parametrize(
    ("depth", "verdict"), [(0.8, "good"), (0.79, "warn"), (0.2, "warn"), (0.19, "fail")]
)
def test_layers(depth, verdict):
    assert layers_finding(depth_mm=depth, layer_mm=0.2).verdict.value == verdict


@pytest.mark.parametrize(
    ("depths", "worst", "verdict"),
    [
        ([1.6], 1.6, "good"), ([1.2, 0.6000001], 0.6000001, "good"), ([1.6, 1.5], 1.5, "warn"),
        ([1.58], 1.58, "warn"), ([0.1], 0.1, "warn"),
    ],
)  # fmt: skip
def test_a_depth_between_layers_names_its_neighbours(depths, worst, verdict):
    found = whole_layers_finding(depths, layer_mm=0.2)
    assert (found.measured, found.verdict.value) == (worst, verdict)
    if verdict == "warn":
        named = dict(found.remedy.values)
        low, high = named["low_mm"], named["high_mm"]
        assert low == pytest.approx(max(0.2, 0.2 * (worst // 0.2)))
        assert high == pytest.approx(low + 0.2)


def test_points_are_spread_by_area():
    # Six faces of 2 x 3 x 4: 12, 16, 24 of 52 each pair.
    mesh = box((0, 0, 0), (2, 3, 4))
    points, facets = spread_points(mesh, 5200)
    on_top = np.sum(np.isclose(points[:, 2], 4.0) & np.isclose(points[:, 2], 4.0))
    assert on_top == pytest.approx(5200 * 6 / 52, abs=2)
    assert len(np.unique(facets)) == 12


@pytest.mark.parametrize(("arm_mm", "verdict"), [(34.0, "good"), (35.0, "fail")])
@pytest.mark.parametrize("turn", [0, 90, 180])
def test_a_part_falls_over_once_its_mass_lies_beyond_its_foot(arm_mm, verdict, turn):
    # A post of 10 mm with an arm 2 mm thick on top: (5 * 1000 + L / 2 * 20 L) / (1000 + 20 L) is
    # 10, the edge of the foot, at L = 10 + sqrt(600) = 34.5 mm.
    post = cube(10, 10, 10, (-5, -5, 0)) + cube(arm_mm, 10, 2, (-5, -5, 10))
    mesh = part(post.rotate([0, 0, turn]).translate([100, 80, 0]))
    found = printing_findings(
        mesh, part="p", bed_mm=BED, line_mm=LINE_MM, layer_mm=LAYER_MM, shrink=0.003
    )
    (foot,) = [f for f in found if f.id == "verify.first-layer-share"]
    assert foot.verdict.value == verdict


@pytest.mark.parametrize(("height_mm", "verdict"), [(39.0, "good"), (41.0, "warn")])
def test_a_tall_narrow_part_wants_a_brim(height_mm, verdict):
    """Four times its narrowest extent, 10 mm, whichever way it is turned."""
    post = part(cube(10, 30, height_mm).rotate([0, 0, 33]).translate([100, 80, 0]))
    found = printing_findings(
        post, part="p", bed_mm=BED, line_mm=LINE_MM, layer_mm=LAYER_MM, shrink=0.003
    )
    (slender,) = [f for f in found if f.id == "verify.height-by-foot"]
    assert slender.measured == pytest.approx(height_mm / 10.0, rel=1e-4)  # float32 at 100 mm
    assert slender.verdict.value == verdict


@pytest.mark.parametrize(("shrink", "verdict"), [(0.003, "good"), (0.015, "warn")])
def test_a_wide_flat_part_warps_by_its_shrinkage(shrink, verdict):
    """A strip of 120 x 50 x 20 mm: s (120^2 + 50^2) / (8 x 20) = 105.6 s."""
    found = warping_finding(part(cube(120, 50, 20)), part="p", shrink=shrink)
    assert found.measured == pytest.approx(105.625 * shrink)
    assert found.verdict.value == verdict
