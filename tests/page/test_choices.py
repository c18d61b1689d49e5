"""The first screen: what its choices change in a design, their pictures, and findings in words."""

import io
import tomllib
from dataclasses import replace
from types import SimpleNamespace

import pytest
from page.person import drawn, figures, picked, redrawn, settings, typed, violations
from PIL import Image

from moulddesign.core import Finding, Verdict, say
from moulddesign.design import Design
from moulddesign.page.address import encode_design
from moulddesign.page.choice_pictures import (
    FOLDER,
    MOST_BYTES,
    SIZE_PX,
    choice_names,
    source_digest,
    source_digests,
)
from moulddesign.page.choices import chosen, with_choice, with_free_lettering
from moulddesign.page.draft import Draft, with_source
from moulddesign.page.finding_actions import mend, shown_place
from moulddesign.page.finding_list import claims

PIECE = SimpleNamespace(width_mm=53.0, outline="round")
"""A piece of 75 g, by the rule of a third power near enough."""


def after(*choices):
    """Return the draft of the usual design after some choices, and the design that it is."""
    tree = Design().plain()
    for what, value in choices:
        tree = with_choice(tree, what, value, PIECE)
    return tree, Design.of(tree)


def test_each_shipped_picture_is_of_its_source_and_small():
    # Made again by `python -m moulddesign.page.choice_pictures` where this fails.
    known = source_digests()
    assert {path.stem for path in FOLDER.glob("*.webp")} == set(choice_names()) == set(known)
    assert [name for name in choice_names() if known[name] != source_digest(name)] == []
    for name in choice_names():
        content = (FOLDER / f"{name}.webp").read_bytes()
        assert len(content) <= MOST_BYTES
        image = Image.open(io.BytesIO(content))
        assert (image.format, image.size) == ("WEBP", SIZE_PX)


def test_pictures_of_two_choices_differ():
    contents = {(FOLDER / f"{name}.webp").read_bytes() for name in choice_names()}
    # A plain top is shown twice: as the round outline, and as a top with nothing on it.
    assert len(contents) == len(choice_names()) - 1


def test_a_face_takes_the_place_of_a_picture_and_a_picture_that_of_a_face():
    tree, design = after(("top", "face-blossom"))
    assert tree["face"] == {"name": "blossom"}
    assert (design.relief.layers, chosen(tree, design)["top"]) == ((), "face-blossom")
    tree, design = after(("top", "face-blossom"), ("top", "pattern-wren"))
    assert design.face is None
    assert [layer.pattern for layer in design.relief.layers] == ["wren"]
    tree, design = after(("top", "face-blossom"), ("top", "top-plain"))
    assert (design.face, design.relief.layers) == (None, ())


def test_a_picture_shrinks_for_what_runs_around_it_and_grows_with_the_piece():
    tree, design = after(("around", "beads"))
    picture, beads = design.relief.layers
    assert (picture.pattern, beads.motif.value) == ("chestnut", "beads")
    # 53 mm less 2 mm of margin, 4 mm of beads and 1 mm of gap on each side, by hand: 39 mm; the
    # chestnut reaches as far as half its larger side
    assert picture.size_mm == pytest.approx(39.0, rel=0.02)
    bigger = with_choice(tree, "weight", 600.0, PIECE)  # eight times 75 g: twice as long
    assert bigger["relief"]["layers"][0]["size_mm"] == pytest.approx(2.0 * picture.size_mm, abs=0.1)
    alone = with_choice(tree, "around", "plain", PIECE)
    assert alone["relief"]["layers"] == [{**Design().plain()["relief"]["layers"][0]}]


def test_lettering_starts_where_nothing_is():
    layers = [{"pattern": "chestnut"}, {"motif": "beads"}, {"pattern": "wren"}]
    tree = Design().with_values({"relief.layers": layers}).plain()
    path = "relief.layers.2"
    made = with_free_lettering(with_source(tree, path, "text", "Text"), path, PIECE)
    picture, _, text = Design.of(made).relief.layers
    # by hand, half of 53 mm less 2 mm of margin, 4 mm of beads and 1 mm of gap: 19.5 mm; letters of
    # 5 mm stand on a circle that much smaller, and the chestnut ends 1 mm before them
    assert (text.along, text.size_mm, text.radius_mm) == ("upper-rim", 5.0, 14.5)
    assert picture.size_mm == pytest.approx(2.0 * 13.5, rel=0.02)
    alone = Design().plain()
    assert with_free_lettering(alone, "relief.layers.0", PIECE) == alone


def test_a_centre_comes_by_name_and_goes():
    _, design = after(("centre", "walnut"))
    assert (design.portion.centres[0].name, design.portion.centres[0].mass_g) == ("walnut", 5.0)
    _, design = after(("centre", "walnut"), ("centre_g", 8.0), ("centre", "date"))
    assert (design.portion.centres[0].name, design.portion.centres[0].mass_g) == ("date", 8.0)
    assert after(("centre", "walnut"), ("centre", ""))[1].portion.centres == ()


def test_a_dough_by_name_takes_the_place_of_its_figures():
    tree = Design().with_values({"portion.loss": 0.05}).plain()
    made = Design.of(with_choice(tree, "dough", "syrup", None))
    assert (made.portion.crust_dough, "loss" in made.plain()["portion"]) == ("syrup", False)


def finding(what, verdict=Verdict.GOOD, remedy=None):
    return Finding(
        what=say(what), measured=1.0, limit=say("core.the-design"), unit="mm", source="",
        verdict=verdict, remedy=remedy,
    )  # fmt: skip


def test_a_mould_is_said_to_print_only_where_nothing_of_it_failed_or_warns():
    good = [finding("verify.fits-bed"), finding("verify.thinnest-wall"), finding("building.volume")]
    assert claims(good) == ("prints", "holds")
    for verdict in (Verdict.WARN, Verdict.FAIL):
        assert claims([*good, finding("verify.steepest-overhang", verdict)]) == ("holds",)


@pytest.mark.parametrize(
    ("remedy", "changes"),
    [
        (say("building.more-crust", ratio="3.5:6.5"), {"portion.ratio": "3.5:6.5"}),
        (
            say("building.higher-piece", height_mm=34.9, proportion=0.73),
            {"pastry.height_to_width": 0.73},
        ),
        (say("building.lighter-centre", centre="date:8:1.2"), {"portion.centres.0.mass_g": 8.0}),
        (
            say(
                "building.or-from-weight",
                remedy=say("verify.thicker-vane", vane_mm=2.8),
                weight_g=9,
                flag="",
            ),
            {"mould.vane_thickness_mm": 2.8},
        ),
        (
            say("building.face-ends-at-land", land_mm=2.31),
            {"face.edge": "land", "face.land_mm": 2.31},
        ),
        (
            say("building.more-draft", keys=("relief.layers.2.draft_deg",), draft_deg=5.0),
            {"relief.layers.1.draft_deg": 5.0},
        ),
        (say("verify.less-clearance"), {"mould.clearance_mm": None}),
        (say("verify.test-the-dough"), None),
    ],
)
def test_a_remedy_is_a_change_of_the_design_where_the_page_can_make_it(remedy, changes):
    assert mend(replace(finding("verify.crust-thickness"), remedy=remedy), Design()) == changes


WREN = Design().with_values({"relief.layers": [{"pattern": "wren"}]})
LARGER = say("building.larger-artwork", size_mm=21.234, layer=2)


@pytest.mark.parametrize(
    ("remedy", "part", "changes"),
    [
        (LARGER, "", {"relief.layers.1.size_mm": 21.3}),  # never smaller than was asked for
        (
            say("building.or-thicken", larger=LARGER, stroke_mm=0.6, layer=2),
            "",
            {"relief.layers.1.least_stroke_mm": 0.6},
        ),
        (say("building.or-wider-gaps", larger=LARGER), "", {"relief.layers.1.size_mm": 21.3}),
        (
            say("building.flatter-artwork", larger=LARGER, depth_mm=1.27),
            "layer-2",
            {"relief.layers.1.depth_mm": 1.2},  # whole layers of 0.2 mm
        ),
        (
            say("verify.make-it-black", threshold=0.7),
            "layer-2",
            {"relief.layers.1.threshold": 0.7},
        ),
        (
            say("building.uncover-layer"),
            "layer-2",
            {"relief.layers": WREN.plain()["relief"]["layers"]},
        ),
        (say("verify.whole-count", count=24), "band-1", {"face.bands.0.count": 24}),
        (say("verify.whole-count", count=24), "crown-1", None),  # bundled, not in the design
        (LARGER, "stamp-bee", None),  # a further stamp's layers are its own
    ],
)
def test_a_remedy_of_a_layer_or_band_changes_that_one(remedy, part, changes):
    layers = [{"pattern": "wren"}, {"pattern": "sun"}]
    design = Design().with_values({"relief.layers": layers})
    made = mend(replace(finding("verify.artwork-at-depth"), remedy=remedy, part=part), design)
    assert made == changes
    if changes is not None and part != "band-1":  # the design has no band
        draft = Draft(design.plain(), Design)
        for path, value in changes.items():
            draft.set_value(path, value)
        assert Design.of(draft.tree).relief.layers[0].pattern == "wren"


def test_a_finding_knows_its_place_on_the_piece():
    thin = replace(
        finding("building.thinnest-raised-stroke"),
        limit=say("verify.at-least-at-place", limit_mm=0.6, x_mm=3.0, y_mm=-4.0),
    )
    parts = frozenset({"sleeve"})
    assert shown_place(thin, parts) == {"at": [3.0, -4.0]}
    assert shown_place(replace(thin, part="stamp-bee"), parts) is None  # on another pastry
    assert shown_place(finding("verify.crust-thickness"), parts) == {"cut": "crust"}
    layer = replace(finding("verify.artwork-at-depth"), part="layer-2")
    assert shown_place(layer, parts) == {"layer": 1}
    for part, place in (("sleeve", {"part": "sleeve"}), ("pastry", None)):
        assert shown_place(replace(finding("verify.thinnest-wall"), part=part), parts) == place


def test_a_face_is_chosen_by_its_picture_and_written_into_the_design(visit, tmp_path):
    page = visit()
    before = drawn(page)
    picked(page, "top", "face-sun")
    page.wait_for_selector(".view[data-stage=coarse]")
    assert drawn(page) > before
    page.wait_for_selector(".view:not([data-stage=coarse])")  # the true face takes its place
    assert page.inner_text(".design-name") == "75g-round-sun"
    assert page.locator("[data-choice=around] input").count() == 0  # the face brings its own
    settings(page)
    with page.expect_download() as awaited:
        page.click("a.download-design")
    awaited.value.save_as(tmp_path / "design.toml")
    assert tomllib.loads((tmp_path / "design.toml").read_text())["face"] == {"name": "sun"}
    shown = page.locator("[data-choice=top] img").evaluate_all(
        "all => all.map(i => i.naturalWidth)"
    )
    assert max(shown) == SIZE_PX[0]


def test_keys_reach_all_parts_soon_and_steps_go_to_round_figures(visit):
    page = visit()
    before = drawn(page)
    reached = []
    for _ in range(25):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.hash || document.activeElement.id"))
    assert reached[:3] == ["#form", "#view", "#results"]
    assert "make" in reached
    page.fill("#choice-weight", "75,3")
    page.click("[data-choice=weight] button >> nth=1")
    redrawn(page, before)
    page.wait_for_function("document.querySelector('#choice-weight').value === '76'")
    page.wait_for_selector(".strip >> text=76")
    page.fill("#choice-weight", "1")
    page.click("[data-choice=weight] button >> nth=0")
    page.wait_for_function("document.querySelector('#choice-weight').value === '1'")  # never 0 g
    page.fill("#choice-weight", "many")
    page.wait_for_selector("[data-choice=weight] .error >> text=number")


@pytest.mark.slow
def test_a_thin_crust_fails_and_is_mended_by_its_button(visit):
    page = visit()
    before = drawn(page)
    typed(page, "portion.ratio", "1:9")
    redrawn(page, before)
    page.wait_for_selector(".verdict-line.fail")
    page.click("[data-place] >> nth=0")
    page.wait_for_selector(".view[data-view=cut] .size.marked >> text=crust")
    page.wait_for_selector(".badge.marked >> text=crust thickness")
    page.click("[data-mend]")
    page.wait_for_function("document.querySelector('#design-portion-ratio').value !== '1:9'")
    page.wait_for_selector(".verdict-line.good")


def test_an_address_whose_drawing_is_gone_brings_all_the_rest_and_asks_for_it(visit):
    design = Design().with_values(
        {
            "portion.finished_weight_g": 82.0,
            "relief.layers": [{"pattern": "own-0123456789abcdef.svg"}, {"motif": "beads"}],
            "further_stamps": [
                {"name": "moon", "face": {"medallion": {"holds": {"pattern": "own-1.svg"}}}}
            ],
        }
    )
    page = visit(f"?design={encode_design(design)}")
    drawn(page)
    assert page.input_value("#choice-weight") == "82"
    assert page.locator("[data-choice=around] input[value=beads]").is_checked()
    page.wait_for_selector(
        ".notice >> text=own-0123456789abcdef.svg, own-1.svg was not uploaded here"
    )
    settings(page)
    assert page.input_value("#design-further_stamps-0-name") == "moon"


@pytest.mark.parametrize(
    "width",
    [820, pytest.param(1024, marks=pytest.mark.slow), pytest.param(360, marks=pytest.mark.slow)],
)
def test_axe_finds_nothing_on_the_first_screen(visit, width):
    page = visit(viewport={"width": width, "height": 900})
    drawn(page, "mould")
    page.click(".views >> text=Cut")
    page.wait_for_selector(".view-overlay .size")
    settings(page)
    figures(page)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
