"""Casting masters, judged by trimesh, by its convex hulls and by closed forms."""

from functools import cache
from math import pi

import numpy as np
import pytest
import trimesh
from mould.judge import body, ceiling_boxes_mm, cross_section, steepest_overhang_deg
from shapely import Polygon as Shape
from shapely import unary_union
from shapely.affinity import translate

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould import make_mould
from moulddesign.mould.cast import cast
from moulddesign.pastry.pastry import pastry

CASES = {
    "one round": {},
    "three scalloped": {"mould.cavities": 3, "pastry.outline": "scalloped"},
    "two square, silicone that shrinks": {
        "mould.cavities": 2, "pastry.outline": "square", "mould.silicone_shrink": 0.01,
    },
    "wide leaning tray": {"mould.tray_draft_deg": 20.0, "mould.land_mm": 15.0},
    "leaning pastry": {"mould.side_draft_deg": 5.0},
}  # fmt: skip

CUT_MM = 0.01
"""How far above the floor the pastries are cut off, so that nothing joins them [mm]."""


@cache
def made(case):
    design = Design().with_values(
        {"mould.kind": "cast", "relief.layers": [{"motif": "rays", "count": 7}]} | CASES[case]
    )
    piece = pastry(design, 32.0)
    return design, piece, cast(design.mould, design.printer, piece)


@pytest.fixture(params=CASES)
def case(request):
    return made(request.param)


def test_it_is_one_closed_body_on_the_bed(case):
    design, _, mould = case
    assert [part.name for part in mould.parts] == ["master"]
    low, high = body(mould.parts[0].printed).bounds
    assert low[2] == 0.0
    assert (low >= 0.0).all()
    assert (high <= design.printer.bed_mm).all()


NOT_FOOD = Design().with_values(
    {"mould.kind": "cast", "relief.layers": [], "portion.purpose": "not-food"}
)


def test_the_silicone_of_what_is_no_food_says_so():
    mould = make_mould(NOT_FOOD, pastry(NOT_FOOD, 60.0))
    (master,) = mould.parts
    seen, layout = body(master.mesh), mould.layout
    plain = cast(NOT_FOOD.mould, NOT_FOOD.printer, pastry(NOT_FOOD, 60.0))
    sunk_mm3 = body(plain.parts[0].mesh).volume - seen.volume
    assert layout.silicone_mm3 - plain.layout.silicone_mm3 == pytest.approx(sunk_mm3)
    # Read as the silicone shows it, from below: y turned over, and what is sunk here stands there.
    cut = seen.section(plane_origin=(0.0, 0.0, -0.3), plane_normal=(0.0, 0.0, 1.0))
    loops = [loop[:, :2] * (1.0, -1.0) for loop in cut.discrete]
    letters = [loop for loop in loops if 3.0 < np.ptp(loop[:, 1]) < 10.0]  # no wall, no vent
    first, *_, last = sorted(letters, key=lambda loop: loop[:, 0].min())
    # The N of NOT comes first: as wide at its foot as at its top. The D of FOOD comes last: its
    # left edge is upright, its right edge is round.
    assert np.ptp(first[first[:, 1] < first[:, 1].mean(), 0]) == pytest.approx(
        np.ptp(first[:, 0]), rel=0.02
    )
    left = last[last[:, 0] < last[:, 0].min() + 0.05]
    right = last[last[:, 0] > last[:, 0].max() - 0.05]
    assert np.ptp(left[:, 1]) > 2.0 * np.ptp(right[:, 1])


def test_food_is_cast_without_letters_and_a_narrow_tray_has_no_room():
    food = NOT_FOOD.with_values({"portion.purpose": "food"})
    narrow = NOT_FOOD.with_values({"mould.land_mm": 4.0})
    for design in (food, narrow):
        (master,) = make_mould(design, pastry(design, 60.0)).parts
        assert master.lettering == ""


def test_the_silicone_is_what_the_tray_lacks_below_its_notch(case):
    _, _, mould = case
    seen, layout = body(mould.parts[0].mesh), mould.layout
    (x0, y0), (x1, y1) = layout.inside_mm
    out, up = 40.0, layout.fill_mm
    # All air between floor and notch, less what lies outside the tray's outer wall.
    room = trimesh.creation.box(bounds=[(x0 - out, y0 - out, 0.0), (x1 + out, y1 + out, up)])
    air = trimesh.boolean.difference([room, seen], engine="manifold")
    inside = [part for part in air.split() if part.extents[0] < room.extents[0] - 1.0]
    # Facets of corners and pockets lie within 0.005 mm of their arcs, over the inner wall.
    inner_mm2 = 4.0 * max(seen.extents[:2]) * seen.extents[2]
    assert sum(part.volume for part in inside) == pytest.approx(
        layout.silicone_mm3, abs=0.005 * inner_mm2
    )


def test_the_notch_is_8_mm_wide_and_its_floor_is_the_level_of_the_silicone(case):
    _, _, mould = case
    layout, mesh = mould.layout, mould.parts[0].mesh
    below, above = (cross_section(mesh, layout.fill_mm + step) for step in (-0.01, 0.01))
    assert len(below[0].interiors) == 1  # a closed ring of wall around the silicone
    assert above[0].interiors[:] == []  # open at the notch
    # What the section loses is the wall's width there times the notch's.
    lost = unary_union(below).convex_hull.buffer(0.0).intersection(unary_union(below))
    lost = lost.difference(unary_union(above)).buffer(-0.05)
    spans = sorted(np.ptp(np.array(lost.bounds).reshape(2, 2), axis=0))
    assert any(span == pytest.approx(8.0 - 0.1, abs=0.01) for span in spans)


def test_one_vent_leads_through_the_floor_beside_the_pastries(case):
    _, piece, mould = case
    seen = body(mould.parts[0].mesh)
    assert seen.euler_number == 0  # one way through: a torus, but for its shape
    (level,) = cross_section(mould.parts[0].mesh, -1.0)
    (hole,) = level.interiors
    # 2 mm across; chords within 0.005 mm.
    assert Shape(hole).area == pytest.approx(pi, abs=0.005 * 2.0 * pi)
    for x, y in mould.layout.grid.centres_mm:
        grown = 1.0 / (1.0 - mould.layout.mould.silicone_shrink)
        standing = translate(Shape(grown * piece.outline.points), x, y)
        assert standing.distance(Shape(hole)) > 1.0


def test_each_pastry_is_larger_by_the_silicones_shrinkage(case):
    design, piece, mould = case
    grown = 1.0 / (1.0 - design.mould.silicone_shrink)
    seen = body(mould.parts[0].mesh)
    low, high = seen.bounds
    room = trimesh.creation.box(bounds=[[*(low[:2] - 1.0), CUT_MM], high + 1.0])
    above = trimesh.boolean.intersection([seen, room], engine="manifold")
    standing = [part for part in above.split() if part.extents[0] < above.extents[0] - 1.0]
    assert len(standing) == design.mould.cavities
    for part in standing:
        # float32 holds 64 mm within 4e-6 mm; on the three extents of a piece 10 mm high, 1e-6.
        slice_mm3 = CUT_MM * grown**2 * piece.outline.area_mm2
        assert part.volume + slice_mm3 == pytest.approx(grown**3 * piece.volume_mm3, rel=2e-6)


def test_it_prints_without_support(case):
    printed = case[2].parts[0].mesh  # before float32 turns slivers over
    assert steepest_overhang_deg(printed) <= 45.0
    assert ceiling_boxes_mm(printed) == []


def test_more_than_the_bed_holds_is_refused_with_the_number_that_fits():
    design = Design().with_values({"mould.kind": "cast", "mould.cavities": 30})
    piece = pastry(design, 60.0)
    with pytest.raises(SpecError, match=r"mould.cavities = 30: do not fit the bed .* \d+ do;"):
        cast(design.mould, design.printer, piece)


def test_a_thin_floor_is_refused():
    design = Design().with_values({"mould.kind": "cast", "mould.floor_mm": 1.0})
    piece = pastry(design, 60.0)
    with pytest.raises(SpecError, match=r"mould.floor_mm = 1.0: must be at least 2.2 mm"):
        cast(design.mould, design.printer, piece)
