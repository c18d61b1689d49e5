"""What is judged of a carved face, on figures written down by hand."""

import pytest

from moulddesign.core import Verdict, say
from moulddesign.verify.face_checks import FaceFigures, RimFigures, face_finding, rim_findings

MEND = say("verify.larger-or-flatter-carving")


def judged(tip_mm, needed_mm, lost_mm):
    found = rim_findings(
        RimFigures(tip_mm=tip_mm, needed_mm=needed_mm, lost_mm=lost_mm, at_mm=(1.0, 2.0)), MEND
    )
    return [each.verdict for each in found], [each.remedy for each in found]


def test_a_rib_needs_its_tip_and_a_print_loses_at_most_a_layer():
    good, warn = Verdict.GOOD, Verdict.WARN
    assert judged(0.4, 0.4, 0.2) == ([good, good], [None, None])
    assert judged(0.3, 0.4, 0.0) == ([warn, good], [MEND, None])
    assert judged(1.6, 0.8, 0.3) == ([good, warn], [None, MEND])
    assert judged(0.0, 0.8, 0.7) == ([warn, warn], [MEND, None])


@pytest.mark.parametrize(
    ("error_mm", "usual_mm", "verdict", "remedy"),
    [
        (0.03, 0.02, Verdict.GOOD, None),
        (0.031, 0.015, Verdict.WARN, "verify.no-layer-shows-it"),
        (0.025, 0.021, Verdict.WARN, "verify.no-layer-shows-it"),
        (0.11, 0.015, Verdict.FAIL, "verify.another-width"),  # half a layer of 0.2 mm is 0.1
    ],
)
def test_a_face_fails_only_where_a_print_would_show_its_error(error_mm, usual_mm, verdict, remedy):
    found = face_finding(
        FaceFigures(
            error_mm=error_mm, usual_error_mm=usual_mm,
            covered_ratio=0.8, least_draft_deg=15.0, levels=4,
        )
    )  # fmt: skip
    assert (found.verdict, found.remedy and found.remedy.id) == (verdict, remedy)
