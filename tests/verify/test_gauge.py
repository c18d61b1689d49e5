"""A clearance gauge of known holes, and what is said of letters on a part."""

import pytest
from verify.shapes import as_written, cylinder, mesh_of

from moulddesign.verify.block_checks import gap_findings
from moulddesign.verify.printing import lettering_finding

PEG_MM = 6.0
"""Radius of the peg [mm]."""


def gauge(*gaps_mm):
    """Return a plate with a hole for each gap, 20 mm apart along x."""
    plate = cylinder(100.0, 0.0, 4.0)
    for number, gap_mm in enumerate(gaps_mm):
        plate -= cylinder(PEG_MM + gap_mm, -1.0, 5.0).translate([20.0 * number, 0.0, 0.0])
    return as_written(mesh_of(plate))


def found(gauge_mesh, *marked_mm):
    peg = as_written(mesh_of(cylinder(PEG_MM, 0.0, 12.0)))
    marks = [(20.0 * number, 0.0, gap_mm) for number, gap_mm in enumerate(marked_mm)]
    return gap_findings(gauge_mesh, peg, gaps_mm=marks)


def test_each_gap_is_that_of_its_own_hole():
    gaps = (0.1, 0.3, 0.5)
    made = found(gauge(*gaps), *gaps)
    # Both are 256-gons: their difference is 0.005 % smaller than that of the circles.
    assert [finding.measured for finding in made] == pytest.approx(gaps, abs=1e-4)
    assert {finding.verdict.value for finding in made} == {"good"}


@pytest.mark.parametrize(
    ("off_mm", "verdict"), [(0.019, "good"), (-0.019, "good"), (0.021, "fail")]
)
def test_a_gap_may_be_off_by_two_hundredths(off_mm, verdict):
    (made,) = found(gauge(0.3 + off_mm), 0.3)
    assert made.verdict.value == verdict


def test_a_hole_that_is_missing_leaves_no_gap():
    made = found(gauge(0.3), 0.3, 0.4)
    assert (made[1].measured, made[1].verdict.value) == (0.0, "fail")


@pytest.mark.parametrize(
    ("written", "measured", "verdict"),
    [("75 g", "75 g", "good"), ("", "left out: no room", "warn"), ("57 g", "57 g", "warn")],
)
def test_letters_are_read_as_they_stand(written, measured, verdict):
    made = lettering_finding(part="sleeve", written=written, wanted=("75 g  3:7", "75 g"))
    assert (str(made.measured), made.verdict.value) == (measured, verdict)
