"""Twins of scanned and photographed moulds, against closed forms and renderings by other code."""

import json
from math import pi
from pathlib import Path

import numpy as np
import pytest
import trimesh
from command_line import refused, run
from fit.lamp_photos import photos
from manifold3d import Manifold
from PIL import Image
from scipy.ndimage import gaussian_filter
from shapely import affinity
from verify.shapes import cylinder, mesh_of

from moulddesign.artwork.outline import polygon_outline, scalloped_outline
from moulddesign.design import Design, OwnedMould, PastryTable, Tool
from moulddesign.fit import fit
from moulddesign.fit.lit_photos import lit_relief
from moulddesign.fit.mouth_outline import mouth_of
from moulddesign.fit.scanned_mould import membrane
from moulddesign.fit.twin import KnownOfMould, LampPhotos, twin_of_photos, twin_of_scan
from moulddesign.geometry import Mesh
from moulddesign.geometry.sampling import Grid
from moulddesign.relief.height_map import height_png, read_height_map

RADIUS_MM, DEPTH_MM = 25.0, 20.0
CAP = (-9.0, 3.0, 8.0, 2.0)
"""Spherical cap under the floor: middle, radius and depth [mm]."""
CONE = (9.0, -5.0, 6.0, 1.6)


def cap(x, y, middle_x, middle_y, radius, high):
    sphere = (radius**2 + high**2) / (2.0 * high)
    away2 = (x - middle_x) ** 2 + (y - middle_y) ** 2
    return np.where(away2 < radius**2, np.sqrt((sphere**2 - away2).clip(0)) - sphere + high, 0.0)


def cone(x, y, middle_x, middle_y, radius, high):
    return (high * (1.0 - np.hypot(x - middle_x, y - middle_y) / radius)).clip(0.0)


def scan(noise_mm, step_mm=0.4):
    """Return what a scanner sees of a round mould: in inches, aslant, rough, with a hole."""
    side = np.arange(-33.0, 33.0, step_mm)
    x, y = np.meshgrid(side, side)
    hollow = DEPTH_MM + cap(x, y, *CAP) + cone(x, y, *CONE)
    z = np.where(np.hypot(x, y) < RADIUS_MM, -hollow, 0.0)
    corners = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    corners += np.random.default_rng(5).normal(size=corners.shape) * noise_mm
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    facets = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    middle = corners[facets].mean(axis=1)
    whole = np.hypot(middle[:, 0] - 2.0, middle[:, 1] - 12.0) > 1.5
    turn = trimesh.transformations.euler_matrix(*np.radians([7.0, -4.0, 0.0]))[:3, :3]
    return Mesh(corners @ turn.T / 25.4 + [3.0, -2.0, 9.0], facets[whole])


def test_a_scan_has_the_closed_form_s_volume_and_relief(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    mesh = scan(0.04)
    trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).export("old.ply")
    asked = ("--width", 2 * RADIUS_MM, "--tool", "caliper", "--json")
    code, out, _ = run(monkeypatch, capsys, "twin", "old.ply", *asked)

    made = json.loads(out)
    assert (code, made["outline"]) == (0, "round")
    assert made["files"] == ["twin.toml", "twin-raised.png", "twin-view.png"]
    *_, cap_radius, cap_high = CAP
    relief = pi * cap_high * (3 * cap_radius**2 + cap_high**2) / 6
    relief += pi * CONE[2] ** 2 * CONE[3] / 3
    volume = pi * RADIUS_MM**2 * DEPTH_MM + relief
    assert abs(1000 * made["volume_ml"] - volume) < 2000 * made["volume_ml_sd"] < 0.05 * volume
    seen = made["residuals"]
    assert seen["scale"] == pytest.approx(25.4, rel=0.015)
    assert seen["tilt_deg"] == pytest.approx(8.06, abs=0.1)  # acos(cos 7 cos 4)
    assert 0.0 < seen["missing_ratio"] < 0.01
    assert made["height_mm"] == pytest.approx(DEPTH_MM, abs=0.3)
    design = Design.read("twin.toml")
    assert design.portion.finished_weight_g == made["finished_g"]
    (carving,) = design.face.carvings
    found = read_height_map(Path(carving.file)).share * carving.depth_mm
    side = (np.arange(len(found)) + 0.5) / len(found) * carving.size_mm - carving.size_mm / 2
    x, y = np.meshgrid(side, side)
    # The piece lies the other way up: left and right change places.
    expected = cap(-x, y, *CAP) + cone(-x, y, *CONE)
    off = (found - expected)[np.hypot(x, y) < RADIUS_MM - 2.0]
    assert np.sqrt(np.mean(off**2)) < 0.06


SIDE_MM, PIXELS = 40.0, 130
STEP_MM = SIDE_MM / PIXELS
GRID = Grid(low_mm=np.full(2, -SIDE_MM / 2), pixel_mm=STEP_MM, shape=(PIXELS, PIXELS))
X, Y = np.meshgrid(*GRID.centres_mm)
SURFACE = gaussian_filter(
    cap(X, Y, -8.0, 0.0, 6.0, 1.6) + cone(X, Y, 8.0, 4.0, 5.0, 1.6)
    + 1.2 * (abs(np.hypot(X, Y) - 16.0) < 1.0) + (abs(X - 2.0) < 0.8) * (abs(Y + 7.0) < 5.0),
    0.7,
)  # fmt: skip
INSIDE = np.hypot(X, Y) < 18.5


@pytest.mark.parametrize(
    ("sign", "azimuths", "how"),
    [
        pytest.param(1, (0, 90, 180, 270), {}, id="piece, four lamps"),
        pytest.param(-1, (10, 100, 190, 280), {"wrong_deg": 2.0}, id="mould, wrong lamps"),
        pytest.param(1, range(20, 380, 45), {"wrong_deg": 3.0}, id="eight wrong lamps"),
        pytest.param(-1, (0, 90, 180, 270), {"lamp_deg": 40.0}, id="mould, low lamp"),
    ],
)
def test_relief_of_rendered_photos(tmp_path, sign, azimuths, how):
    lit = photos(tmp_path, sign * SURFACE, STEP_MM, azimuths, noise=0.008, **how)
    found = lit_relief(
        lit, tuple(azimuths), lamp_deg=how.get("lamp_deg", 55.0), width_mm=SIDE_MM, marks=None,
        grid=GRID,
    )  # fmt: skip

    seen, true = found.heights[INSIDE], sign * SURFACE[INSIDE]
    assert np.corrcoef(seen, true)[0, 1] > 0.96
    slope = np.polyfit(seen, true, 1)
    assert np.sqrt(np.mean((np.polyval(slope, seen) - true) ** 2)) < 0.12
    assert found.unexplained < 0.05


def test_photos_of_a_mould_become_the_piece(tmp_path):
    azimuths = (0.0, 90.0, 180.0, 270.0)
    lit = photos(tmp_path, -SURFACE, STEP_MM, azimuths, noise=0.008)
    known = KnownOfMould(name="old", design=Design(), width_mm=SIDE_MM, height_mm=18.0, water=None,
                         tool=Tool.RULER)  # fmt: skip
    pictures = LampPhotos(paths=lit, azimuths_deg=azimuths, lamp_deg=55.0, marks=None,
                          depth_mm=1.6, is_impression=False)  # fmt: skip
    pastry = PastryTable.of({"outline": "round", "width_mm": SIDE_MM})
    made = twin_of_photos(pictures, pastry, known)
    (carving,) = (each for each in made.design.face.carvings if each.meets == "over")
    (tmp_path / carving.file).write_bytes(made.files[carving.file])
    found = read_height_map(tmp_path / carving.file).share
    middle = len(found) // 2
    # The cap at x = -8 in the mould is the piece's at x = +8, the cone at 8, 4 at -8, 4.
    places = [(middle + round(y / SIDE_MM * 480), middle + round(x / SIDE_MM * 480))
              for x, y in ((8, 0), (-8, 4), (-8, -6))]  # fmt: skip
    high = [found[place] for place in places]
    assert high[0] > 0.8
    assert high[1] > 0.6
    assert high[2] < 0.15
    area = pi * SIDE_MM**2 / 4
    relief = SURFACE[np.hypot(X, Y) < SIDE_MM / 2].sum() * STEP_MM**2
    assert abs(made.volume_mm3 - area * 18.0 - relief) < 2.0 * made.volume_sd_mm3


@pytest.mark.parametrize(
    ("azimuths", "said"),
    [
        pytest.param("0,90,180,270", "depth-unlike", id="level"),
        pytest.param("0,0,0,0", "alike", id="all alike"),
        pytest.param("0,180,0,180", "alike", id="on one line"),
        pytest.param("0,90,180", "must be 4 numbers", id="one short"),
        pytest.param("0,90,nan,1", "must be a number", id="not a number"),
    ],
)
def test_photos_that_tell_nothing(monkeypatch, capsys, tmp_path, azimuths, said):
    monkeypatch.chdir(tmp_path)
    for number in range(4):
        Image.new("L", (60, 60), 120 + number).save(f"{number}.png")
    said = "is not what the photos show" if said == "depth-unlike" else said
    four = [f"{number}.png" for number in range(4)]
    asked = ("--width", 50, "--depth", 2, "--height", 20)
    assert said in refused(monkeypatch, capsys, "twin", *four, *asked, "--azimuths", azimuths)


def test_one_photo_and_photos_of_two_sizes(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    sizes = (60, 60, 60, 50)
    for number, size in enumerate(sizes):
        Image.new("RGBA", (size, size), (90 + number, 90, 90, 255)).save(f"{number}.png")
    asked = ("--width", 50, "--depth", 2, "--height", 20, "--azimuths", "0,90,180,270")
    assert "has no depth" in refused(monkeypatch, capsys, "twin", "0.png", *asked)
    four = [f"{number}.png" for number in range(4)]
    assert "50 by 50 pixels" in refused(monkeypatch, capsys, "twin", *four, *asked)


@pytest.mark.parametrize(
    ("mesh", "asked", "said"),
    [
        pytest.param(trimesh.creation.icosphere(3, 20), (), "no rim", id="ball"),
        pytest.param(trimesh.creation.box((50, 50, 20)), (), "no hollow", id="box"),
        pytest.param(
            trimesh.creation.box((50, 50, 20)), ("--height", 20), "no relief", id="blank stamp"
        ),
    ],
)
def test_meshes_that_are_no_mould(monkeypatch, capsys, tmp_path, mesh, asked, said):
    monkeypatch.chdir(tmp_path)
    mesh.export("old.stl")
    assert said in refused(monkeypatch, capsys, "twin", "old.stl", "--width", 50, *asked)
    assert [path.name for path in Path().iterdir()] == ["old.stl"]


def test_outlines_are_recognised_or_drawn():
    hexagon = polygon_outline("hexagon", 60.0, 6.0).shape
    found = mouth_of(affinity.translate(affinity.rotate(hexagon, 11.0), 5.0, -3.0))
    assert (found.name, np.degrees(found.turn_rad)) == ("hexagon", pytest.approx(-11.0, abs=0.1))
    assert found.values(0.5) == pytest.approx(
        {"outline": "hexagon", "width_mm": 30.0, "corner_radius_mm": 3.0}, abs=0.02
    )
    assert mouth_of(scalloped_outline(60.0, 9, 4.0).shape).name == "drawn"


def test_a_hole_in_a_harmonic_surface_is_filled_exactly():
    rows, columns = np.mgrid[0:30, 0:40].astype(float)
    harmonic = rows**2 - columns**2 + 3.0 * rows  # its five-point Laplacian is 0
    missing = np.hypot(rows - 14, columns - 20) < 7
    found = membrane(np.where(missing, 0.0, harmonic), missing)
    assert found == pytest.approx(harmonic, abs=1e-8)


def test_a_height_picture_says_its_sizes(tmp_path):
    heights = np.outer(np.linspace(0.0, 1.0, 30), np.linspace(0.5, 2.4, 40))
    (tmp_path / "map.png").write_bytes(height_png(heights, 0.1))
    with Image.open(tmp_path / "map.png") as picture:
        assert picture.mode == "I;16"
        assert float(picture.text["mm per step"]) * 65535 == pytest.approx(2.4)
        assert picture.info["dpi"] == pytest.approx((254, 254), abs=0.01)
    assert read_height_map(tmp_path / "map.png").share * 2.4 == pytest.approx(heights, abs=1e-4)


@pytest.mark.slow
def test_the_twin_of_a_mould_holds_what_fit_measured(tmp_path):
    leaning = Manifold.cylinder(21.0, 20.0, 22.0, 256).translate([0, 0, -20])
    body = Manifold.cube([60, 60, 30]).translate([-30, -30, -30]) - leaning
    mesh = mesh_of(body - cylinder(6, -21.5, -19).translate([7, 4, 0]))
    trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).export(tmp_path / "old.stl")
    mould = OwnedMould.of({"mesh": str(tmp_path / "old.stl"), "print_error_mm": 0.0})
    held_mm3 = fit(Design(), mould).cavities[0][0].volume_mm3
    mouth_mm = 2.0 * (20.0 + 20.0 * 2.0 / 21.0)
    known = KnownOfMould(name="old", design=Design(), width_mm=mouth_mm, height_mm=None, water=None,
                         tool=Tool.CALIPER)  # fmt: skip
    made = twin_of_scan(mesh, known)
    assert abs(made.volume_mm3 - held_mm3) < 2.0 * made.volume_sd_mm3
    assert made.design.mould.side_draft_deg == pytest.approx(5.4, abs=0.4)  # atan 2 / 21
