"""A remedy, done as it says, mends what it was told for; a step less does not."""

import re

import pytest

from moulddesign.artwork.outline import outline_of_width
from moulddesign.building.composition import build, shaped
from moulddesign.building.remedies import (
    lighter_centre,
    more_draft,
    rim_figures,
    room_for_centres,
    shallower_relief,
    thicker_crust,
    wider_land,
)
from moulddesign.design import Design
from moulddesign.pastry.carved_top import stamp_rim_of
from moulddesign.portion import figures

LITTLE = {"finished_weight_g": 50.0, "ratio": "2:8"}
PLAIN = {"layers": []}


def inside(design):
    return shaped(design).interior


@pytest.mark.parametrize(
    "values",
    [
        {"portion": LITTLE, "relief": {"layers": [{"motif": "rings"}]}},
        {"portion": LITTLE | {"trapped_air": 0.05}, "relief": PLAIN},
        {
            "portion": LITTLE | {"centres": [{"name": "date", "counts_in": "apart"}]},
            "relief": PLAIN,
        },
        {"portion": LITTLE, "mould": {"kind": "block"}, "relief": PLAIN},
    ],
    ids=["under a relief", "with air", "beside a centre", "in a block"],
)
def test_a_thin_crust_is_told_the_ratio_that_is_thick_enough(values):
    design = Design.of(values)
    shape = shaped(design)
    assert shape.interior.crust_mm < 2.0  # common practice, no source: nowhere under 2 mm
    said = str(thicker_crust(design, shape.interior, shape.portion.piece))
    crust, filling = map(float, re.search(r"--ratio ([\d.]+):([\d.]+)", said).groups())
    assert crust + filling == pytest.approx(10.0)
    mended = design.with_values({"portion.ratio": f"{crust:g}:{filling:g}"})
    assert inside(mended).crust_mm >= 2.0
    short = design.with_values({"portion.ratio": f"{crust - 0.1:.1f}:{filling + 0.1:.1f}"})
    assert inside(short).crust_mm < 2.0 + 0.011


def test_a_centre_too_large_for_a_flat_piece_is_told_the_height_that_holds_it():
    # 1 mm of paste on each side, our own choice
    values = LITTLE | {"ratio": "3:7", "centres": [{"name": "date", "mass_g": 9.0}]}
    flat = {"height_to_width": 0.45}
    design = Design.of({"portion": values, "pastry": flat, "relief": PLAIN})
    assert inside(design).least_paste_mm < 1.0
    said = str(room_for_centres(design, inside(design)))
    height, proportion = map(
        float, re.search(r"([\d.]+) mm high: --height-to-width ([\d.]+)", said).groups()
    )
    mended = inside(design.with_values({"pastry.height_to_width": proportion}))
    assert mended.least_paste_mm >= 1.0
    assert mended.pastry.height_mm == pytest.approx(height, abs=0.051)
    less = design.with_values({"pastry.height_to_width": round(proportion - 0.01, 2)})
    assert inside(less).least_paste_mm < 1.0


def test_a_centre_too_large_for_any_height_is_told_the_weight_that_fits():
    values = LITTLE | {"ratio": "3:7", "centres": [{"name": "walnut", "mass_g": 32.0}]}
    design = Design.of({"portion": values, "relief": PLAIN})
    found = inside(design)
    assert found.least_rigid_mm < 0.0
    said = str(room_for_centres(design, found))
    mass_g = float(re.search(r'--centre "walnut:([\d.]+)"', said)[1])

    def paste_mm(mass_g):
        lighter = [{"name": "walnut", "mass_g": mass_g}]
        return inside(design.with_values({"portion.centres": lighter})).least_paste_mm

    assert paste_mm(mass_g) >= 1.0
    assert paste_mm(mass_g + 0.1) < 1.0


def test_a_centre_whose_scatter_takes_all_paste_is_told_a_lighter_one():
    values = LITTLE | {"centres": [{"name": "date", "mass_g": 38.0, "density_g_per_ml": 1.3}]}
    design = Design.of({"portion": values})
    made = figures(design)
    assert made.split.paste_range_g[0] < 0.0
    said = str(lighter_centre(design, made))
    mass_g = float(re.search(r'--centre "date:([\d.]+):1.3"', said)[1])
    lighter = values | {"centres": [values["centres"][0] | {"mass_g": mass_g}]}
    assert 0.0 < figures(Design.of({"portion": lighter})).split.paste_range_g[0] < 0.3


def test_sunk_relief_is_told_the_depth_that_leaves_half_of_the_crust():
    relief = {"sense": "sunk", "depth_mm": 1.9, "layers": [{"motif": "rings"}]}
    design = Design.of({"portion": LITTLE | {"ratio": "3:7"}, "relief": relief})
    shape = shaped(design)
    assert shape.pastry.deepest_sunk_mm > 0.5 * shape.interior.crust_mm
    said = str(shallower_relief(design, shape.interior))
    depth_mm = float(re.search(r"--relief-depth ([\d.]+)", said)[1])
    mended = shaped(design.with_values({"relief.depth_mm": depth_mm}))
    assert mended.pastry.deepest_sunk_mm <= 0.5 * mended.interior.crust_mm


@pytest.mark.parametrize(
    "face",
    [
        {"name": "fruit", "land_mm": 0.4},
        {"edge": "run-over", "crowns": [{"count": 9, "to_ratio": 0.99, "height_mm": 2.0}]},
    ],
    ids=["a band under the rim", "petals that end at the edge"],
)
def test_a_feather_at_the_stamps_rim_is_told_the_land_that_mends_it(face):
    design = Design.of({"face": face})
    outline = outline_of_width(design.pastry, 60.0)
    stamp = outline.inset(design.stamp_inset_mm).shape
    assert not rim_figures(stamp_rim_of(design, outline, stamp)).is_good

    remedy = wider_land(design, outline, stamp)
    said = float(re.search(r"face.land_mm = ([\d.]+)", str(remedy))[1])
    wider = design.with_values({"face.land_mm": said, "face.edge": "land"})
    assert rim_figures(stamp_rim_of(wider, outline, stamp)).is_good
    narrower = design.with_values({"face.land_mm": said - 0.6, "face.edge": "land"})
    assert not rim_figures(stamp_rim_of(narrower, outline, stamp)).is_good


@pytest.mark.slow
def test_thin_ribs_of_a_steep_face_are_told_the_draft_that_mends_them():
    face = {"face": {"name": "wheat"}, "portion": {"finished_weight_g": 60.0}}
    steep = build(Design.of({**face, "relief": {"draft_deg": 6.0}}))
    assert steep.failed == ("stamp: thinnest wall",)
    (said,) = (str(found.remedy) for found in steep.findings if found.name in steep.failed)
    draft_deg = float(re.search(r"relief.draft_deg = ([\d.]+)", said)[1])
    assert build(Design.of({**face, "relief": {"draft_deg": draft_deg}})).failed == ()


def test_drafts_that_are_too_little_are_named_and_no_others():
    own = {"motif": "rings", "draft_deg": 4.0}
    values = {"relief": {"draft_deg": 3.0, "layers": [own]}}
    press, block = ({"kind": kind} for kind in ("press", "block"))

    def named(**tables):
        told = more_draft(Design.of(tables))
        return told if told is None else str(told)

    assert named(**values, mould=press) == "more draft: relief.layers.1.draft_deg = 5"
    assert named(relief={"draft_deg": 3.0, "layers": []}, mould=press) is None  # nothing has it
    both = named(
        relief={"draft_deg": 3.0, "layers": [{"motif": "rings"}]},
        mould=block | {"side_draft_deg": 2.0},
    )
    assert both == "more draft: relief.draft_deg, mould.side_draft_deg = 5"
    face = {"face": {"name": "seal"}, "mould": block}
    assert named(relief={"draft_deg": 4.9}, **face) == "more draft: relief.draft_deg = 5"
    assert named(relief={"draft_deg": 8.0}, **face) is None
