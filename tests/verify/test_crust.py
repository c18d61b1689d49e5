"""The crust's rules: 2 mm (common practice, no source), half of it for sunk relief, room inside."""

import pytest

from moulddesign.core import Verdict
from moulddesign.verify.piece_checks import centre_finding, crust_findings


@pytest.mark.parametrize(
    ("thickness", "verdict"), [(2.0, Verdict.GOOD), (3.0, Verdict.GOOD), (1.99, Verdict.WARN)]
)
def test_a_crust_under_two_millimetres_is_warned_of(thickness, verdict):
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
    ("paste", "room", "verdict"),
    # 1 mm of paste on each side, our own choice.
    [(1.0, 0.0, Verdict.GOOD), (2.5, 1.5, Verdict.GOOD), (0.9, -0.1, Verdict.WARN),
     (-3.0, -4.0, Verdict.WARN)],
)  # fmt: skip
def test_centres_need_paste_around_them(paste, room, verdict):
    found = centre_finding(least_paste_mm=paste)
    assert found.measured == pytest.approx(room)
    assert found.verdict is verdict
