"""Designs that no hand can use: each fails or warns for its own reason, with what mends it.

What an earlier press called good: sizes that a design can ask for and that do not work.
"""

from itertools import chain

import pytest

from moulddesign.building import build
from moulddesign.core import Verdict
from moulddesign.design import Design
from moulddesign.page.finding_actions import mend

ABSURD = {
    "all at once": (
        {
            "portion.finished_weight_g": 500.0, "mould.clearance_mm": 0.05,
            "mould.disc_thickness_mm": 2.0, "mould.vane_thickness_mm": 0.85,
            "mould.lobe_mm": 0.0, "mould.flange_thickness_mm": 2.0,
        },
        {
            "verify.gap-left-in-bore": "more clearance",
            "verify.vane-by-stress": "a longer guide",
            "verify.bow-of-disc": "disc_thickness_mm = 3.5",
            "verify.grip-outside-disc": "lobe_mm = 20.7",
            "verify.foot-goes-in-turned": "vane_thickness_mm = 4",
        },
    ),
    "a bore that sticks": (
        {"mould.clearance_mm": 0.05},
        {"verify.gap-left-in-bore": "more clearance", "verify.vane-by-stress": "a longer guide"},
    ),
    "a stamp that leans": (
        {"mould.clearance_mm": 1.0, "mould.guide_to_width": 0.3},
        {"verify.drop-across-pastry": "a longer guide"},
    ),
    "a block that breaks and holds the piece": (
        {"mould.kind": "block", "mould.side_draft_deg": 0.0, "mould.floor_mm": 0.85,
         "mould.land_mm": 2.0},
        {
            "verify.least-draft": "side_draft_deg = 5",
            "verify.floor-by-stress": "floor_mm = 2.2",
            "verify.rim-by-stress": "land_mm = 7.4",
        },
    ),
    "a tray that gives and silicone that tears": (
        {"mould.kind": "cast", "mould.land_mm": 2.0, "mould.wall_mm": 0.85},
        {
            "verify.silicone-beside-pastries": "land_mm larger by",
            "verify.tray-wall-by-stress": "wall_mm = 1.8",
        },
    ),
}  # fmt: skip
MENDED = ("a block that breaks and holds the piece", "a tray that gives and silicone that tears")
"""Good once each has the length that its finding names."""
SLOW = ("all at once", "a bore that sticks", "a stamp that leans")


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) if n in SLOW else n for n in ABSURD]
)
def test_what_does_not_work_is_found_for_its_own_reason(name):
    values, reasons = ABSURD[name]
    made = build(Design().with_values({"relief.layers": []} | values))
    wrong = {f.id: f for f in made.findings if f.verdict is not Verdict.GOOD}
    if made.design.mould.kind != "press":
        assert {f.id for f in made.findings if f.verdict is Verdict.FAIL} == reasons.keys()
    assert made.failed
    assert wrong.keys() >= reasons.keys()
    for reason, remedy in reasons.items():
        assert remedy in str(wrong[reason].remedy)
    if name in MENDED:
        mends = (mend(found, made.design) or {} for found in wrong.values())
        changes = dict(chain.from_iterable(each.items() for each in mends))
        assert build(made.design.with_values(changes)).failed == ()
