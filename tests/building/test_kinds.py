"""Every kind of mould in every outline, and designs that nobody picked by hand."""

import json
import os
from collections import Counter

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from soundness import assert_sound, outcome
from strategies import any_kind

from moulddesign.building import build
from moulddesign.core import SpecError, Verdict
from moulddesign.design import MADE_KINDS, OUTLINES, Design
from moulddesign.design.face_tables import face_names

DESIGNS = int(os.environ.get("MOULDDESIGN_DESIGNS", "100"))
PATTERNS = ("chestnut", "lantern", "bee", "wreath", "knot")
WEIGHTS_G = (30.0, 75.0, 200.0)
WARNED = {
    30.0: {
        "crust thickness",
        "thinnest stroke of the raised relief",
        "thinnest gap of the raised relief",
    }
}
"""What a piece of 30 g is too small for, and is told so: three tenths of it make 1.5 mm of crust
in any pressed shape (2.0 in a ball), and drawings shrink to strokes finer than two lines."""

EVERY = [
    (kind, outline, pattern, weight_g)
    for kind in MADE_KINDS
    for outline in OUTLINES
    for pattern in PATTERNS
    for weight_g in WEIGHTS_G
]
SAMPLE = [
    (MADE_KINDS[n % 3], outline, PATTERNS[n], WEIGHTS_G[(n + n // 3) % 3])
    for n, outline in enumerate(OUTLINES)
]
"""Each kind, outline, pattern and weight at least once; the first is much as `little-30` is."""


def at_defaults(kind, outline, pattern, weight_g):
    return Design().with_values(
        {
            "mould.kind": kind.value,
            "pastry.outline": outline,
            "portion.finished_weight_g": weight_g,
            "relief.layers": [{"pattern": pattern}],
        }
    )


def assert_good(kind, outline, pattern, weight_g):
    made = build(at_defaults(kind, outline, pattern, weight_g))
    assert_sound(made)
    doubtful = {f.name for f in made.findings if f.verdict is not Verdict.GOOD}
    assert doubtful <= WARNED.get(weight_g, set())
    assert made.failed == ()


@pytest.mark.parametrize(
    ("kind", "outline", "pattern", "weight_g"),
    [pytest.param(*SAMPLE[0], marks=pytest.mark.slow), *SAMPLE[1:]],
)
def test_the_defaults_are_good_for(kind, outline, pattern, weight_g):
    assert_good(kind, outline, pattern, weight_g)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "outline", "pattern", "weight_g"), EVERY)
def test_the_defaults_are_good_for_all(kind, outline, pattern, weight_g):
    assert_good(kind, outline, pattern, weight_g)


@pytest.mark.slow
def test_designs_of_all_kinds_and_faces_are_good_or_say_what_to_change(capsys):
    counted = Counter()

    @given(design=any_kind(), face=st.sampled_from([None, *face_names()]))
    @settings(max_examples=DESIGNS)
    def judge(design, face):
        try:
            asked = design if face is None else design.with_values({"face.name": face})
        except SpecError:
            reject()
        counted[f"{design.mould.kind}: {outcome(asked)}"] += 1

    judge()
    with capsys.disabled():
        print(json.dumps(dict(counted.most_common()), indent=1))  # noqa: T201 (a count to report)
    assert {kind.value for kind in MADE_KINDS} == {name.partition(":")[0] for name in counted}
