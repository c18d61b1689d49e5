"""The whole pastry, measured by trimesh: volume, which way round, shoulder, and the complement."""

from dataclasses import replace
from itertools import cycle
from math import pi, sin, sqrt

import numpy as np
import pytest
import trimesh
from hypothesis import given, reject, settings
from relief.surfaces import heights_at
from strategies import designs

from moulddesign.core import MouldError, SpecError
from moulddesign.design import OUTLINES, Design
from moulddesign.geometry import Mesh, intersection
from moulddesign.pastry import pastry as pastry_room
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{}</svg>'
HALF_STEP = 6e-7
"""float32 in three extents of a piece 10 mm high and up to 64 mm wide: 3 x 2e-6 mm / 10 mm."""


def design(**tables):
    return Design.of({"name": "piece", "relief": {"layers": []}} | tables)


def body(mesh):
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)


def sound(mesh):
    made = body(mesh)
    assert made.is_watertight
    assert made.is_winding_consistent
    assert made.body_count == 1
    return made


@given(asked=designs())
@settings(max_examples=8)
def test_any_pastry_holds_its_volume(asked):
    weight = asked.portion.finished_weight_g
    try:
        made = pastry(asked, weight / 1.25)
    except MouldError:
        reject()  # that it is a sentence, `test_building` asks
    found = sound(made.mesh)
    assert found.volume == pytest.approx(1000.0 * weight / 1.25, rel=1e-6)
    assert made.volume_mm3 == pytest.approx(1000.0 * weight / 1.25, rel=1e-9)
    assert found.bounds[0, 2] == 0.0


@pytest.mark.parametrize(
    ("outline", "profile"),
    [*((name, "bevel") for name in OUTLINES), ("round", "flat"), ("square", "pillow")],
)
def test_every_outline_takes_relief_and_shoulder(outline, profile):
    asked = Design.of(
        {
            "pastry": {"outline": outline, "shoulder_radius_mm": 2.5},
            "relief": {"layers": [{"pattern": "chestnut"}], "profile": profile},
        }
    )
    made = pastry(asked, 100.0)
    assert sound(made.mesh).volume == pytest.approx(100_000.0, rel=1e-6)


@pytest.fixture
def flag(tmp_path):
    """Return a drawing whose dark part is at the right, its darkest at the upper right."""
    path = tmp_path / "flag.svg"
    path.write_text(
        SVG.format(
            '<rect x="0" y="0" width="100" height="100" fill="none"/>'
            '<rect x="60" y="10" width="20" height="30"/>'
            '<rect x="60" y="60" width="20" height="20" fill="#808080"/>'
        )
    )
    return str(path)


def height_at(mesh, x, y):
    """Return the height of a mesh over a point, by shapely's tree over its upward facets."""
    up = body(mesh).face_normals[:, 2] > 1e-6
    return heights_at(Mesh(mesh.vertices, mesh.triangles[up]), np.array([[x, y]]))[0]


@pytest.mark.parametrize(("sense", "sign"), [("raised", 1.0), ("sunk", -1.0)])
def test_relief_reads_as_the_drawing_does(flag, sense, sign):
    asked = design(
        pastry={"width_mm": 60.0, "outline": "square"},
        relief={
            "layers": [{"pattern": flag, "size_mm": 40.0}],
            "depth_mm": 1.0,
            "draft_deg": 5.0,
            "sense": sense,
        },
    )
    made = pastry(asked, 80.0)
    # A unit of the drawing is 0.4 mm; y grows downwards in a drawing, upwards on the pastry.
    x, y = (70 - 50) * 0.4, (50 - 25) * 0.4
    steps = {
        (x, y): sign * 1.0,
        (x, (50 - 70) * 0.4): sign * 127 / 255,
        (-x, y): 0.0,
        (-x, -y): 0.0,
        (0.0, 0.0): 0.0,
    }
    for (at_x, at_y), step in steps.items():
        found = height_at(made.mesh, at_x, at_y) - made.height_mm
        # Darkness may be measured in light or in code values; the order has to be right.
        tolerance = 0.3 if abs(step) not in {0.0, 1.0} else 1e-5
        assert found == pytest.approx(step, abs=tolerance)
    assert made.deepest_sunk_mm == pytest.approx(1.0 if sense == "sunk" else 0.0)
    assert made.depth_above_mm == pytest.approx(0.0 if sense == "sunk" else 1.0)


class TestSizes:
    @pytest.mark.parametrize("width", [45.0, 53.217, 70.0])
    def test_a_width_that_is_given_is_kept(self, width):
        made = pastry(design(pastry={"width_mm": width}), 60.0)
        assert made.outline.width_mm == pytest.approx(width, rel=1e-12)
        assert body(made.mesh).extents[0] == pytest.approx(width, rel=HALF_STEP)

    @pytest.mark.parametrize(
        ("outline", "height"),
        list(zip(OUTLINES, cycle([12.0, 20.0, 33.3, 25.0, 18.0]), strict=False)),
    )
    def test_a_height_that_is_given_is_kept(self, outline, height):
        asked = design(
            pastry={"height_mm": height, "outline": outline},
            relief={"layers": [{"pattern": "lantern"}]},
        )
        made = pastry(asked, 90.0)
        assert made.height_mm == pytest.approx(height, abs=1e-3)
        assert body(made.mesh).volume == pytest.approx(90_000.0, rel=1e-6)

    def test_a_height_is_met_within_the_noise_of_the_relief_s_volume(self, monkeypatch):
        # A bevelled relief of many corners moves the height by 3 micrometres, this way and that.
        exact, widths = pastry_room.pastry_of_width, []

        def noisy(asked, width_mm, volume_mm3, **_kept):
            widths.append(width_mm)
            made = exact(asked, width_mm, volume_mm3)
            return replace(made, height_mm=made.height_mm + 0.003 * sin(1e7 * width_mm))

        monkeypatch.setattr(pastry_room, "pastry_of_width", noisy)
        made = pastry(design(pastry={"height_mm": 20.0}), 60.0)
        assert made.height_mm == pytest.approx(20.0, abs=0.003)
        assert len(widths) < 10

    @pytest.mark.parametrize(
        ("outline", "proportion"),
        list(zip(OUTLINES, cycle([0.3, 0.5, 0.8, 0.4, 0.6]), strict=False)),
    )
    def test_a_proportion_is_kept_within_the_widths_step(self, outline, proportion):
        asked = design(
            pastry={"height_to_width": proportion, "outline": outline},
            mould={"kind": "cast"},
        )
        made = pastry(asked, 60.0)
        width = made.outline.width_mm
        assert width % 0.5 == pytest.approx(0.0, abs=1e-6) or width % 0.5 == pytest.approx(0.5)
        # V is about c w^3, so half a step in the width is 3/2 of a step's share in h / w.
        assert made.height_mm / width == pytest.approx(proportion, rel=3 * 0.26 / width)
        pressed = pastry(asked.with_values({"mould.kind": "press"}), 60.0)
        # Half a layer of the height is a quarter of a layer's share in w.
        assert pressed.outline.width_mm == pytest.approx(width, rel=0.06 / made.height_mm)

    @pytest.mark.parametrize("layer_mm", [0.2, 0.15])
    @pytest.mark.parametrize("outline", OUTLINES)
    def test_the_width_of_a_press_is_solved_for_a_stop_of_whole_layers(self, outline, layer_mm):
        asked = design(
            pastry={"outline": outline},
            printer={"layer_height_mm": layer_mm},
            relief={"layers": [{"pattern": "lantern"}]},
        )
        known = figures(asked)
        made = pastry(asked, known.piece.volume_ml)
        assert made.volume_mm3 == pytest.approx(1000.0 * known.piece.volume_ml, rel=1e-9)
        stopped = made.height_mm - known.stop_low_mm(made.outline.area_mm2)
        # The stop, rounded down to layers, comes by 0 to 0.02 mm later than it has to.
        assert 0.0 <= stopped % layer_mm <= 0.02

    def test_the_width_is_solved_for_a_carved_face_too(self):
        asked = design(
            relief={"layers": []}, face={"ground": {"form": "domed", "rise_mm": 3.0}, "bands": []}
        )
        known = figures(asked)
        made = pastry(asked, known.piece.volume_ml)
        stopped = made.height_mm - known.stop_low_mm(made.outline.area_mm2)
        # 0.01 mm on purpose, and twice as much for the face's raster of 0.1 mm.
        assert 0.0 <= stopped % asked.printer.layer_height_mm <= 0.03

    def test_without_any_size_the_usual_proportion_stands(self):
        made = pastry(design(), 60.0)
        free = (4.0 * 60_000.0 / (0.55 * pi)) ** (1 / 3)
        assert abs(made.outline.width_mm - free) <= 0.25 + 1e-3


def test_the_shoulder_takes_what_pappus_says():
    """V = 2 pi R_c A (Pappus), A the area that the shoulder leaves out of the profile."""
    radius, width = 6.0, 50.0
    made = pastry(design(pastry={"width_mm": width, "shoulder_radius_mm": radius}), 50.0)
    plain = made.outline.area_mm2 * made.height_mm
    # Left out, beside the top corner: bounded by the rim r sin 45 wide, the drop
    # r (1 - cos 45) high, and an eighth of the circle.
    run, drop = radius * sqrt(0.5), radius * (1.0 - sqrt(0.5))
    x = np.linspace(0.0, run, 200_001)
    depth = radius - np.sqrt(radius**2 - x**2)  # below the flat, x from where the arc begins
    area = np.trapezoid(depth, x)
    centroid = np.trapezoid(depth * x, x) / area
    assert area == pytest.approx(run * radius - radius**2 * (pi / 8 + sin(pi / 4) / 2 * sqrt(0.5)))
    pappus = 2.0 * pi * (width / 2.0 - run + centroid) * area
    found = plain - 50_000.0
    # The profile's chords lie inside the arc by up to 0.01 mm along its length, the outline's
    # by 0.002 mm: both make the part that is left out differ by less than this.
    bound = 2.0 * pi * width / 2.0 * (0.01 * radius * pi / 4 + 0.002 * drop)
    assert found == pytest.approx(pappus, abs=bound)
    top = body(made.mesh).bounds[1, 2]
    rim = made.mesh.vertices[np.linalg.norm(made.mesh.vertices[:, :2], axis=1) > width / 2 - 0.01]
    assert top - rim[:, 2].max() == pytest.approx(drop, abs=1e-5)


@pytest.mark.parametrize(
    ("outline", "shoulder", "sense", "inset"),
    [
        ("round", 3.0, "raised", 0.3),
        ("round", 0.0, "sunk", 0.0),
        ("square", 3.0, "sunk", 0.3),
        ("hexagon", 0.0, "raised", 0.3),
        ("octagon", 3.0, "raised", 0.0),
        ("scalloped", 3.0, "sunk", 0.3),
    ],
)
def test_the_block_above_is_the_exact_complement(outline, shoulder, sense, inset):
    asked = Design.of(
        {
            # Of faces that coincide everywhere the kernel keeps slivers at few widths; not at this.
            "pastry": {"outline": outline, "shoulder_radius_mm": shoulder, "width_mm": 55.0},
            "relief": {"layers": [{"pattern": "chestnut"}], "sense": sense, "depth_mm": 1.0},
        }
    )
    made = pastry(asked, 75.0)
    top = made.height_mm + 10.0
    block = made.block_above(inset, top)
    sound(block)
    inner = made.outline.inset(inset) if inset else made.outline
    # What the pastry holds under the block's outline, plus the block, is a prism; the rest of
    # the pastry is the ring outside, which is measured by cutting it off.
    column = trimesh.creation.extrude_polygon(inner.shape, top)
    under = intersection(
        [made.mesh, Mesh(np.array(column.vertices), np.array(column.faces))], "the pastry below"
    )
    whole = inner.area_mm2 * top
    assert under.volume_mm3 + block.volume_mm3 == pytest.approx(whole, rel=1e-6)
    # float32 moves both by up to 2e-6 mm: where they meet they overlap by that over the area.
    shared = abs(intersection([made.mesh, block], "pastry and block").volume_mm3)
    assert shared <= 4e-6 * made.mesh.area_mm2


def test_a_block_that_cuts_the_relief_is_refused():
    made = pastry(Design(), 75.0)
    with pytest.raises(SpecError, match="must be above the relief at"):
        made.block_above(0.3, made.height_mm + 1.0)


@pytest.mark.parametrize(
    ("tables", "sentence"),
    [
        ({"pastry": {"width_mm": 300.0, "shoulder_radius_mm": 6.0}}, "cuts through"),
        ({"pastry": {"width_mm": 20.0, "shoulder_radius_mm": 20.0}}, "leaves no flat top"),
        (
            {"relief": {"layers": [{"pattern": "chestnut", "size_mm": 100.0}]}},
            "does not fit on the top; it takes",
        ),
        (
            {"relief": {"layers": [{"pattern": "chestnut"}], "margin_mm": 60.0}},
            "leaves no room on the top",
        ),
    ],
)
def test_what_cannot_be_made_is_said(tables, sentence):
    with pytest.raises(SpecError, match=sentence):
        pastry(design(**tables), 60.0)
