"""Blocks of drilled boxes, whose cavities are known in closed form."""

from math import pi, sin

import pytest
from verify.shapes import cylinder, manifold_of, mesh_of

from moulddesign.core import Verdict
from moulddesign.geometry import box
from moulddesign.geometry.fill_volume import find_cavities
from moulddesign.verify.block_checks import Vents, block_findings, closed, vent_finding

PRISM_MM3 = 10.0 * 20.0**2 * 256 * sin(2.0 * pi / 256) / 2.0
"""10 mm of a regular 256-gon in a circle of 20 mm: n sin(2 pi / n) r^2 / 2 [mm^3]."""


def drilled(*depths_mm):
    body = manifold_of(box((-30, -30, 0), (60.0 * len(depths_mm) - 30, 30, 25)))
    for number, depth_mm in enumerate(depths_mm):
        body -= cylinder(20.0, 25.0 - depth_mm, 26.0).translate([60.0 * number, 0.0, 0.0])
    return mesh_of(body)


def verdicts(block, count):
    return [f.verdict for f in block_findings(block, target_mm3=PRISM_MM3, count=count)]


def test_cavities_that_hold_the_portion_are_good():
    found = block_findings(drilled(10.0, 10.0), target_mm3=PRISM_MM3, count=2)
    assert [f.verdict for f in found] == [Verdict.GOOD, Verdict.GOOD]
    assert found[0].measured == 2


def test_one_cavity_in_three_that_is_2_percent_too_deep_fails():
    assert verdicts(drilled(10.0, 10.2, 10.0), 3) == [Verdict.GOOD, Verdict.FAIL]


def test_a_cavity_that_is_missing_fails():
    assert verdicts(drilled(10.0), 2) == [Verdict.FAIL, Verdict.GOOD]


def vented(x_mm, radius_mm=0.6):
    body = manifold_of(drilled(10.0)) - cylinder(radius_mm, -1.0, 16.0).translate([x_mm, 0.0, 0.0])
    return mesh_of(body)


def test_a_vent_is_measured_and_closed_before_the_cavity_is_filled():
    vents = Vents(places_mm=((5.0, 0.0),), floor_mm=15.0, diameter_mm=1.2)
    block = vented(5.0)
    assert find_cavities(block) == ()  # all runs out
    assert verdicts(closed(block, vents), 1) == [Verdict.GOOD, Verdict.GOOD]
    found = vent_finding(block, vents, name="block")
    assert found.verdict is Verdict.GOOD
    assert found.measured == pytest.approx(1.2, rel=1e-4)  # of a 256-gon


@pytest.mark.parametrize(
    ("block", "measured"),
    [
        pytest.param(drilled(10.0), 0.0, id="none"),
        pytest.param(vented(8.0), 0.0, id="elsewhere"),
        pytest.param(vented(5.0, 0.7), 1.4, id="too wide"),
        pytest.param(vented(5.0, 3.0), 6.0, id="in a stroke"),
    ],
)
def test_a_vent_that_is_not_as_asked_for_fails(block, measured):
    vents = Vents(places_mm=((5.0, 0.0),), floor_mm=15.0, diameter_mm=1.2)
    found = vent_finding(block, vents, name="block")
    assert (found.verdict, found.measured) == (Verdict.FAIL, pytest.approx(measured, rel=1e-4))


def test_a_vent_left_out_for_want_of_room_warns():
    vents = Vents(places_mm=(), floor_mm=15.0, diameter_mm=1.2)
    assert vent_finding(drilled(10.0), vents, name="block").verdict is Verdict.WARN


def test_a_block_that_holds_nothing_fails():
    assert verdicts(box((0, 0, 0), (30, 30, 20)), 1) == [Verdict.FAIL, Verdict.FAIL]
