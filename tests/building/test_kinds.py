"""Every kind of mould in every outline, and designs that nobody picked by hand."""

import json
import os
from collections import Counter

import pytest
from sampled_designs import DRAWN, sampled_design
from soundness import assert_sound, outcome

from moulddesign.building import build
from moulddesign.core import SpecError, Verdict
from moulddesign.design import MADE_KINDS, OUTLINES, Design
from moulddesign.design.face_tables import BandSection, face_names
from moulddesign.design.piece_tables import SideForm

DESIGNS = int(os.environ.get("MOULDDESIGN_DESIGNS", "40"))
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


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"mould.kind": "cast", "mould.cavities": 30}, r"mould.cavities = 30: do not fit the bed"),
        ({"mould.kind": "block", "mould.handle_length_mm": 250.0}, r"printer.bed_mm = .*block"),
        ({"mould.kind": "block", "mould.handle_width_mm": 79.0}, r"mould.handle_width_mm = 79"),
    ],
)
def test_what_the_bed_does_not_take_is_refused_before_a_face_is_made(values, said, monkeypatch):
    def made(*_args, **_kwargs):
        pytest.fail("the face was made")

    monkeypatch.setattr("moulddesign.pastry.pastry.carved_top", made)
    with pytest.raises(SpecError, match=said):
        build(Design().with_values({"face.name": "chestnut", **values}))


def test_the_stamp_of_a_sharp_reeded_square_needs_no_support():
    # the reeds at its corners are used up by the chamfer of its back
    pastry = {"outline": "square", "corner_radius_mm": 0.0, "side": "reeded", "side_count": 24}
    assert build(Design.of({"pastry": pastry | {"side_depth_mm": 0.7}})).failed == ()


def test_the_sample_has_every_kind_face_outline_and_side():
    drawn = [sampled_design(number) for number in range(300)]
    assert {design.mould.kind for design in drawn} == set(MADE_KINDS)
    assert {design.face and design.face.name for design in drawn} == {None, *face_names()}
    assert {design.pastry.outline for design in drawn} == {*OUTLINES, *DRAWN}
    assert {design.pastry.side for design in drawn} == set(SideForm)
    sections = {band.section for design in drawn for band in design.pastry.side_bands}
    assert sections == set(BandSection)


@pytest.fixture(scope="module")
def counted(request):
    """Outcomes by kind of mould, which are reported."""
    made = Counter()
    yield made
    capturing = request.config.pluginmanager.get_plugin("capturemanager")
    with capturing.global_and_fixture_disabled():
        print(json.dumps(dict(made.most_common()), indent=1))  # noqa: T201 (a count to report)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(DESIGNS))
def test_designs_of_all_kinds_and_faces_are_good_or_say_what_to_change(number, counted):
    design = sampled_design(number)
    counted[f"{design.mould.kind}: {outcome(design)}"] += 1
