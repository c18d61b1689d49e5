"""What is judged of a carved face, on figures written down by hand."""

from moulddesign.core import Verdict, say
from moulddesign.verify.face_checks import RimFigures, rim_findings

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
