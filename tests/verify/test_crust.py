"""Crust rules: 2 and 1 mm (common practice, no source), half of it for sunk relief, room."""

from math import inf

import pytest

from moulddesign.core import Verdict
from moulddesign.design import DoughTable
from moulddesign.verify.piece_checks import (
    centre_finding,
    crust_findings,
    least_widths_mm,
    paste_finding,
)


@pytest.mark.parametrize(
    ("thickness", "verdict"), [(2.0, Verdict.GOOD), (3.0, Verdict.GOOD), (1.99, Verdict.WARN),
     (1.0, Verdict.WARN), (0.99, Verdict.FAIL)],
)  # fmt: skip
def test_a_crust_under_two_millimetres_is_warned_of_and_under_one_fails(thickness, verdict):
    (found,) = crust_findings(thickness_mm=thickness, deepest_sunk_mm=0.0)
    assert (found.verdict, found.measured, found.unit) == (verdict, thickness, "mm")


@pytest.mark.parametrize(
    ("sunk", "verdict"),
    [(0.5, Verdict.GOOD), (1.5, Verdict.GOOD), (1.51, Verdict.WARN), (3.0, Verdict.FAIL)],
)
def test_sunk_relief_leaves_half_the_crust(sunk, verdict):
    _, found = crust_findings(thickness_mm=3.0, deepest_sunk_mm=sunk)
    assert found.verdict is verdict
    assert found.measured == pytest.approx(sunk / 3.0)


@pytest.mark.parametrize(
    ("paste", "rigid", "room", "verdict"),
    # 1 mm of paste on each side, our own choice.
    [(1.0, 1.0, 0.0, Verdict.GOOD), (2.5, inf, 1.5, Verdict.GOOD), (0.9, 0.9, -0.1, Verdict.WARN),
     (-3.0, inf, -4.0, Verdict.WARN), (-3.0, 0.5, -4.0, Verdict.WARN),
     (-0.1, -0.1, -1.1, Verdict.FAIL)],
)  # fmt: skip
def test_centres_need_paste_around_them_and_rigid_ones_room(paste, rigid, room, verdict):
    found = centre_finding(least_paste_mm=paste, least_rigid_mm=rigid)
    assert found.measured == pytest.approx(room)
    assert found.verdict is verdict


@pytest.mark.parametrize(("paste", "verdict"), [(0.1, Verdict.GOOD), (0.0, Verdict.WARN)])
def test_heavy_centres_leave_some_paste(paste, verdict):
    assert paste_finding(least_paste_g=paste).verdict is verdict


@pytest.mark.parametrize(
    ("thickness", "held", "verdict"),
    [(1.7, 1.6, Verdict.GOOD), (1.5, 1.6, Verdict.WARN), (0.9, 1.6, Verdict.FAIL),
     (0.9, 0.8, Verdict.GOOD), (0.7, 0.8, Verdict.FAIL), (2.2, 2.5, Verdict.WARN)],
)  # fmt: skip
def test_a_crust_is_judged_by_what_one_s_own_dough_held(thickness, held, verdict):
    (found,) = crust_findings(thickness_mm=thickness, deepest_sunk_mm=0.0, held_mm=held)
    assert found.verdict is verdict
    assert "your dough" in str(found.source)


@pytest.mark.parametrize(
    ("raised", "own", "widths"),
    [  # a groove in the stamp is one line of 0.4 mm at the least, a wall two
        (True, {}, (0.6, 0.8)),
        (True, {"least_stroke_mm": 0.9, "least_gap_mm": 1.1}, (0.9, 1.1)),
        (True, {"least_stroke_mm": 0.3, "least_gap_mm": 0.3}, (0.4, 0.8)),
        (False, {"least_stroke_mm": 0.3, "least_gap_mm": 0.5}, (0.8, 0.5)),
    ],
)
def test_strokes_and_gaps_are_judged_by_what_reads_in_one_s_own_dough(raised, own, widths):
    read_mm = DoughTable(**own).read_widths_mm
    found = least_widths_mm(line_mm=0.4, raised=raised, read_mm=read_mm)
    assert found == pytest.approx(widths)
