"""Pastries with a carved face, measured by trimesh and by arithmetic."""

from functools import cache

import numpy as np
import pytest
import trimesh

from moulddesign.design import Design
from moulddesign.geometry import overlaps_mm3
from moulddesign.pastry.interior import interior
from moulddesign.pastry.pastry import outline_table, pastry
from moulddesign.portion import figures

DOME = {
    "ground": {"form": "domed", "rise_mm": 3.0},
    "edge": "run-over",
    "shoulder_mm": 1.5,
    "bands": [{"section": "round", "width_mm": 2.0, "height_mm": 0.8}],
}


@cache
def piece(kind="press", outline="round", **sizes):
    design = Design.of(
        {"face": DOME, "mould": {"kind": kind}, "pastry": {"outline": outline, **sizes}}
    )
    weights = figures(design)
    return design, weights, pastry(design, weights.piece.volume_ml)


def outside(mesh):
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=True)


CASES = [
    ("press", "round", "plain"), ("press", "scalloped", "plain"), ("block", "octagon", "plain"),
    ("cast", "hexagon", "plain"), ("block", "round", "reeded"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "outline", "side"), CASES)
def test_the_written_solid_holds_the_portion(kind, outline, side):
    _, weights, made = piece(kind, outline, side=side, side_count=18)
    solid = outside(made.mesh)

    assert solid.is_watertight
    assert solid.volume == pytest.approx(1000.0 * weights.piece.volume_ml, rel=1e-6)
    assert solid.bounds[1, 2] == pytest.approx(made.height_mm + made.depth_above_mm, abs=1e-4)


@pytest.mark.parametrize(("kind", "outline", "side"), CASES[2:])
def test_a_drafted_side_under_an_edge_that_is_not_level_keeps_its_draft(kind, outline, side):
    design, _, made = piece(kind, outline, side=side, side_count=18)
    solid = outside(made.mesh)
    low, high = made.carved.rim_mm
    wall = solid.triangles[:, :, 2].min(axis=1) < 1e-3
    # What float32 leaves of a facet that is narrower than its step has no lean.
    wall &= (np.ptp(solid.triangles[:, :, 2], axis=1) > 1.0) & (solid.area_faces > 1e-3)
    leans_deg = np.degrees(np.arcsin(solid.face_normals[wall, 2]))

    assert high - low > 0.1
    assert leans_deg.min() >= design.mould.side_lean_deg - 0.1


def test_reeds_go_in_step_with_the_petals_of_the_face():
    face = {"crowns": [{"count": 10, "to_ratio": 0.7}, {"count": 7}]}
    design = Design.of({"face": face, "pastry": {"side": "reeded"}})

    assert outline_table(design).side_count == 42


def test_a_height_that_is_asked_for_is_met():
    _, weights, made = piece("press", "round", side="plain", height_mm=24.0)

    assert made.height_mm == pytest.approx(24.0, abs=0.02)
    assert outside(made.mesh).volume == pytest.approx(1000.0 * weights.piece.volume_ml, rel=1e-6)


def test_the_stamp_lies_on_its_pastry_and_overlaps_it_nowhere():
    design, _, made = piece()
    top_mm = made.height_mm + made.depth_above_mm + 4.0
    stamp = made.block_above(design.stamp_inset_mm, top_mm)
    inner = outside(stamp)
    radius = made.outline.width_mm / 2.0 - design.stamp_inset_mm
    touching = overlaps_mm3(made.mesh, stamp, np.zeros((1, 3)), step="both")
    sunk = overlaps_mm3(made.mesh, stamp, np.array([[0.0, 0.0, 0.1]]), step="both")

    assert inner.is_watertight
    assert touching.max() <= 0.01
    assert sunk.max() == pytest.approx(0.1 * np.pi * radius**2, rel=0.01)


def test_the_filling_holds_its_share_under_the_dome():
    design, weights, made = piece()
    inside = interior(design, made, weights.piece)
    filling = outside(inside.filling)
    wanted_mm3 = 1000.0 * (weights.piece.volume_ml - weights.piece.crust_ml)

    assert filling.is_watertight
    assert filling.volume == pytest.approx(wanted_mm3, rel=2e-3)
    # Under the dome's middle the filling stands higher than at its edge, by most of the dome.
    assert filling.bounds[1, 2] > made.height_mm - inside.crust_mm + 1.5
    assert 0.0 < inside.least_crust_mm <= inside.crust_mm


def test_a_face_alone_lies_on_no_relief_that_nobody_asked_for():
    assert Design.of({"face": DOME}).relief.layers == ()
    assert len(Design.of({"face": DOME, "relief": {"layers": [{"text": "A"}]}}).layers) == 1
