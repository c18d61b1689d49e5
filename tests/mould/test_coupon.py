"""Coupons, judged by trimesh and by the widths and depths that are marked on them."""

from functools import cache

import numpy as np
import pytest
from mould.judge import body, ceiling_boxes_mm, cross_section, steepest_overhang_deg
from shapely import Polygon as Shape

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.mould import coupons


@cache
def made():
    return coupons(Design())


@pytest.mark.parametrize("name", ["gauge", "peg", "sampler"])
def test_each_is_one_closed_body_that_prints_without_support(name):
    part = made().part(name)
    seen = body(part.printed)
    assert seen.bounds[0, 2] == 0.0
    if name == "sampler":
        # A plate: nothing leans outwards but slivers, which float32 turns over on the flat.
        over = seen.face_normals[:, 2] < 0.0
        assert seen.area_faces[over & (seen.triangles[:, :, 2].min(axis=1) > 0.0)].sum() < 1e-3
    else:
        assert steepest_overhang_deg(part.mesh) <= 45.0
        assert ceiling_boxes_mm(part.mesh) == []


def test_each_hole_leaves_its_gap_on_each_side_of_the_peg():
    (plate,) = cross_section(made().part("gauge").mesh, 4.0)
    (peg,) = cross_section(made().part("peg").mesh, 9.0)
    holes = [Shape(ring) for ring in plate.interiors]
    assert len(holes) == 6
    for x, y, gap in made().layout.holes_mm:
        (hole,) = [hole for hole in holes if np.hypot(hole.centroid.x - x, hole.centroid.y - y) < 1]
        middle = np.array(hole.exterior.coords) - (x, y)
        # Chords lie within 0.005 mm of the circles.
        assert np.linalg.norm(middle, axis=1) == pytest.approx(10.0 + gap, abs=0.005)
        assert np.linalg.norm(peg.exterior.coords, axis=1) == pytest.approx(10.0, abs=0.005)


@pytest.mark.parametrize(("row", "depth"), list(enumerate((0.6, 1.0, 1.4, 1.8, 2.2))))
def test_a_row_of_the_sampler_is_as_deep_as_it_is_marked(row, depth):
    seen = body(made().part("sampler").mesh)
    # Seen from above the plate is turned over: rows run from the front to the back.
    y = -22.0 + 14.0 * row
    here = (np.abs(seen.vertices[:, 1] - y) < 5.0) & (seen.vertices[:, 0] > -33.0)
    here &= seen.vertices[:, 2] > 0.0
    # The widest bar is 1.6 mm: walls of 15 deg draft are 0.8 mm from its middle, 3 mm deep.
    assert seen.vertices[here, 2].min() == pytest.approx(seen.bounds[1, 2] - depth, abs=1e-6)


def test_strokes_and_the_gaps_between_them_are_as_wide_as_marked():
    top = body(made().part("sampler").mesh).bounds[1, 2]
    level = max(cross_section(made().part("sampler").mesh, top - 1e-4), key=lambda part: part.area)
    bars = [Shape(ring) for ring in level.interiors]
    for number, width in enumerate((0.4, 0.6, 0.8, 1.0, 1.3, 1.6)):
        x = -26.0 + 13.0 * number
        pair = [b for b in bars if abs(b.centroid.x - x) < 4.0 and abs(b.centroid.y + 22.0) < 1.0]
        left, right = sorted(pair, key=lambda bar: bar.centroid.x)
        # 1e-4 mm below the top walls of 15 deg stand 3e-5 mm further in; the grid is 1e-5 mm.
        for bar in (left, right):
            assert bar.bounds[2] - bar.bounds[0] == pytest.approx(width, abs=1e-4)
        assert right.bounds[0] - left.bounds[2] == pytest.approx(width, abs=1e-4)


def test_a_bed_that_is_too_small_is_refused():
    design = Design().with_values({"printer.bed_mm": [90.0, 90.0, 100.0]})
    with pytest.raises(SpecError, match=r"printer.bed_mm = .* is smaller than the gauge along x"):
        coupons(design)
