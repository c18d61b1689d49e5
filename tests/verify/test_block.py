"""Blocks of drilled boxes, whose cavities are known in closed form."""

from math import pi, sin

from verify.shapes import cylinder, manifold_of, mesh_of

from moulddesign.core import Verdict
from moulddesign.geometry import box
from moulddesign.verify.block_checks import block_findings

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


def test_a_block_that_holds_nothing_fails():
    assert verdicts(box((0, 0, 0), (30, 30, 20)), 1) == [Verdict.FAIL, Verdict.FAIL]
