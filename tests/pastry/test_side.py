"""Drafted sides against frustums of the handbooks, and trimesh's view of the whole pastry."""

from math import atan, cos, degrees, pi, radians, sqrt, tan

import numpy as np
import pytest
import trimesh

from moulddesign.artwork.outline import polygon_outline, round_outline, scalloped_outline
from moulddesign.core import SpecError
from moulddesign.design import OUTLINES, Design
from moulddesign.pastry.interior import crust_thickness_mm
from moulddesign.pastry.pastry import Pastry, pastry
from moulddesign.pastry.top_surface import drafted_side


@pytest.mark.parametrize(
    ("mouth", "floor", "depth", "published"),
    [  # Moscow Mathematical Papyrus, ed. W. W. Struve, 1930
        pytest.param(4, 2, 6, 56, id="Moscow papyrus, problem 14"),
    ],
)
def test_a_square_side_holds_the_published_frustum(mouth, floor, depth, published):
    draft = degrees(atan((mouth - floor) / 2 / depth))
    side = drafted_side(polygon_outline("square", mouth, 0.0), draft_deg=draft, radius_mm=0.0)
    # Corners lie on a grid of 1e-5 mm: a run off by half a step changes the volume by 1e-4.
    assert side.volume_mm3(depth) == pytest.approx(published, abs=2e-4)


def test_a_round_side_holds_the_pyramids_frustum():
    """V = h (A + a + sqrt(A a)) / 3 of the handbooks, A and a regular n-gons inset by apothems."""
    outline, high = round_outline(60.0), 22.0
    side = drafted_side(outline, draft_deg=7.0, radius_mm=0.0)
    count = len(outline.points)
    apothems = [30.0 * cos(pi / count), 30.0 * cos(pi / count) - high * tan(radians(7.0))]
    low, top = (count * tan(pi / count) * apothem**2 for apothem in apothems)
    frustum = high * (low + top + sqrt(low * top)) / 3.0
    # Corners lie on a grid of 1e-5 mm: areas are off by at most that times the circumference.
    assert side.volume_mm3(high) == pytest.approx(frustum, abs=1e-5 * 60.0 * pi * high)
    # The cone's own frustum holds more by the n-gon's deficit, 1e-4 at 276 corners.
    narrow = 30.0 - high * tan(radians(7.0))
    cone = pi * high * (30.0**2 + 30.0 * narrow + narrow**2) / 3.0
    assert side.volume_mm3(high) == pytest.approx(cone, rel=2e-4)


@pytest.mark.parametrize("outline", OUTLINES)
@pytest.mark.parametrize("shoulder_mm", [0.0, 3.0])
def test_a_drafted_pastry_has_the_volume_asked_for_and_leans_all_round(outline, shoulder_mm):
    design = Design().with_values(
        {
            "mould.kind": "block",
            "mould.side_draft_deg": 6.0,
            "pastry.outline": outline,
            "pastry.shoulder_radius_mm": shoulder_mm,
            "relief.layers": [{"motif": "petals", "count": 6}],
        }
    )
    made = pastry(design, 60.0)
    body = trimesh.Trimesh(made.mesh.vertices, made.mesh.triangles, process=False)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.body_count == 1
    # float32 holds 64 mm within 2e-6 mm; on the three extents of a piece 10 mm high, 6e-7.
    assert body.volume == pytest.approx(60_000.0, rel=1e-6)
    on_table = body.triangles[:, :, 2].min(axis=1) == 0.0
    side = on_table & (body.face_normals[:, 2] > -0.5)
    lean = np.degrees(np.arcsin(body.face_normals[side, 2]))
    weight = body.area_faces[side]
    # The grid of 1e-5 mm turns facets wider than 0.02 mm by less than 0.05 deg.
    assert weight.sum() > made.outline.width_mm * made.height_mm
    assert weight[np.abs(lean - 6.0) > 0.05].sum() < 1e-3 * weight.sum()


def test_a_height_that_is_given_is_met_with_a_drafted_side():
    design = Design().with_values({"mould.kind": "block", "pastry.height_mm": 24.0})
    made = pastry(design, 60.0)
    assert made.height_mm == pytest.approx(24.0, abs=1e-5)  # the height's own step
    assert made.volume_mm3 == pytest.approx(60_000.0, rel=1e-9)


def test_sides_that_meet_too_early_are_refused():
    design = Design().with_values(
        {"mould.kind": "block", "mould.side_draft_deg": 30.0, "pastry.width_mm": 40.0}
    )
    with pytest.raises(SpecError, match=r"mould.side_draft_deg = 30.0: makes the sides meet"):
        pastry(design, 60.0)


def test_a_drafted_crust_is_the_frustum_inside():
    """Inside, the radius is R - t / cos a - z tan a for z from t to h - t: a frustum again."""
    outline, high, draft, thick = round_outline(60.0), 25.0, radians(8.0), 3.0
    sides = len(outline.points)
    radii = [30.0 - thick / np.cos(draft) - z * tan(draft) for z in (thick, high - thick)]
    squares = radii[0] ** 2 + radii[0] * radii[1] + radii[1] ** 2
    # A regular n-gon of circumradius R has the area n sin(2 pi / n) R^2 / 2; it is inset by its
    # apothem, R cos(pi / n), so radii are off by 30 (1 - cos(pi / n)) = 0.002 mm.
    area = sides * np.sin(2.0 * pi / sides) / 2.0
    filled = area * squares / 3.0 * (high - 2.0 * thick)
    plain = Pastry(
        outline=outline, height_mm=high, shoulder_radius_mm=0.0, relief=(), roofs=(),
        side=drafted_side(outline, draft_deg=8.0, radius_mm=0.0),
    )  # fmt: skip
    found = crust_thickness_mm(plain, filled)
    assert found == pytest.approx(thick, abs=0.002)


def test_a_scalloped_side_keeps_its_valleys():
    side = drafted_side(scalloped_outline(60.0, 12, 2.0), draft_deg=5.0, radius_mm=0.0)
    assert side.volume_mm3(20.0) < 20.0 * side.outline.area_mm2
    assert side.height_mm(side.volume_mm3(20.0)) == pytest.approx(20.0, abs=1e-8)  # the solver's
