"""A clearance gauge and a sampler of known sizes, and what is said of letters on a part."""

import pytest
from manifold3d import Manifold
from verify.shapes import as_written, cylinder, manifold_of, mesh_of

from moulddesign.verify.coupon_checks import (
    GaugeMarks,
    MarkedStroke,
    depth_finding,
    gap_findings,
)
from moulddesign.verify.printing import lettering_finding

ROUND_MM, FOOT_MM, SHOULDER_MM = 6.0, 8.0, 9.0
"""Radius of the key's round, width of its foot, height of its shoulder [mm]."""


def block(size, low):
    return Manifold.cube(size).translate(low)


def gauge(*gaps_mm):
    """Return a plate with a row for each gap, 20 mm apart along y: a slot, and a ring beside it."""
    plate = block((60.0, 20.0 * len(gaps_mm), 10.0), (-20.0, -10.0, 0.0))
    for number, gap_mm in enumerate(gaps_mm):
        width, y = FOOT_MM + 2.0 * gap_mm, 20.0 * number
        plate -= block((15.0, width, 9.0), (-21.0, y - width / 2.0, -1.0))
        plate -= cylinder(ROUND_MM + gap_mm, -1.0, 11.0).translate([20.0, y, 0.0])
    return as_written(mesh_of(plate))


def key():
    made = cylinder(ROUND_MM, 0.0, SHOULDER_MM)
    made += block((8.0, FOOT_MM, 7.0), (-4.0, -FOOT_MM / 2.0, SHOULDER_MM))
    return as_written(mesh_of(made))


def found(gauge_mesh, *marked_mm, shrink=0.0):
    rows = [(20.0 * number, gap_mm) for number, gap_mm in enumerate(marked_mm)]
    marks = GaugeMarks(
        slots=[(-10.0, y, gap_mm) for y, gap_mm in rows],
        rings=[(20.0, y, gap_mm) for y, gap_mm in rows],
        shoulder_mm=SHOULDER_MM,
    )
    return gap_findings(gauge_mesh, key(), marks, shrink=shrink)


def test_each_gap_is_that_of_its_own_slot_and_ring():
    gaps = (0.1, 0.3, 0.5)
    made = found(gauge(*gaps), *gaps)
    # Both are 256-gons: their difference is 0.005 % smaller than that of the circles.
    assert [finding.measured for finding in made] == pytest.approx([*gaps, *gaps], abs=1e-4)
    assert {finding.verdict.value for finding in made} == {"good"}


def test_what_shrinks_is_measured_as_it_will_be_printed():
    made = found(gauge(0.3), 0.3, shrink=0.04)
    assert [finding.measured for finding in made] == pytest.approx([0.288, 0.288], abs=1e-4)


@pytest.mark.parametrize(
    ("off_mm", "verdict"), [(0.019, "good"), (-0.019, "good"), (0.021, "fail")]
)
def test_a_gap_may_be_off_by_two_hundredths(off_mm, verdict):
    assert {made.verdict.value for made in found(gauge(0.3 + off_mm), 0.3)} == {verdict}


def test_a_slot_counts_where_it_is_tightest():
    lip = block((15.0, 0.2, 0.5), (-20.0, 4.2, 4.0))  # into the slot of 4.3 mm from its middle
    slot, ring = found(as_written(mesh_of(manifold_of(gauge(0.3)) + lip)), 0.3)
    assert (slot.measured, slot.verdict.value) == (pytest.approx(0.25, abs=1e-3), "fail")
    assert ring.verdict.value == "good"


def test_a_row_that_is_missing_leaves_no_gap():
    made = found(gauge(0.3), 0.3, 0.4)
    assert [finding.verdict.value for finding in made] == ["good", "fail", "good", "fail"]
    assert (made[3].measured, made[3].verdict.value) == (0.0, "fail")


@pytest.mark.parametrize(
    ("depth_mm", "marked_mm", "verdict"), [(1.0, 1.0, "good"), (1.1, 1.12, "fail")]
)
def test_the_depth_of_the_stroke_furthest_from_its_figure(depth_mm, marked_mm, verdict):
    plate = block((30.0, 20.0, 3.0), (0.0, 0.0, 0.0))
    plate -= block((8.0, 1.0, 4.0), (2.0, 5.0, 3.0 - depth_mm))
    plate -= block((8.0, 1.0, 4.0), (15.0, 5.0, 2.4))
    strokes = [
        MarkedStroke(corners_mm=((2.0, 6.0), (10.0, 5.0)), depth_mm=marked_mm),
        MarkedStroke(corners_mm=((15.0, 6.0), (23.0, 5.0)), depth_mm=0.6),
    ]
    made = depth_finding(as_written(mesh_of(plate)), strokes, shrink=0.0)
    assert made.verdict.value == verdict
    if verdict == "fail":
        assert made.measured == pytest.approx(depth_mm, abs=1e-6)


@pytest.mark.parametrize(
    ("written", "measured", "verdict"),
    [("75 g", "75 g", "good"), ("", "left out: no room", "warn"), ("57 g", "57 g", "warn")],
)
def test_letters_are_read_as_they_stand(written, measured, verdict):
    made = lettering_finding(part="sleeve", written=written, wanted=("75 g  3:7", "75 g"))
    assert (str(made.measured), made.verdict.value) == (measured, verdict)
