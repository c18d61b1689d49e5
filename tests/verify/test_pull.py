from math import cos, degrees, pi, radians, tan

import numpy as np
import pytest
from manifold3d import Manifold
from verify.shapes import as_written, cone, cylinder, mesh_of

from moulddesign.core import say
from moulddesign.verify.pull import SILICONE_DEG, pull_findings

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)


def frustum(draft_deg, depth=10.0, mouth=20.0):
    """Return a cake that narrows upwards and leaves its block downwards."""
    return cone(mouth, mouth - depth * tan(radians(draft_deg)), 0, depth)


def cube(x, y, z):
    return Manifold.cube([x, y, z])


REMEDY = say("building.more-draft", keys=("mould.side_draft_deg",), draft_deg=5.0)


def pulled(cake, *, way=DOWN, block=None, **limits):
    block = cylinder(40, 0, 20) if block is None else block
    return pull_findings(
        say("building.pastry-from-block"),
        body=as_written(mesh_of(cake)),
        tool=as_written(mesh_of(block - cake)),
        direction=way,
        remedy=REMEDY,
        **limits,
    )


@pytest.mark.parametrize("draft", [1.0, 5.0, 15.0, 40.0])
def test_draft_of_a_cone_frustum_is_its_half_angle(draft):
    found, way = pulled(frustum(draft))
    # A facet between two generators of a 256-gon leans by cos(pi / 256) less: 0.004 deg at 40.
    assert found.measured == pytest.approx(draft, abs=0.01)
    assert way.verdict.value == "good"


@pytest.mark.parametrize(
    ("draft", "verdict"),
    [(5.0, "good"), (4.82, "good"), (4.78, "warn"), (2.82, "warn"), (2.78, "fail"), (0.0, "fail")],
)
def test_dough_lets_go_from_5_deg_on_and_sticks_below_3(draft, verdict):
    """Each within the 0.2 deg to which facets are measured; an upright wall only slides out."""
    found, way = pulled(frustum(draft))
    assert (found.verdict.value, way.verdict.value) == (verdict, "good")
    assert found.remedy == (None if verdict == "good" else REMEDY)


@pytest.mark.parametrize(("draft", "verdict"), [(0.0, "good"), (-0.22, "fail")])
def test_silicone_lets_go_of_an_upright_wall(draft, verdict):
    found, _ = pulled(frustum(draft), limits_deg=SILICONE_DEG)
    assert found.measured == pytest.approx(draft, abs=0.01)
    assert found.verdict.value == verdict


def test_an_undercut_is_a_negative_draft_and_overlaps_on_the_way():
    found, way = pulled(frustum(-5.0))
    assert found.measured == pytest.approx(-5.0, abs=0.01)
    assert (found.verdict.value, way.verdict.value) == ("fail", "fail")
    # Moved 10 mm the cake's top, of radius R + 10 tan 5, lies in the ring above the mouth's R.
    assert way.measured > 100.0


def test_the_wrong_way_is_blocked():
    found, way = pulled(frustum(15.0), way=UP)
    assert found.measured == pytest.approx(-90.0, abs=1e-6)
    assert way.verdict.value == "fail"


def test_a_direction_may_have_any_length_and_lie_anywhere():
    turn = [90.0, 0.0, 0.0]
    cake, block = frustum(12.0).rotate(turn), cylinder(40, 0, 20).rotate(turn)
    way = np.array(mesh_of(cylinder(1, 0, 1).rotate(turn)).vertices.mean(axis=0)) * -7.0
    found, out = pulled(cake, way=way, block=block)
    assert (found.verdict.value, out.verdict.value) == ("good", "good")


def test_a_body_that_touches_nothing_fails_in_words():
    far = frustum(10.0).translate([200.0, 0.0, 0.0])
    found, _ = pull_findings(
        say("building.pastry-from-block"),
        body=mesh_of(far),
        tool=mesh_of(cylinder(40, 0, 20)),
        direction=DOWN,
    )
    assert (str(found.measured), found.verdict.value) == ("nothing touches", "fail")


def test_a_thin_lip_is_an_undercut():
    lip = cylinder(20.5, 6.0, 6.4) + cylinder(20, 0, 10)
    found, way = pulled(lip)
    assert degrees(0.0) - found.measured == pytest.approx(90.0, abs=1e-6)
    assert way.verdict.value == "fail"


@pytest.mark.parametrize(("share", "draft_deg"), [(0.0009, 10.0), (0.0011, 0.0)])
def test_a_thousandth_of_the_touching_area_may_lean_less(share, draft_deg):
    # Flank pi (R + r) s and top pi r2 of a frustum touch; an upright boss on it adds 2 pi b t.
    top = 20.0 - 10.0 * tan(radians(10.0))
    touching_mm2 = pi * ((20.0 + top) * 10.0 / cos(radians(10.0)) + top**2)
    high = share * touching_mm2 / (2.0 * pi * 2.0)
    found, _ = pulled(frustum(10.0) + cylinder(2.0, 9.0, 10.0 + high))
    assert found.measured == pytest.approx(draft_deg, abs=0.01)


@pytest.mark.parametrize(("volume_mm3", "verdict"), [(0.095, "good"), (0.105, "fail")])
def test_a_tenth_of_a_cubic_millimetre_may_overlap_on_the_way(volume_mm3, verdict):
    # A rib of 1 mm2 stands into the mould's wall, and is dragged through it below.
    body = cube(20, 20, 10)
    rib = cube(volume_mm3, 1.0, 1.0).translate([20.0, 9.5, 5.0])
    block = cube(40, 40, 15).translate([-10.0, -10.0, 0.0])
    _, way = pulled(body + rib, block=block)
    assert way.measured == pytest.approx(volume_mm3, abs=1e-4)  # float32
    assert way.verdict.value == verdict
