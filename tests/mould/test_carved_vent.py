"""Where the vent of a block with a carved face opens: at the bottom of its cavity."""

from math import pi

import pytest
import shapely
import trimesh

from moulddesign.design import Design
from moulddesign.mould.block import block, block_layout
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures


def carved(face):
    design = Design.of(
        {"portion": {"finished_weight_g": 30.0}, "face": face, "mould": {"kind": "block"}}
    )
    return design, pastry(design, figures(design).piece.volume_ml)


def test_a_vent_opens_under_the_top_of_a_dome():
    design, made = carved({"ground": {"form": "domed", "rise_mm": 3.0}})
    mould = block(design.mould, design.printer, made)
    assert mould.layout.vent_mm == pytest.approx((0.0, 0.0), abs=0.1)
    # The cap ends on the outline's own circle, at z = 0, so its top is its rise higher.
    level_mm = mould.layout.vent_level_mm
    assert level_mm == pytest.approx(made.height_mm + made.depth_above_mm)
    seen = trimesh.Trimesh(mould.parts[0].mesh.vertices, mould.parts[0].mesh.triangles)
    cut = seen.section([0.0, 0.0, 1.0], [0.0, 0.0, level_mm + 0.5])
    loops_mm2 = [shapely.Polygon(loop[:, :2]).area for loop in cut.discrete]
    vent_mm2 = pi * design.mould.vent_mm**2 / 4.0
    assert min(loops_mm2) == pytest.approx(vent_mm2, rel=0.02)  # chords lie within the circle


def test_ridges_narrower_than_a_vent_take_none():
    design, made = carved({"bands": [{"width_mm": 1.0, "height_mm": 3.0}]})
    layout = block_layout(design.mould, design.printer, made)
    assert layout.vent_mm is None
