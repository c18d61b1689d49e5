"""Knock-out blocks, judged by trimesh, the CAD kernel's own volumes and closed forms."""

from functools import cache
from math import pi

import numpy as np
import pytest
from mould.judge import body, ceiling_boxes_mm, cross_section, steepest_overhang_deg
from shapely import Point, unary_union
from shapely import Polygon as Shape

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould.block import block
from moulddesign.pastry.pastry import pastry

CASES = {
    "one round": {},
    "four square": {"mould.cavities": 4, "pastry.outline": "square"},
    "three scalloped": {"mould.cavities": 3, "pastry.outline": "scalloped"},
    "one banded": {
        "pastry.side_bands": [
            {"section": "round", "height_mm": 4.0, "depth_mm": 1.5},
            {"section": "step", "height_mm": 3.0, "depth_mm": 1.2, "gap_mm": 0.0},
        ],
    },
    "five hexagons without handle": {
        "mould.cavities": 5, "pastry.outline": "hexagon", "mould.handle_length_mm": 0,
    },
}  # fmt: skip


@cache
def made(case):
    design = Design().with_values(
        {
            "mould.kind": "block",
            "portion.finished_weight_g": 40.0,
            "relief.layers": [{"motif": "rays", "count": 7}],
        }
        | CASES[case]
    )
    piece = pastry(design, 32.0)
    return design, piece, block(design.mould, design.printer, piece)


@pytest.fixture(params=CASES)
def case(request):
    return made(request.param)


def test_it_is_one_closed_body_on_the_bed(case):
    design, _, mould = case
    assert [part.name for part in mould.parts] == ["block"]
    low, high = body(mould.parts[0].printed).bounds
    assert low[2] == 0.0
    assert (low >= 0.0).all()
    assert (high <= design.printer.bed_mm).all()


def test_each_mouth_has_the_outlines_area(case):
    design, piece, mould = case
    (rim,) = cross_section(mould.parts[0].mesh, 1e-4)
    mouths = [Shape(mouth) for mouth in rim.interiors]
    assert len(mouths) == design.mould.cavities
    for x, y in mould.layout.grid.centres_mm:
        (mouth,) = [m for m in mouths if np.hypot(m.centroid.x - x, m.centroid.y - y) < 1.0]
        # 1e-4 mm up a side of 5 deg is 1e-5 mm further in; float32 steps at 200 mm are 1.5e-5.
        assert mouth.area == pytest.approx(piece.outline.area_mm2, abs=4e-5 * mouth.length)


def test_only_lobes_smaller_than_the_lean_have_no_exact_blank():
    assert all(made(case)[2].parts[0].blank is not None for case in CASES)
    # Lobes of some 2 mm cannot be moved in by 23 mm tan 20 deg = 8 mm and stay arcs.
    design = Design().with_values(
        {"mould.kind": "block", "mould.side_draft_deg": 20.0, "pastry.outline": "scalloped",
         "pastry.lobes": 24, "relief.layers": []}
    )  # fmt: skip
    board = block(design.mould, design.printer, pastry(design, 60.0))
    assert board.parts[0].blank is None


@pytest.mark.parametrize("case", CASES)
def test_it_holds_what_the_exact_blank_holds_and_the_relief(case):
    """The CAD kernel's blank has cavities without relief: the mesh has less by the relief."""
    design, piece, mould = made(case)
    part = mould.parts[0]
    blank = part.blank()
    expected = blank.volume_mm3 - design.mould.cavities * piece.relief_mm3
    # Facets lie within 0.005 mm of the outside, chords of a cavity within 0.002 mm.
    assert body(part.mesh).volume == pytest.approx(expected, abs=0.005 * blank.area_mm2)


def test_it_prints_without_support(case):
    printed = case[2].parts[0].mesh.turned_over()  # before float32 turns slivers over
    assert steepest_overhang_deg(printed) <= 45.0
    assert ceiling_boxes_mm(printed) == []


def test_the_handle_has_a_hole_to_hang_it_by():
    _, _, mould = made("one round")
    (level,) = cross_section(mould.parts[0].printed, 9.0)
    hole, _ = sorted(level.interiors, key=lambda ring: Shape(ring).area)
    # Chords within 0.005 mm of a circle of 8 mm.
    assert Shape(hole).area == pytest.approx(pi * 16.0, abs=0.005 * pi * 8.0)


def test_more_than_the_bed_holds_is_shared_among_the_fewest_blocks():
    design = Design().with_values({"mould.kind": "block", "mould.cavities": 7})
    piece = pastry(design, 60.0)
    mould = block(design.mould, design.printer, piece)
    assert [part.name for part in mould.parts] == ["block", "block-2"]
    assert [plate.grid.count for plate in mould.layout.plates] == [4, 3]
    for part in mould.parts:
        assert (body(part.printed).extents <= design.printer.bed_mm).all()


def test_a_vent_leads_from_each_floor_to_the_back_beside_the_strokes(case):
    design, piece, mould = case
    thick, strokes = mould.layout.thickness_mm, unary_union([p.shape for p in piece.relief])
    x, y = mould.layout.vent_mm
    assert strokes.distance(Point(x, y)) > 0.6
    (back,) = cross_section(mould.parts[0].mesh, thick - 1e-4)
    for at in mould.layout.vents_mm:
        (hole,) = [Shape(one) for one in back.interiors if Shape(one).contains(Point(at))]
        # The cone is 4 mm wide at the back; chords lie within 0.005 mm of it.
        assert hole.area == pytest.approx(4.0 * pi, abs=0.005 * hole.length + 1e-3)
    # Each way through the body is one handle: the hole to hang it by, and the vents.
    holes = design.mould.cavities + bool(design.mould.handle_length_mm)
    assert body(mould.parts[0].mesh).euler_number == 2 - 2 * holes


LATTICE = {"relief.layers": [{"motif": "lattice", "count": 18, "stroke_mm": 2.2}]}


@pytest.mark.parametrize("values", [LATTICE | {"relief.margin_mm": 0.5}, {"mould.vent_mm": 0.0}])
def test_strokes_all_over_leave_no_room_for_a_vent_and_none_may_be_asked_for(values):
    design = Design().with_values({"mould.kind": "block"} | values)
    mould = block(design.mould, design.printer, pastry(design, 60.0))
    assert mould.layout.vents_mm == ()


@pytest.mark.parametrize(("height_mm", "handle_mm"), [(50.0, 18.0), (31.0, 12.6), (15.0, 12.0)])
def test_the_handle_leaves_room_for_knuckles(height_mm, handle_mm):
    """Block less 22 mm, between 12 and 18: 31 + 3.6 - 22 = 12.6."""
    design = Design().with_values(
        {"mould.kind": "block", "pastry.height_mm": height_mm, "relief.layers": []}
    )
    mould = block(design.mould, design.printer, pastry(design, 60.0))
    assert mould.layout.handle_thickness_mm == pytest.approx(handle_mm)


def test_a_bed_too_small_for_one_is_refused():
    design = Design().with_values({"mould.kind": "block", "printer.machine": "small-bed"})
    piece = pastry(design, 60.0)
    with pytest.raises(SpecError, match=r"printer.bed_mm = .* is smaller than a block of"):
        block(design.mould, design.printer, piece)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"mould.handle_width_mm": 75.0}, r"mould.handle_width_mm = 75.0: is too wide"),
        ({"mould.handle_length_mm": 5.0}, r"mould.handle_length_mm = 5.0: must be 0 or at least"),
        ({"mould.hole_mm": 24.0}, r"mould.hole_mm = 24.0: leaves too thin a handle"),
    ],
)
def test_a_handle_that_cannot_be_is_refused(values, sentence):
    design = Design().with_values({"mould.kind": "block"} | values)
    piece = pastry(design, 60.0)
    with pytest.raises(SpecError, match=sentence):
        block(design.mould, design.printer, piece)


@pytest.mark.parametrize("values", [{"mould.cavities": 2}, {"mould.side_draft_deg": 3.0}])
def test_a_press_takes_neither_several_cavities_nor_a_leaning_side(values):
    with pytest.raises(SpecError, match="belongs to the kind block"):
        Design().with_values(values)
