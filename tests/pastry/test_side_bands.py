"""Bands around a side, against closed forms, and the written file as trimesh and shapely see it."""

from itertools import pairwise
from math import cos, pi, radians, tan

import numpy as np
import pytest
import shapely
import trimesh

from moulddesign.artwork.outline import round_outline
from moulddesign.building.piece_findings import side_band_findings
from moulddesign.building.sizes import in_weight
from moulddesign.core import SpecError, Verdict
from moulddesign.design import Design, SideBandTable
from moulddesign.export.formats import stl_bytes
from moulddesign.pastry.interior import interior
from moulddesign.pastry.pastry import pastry
from moulddesign.pastry.side_bands import CHORD_MM, PLAIN_MM, reach_mm
from moulddesign.pastry.top_surface import drafted_side
from moulddesign.portion import figures
from moulddesign.relief.carved_surface import coarse_surface

STEPS = (
    {"section": "step", "height_mm": 4.0, "depth_mm": 2.0, "gap_mm": 0.0},
    {"section": "step", "height_mm": 3.0, "depth_mm": 1.5, "gap_mm": 0.0},
)
MOULDINGS = (
    {"section": "round", "height_mm": 4.0, "depth_mm": 1.5},
    {"section": "hollow", "height_mm": 3.0, "depth_mm": 1.2},
    {"section": "ogee", "height_mm": 3.0, "depth_mm": 1.0, "gap_mm": 0.0},
    {"section": "fillet", "height_mm": 1.0, "depth_mm": 0.8},
)


def design(bands=MOULDINGS, **tables):
    made = {"mould": {"kind": "block"}, "pastry": {"side_bands": bands}} | tables
    return Design.of({"relief": {"layers": []}} | made)


def side_of(*bands, draft_deg):
    tables = tuple(SideBandTable.of(band) for band in bands)
    return drafted_side(round_outline(60.0), draft_deg=draft_deg, radius_mm=0.0, bands=tables)


def test_a_stepped_cone_holds_its_frustums():
    """V = h (A + a + sqrt(A a)) / 3 of each, A and a regular n-gons inset by their apothems."""
    side, lean = side_of(*STEPS, draft_deg=6.0), tan(radians(6.0))
    count = len(side.outline.points)
    apothem = 30.0 * cos(pi / count)
    frustums = 0.0
    for low, high, inset in ((0.0, 4.0, 0.0), (4.0, 7.0, 2.0), (7.0, 20.0, 3.5)):
        a, b = (apothem - inset - lean * z for z in (low, high))
        frustums += count * tan(pi / count) * (high - low) * (a * a + b * b + a * b) / 3.0
    # Corners lie on a grid of 1e-5 mm: areas are off by at most that times the circumference.
    assert side.volume_mm3(20.0) == pytest.approx(frustums, abs=1e-5 * 60.0 * pi * 20.0)
    assert side.height_mm(frustums) == pytest.approx(20.0, abs=1e-5)


@pytest.mark.parametrize("section", ["round", "hollow"])
def test_a_quarter_of_an_ellipse_takes_what_pappus_says(section):
    """A plane figure that turns round an axis sweeps its area times the way of its centroid."""
    high, deep, top = 6.0, 4.0, 10.0
    side = side_of(
        {"section": section, "height_mm": high, "depth_mm": deep, "gap_mm": 0.0}, draft_deg=0.01
    )
    # Quarter of an ellipse: area pi w h / 4, centroid 4 w / 3 pi from its upright radius. A hollow
    # band takes it away, that radius on the side; a round one takes the rest of its rectangle.
    area, centroid = pi * deep * high / 4.0, 4.0 * deep / (3.0 * pi)
    moment = area * centroid
    if section == "round":
        moment = deep * high * deep / 2.0 - area * (deep - centroid)
        area = deep * high - area
    above = pi * (30.0**2 - (30.0 - deep) ** 2) * (top - high)
    taken = 2.0 * pi * (30.0 * area - moment) + above
    plain = side_of(draft_deg=0.01)
    found = plain.volume_mm3(top) - side.volume_mm3(top)
    # Chords cut off up to two thirds of their distance from an arc shorter than w + h; and the
    # n-gon has 1e-4 less than the circle, the lean of 0.01 deg as much.
    chords = 2.0 / 3.0 * CHORD_MM * (deep + high) * 2.0 * pi * 30.0
    assert found == pytest.approx(taken, abs=chords + 2e-4 * taken)
    assert abs(found - taken) > 0.1 * chords  # they are chords, on one side of the arc
    assert (found > taken) == (section == "round")


@pytest.mark.parametrize(
    ("outline", "more"),
    [
        ("round", {}), ("square", {"shoulder_radius_mm": 2.0}),
        ("round", {"side": "fluted", "side_count": 24}),
    ],
)  # fmt: skip
def test_no_level_section_of_the_written_piece_widens_upwards(outline, more):
    asked = design(pastry={"outline": outline, "side_bands": MOULDINGS} | more)
    volume_ml = figures(asked).piece.volume_ml
    made = pastry(asked, volume_ml)
    written = trimesh.load(trimesh.util.wrap_as_stream(stl_bytes(made.mesh)), file_type="stl")
    assert written.is_watertight
    assert written.body_count == 1
    assert written.volume == pytest.approx(1000.0 * volume_ml, rel=1e-6)
    levels = np.arange(0.05, made.height_mm - 0.1, 1.03)
    sections = written.section_multiplane([0, 0, 0], [0, 0, 1], levels)
    shapes = [shapely.union_all(one.polygons_full) for one in sections]
    lean = tan(radians(asked.mould.side_lean_deg))
    for (low, below), (high, above) in pairwise(zip(levels, shapes, strict=True)):
        # Nowhere less than the draft, but for float32 steps at 60 mm.
        assert below.buffer(-lean * (high - low) + 1e-3).covers(above)
    narrower = sum(band["depth_mm"] for band in MOULDINGS)
    assert shapes[0].area - shapes[-1].area > narrower * shapes[-1].length


def test_a_face_whose_edge_is_not_level_lies_on_bands():
    """The strip above the bands is divided as the edge is, so that each facet has the draft."""
    face = {"ground": {"form": "domed", "rise_mm": 3.0}, "edge": "run-over", "shoulder_mm": 1.5}
    asked = design(face=face, pastry={"outline": "hexagon", "side_bands": MOULDINGS})
    volume_ml = figures(asked).piece.volume_ml
    made = pastry(asked, volume_ml)
    solid = trimesh.Trimesh(made.mesh.vertices, made.mesh.triangles, process=True)
    assert made.edge_rise_mm + made.edge_drop_mm > 0.1
    assert solid.is_watertight
    assert solid.volume == pytest.approx(1000.0 * volume_ml, rel=1e-6)
    up = solid.face_normals[:, 2]
    steep = (up > -0.5) & (np.degrees(np.arcsin(up)) < 5.0 - 0.05)
    assert solid.area_faces[steep].sum() < 1e-5 * solid.area  # needles that float32 turns
    # Each band is where it was asked for, whatever height the face took.
    table_up = np.unique(solid.vertices[:, 2].round(4))
    assert {1.0, 5.0, 9.0, 12.0, 13.0, 14.0} - {7.0} <= set(table_up.tolist())


def test_the_crust_is_as_thick_under_steps_as_under_the_top():
    asked = design(STEPS)
    piece = figures(asked)
    made = pastry(asked, piece.piece.volume_ml)
    inside = interior(asked, made, piece.piece)
    filling = trimesh.Trimesh(inside.filling.vertices, inside.filling.triangles)
    assert filling.is_watertight
    assert filling.volume == pytest.approx(inside.filling_mm3, rel=1e-4)
    # The stepped profile by hand, radius over height; a round piece is the same all round.
    radius, lean, top = made.outline.width_mm / 2.0, tan(radians(5.0)), made.height_mm
    corners = [(0.0, 0.0), (0.0, 4.0), (2.0, 4.0), (2.0, 7.0), (3.5, 7.0), (3.5, top)]
    side = [(radius - inset - lean * z, z) for inset, z in corners]
    boundary = shapely.LineString([(0.0, 0.0), *side, (0.0, top)])
    at = np.column_stack([np.hypot(*filling.vertices[:, :2].T), filling.vertices[:, 2]])
    away = shapely.distance(boundary, shapely.points(at))
    # The outline's chords lie 0.002 mm inside the circle, those of the filling 0.01 mm.
    assert away.min() == pytest.approx(inside.crust_mm, abs=0.02)


def test_a_step_finer_than_a_line_is_warned_of():
    fine = [{"section": "step", "height_mm": 3.0, "depth_mm": 0.2}]
    (found,) = side_band_findings(design(fine))
    assert (found.verdict, found.measured) == (Verdict.WARN, 0.2)
    (found,) = side_band_findings(design())
    assert found.verdict is Verdict.GOOD


def test_bands_grow_with_the_piece():
    made = in_weight(design(), 8.0 * design().portion.finished_weight_g)
    assert made.pastry.side_bands[0].height_mm == pytest.approx(8.0)
    assert made.pastry.side_bands[0].section == "round"


def test_bands_that_do_not_come_out_are_refused():
    for kind in ("press", "own"):
        with pytest.raises(SpecError, match=rf"mould.kind = '{kind}'.*one of block, cast"):
            design(mould={"kind": kind})
    with pytest.raises(SpecError, match=r"mould.side_draft_deg = 0.0: must be at least 0.5"):
        design(mould={"kind": "cast"})


def test_bands_that_just_fit_under_a_face_are_not_refused_on_the_way_to_its_width():
    """The first width is for a level top: under a high face it leaves too little height."""
    bands = [{"section": "step", "height_mm": 20.0, "depth_mm": 2.0}]
    height_mm = reach_mm([SideBandTable.of(bands[0])]) + PLAIN_MM
    sizes = {"side_bands": bands, "height_mm": height_mm}
    asked = design(face={"ground": {"form": "domed", "rise_mm": 4.0}}, pastry=sizes)
    made = pastry(asked, 60.0, surface_of=coarse_surface)
    assert made.volume_mm3 == pytest.approx(60_000.0, rel=1e-9)
    # The width is sought on the face's raster of 0.25 mm.
    assert made.height_mm == pytest.approx(height_mm, abs=0.02)


def test_bands_that_have_no_room_are_refused_with_what_is_missing():
    high = [{"section": "step", "height_mm": 40.0, "depth_mm": 1.0, "gap_mm": 0.0}]
    with pytest.raises(SpecError, match=r"side_bands = 40.0: .* lower by [\d.]+ mm") as told:
        pastry(design(high, pastry={"width_mm": 60.0, "side_bands": high}), 60.0)
    less_mm = float(str(told.value).partition("lower by ")[2].partition(" mm")[0])
    lower = [high[0] | {"height_mm": 40.0 - less_mm - 0.01}]
    made = pastry(design(lower, pastry={"width_mm": 60.0, "side_bands": lower}), 60.0)
    assert made.volume_mm3 == pytest.approx(60_000.0, rel=1e-9)

    deep = [{"section": "step", "height_mm": 4.0, "depth_mm": 28.0}]
    with pytest.raises(SpecError, match=r"side_bands = 28.0: .* never holds 60 mL"):
        pastry(design(deep, pastry={"width_mm": 60.0, "side_bands": deep}), 60.0)
