"""The weights that fit a mould that exists, against closed forms, handbook values and samples."""

from io import BytesIO
from math import atan, degrees, hypot, pi, radians, sqrt, tan
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from PIL import Image
from scipy.optimize import brentq
from verify.presses import BORE_MM, sleeve, stamp
from verify.shapes import cone, cylinder, mesh_of

from moulddesign.artwork.outline import polygon_outline
from moulddesign.core import FileError, SpecError
from moulddesign.design import Design, OwnedMould, Register, Tool
from moulddesign.export.formats import made_larger_text, stl_bytes, threemf_bytes
from moulddesign.fit import fit, nearest_mould, pressings, ranked_moulds, window_png, window_svg
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.pastry.interior import crust_thickness_mm
from moulddesign.pastry.pastry import Pastry

EVEN = Design.of(
    {
        "portion": {
            "crust_density_g_per_ml": 1.25,
            "filling_density_g_per_ml": 1.25,
            "crust_density_sd_g_per_ml": 0.0,
            "filling_density_sd_g_per_ml": 0.0,
            "loss": 0.0,
        }
    }
)
"""Crust and paste of one density and no loss: raw weight = 1.25 g/mL times the volume."""
CHORDS = 2e-4
"""An arc's chords lie within 0.002 mm: 2 x 0.002 / 25 mm of a round's area, rounded up."""


def owned(**values):
    return OwnedMould.of(values)


def volume_ml(made):
    return made.cavities[0][0].volume_mm3 / 1000.0


def row(made, ratio="3:7", *, centred=False):
    (found,) = [r for r in made.cavities[0][1] if (r.ratio, r.has_centres) == (ratio, centred)]
    return found


def frustum_draft(mouth, floor, depth):
    return degrees(atan((mouth - floor) / 2 / depth))


SIZES = [
    pytest.param(
        {"outline": "square", "width_mm": 40, "height_mm": 60,
         "draft_deg": frustum_draft(40, 20, 60)}, 56.0,
        id="Moscow papyrus, problem 14, tenfold",
    ),
    pytest.param(
        {"width_mm": 60, "height_mm": 25, "draft_deg": frustum_draft(60, 50, 25)},
        pi * 25 * (900 + 750 + 625) / 3 / 1000, id="cone frustum pi h (R2 + R r + r2) / 3",
    ),
    pytest.param(
        {"outline": "square", "width_mm": 50, "height_mm": 24, "corner_radius_mm": 6},
        (2500 - (4 - pi) * 36) * 24 / 1000, id="rounded square w2 - (4 - pi) r2",
    ),
    pytest.param(
        {"outline": "hexagon", "width_mm": 60, "height_mm": 20},
        sqrt(3) / 2 * 3600 * 20 / 1000, id="hexagon sqrt(3) / 2 w2",
    ),
    pytest.param(
        {"outline": "octagon", "width_mm": 60, "height_mm": 20},
        2 * (sqrt(2) - 1) * 3600 * 20 / 1000, id="octagon 2 (sqrt(2) - 1) w2",
    ),
    pytest.param(
        {"width_mm": 60, "height_mm": 25, "relief_depth_mm": 2, "relief_cover": 0.4},
        pi * 900 * (25 + 0.8) / 1000, id="raised relief: depth x share",
    ),
    pytest.param(
        {"width_mm": 60, "height_mm": 25, "relief_depth_mm": 2, "relief_cover": 0.4,
         "sense": "sunk"}, pi * 900 * (25 - 0.8) / 1000, id="sunk relief: depth x share",
    ),
    pytest.param(
        {"width_mm": 60, "height_mm": 25, "highest_mm": 27},
        (pi * 900 * 25 + pi * 2 * (3 * 900 + 4) / 6) / 1000,
        id="domed top: cap pi h (3 a2 + h2) / 6",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("sizes", "closed_form"), SIZES)
def test_sizes_hold_their_closed_form(sizes, closed_form):
    assert volume_ml(fit(EVEN, owned(**sizes))) == pytest.approx(closed_form, rel=CHORDS)


@pytest.mark.parametrize("radius", [1.0, 6.0, 20.0])
def test_a_round_shoulder_takes_off_what_pappus_says(radius):
    """Area beside the arc times the way of its centroid (Pappus' second theorem)."""
    root = sqrt(0.5)
    area = radius**2 * (root - 1 / 4 - pi / 8)
    moment = radius**3 * (1 / 4 - (1 - root**3) / 3)
    off = 2 * pi * ((30 - radius * root) * area + moment)
    made = fit(EVEN, owned(width_mm=60, height_mm=25, shoulder_radius_mm=radius))
    assert volume_ml(made) == pytest.approx((pi * 900 * 25 - off) / 1000, rel=CHORDS)


def test_a_scalloped_and_a_drawn_mouth_are_known(tmp_path):
    drawing = tmp_path / "mouth.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><path d="M1 1H9V5H1Z"/></svg>'
    )
    drawn = fit(EVEN, owned(outline=str(drawing), width_mm=60, height_mm=20))
    assert volume_ml(drawn) == pytest.approx(60 * 30 * 20 / 1000, rel=1e-6)
    lobed = fit(EVEN, owned(outline="scalloped", width_mm=60, height_mm=20))
    assert pi * 28**2 * 20 / 1000 < volume_ml(lobed) < pi * 30**2 * 20 / 1000


def crust_of(inside_mm3, volume_mm3):
    """Return t of inside(t) = 70 % of the volume: the filling of 3:7 at one density."""
    return brentq(lambda t: inside_mm3(t) - 0.7 * volume_mm3, 0.0, 9.0)


def test_the_crust_of_a_square_box_is_its_closed_form():
    made = fit(EVEN, owned(outline="square", width_mm=50, height_mm=25))
    closed = crust_of(lambda t: (50 - 2 * t) ** 2 * (25 - 2 * t), 50**2 * 25)
    assert row(made).crust_thickness_mm == pytest.approx(closed, abs=1e-5)


def test_the_crust_of_a_cone_frustum_is_its_closed_form():
    lean, height = radians(10.0), 25.0

    def inside(t):
        wall = t / np.cos(lean)
        low, high = (30 - z * tan(lean) - wall for z in (t, height - t))
        return pi * (height - 2 * t) * (low * low + low * high + high * high) / 3

    made = fit(EVEN, owned(width_mm=60, height_mm=height, draft_deg=10))
    closed = crust_of(inside, inside(0.0))
    assert row(made).crust_thickness_mm == pytest.approx(closed, abs=0.002)


@pytest.mark.parametrize("radius", [3.0, 8.0])
def test_the_crust_under_a_shoulder_is_thinner_than_under_a_sharp_edge(radius):
    """Sampled: points of the body at least t from side, floors, and the arc's tangent planes."""
    made = fit(EVEN, owned(width_mm=60, height_mm=25, shoulder_radius_mm=radius))
    found = row(made).crust_thickness_mm
    rng = np.random.default_rng(7)
    points = rng.uniform((-30, -30, 0), (30, 30, 25), (400_000, 3))
    out, up = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    depth = np.minimum(np.minimum(30 - out, up), 25 - up)
    centre, top = 30 - radius * sqrt(0.5), 25 - radius
    for angle in np.linspace(0.0, pi / 4, 60):
        depth = np.minimum(
            depth, radius - (out - centre) * np.sin(angle) - (up - top) * np.cos(angle)
        )
    inside = depth[depth >= 0.0]
    # 300,000 points: a share of 0.7 is known to 0.0008, over an area of 10,000 mm2 0.005 mm.
    assert np.quantile(inside, 0.3) == pytest.approx(found, abs=0.02)


def test_crust_is_the_one_that_a_design_reports():
    outline = polygon_outline("octagon", 60.0, 5.0)
    made = fit(EVEN, owned(outline="octagon", width_mm=60, height_mm=25, corner_radius_mm=5))
    filled = 0.6 * outline.area_mm2 * 25
    plain = Pastry(outline=outline, height_mm=25.0, shoulder_radius_mm=0.0, relief=(), roofs=())
    assert row(made, "4:6").crust_thickness_mm == pytest.approx(
        crust_thickness_mm(plain, filled), abs=1e-4
    )


@pytest.mark.parametrize(
    ("at_c", "density"),
    [  # IAPWS-95 at 101 325 Pa, kg/m3
        pytest.param(10.0, 999.703, id="IAPWS-95, 10 deg C"),
        pytest.param(20.0, 998.207, id="IAPWS-95, 20 deg C"),
        pytest.param(30.0, 995.650, id="IAPWS-95, 30 deg C"),
    ],
)
def test_water_fills_mass_over_the_handbook_density(at_c, density):
    made = fit(EVEN, owned(water_g=[162.0], empty_g=100.0, at_c=at_c))
    assert volume_ml(made) == pytest.approx(62.0 / density * 1000, rel=1e-4)
    assert row(made).crust_thickness_mm is None


def test_repeated_weighings_give_mean_and_spread():
    made = fit(EVEN, owned(water_g=[61.0, 62.0, 63.0]))
    weighings = made.cavities[0][0].weighings
    assert (weighings.value, weighings.seen_sd) == pytest.approx((62.0, 1.0))
    said = " ".join(map(str, made.cavities[0][0].remarks))
    assert "62.0 g is the mean of 3 weighings, their sd 1.00 g" in said
    assert "Surface tension" in said
    assert "leaks" in said


def test_water_with_sizes_has_a_crust_and_doubts_what_disagrees():
    level = fit(EVEN, owned(water_g=[62.0], width_mm=50, outline="square"))
    same = fit(EVEN, owned(outline="square", width_mm=50, height_mm=62.0 / 0.998207 / 2.5))
    assert row(level).crust_thickness_mm == pytest.approx(row(same).crust_thickness_mm, abs=1e-3)
    leaking = fit(EVEN, owned(water_g=[62.0], width_mm=63, height_mm=25))
    assert "measure again, and look for a leak" in " ".join(
        map(str, leaking.cavities[0][0].remarks)
    )


@pytest.mark.parametrize(
    ("tool", "reading_mm"), [(Tool.RULER, 0.5), (Tool.CALIPER, 0.05)], ids=["ruler", "caliper"]
)
def test_reading_error_is_what_samples_show(tool, reading_mm):
    """Width and height read evenly within the error, either way."""
    made = fit(EVEN, owned(width_mm=60, height_mm=25, tool=tool))
    width, height = np.random.default_rng(3).uniform(-reading_mm, reading_mm, (2, 200_000))
    sampled = np.std(pi / 4 * (60 + width) ** 2 * (25 + height))
    # The sd of 200,000 samples is known to 0.2 %; second order adds less than that.
    assert made.cavities[0][0].volume_sd_mm3 == pytest.approx(sampled, rel=0.006)


def test_the_raw_weight_is_known_as_samples_show():
    """Volume, densities and scale vary; raw = V / (c / rho_c + f / rho_f)."""
    design = Design.of(
        {"scale": {"resolution_g": 0.1}, "portion": {"filling_density_sd_g_per_ml": 0.029}}
    )
    made = fit(design, owned(water_g=[62.0], name="cup"))
    rng, table = np.random.default_rng(5), design.portion
    cavity = made.cavities[0][0]
    volume = rng.normal(cavity.volume_mm3, cavity.volume_sd_mm3, 200_000) / 1000
    dough, filling = table.crust_density, table.filling_density
    crust = rng.normal(dough.g_per_ml, dough.sd_g_per_ml, 200_000)
    paste = rng.normal(filling.g_per_ml, filling.sd_g_per_ml, 200_000)
    step = rng.uniform(-0.05, 0.05, (2, 200_000)).sum(axis=0)
    sampled = np.std(volume / (0.3 / crust + 0.7 / paste) + step)
    # As above: 0.2 % from sampling, and the densities' second order of 0.02^2.
    assert row(made).raw_g_sd == pytest.approx(sampled, rel=0.006)


def test_rows_divide_what_fills_the_mould():
    design = EVEN.with_values(
        {"portion.centres": [{"mass_g": 10, "density_g_per_ml": 1.25}], "portion.loss": 0.1}
    )
    made = fit(design, owned(outline="square", width_mm=40, height_mm=40), ratios=("1:9",))
    kinds = [(r.ratio, r.has_centres) for r in made.cavities[0][1]]
    ratios = ["2:8", "3:7", "4:6", "5:5", "1:9"]
    assert kinds == [(r, centred) for centred in (False, True) for r in ratios]
    piece = row(made, "1:9", centred=True).piece
    # 64 mL of 1.25 g/mL are 80 g: 8 g crust, 72 g filling, of which 10 g are the centre
    assert (piece.raw_g, piece.crust_g, piece.filling_g) == pytest.approx((80.0, 8.0, 72.0))
    assert (piece.paste_g, piece.centre_g, piece.finished_g) == pytest.approx((62.0, 10.0, 72.0))


def test_remarks_point_at_thin_crust_deep_relief_and_large_centres():
    design = EVEN.with_values({"portion.centres": [{"mass_g": 20, "density_g_per_ml": 1.0}]})
    made = fit(design, owned(width_mm=60, height_mm=20, relief_depth_mm=1.5, relief_cover=0.1))
    # A ball of 20 mL is 33.7 mm wide and the mould 20 mm deep.
    assert set(map(str, row(made, "2:8", centred=True).remarks)) == {
        "The crust is under 2 mm.",
        "The relief is deeper than half the crust.",
        "The centre does not fit.",
    }
    assert row(made, "5:5").remarks == ()
    tiny = fit(design, owned(width_mm=20, height_mm=20))
    assert row(tiny, centred=True).piece is None
    assert list(map(str, row(tiny, centred=True).remarks)) == ["The centre does not fit."]


PRESS = {"outline": "square", "width_mm": 40, "most_height_mm": 30, "relief_depth_mm": 2.0,
         "relief_cover": 0.5}  # fmt: skip


def test_a_press_has_a_window_of_closed_form():
    made = fit(EVEN, owned(**PRESS))
    window = made.own_window(EVEN)
    # least: 2 mm relief and two crusts of 2 mm; the relief holds 1600 mm2 x 1 mm.
    assert (window.least_mm, window.most_mm) == (6.0, 30.0)
    assert window.least.raw_g == pytest.approx(1.25 * 1.6 * 7)
    assert window.most.raw_g == pytest.approx(1.25 * 1.6 * 31)
    given = fit(EVEN, owned(**PRESS, least_height_mm=12)).own_window(EVEN)
    assert given.least.raw_g == pytest.approx(1.25 * 1.6 * 13)
    long = fit(EVEN, owned(outline="square", width_mm=40, bore_length_mm=50, guide_mm=15))
    assert long.own_window(EVEN).most.raw_g == pytest.approx(1.25 * 1.6 * 35)


def test_a_centre_raises_the_least_height_by_its_diameter():
    design = EVEN.with_values({"portion.centres": [{"mass_g": 4, "density_g_per_ml": 1.0}]})
    ball_mm = 2 * (3 * 4000 / (4 * pi)) ** (1 / 3)
    assert fit(design, owned(**PRESS)).own_window(design).least_mm == pytest.approx(6.0 + ball_mm)
    large = EVEN.with_values({"portion.centres": [{"mass_g": 10, "density_g_per_ml": 1.0}]})
    made = fit(large, owned(**PRESS))  # 26.7 mm and 6 are more than 30
    assert "the centre does not fit" in str(made.notes[0])
    assert not any(w.design.portion.centres for w in made.windows)


def test_weight_and_height_lead_to_each_other():
    window = fit(EVEN, owned(**PRESS)).own_window(EVEN)
    by_weight, by_height = pressings(window, raw_g=[40.0], heights_mm=[35.0])
    assert by_weight.height_mm == pytest.approx(40 / 1.25 / 1.6 - 1)
    assert by_weight.inside
    assert by_height.piece.raw_g == pytest.approx(1.25 * 1.6 * 36)
    assert not by_height.inside


def test_a_press_filled_with_water_knows_its_window():
    water = 1.6 * 21 * 0.998207  # 40 x 40 x 21 mm at 20 deg C, the flat top 20 mm up
    mould = owned(outline="square", width_mm=40, height_mm=20, water_g=[water], most_height_mm=30)
    window = fit(EVEN, mould).own_window(EVEN)
    assert window.most.raw_g == pytest.approx(1.25 * 1.6 * 31, rel=1e-4)


BAD_SIZES = [
    ({"width_mm": 60}, "must be known by one of"),
    ({"width_mm": -1.0, "height_mm": 20}, r"width_mm = -1.0: must be at least 1 mm"),
    ({"width_mm": 60, "height_mm": float("nan")}, "must be a finite number"),
    ({"width_mm": 60, "height_mm": float("inf")}, "must be a finite number"),
    ({"outline": "rond", "width_mm": 60, "height_mm": 20}, "the nearest is round"),
    ({"outline": "square", "width_mm": 40, "height_mm": 20, "corner_radius_mm": 21},
     "at most half the width"),
    ({"width_mm": 20, "height_mm": 20, "shoulder_radius_mm": 20}, "leaves no flat top"),
    ({"width_mm": 200, "height_mm": 5, "shoulder_radius_mm": 30}, "deeper than the cavity"),
    ({"width_mm": 20, "height_mm": 60, "draft_deg": 20}, "draft_deg = 20.0: leaves no flat top"),
    ({"width_mm": 60, "height_mm": 10, "relief_depth_mm": 12, "sense": "sunk"}, "cuts through"),
    ({"width_mm": 60, "height_mm": 10, "relief_cover": 1.2}, "must be at most 1"),
    ({"width_mm": 60, "height_mm": 25, "highest_mm": 25}, "highest_mm must be above heig"),
    ({"width_mm": 60, "most_height_mm": 25, "highest_mm": 27}, "give both"),
    ({"width_mm": 60, "height_mm": 25, "highest_mm": 27, "relief_depth_mm": 1}, "are both given"),
    ({"width_mm": 60, "height_mm": 25, "highest_mm": 27, "sense": "sunk"}, "are both given"),
    ({"water_g": [0.0]}, r"water_g = 0.0: must be a finite number above 0 g"),
    ({"water_g": [62.0, 1e308]}, r"water_g = 1e\+308: must be at most 100000 g"),
    ({"width_mm": 1e-300, "height_mm": 25}, "width_mm = 1e-300: must be at least 1 mm"),
    ({"water_g": [50.0], "empty_g": 80.0}, "above the empty mould's 80 g"),
    ({"water_g": [50.0], "at_c": 101.0}, "must be at most 100 deg C"),
    ({"water_g": [50.0], "most_height_mm": 30}, "must come with the water of a press mould"),
    ({"water_g": [50.0], "mesh": "a.stl"}, "are both given"),
    ({"stamp": "a.stl"}, "must come with the mesh of its sleeve"),
    ({"width_mm": 60, "most_height_mm": 5, "relief_depth_mm": 2}, "above the least height"),
    ({"width_mm": 60, "least_height_mm": 5, "height_mm": 20}, "most_height_mm = 'not given'"),
    ({"width_mm": 60, "bore_length_mm": 50}, "must come with guide_mm"),
    ({"width_mm": 60, "bore_length_mm": 10, "guide_mm": 15}, "above 0 mm"),
    ({"width_mm": 60, "height_mm": 20, "most_height_mm": 30, "draft_deg": 3}, "must be 0 in a pr"),
    ({"mesh": "a.stl", "up": "up"}, r"up = 'up': must be one of \+x, -x"),
    ({"mesh": "a.stl", "unit": "yard"}, "must be one of mm, inch, cm, m"),
    ({"wide": 3}, "is not a known key"),
]  # fmt: skip


@pytest.mark.parametrize(("values", "sentence"), BAD_SIZES)
def test_what_cannot_be_is_refused_in_a_sentence(values, sentence):
    with pytest.raises(SpecError, match=sentence):
        fit(EVEN, owned(**values))


def test_pressing_needs_a_press_and_room():
    block = fit(EVEN, owned(width_mm=60, height_mm=20))
    with pytest.raises(SpecError, match="needs a press mould"):
        pressings(block.own_window(EVEN), raw_g=[40.0], heights_mm=[])
    window = fit(EVEN, owned(**PRESS)).own_window(EVEN)
    for weight in (0.0, -3.0, float("nan")):
        with pytest.raises(SpecError, match=r"pressed_weight = .* above 0 g"):
            pressings(window, raw_g=[weight], heights_mm=[])
    design = EVEN.with_values({"portion.centres": [{"mass_g": 4, "density_g_per_ml": 1.0}]})
    with pytest.raises(SpecError, match="leaves no room for the centre"):
        pressings(fit(design, owned(**PRESS)).own_window(design), raw_g=[], heights_mm=[1.0])


def block(*tools, size=(120.0, 120.0, 40.0)):
    body = Manifold.cube(list(size)).translate([-size[0] / 2, -size[1] / 2, -size[2]])
    for tool in tools:
        body -= tool
    return body


def written(folder, name, body):
    mesh = body if isinstance(body, Mesh) else mesh_of(body)
    path = folder / name
    trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).export(path)
    return str(path)


CUP_ML = 256 * 25**2 * np.sin(2 * pi / 256) / 2 * 20 / 1000
"""Holds the polygon of 256 sides, 25 mm to its corners, 20 mm deep."""


def cup():
    return block(cylinder(25, -20, 1))


HALF_BALL_MM3 = 2 / 3 * pi * 30**3
MESH_CRUST_MM = 0.05
"""What `SampledShape` promises: 20,000 points, shares known to 0.3 %, over a wall of V / 10 mm."""


@pytest.mark.parametrize(
    ("tool", "inside"),
    [
        pytest.param(
            cylinder(30, -25, 1, 512), lambda t: pi * (30 - t) ** 2 * (25 - 2 * t), id="cylinder"
        ),
        pytest.param(
            Manifold.sphere(30, 512), lambda t: pi * (30 - 2 * t) ** 2 * (60 - t) / 3,
            id="half a ball: cap pi h2 (3 R - h) / 3",
        ),
        pytest.param(
            Manifold.cube([50, 41, 40], center=True).rotate([0, 0, 20]),
            lambda t: (50 - 2 * t) * (41 - 2 * t) * (20 - 2 * t), id="box, turned",
        ),
    ],
)  # fmt: skip
def test_a_mesh_has_volume_and_crust_of_its_closed_form(tmp_path, tool, inside):
    made = fit(EVEN, owned(mesh=written(tmp_path, "cup.stl", block(tool))))
    assert volume_ml(made) == pytest.approx(inside(0.0) / 1000, rel=0.001)
    closed = crust_of(inside, inside(0.0))
    assert row(made).crust_thickness_mm == pytest.approx(closed, abs=MESH_CRUST_MM)


def test_a_vent_through_the_floor_is_named_where_hardly_anything_is_held(tmp_path):
    dent = cylinder(5, -1, 1).translate([45, 45, 0])  # as a letter: all else runs out
    vented = block(cylinder(25, -20, 1), cylinder(0.6, -41, 1), dent)
    made = fit(EVEN, owned(mesh=written(tmp_path, "vented.stl", vented)))
    assert any("mould.vent_mm = 0" in str(note) for note in made.notes)


@pytest.mark.parametrize("ending", ["stl", "3mf"])
def test_a_file_that_was_made_larger_for_its_plastic_is_the_size_of_its_print(tmp_path, ending):
    larger = 1.0 / 0.985  # PP
    whole = mesh_of(cup())
    mesh = in_float32(Mesh(larger * whole.vertices, whole.triangles))
    path = tmp_path / f"cup.{ending}"
    said = made_larger_text(larger)
    path.write_bytes(
        stl_bytes(mesh, larger)
        if ending == "stl"
        else threemf_bytes(
            {"cup": mesh}, bed_mm=(220, 220, 250), title="cup", description=said, thumbnail=None
        )
    )
    made = fit(EVEN, owned(mesh=str(path)))
    assert volume_ml(made) == pytest.approx(CUP_ML, rel=1e-5)  # six decimals of the factor
    assert any("made larger by 1.52%" in str(note) for note in made.notes)


@pytest.mark.parametrize("ending", ["stl", "3mf", "obj", "ply"])
def test_a_cup_reads_the_same_from_each_format(tmp_path, ending):
    made = fit(EVEN, owned(mesh=written(tmp_path, f"cup.{ending}", cup())))
    # float32 corners, or eight decimals: 4e-6 mm of 20 mm
    assert volume_ml(made) == pytest.approx(CUP_ML, rel=1e-6)


def test_several_cups_are_each_measured_and_alike_ones_told(tmp_path):
    places = [(cylinder(20, -20, 1), -30), (cylinder(20, -20, 1), 30)]
    tools = [tool.translate([x, -30, 0]) for tool, x in places]
    tools.append(cylinder(15, -30, 1).translate([0, 30, 0]))
    made = fit(EVEN, owned(mesh=written(tmp_path, "tray.stl", block(*tools))))
    assert [round(c.volume_mm3 / pi) for c, _ in made.cavities] == pytest.approx(
        [8000, 8000, 6750], rel=2e-4
    )
    assert made.equal_cavities == ((0, 1), (2,))
    depths = [c.shape.height_mm for c, _ in made.cavities]
    assert depths == pytest.approx([20.0, 20.0, 30.0], abs=1e-4)


def test_way_up_is_said_and_obeyed(tmp_path):
    down = written(tmp_path, "down.stl", cup().rotate([180, 0, 0]))
    with pytest.raises(SpecError, match=r"holds nothing that way up, but it does with --up -z"):
        fit(EVEN, owned(mesh=down))
    assert volume_ml(fit(EVEN, owned(mesh=down, up="-z"))) == pytest.approx(CUP_ML, rel=1e-5)
    plain = written(tmp_path, "plain.stl", block())
    with pytest.raises(SpecError, match="nor any other way up"):
        fit(EVEN, owned(mesh=plain))


@pytest.mark.parametrize(("unit", "in_mm"), [("inch", 25.4), ("cm", 10.0)])
def test_absurd_sizes_are_doubted_and_the_unit_is_named(tmp_path, unit, in_mm):
    mm = mesh_of(cup())
    path = written(tmp_path, "cup.stl", Mesh(mm.vertices / in_mm, mm.triangles))
    doubt = " ".join(map(str, fit(EVEN, owned(mesh=path)).notes))
    assert "is the unit right" in doubt
    assert f"--unit {unit} makes it 39.3 mL" in doubt
    right = fit(EVEN, owned(mesh=path, unit=unit))
    assert right.notes == ()
    assert volume_ml(right) == pytest.approx(CUP_ML, rel=1e-5)


def test_a_speck_that_holds_nothing_is_asked_its_unit(tmp_path):
    mm = mesh_of(cup())
    path = written(tmp_path, "cup.stl", Mesh(mm.vertices / 1000.0, mm.triangles))
    with pytest.raises(SpecError, match=r"0\.12 mm long and holds nothing; check its unit"):
        fit(EVEN, owned(mesh=path))
    assert volume_ml(fit(EVEN, owned(mesh=path, unit="m"))) == pytest.approx(CUP_ML, rel=1e-5)


def test_a_broken_mesh_is_mended_only_when_asked_and_it_is_told(tmp_path):
    whole = mesh_of(block(cylinder(25, -20, 1)))
    path = written(tmp_path, "broken.stl", Mesh(whole.vertices, whole.triangles[1:]))
    with pytest.raises(FileError, match=r"must bound a solid, and has 3 open, .*--mend"):
        fit(EVEN, owned(mesh=path))
    made = fit(EVEN, owned(mesh=path, mend=True))
    assert "1 hole was closed" in str(made.notes[0])
    assert volume_ml(made) == pytest.approx(pi * 625 * 20 / 1000, rel=2e-4)
    over = written(tmp_path, "over.stl", whole.inside_out())
    with pytest.raises(FileError, match=r"must not be inside out; .*--mend"):
        fit(EVEN, owned(mesh=over))


def test_a_cavity_wider_than_its_mouth_has_no_crust(tmp_path):
    tools = cylinder(10, -5, 1), cylinder(20, -15, -5)
    made = fit(EVEN, owned(mesh=written(tmp_path, "jar.stl", block(*tools))))
    assert volume_ml(made) == pytest.approx(pi * 4.5, rel=2e-4)
    assert row(made).crust_thickness_mm is None
    assert "wider inside than its mouth" in str(made.cavities[0][0].remarks[0])


def test_sleeve_and_stamp_give_volume_window_and_crust(tmp_path):
    engraving = cone(10, 8, 20, 22)
    files = {
        "mesh": written(tmp_path, "sleeve.stl", sleeve()),
        "stamp": written(tmp_path, "stamp.stl", stamp(engraved=[engraving]).turned_over()),
    }
    made = fit(EVEN, owned(**files, height_mm=20, least_height_mm=10))
    relief = pi * 2 * (100 + 80 + 64) / 3
    expected = pi * BORE_MM**2 * 20 + relief
    # The bore is a polygon of 256 sides: 0.01 % short.
    assert volume_ml(made) == pytest.approx(expected / 1000, rel=3e-4)
    window = made.own_window(EVEN)
    assert window.most_mm == pytest.approx(40.0, abs=1e-3)  # 50 mm of sleeve, 10 mm of stamp
    assert window.most.raw_g == pytest.approx(1.25 * (pi * 900 * 40 + relief) / 1000, rel=3e-4)
    same = fit(EVEN, owned(width_mm=2 * BORE_MM, height_mm=20))
    # The engraving is 1 % of the volume; without it the filling takes 1 % less.
    assert row(made).crust_thickness_mm == pytest.approx(row(same).crust_thickness_mm, abs=0.1)


def shelf_of(folder, text):
    path = folder / "shelf.toml"
    path.write_text(text)
    return Register.read(path).mould


SHELF = """
[[mould]]
name = "too small"
outline = "square"
width_mm = 30
height_mm = 20

[[mould]]
name = "just right"
outline = "square"
width_mm = 48
height_mm = 25

[[mould]]
name = "press"
outline = "square"
width_mm = 48
least_height_mm = 15
most_height_mm = 40

[[mould]]
name = "tray"
mesh = "tray.stl"
"""


def test_a_shelf_is_ranked_for_a_portion(tmp_path):
    cup = Manifold.cube([40, 40, 80], center=True)
    written(tmp_path, "tray.stl", block(cup, size=(60.0, 60.0, 50.0)))
    design = EVEN.with_values({"portion.finished_weight_g": 72.0})  # 57.6 mL: 48 x 48 x 25 mm
    found = {r.name: r for r in ranked_moulds(design, shelf_of(tmp_path, SHELF))}
    assert list(found) == ["just right", "press", "tray", "too small"]
    assert [r.fits for r in found.values()] == [True, True, False, False]
    assert found["press"].height_mm == pytest.approx(25.0)
    assert found["just right"].over_ratio == pytest.approx(0.0, abs=1e-9)
    assert found["too small"].over_ratio == pytest.approx(57.6 / 18 - 1)
    assert found["too small"].fills_raw_g == pytest.approx(22.5)
    assert "too large for the mould" in str(found["too small"].remarks[0])
    assert found["tray"].over_ratio == pytest.approx(57.6 / 64 - 1, rel=1e-4)
    heavy = design.with_values({"portion.finished_weight_g": 144.0})
    press = next(r for r in ranked_moulds(heavy, shelf_of(tmp_path, SHELF)) if r.name == "press")
    assert press.over_ratio == pytest.approx(50 / 40 - 1)
    assert press.fills_raw_g == pytest.approx(115.2)
    assert "too large for the window" in str(press.remarks[0])


@pytest.mark.parametrize(("over_mm", "fits"), [(0.4, True), (1.1, False)])
def test_a_mould_is_taken_within_what_its_measures_leave_open(tmp_path, over_mm, fits):
    # A square of 48 x 48 x 25 mm, read off a ruler to 0.5 mm either way, evenly spread: the sd of
    # each side is 0.5 / sqrt(3) mm, of the volume V sqrt(2^2 (sd / 48)^2 + (sd / 25)^2), for width
    # and depth are one reading; twice that is 3.3 % of V, or 0.83 mm of height.
    sd_mm = 0.5 / sqrt(3.0)
    leeway_mm = 2.0 * 25.0 * hypot(2.0 * sd_mm / 48.0, sd_mm / 25.0)
    assert leeway_mm == pytest.approx(0.83, abs=0.005)
    shelf = shelf_of(tmp_path, '[[mould]]\noutline = "square"\nwidth_mm = 48\nheight_mm = 25')
    weight_g = 1.25 * 48 * 48 * (25 + over_mm) / 1000
    design = EVEN.with_values({"portion.finished_weight_g": weight_g, "scale.resolution_g": 0.01})
    (found,) = ranked_moulds(design, shelf)
    assert found.fits is fits
    assert found.tolerance_ml == pytest.approx(48 * 48 * leeway_mm / 1000, rel=1e-3)


def test_a_centre_that_does_not_fit_is_never_taken(tmp_path):
    design = EVEN.with_values(
        {"portion.finished_weight_g": 72.0, "portion.centres": [{"mass_g": 30.0}]}
    )
    found = ranked_moulds(design, shelf_of(tmp_path, SHELF.partition('[[mould]]\nname = "tray')[0]))
    # A ball of 30 g is 38 mm across: higher than the moulds of 20 and 25 mm, and in the press, at
    # the height of this weight, too.
    assert [r.fits for r in found] == [False] * 3
    assert all("centre does not fit" in " ".join(map(str, r.remarks)) for r in found)
    assert nearest_mould(found) is None


def test_a_press_takes_nothing_outside_its_window_however_near(tmp_path):
    shelf = shelf_of(tmp_path, SHELF)[2:3]  # 15 to 40 mm of 48 x 48 mm
    for height_mm, fits in ((40.0, True), (40.1, False), (14.9, False)):
        weight_g = 1.25 * 48 * 48 * height_mm / 1000
        design = EVEN.with_values({"portion.finished_weight_g": weight_g - 1e-9})
        (found,) = ranked_moulds(design, shelf)
        assert found.fits is fits
        near_mm = min(max(height_mm, 15.0), 40.0)
        assert nearest_mould([found]).fills_finished_g == pytest.approx(
            1.25 * 48 * 48 * near_mm / 1000
        )


def test_the_print_of_a_mesh_leaves_its_walls_open(tmp_path):
    # A cylinder of radius 25 and depth 20 mm: wall, floor and rim are 2 pi r (r + h) = 7069 mm2,
    # a tenth of a millimetre of which is 0.707 mL.
    path = written(tmp_path, "cup.stl", block(cylinder(25, -20, 1)))
    made = fit(EVEN, owned(mesh=path))
    assert made.cavities[0][0].volume_sd_mm3 == pytest.approx(706.9, rel=0.03)
    assert fit(EVEN, owned(mesh=path, print_error_mm=0.0)).cavities[0][0].volume_sd_mm3 == 0.0


@pytest.mark.parametrize(
    ("text", "error", "sentence"),
    [
        ("", FileError, "names no mould"),
        ("mould = 3", SpecError, "mould = 3: must be a list"),
        ("[[mould]]\nwidth_mm = 60", SpecError, "must be known by one of"),
        ("[[mould]]\nwidht_mm = 60", SpecError, "the nearest is width_mm"),
        ("[[mould", FileError, "is not TOML"),
    ],
)
def test_a_shelf_that_cannot_be_is_refused(tmp_path, text, error, sentence):
    with pytest.raises(error, match=sentence):
        shelf_of(tmp_path, text)


def test_the_plot_is_an_svg_or_a_png_and_the_same_every_time():
    window = fit(EVEN, owned(**PRESS)).own_window(EVEN)
    pieces = [p.piece for p in pressings(window, raw_g=[40.0], heights_mm=[35.0])]
    for draw in (window_svg, window_png):
        first, again = (draw("press", window, sd_g=1.0, pieces=pieces) for _ in range(2))
        assert first == again
    assert Image.open(BytesIO(first)).size == (1080, 690)
    text = window_svg("press", window, sd_g=1.0, pieces=pieces)
    assert ET.fromstring(text).tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314 (our own)


@pytest.mark.slow
def test_two_million_triangles_in_20_seconds_and_2_gb(tmp_path):
    """In a process of its own, for the peak of memory is the process's."""
    import resource  # noqa: PLC0415
    import subprocess  # noqa: PLC0415
    import sys  # noqa: PLC0415
    import time  # noqa: PLC0415

    path = written(tmp_path, "cup.stl", block(Manifold.sphere(30.0, 2812)))
    command = [sys.executable, "-m", "moulddesign", "fit", "--mesh", path, "--json"]
    began = time.monotonic()
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603
    assert time.monotonic() - began < 20.0
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < 2_000_000  # kB


def test_round_outline_is_the_default():
    made = fit(EVEN, owned(width_mm=60, height_mm=20))
    assert volume_ml(made) == pytest.approx(pi * 900 * 20 / 1000, rel=CHORDS)


def test_a_mesh_of_many_facets_is_made_coarser_and_keeps_its_crust(tmp_path, monkeypatch):
    monkeypatch.setattr("moulddesign.fit.mesh_cavities.MOST_SAMPLED_TRIANGLES", 1000)
    ball = block(Manifold.sphere(30, 768))
    made = fit(EVEN, owned(mesh=written(tmp_path, "cup.stl", ball)))
    closed = crust_of(lambda t: pi * (30 - 2 * t) ** 2 * (60 - t) / 3, HALF_BALL_MM3)
    assert row(made).crust_thickness_mm == pytest.approx(closed, abs=MESH_CRUST_MM)


@pytest.mark.parametrize(
    ("ratio", "size", "best"),
    [("3:7", (50.0, 25.0), "3:7"), ("2:8", (50.0, 25.0), "3:7")],
)
def test_the_recommended_row_is_the_own_or_the_nearest_with_a_sound_crust(ratio, size, best):
    # A crust under 2 mm tears, common practice, no source: `crust-thin` says so beside the row.
    width_mm, height_mm = size
    design = EVEN.with_values({"portion.ratio": ratio, "portion.centres": []})
    made = fit(design, owned(width_mm=width_mm, height_mm=height_mm))
    found = made.recommended(design)
    assert found.ratio == best
    ratios = {r.ratio: r for r in made.cavities[0][1]}
    assert [str(r) for r in found.remarks] == []
    assert found is ratios[best]


def test_the_height_that_a_press_is_taken_at_is_said():
    made = fit(EVEN, owned(width_mm=50.0, most_height_mm=40.0))
    assert "greatest height, 40.0 mm" in str(made.cavities[0][0].remarks[0])
