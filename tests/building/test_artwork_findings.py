"""What is said of artwork that would be lost, changed or illegible, each with its mend."""

import numpy as np
import pytest
from PIL import Image

from moulddesign.building import shaped
from moulddesign.building.artwork_findings import artwork_findings
from moulddesign.design import Design
from moulddesign.page.draft import Draft
from moulddesign.page.finding_actions import mend

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
<circle cx="50" cy="50" r="{outer}" fill="{shade}"/>
<circle cx="50" cy="50" r="30" fill="{inner}"/></svg>"""

BAR = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
<rect y="49" width="100" height="2"/></svg>"""


def found(*layers, **tables):
    """Return the findings about artwork by their ids."""
    return findings(Design.of({"relief": {"layers": list(layers)}, **tables}))


def findings(design):
    return {one.id: one for one in artwork_findings(design, shaped(design).pastry)}


def test_a_name_of_31_letters_on_50_g_is_not_made():
    # letters 41 mm / 20 em wide have stems of 0.2 em x 2 mm: narrower than two walls of 0.4 mm
    said = found({"text": "Chestnut Orchard Lantern Nights"}, portion={"finished_weight_g": 50.0})
    failed = said["verify.artwork-at-depth"]
    assert (failed.verdict.value, failed.measured) == ("fail", 0.0)
    assert dict(failed.remedy.values)["other"].id == "building.bolder-artwork"
    assert "on more lines" in str(failed.remedy)


def test_two_short_lines_are_read():
    said = found({"text": "NUT\nFIG"})
    assert {one.verdict.value for one in said.values()} == {"good"}


def test_a_thin_stroke_says_the_size_at_which_it_holds(tmp_path):
    # arithmetic: a stroke of 2 % of its frame is 0.6 mm wide where the frame is 30 mm
    bar = tmp_path / "bar.svg"
    bar.write_text(BAR)
    said = found({"pattern": str(bar), "size_mm": 15.0})
    remedy = said["building.thinnest-raised-stroke"].remedy
    assert dict(remedy.values)["stroke_mm"] == 0.6
    assert dict(dict(remedy.values)["larger"].values)["size_mm"] == pytest.approx(30.0, rel=0.02)


@pytest.mark.parametrize("layer_deg", [None, pytest.param(40.0, id="its own draft")])
def test_walls_too_gentle_for_a_stroke_name_the_draft_that_holds(tmp_path, layer_deg):
    # A stroke of 2 % of 60 mm: walls of 40 deg meet at 0.6 / tan 40 = 0.7 of its 1.5 mm. They come
    # to 1.5 mm from atan(0.6 / 1.5) = 21.8 deg on; half a pixel of 0.05 mm is 0.9 deg of it.
    bar = tmp_path / "bar.svg"
    bar.write_text(BAR)
    layer = {"pattern": str(bar), "size_mm": 60.0} | ({"draft_deg": layer_deg} if layer_deg else {})
    tables = {
        "portion": {"finished_weight_g": 200.0},
        "relief": {"depth_mm": 1.5, "draft_deg": 12.0 if layer_deg else 40.0, "layers": [layer]},
    }
    design = Design.of(tables)
    failed = findings(design)["verify.artwork-at-depth"]
    key = "relief.layers.0.draft_deg" if layer_deg else "relief.draft_deg"
    change = mend(failed, design)
    assert list(change) == [key]
    assert 20.0 <= change[key] <= 22.0
    mended = Draft(design.plain(), Design)
    mended.set_value(key, change[key])
    made = findings(Design.of(mended.tree))
    assert made["verify.artwork-at-depth"].verdict.value == "good"


def test_a_layer_under_another_is_said(tmp_path):
    whole = tmp_path / "disc.svg"
    whole.write_text(DRAWING.format(outer=48, shade="black", inner="black"))
    said = found({"text": "NUT", "size_mm": 8}, {"pattern": str(whole), "size_mm": 30})
    assert said["verify.shown-of-layer"].part == "layer-1"
    assert said["verify.shown-of-layer"].measured == 0.0


@pytest.mark.parametrize(
    ("outline", "count", "mended"),
    [
        pytest.param("square", 21, 20, id="a square has four sides"),
        pytest.param("hexagon", 20, 18, id="a hexagon has six"),
        pytest.param("round", 21, None, id="any count goes round a disc"),
    ],
)
def test_a_count_that_the_outline_does_not_divide_is_said(outline, count, mended):
    said = found({"motif": "beads", "count": count}, pastry={"outline": outline})
    counted = said.get("verify.motif-count")
    assert (None if counted is None else dict(counted.remedy.values)["count"]) == mended


def test_grey_is_shallower_and_the_threshold_mends_it(tmp_path):
    # #333 is 0.2 of white by ITU-R BT.601, so it takes 0.8 of the depth
    logo = tmp_path / "logo.svg"
    logo.write_text(DRAWING.format(outer=48, shade="#333", inner="#333"))
    shallow = found({"pattern": str(logo)})["verify.deepest-shade"]
    assert shallow.measured == 0.8
    threshold = dict(shallow.remedy.values)["threshold"]
    assert "verify.deepest-shade" not in found({"pattern": str(logo), "threshold": threshold})


@pytest.mark.parametrize(
    ("layer", "verdict", "change"),
    [
        pytest.param({}, "warn", {"relief.depth_mm": 1.2}, id="the whole relief, in layers of 0.2"),
        pytest.param({"depth_mm": 1.8}, "warn", {"relief.layers.0.depth_mm": 1.2}, id="its own"),
        pytest.param({"depth_mm": 1.2}, "good", None, id="as deep as was seen to come out"),
    ],
)
def test_a_relief_deeper_than_the_dough_took_is_said(layer, verdict, change):
    # the sampler's reading, typed: nothing deeper than 1.3 mm came out whole
    tables = {"relief": {"depth_mm": 1.6, "layers": [{"motif": "beads"} | layer]}}
    design = Design.of(tables | {"dough": {"most_depth_mm": 1.3}})
    said = {one.id: one for one in artwork_findings(design, shaped(design).pastry)}
    deepest = said["verify.deepest-relief"]
    assert deepest.verdict.value == verdict
    assert mend(deepest, design) == change
    assert "verify.deepest-relief" not in found({"motif": "beads"})


def test_nested_greys_cut_a_groove_as_long_as_the_inner_edge(tmp_path):
    nested = tmp_path / "nested.svg"
    nested.write_text(DRAWING.format(outer=48, shade="#999", inner="black"))
    said = found({"pattern": str(nested), "size_mm": 30.0})
    # a circle of 0.3 x 30 mm around
    assert said["verify.grooves"].measured == pytest.approx(2 * np.pi * 9.0, rel=0.01)


@pytest.mark.parametrize(
    ("levels", "expected"),
    [
        pytest.param([0, 255], 0.0, id="black and white"),
        pytest.param([0, 110, 255], 1 / 3, id="a third is grey"),
    ],
)
def test_greys_of_a_picture_are_said(tmp_path, levels, expected):
    strips = np.repeat(np.array(levels, dtype=np.uint8), 600 // len(levels))
    Image.fromarray(np.tile(strips, (400, 1))).save(tmp_path / "strips.png")
    greys = found({"pattern": str(tmp_path / "strips.png"), "size_mm": 20.0}).get(
        "verify.greys-of-picture"
    )
    # up to three pixels beside each edge are not counted
    assert (0.0 if greys is None else greys.measured) == pytest.approx(expected, abs=0.03)
