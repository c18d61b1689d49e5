"""Letters on the parts, read by rasterising what is seen of them from the print's upper side."""

from functools import cache

import kept_designs
import numpy as np
import pytest
import shapely
from mould.judge import body, cross_section

from moulddesign.building import shaped
from moulddesign.design import Design
from moulddesign.mould import inscriptions, make_mould
from moulddesign.mould.block import block
from moulddesign.mould.part_lettering import inscribe_block, inscribe_press
from moulddesign.mould.plans import text_region
from moulddesign.mould.press import press
from moulddesign.pastry.pastry import pastry

MAKERS = {"press": (press, inscribe_press), "block": (block, inscribe_block)}


@cache
def made(kind, outline="round", name="lantern-night"):
    design = Design().with_values(
        {"mould.kind": kind, "pastry.outline": outline, "name": name, "relief.layers": []}
    )
    make, letter = MAKERS[kind]
    plain = make(design.mould, design.printer, pastry(design, 60.0))
    return plain, letter(design, plain)


@pytest.mark.parametrize(
    ("kind", "part", "text"),
    [
        ("press", "sleeve", "75 g  3:7"),
        ("press", "plunger", "75 g  3:7  lantern-night"),
        ("press", "stop", ""),
        ("block", "block", "75 g  3:7  lantern-night"),
    ],
)
def test_letters_are_sunk_into_one_closed_body(kind, part, text):
    plain, written = made(kind)
    before, after = body(plain.part(part).mesh), body(written.part(part).mesh)
    assert after.bounds == pytest.approx(before.bounds, abs=1e-6)  # float32 of nothing moved
    assert 0.0 < before.volume - after.volume < 0.01 * before.volume
    assert written.part(part).plain is plain.part(part).mesh
    if part == "stop":
        text = f"75 g  {written.layout.stop_height_mm:.1f}"
    assert written.part(part).lettering == text


def test_the_handle_reads_right_from_above_as_it_is_printed():
    _, written = made("block")
    printed = written.part("block").printed
    top = written.layout.handle_thickness_mm
    levels = cross_section(printed, top - 1e-3)
    handle = min(levels, key=lambda part: part.bounds[0])
    holes = [shapely.Polygon(ring) for ring in handle.interiors]
    # The hole to hang it by and the cavity are far wider than a letter.
    cut = shapely.union_all([hole for hole in holes if np.ptp(hole.exterior.xy[0]) < 7.0])
    islands = [p for p in levels if cut.convex_hull.contains(p)]
    cut = cut.difference(shapely.union_all(islands))
    asked = text_region("75 g  3:7\nlantern-night", height_mm=1.0)
    x0, y0, x1, _ = cut.bounds
    a0, b0, a1, _ = asked.bounds
    factor = (x1 - x0) / (a1 - a0)
    laid = shapely.affinity.affine_transform(
        asked, [factor, 0.0, 0.0, factor, x0 - factor * a0, y0 - factor * b0]
    )
    share = cut.intersection(laid).area / cut.union(laid).area
    # A micrometre down walls of 20 deg, and letters laid by their box: far more than 0.98.
    assert share > 0.98
    mirrored = shapely.affinity.scale(laid, -1.0, 1.0)
    assert cut.intersection(mirrored).area / cut.union(mirrored).area < 0.8


def test_a_name_that_is_too_long_or_in_other_letters_leaves_weight_and_ratio():
    for name in ("x" * 80, "\N{CJK UNIFIED IDEOGRAPH-6817}"):
        _, written = made("press", name=name)
        assert written.part("sleeve").lettering == "75 g  3:7"


def test_texts_begin_with_the_longest():
    design = Design.of({"name": "lantern-night"})
    assert inscriptions(design) == ("75 g  3:7  lantern-night", "75 g  3:7", "75 g")


@pytest.mark.parametrize("outline", ["round", "square"])
def test_a_sleeve_is_written_under_one_of_its_lobes(outline):
    plain, written = made("press", outline)
    before, after = body(plain.part("sleeve").mesh), body(written.part("sleeve").mesh)
    assert after.volume < before.volume
    half = plain.layout.outline.width_mm / 2.0
    old = {tuple(point) for point in np.round(before.vertices, 5)}
    fresh = [point for point in np.round(after.vertices, 5) if tuple(point) not in old]
    assert len(fresh) > 100
    assert min(y for _, y, _ in fresh) > half + plain.layout.flange_reach_mm


def test_a_stop_reads_right_from_above():
    _, written = made("press")
    stop = written.part("stop").mesh
    top = written.layout.sleeve_height_mm + 10.0  # of the tab
    (tab,) = (p for p in cross_section(stop, top - 1e-3) if p.interiors)
    holes = [shapely.Polygon(ring) for ring in tab.interiors]
    # The hole for the cord, 4 mm, is the furthest out.
    holes.remove(max(holes, key=lambda hole: hole.centroid.x))
    cut = shapely.affinity.rotate(shapely.union_all(holes), -90.0, origin=(0.0, 0.0))
    asked = text_region(written.part("stop").lettering.replace("  ", "\n"), height_mm=1.0)
    asked = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(asked)])
    box, wanted = cut.bounds, asked.bounds
    factor = (box[2] - box[0]) / (wanted[2] - wanted[0])
    move = [factor, 0.0, 0.0, factor, box[0] - factor * wanted[0], box[1] - factor * wanted[1]]
    laid = shapely.affinity.affine_transform(asked, move)
    # By its width the text is laid within 0.1 mm; strokes are 0.6 mm wide.
    assert cut.intersection(laid).area / cut.union(laid).area > 0.9


@pytest.mark.parametrize("weight_g", [66.0, 67.0, 82.0])
def test_letters_whose_plateau_touches_itself_are_cut_all_the_same(weight_g):
    # At the sizes that follow from these figures the rim of a letter's plateau comes to one vertex
    # twice.
    figures = {
        "portion.finished_weight_g": weight_g, "portion.loss": 0.02,
        "portion.crust_density_g_per_ml": 1.29, "portion.filling_density_g_per_ml": 1.25,
        "portion.crust_dough": None, "portion.filling_paste": None,
        "portion.centres": [{"name": "piece of date", "mass_g": 5, "density_g_per_ml": 1.2}],
    }  # fmt: skip
    design = kept_designs.kept("chestnut-75").with_values(figures)
    sleeve = make_mould(design, shaped(design).pastry).part("sleeve")
    assert sleeve.lettering
    assert 0.0 < body(sleeve.printed).volume < sleeve.plain.volume_mm3


def test_every_block_is_lettered_where_cavities_take_several():
    design = Design().with_values(
        {
            "mould.kind": "block", "mould.cavities": 8, "mould.lettering": True,
            "printer.bed_mm": [180.0, 180.0, 180.0], "relief.layers": [],
        }
    )  # fmt: skip
    written = inscribe_block(design, block(design.mould, design.printer, pastry(design, 60.0)))
    assert len(written.parts) > 1
    assert {part.lettering for part in written.parts} == {inscriptions(design)[0]}
