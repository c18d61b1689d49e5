import json
from math import pi
from struct import pack

import numpy as np
import pytest
import trimesh
from command_line import refused, run
from manifold3d import Manifold
from verify.presses import BORE_MM, HEIGHT_MM, sleeve, stamp
from verify.shapes import cone, cylinder, mesh_of

from moulddesign.design import Design
from moulddesign.portion import figures

SQUARE = ("--outline", "square", "--width", 50, "--height", 24)
PRESS = ("--outline", "square", "--width", 40, "--most-height", 30)
ROW = {"ratio", "raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g",
       "crust_thickness_mm"}  # fmt: skip
"""Fields that the interface promises."""


def report(monkeypatch, capsys, *arguments):
    code, out, err = run(monkeypatch, capsys, "fit", *arguments, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def tray(folder, name="tray.stl"):
    body = Manifold.cube([120, 60, 30]).translate([-60, -30, -30])
    for x in (-30, 30):
        body -= cylinder(25, -20, 1).translate([x, 0, 0])
    mesh = mesh_of(body)
    trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).export(folder / name)
    return folder / name


def test_sizes_as_json(monkeypatch, capsys):
    made = report(monkeypatch, capsys, *SQUARE, "--ratio", "1:9", "--centre-mass", 5)
    (cavity,) = made["cavities"]
    assert cavity["volume_ml"] == pytest.approx(60.0)
    assert made["window"] is None
    assert all(row.keys() >= ROW for row in cavity["rows"])
    ratios = {(row["ratio"], row["with_centre"]) for row in cavity["rows"]}
    assert ratios == {(r, c) for r in ("2:8", "3:7", "4:6", "5:5", "1:9") for c in (False, True)}
    for row in cavity["rows"]:
        crust, filling = map(float, row["ratio"].split(":"))
        assert row["crust_g"] / row["filling_g"] == pytest.approx(crust / filling)
        assert row["centre_g"] == (5.0 if row["with_centre"] else 0.0)
        assert row["raw_g"] == pytest.approx(row["crust_g"] + row["paste_g"] + row["centre_g"])


DRAWN = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'
    '<path d="M1 1H9V5L5 9L1 5Z"/></svg>'
)
"""A house upside down, 8 by 8 units: a rectangle of 8 by 4 and a triangle of half 8 by 4."""


@pytest.mark.parametrize(
    ("outline", "width_squares"),
    [  # area over the width across the flats, squared: regular polygons
        pytest.param("round", pi / 4, id="circle"),
        pytest.param("square", 1.0, id="square"),
        pytest.param("hexagon", 3**0.5 / 2, id="hexagon"),
        pytest.param("octagon", 2 * (2**0.5 - 1), id="octagon"),
        pytest.param("drawn.svg", 48 / 64, id="drawn"),
    ],
)
def test_each_outline_holds_its_closed_form(monkeypatch, capsys, tmp_path, outline, width_squares):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "drawn.svg").write_text(DRAWN)
    made = report(monkeypatch, capsys, "--outline", outline, "--width", 60, "--height", 25)
    volume_ml = made["cavities"][0]["volume_ml"]
    # Chords of a round lie within 0.002 mm: 2 x 0.002 / 30 of its area.
    assert volume_ml == pytest.approx(width_squares * 60**2 * 25 / 1000, rel=2e-4)


def test_a_scalloped_mouth_lies_between_its_valleys_and_its_lobes(monkeypatch, capsys):
    asked = ("--outline", "scalloped", "--width", 60, "--height", 25)
    deep = report(monkeypatch, capsys, *asked, "--lobes", 9, "--lobe-depth", 4)
    volume_ml = deep["cavities"][0]["volume_ml"]
    assert pi * 26**2 * 25 / 1000 < volume_ml < pi * 30**2 * 25 / 1000


def test_the_demo_s_centre_is_nobody_s_wish(monkeypatch, capsys, tmp_path):
    plain = report(monkeypatch, capsys, *SQUARE)
    assert not any(row["with_centre"] for row in plain["cavities"][0]["rows"])
    design = tmp_path / "cake.toml"
    design.write_text('[portion]\nratio = "1:4"\n[[portion.centres]]\nmass_g = 4\n')
    own = report(monkeypatch, capsys, design, *SQUARE)
    rows = {(r["ratio"], r["with_centre"]): r for r in own["cavities"][0]["rows"]}
    assert rows["1:4", True]["centre_g"] == 4.0


def test_water_as_json(monkeypatch, capsys):
    made = report(monkeypatch, capsys, "--water", 61, "--water", 63, "--at", 10)
    (cavity,) = made["cavities"]
    assert cavity["volume_ml"] == pytest.approx(62 / 0.999703, rel=1e-4)  # IAPWS-95, 10 deg C
    assert cavity["water_g"] == pytest.approx({"mean": 62.0, "sd": 2**0.5})
    assert all(row["crust_thickness_mm"] is None for row in cavity["rows"])


def test_a_mesh_as_json(monkeypatch, capsys, tmp_path):
    made = report(monkeypatch, capsys, "--mesh", tray(tmp_path))
    held = [cavity["volume_ml"] for cavity in made["cavities"]]
    assert held == pytest.approx([pi * 12.5] * 2, rel=2e-4)  # a polygon of 256 sides


def test_a_press_as_json_and_plot(monkeypatch, capsys, tmp_path):
    plot = tmp_path / "press.svg"
    asked = (*PRESS, "--pressed-weight", 50, "--pressed-height", 20, "--plot", plot)
    code, out, err = run(monkeypatch, capsys, "fit", *asked, "--json")
    made = json.loads(out)
    assert code == 0
    assert "Written to" in err
    assert made["window"].keys() >= {"least_raw_g", "most_raw_g"}
    assert made["window"]["least_height_mm"] == 4.0  # two crusts of 2 mm
    window, full = made["window"], made["cavities"][0]["rows"][1]
    assert full["ratio"] == "3:7"
    assert window["most_raw_g"] == pytest.approx(full["raw_g"])
    by_weight, by_height = made["pressed"]
    # Straight walls and no relief: weight and height go together.
    assert by_weight["height_mm"] == pytest.approx(30 * 50 / full["raw_g"])
    assert by_height["raw_g"] == pytest.approx(full["raw_g"] * 20 / 30)
    assert plot.read_text().startswith("<?xml")
    picture = plot.with_suffix(".PNG")
    code, _, _ = run(monkeypatch, capsys, "fit", *PRESS, "--plot", picture)
    assert code == 0
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2
    code, _, err = run(monkeypatch, capsys, "fit", *asked)
    assert code == 2
    assert "is there already" in err


def test_sleeve_and_stamp(monkeypatch, capsys, tmp_path):
    for name, mesh in (("sleeve", sleeve()), ("stamp", stamp().turned_over())):
        body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
        body.export(tmp_path / f"{name}.stl")
    files = ("--mesh", tmp_path / "sleeve.stl", "--stamp", tmp_path / "stamp.stl")
    made = report(monkeypatch, capsys, *files, "--height", 20)
    assert made["cavities"][0]["volume_ml"] == pytest.approx(pi * 18, rel=3e-4)
    assert made["window"]["most_height_mm"] == pytest.approx(40.0, abs=1e-3)
    assert not any("highest" in note for note in made["notes"])
    # Engraved 1.5 mm deep in its middle, and hollow all over: then it has no level.
    pit = cylinder(8, 0, HEIGHT_MM + 1.5)
    bowl = cone(2 * BORE_MM, 0, HEIGHT_MM - 2, HEIGHT_MM + 2.5)
    for tool, sentence in ((pit, "outermost level"), (bowl, "highest point of the carved piece")):
        mesh = stamp(pocket_mm=0.1, engraved=(tool,)).turned_over()
        body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
        body.export(tmp_path / "stamp.stl")
        made = report(monkeypatch, capsys, *files, "--height", 20)
        assert any(sentence in note for note in made["notes"])


@pytest.mark.parametrize(
    "asked",
    [
        (*SQUARE, "--centre-mass", 12, "--relief-depth", 1.5, "--corner-radius", 6),
        ("--water", 61, "--water", 63, "--water", 62, "--width", 60, "--name", "market round"),
        (*PRESS, "--pressed-weight", 60, "--centre-mass", 5, "--name", "x" * 40),
        ("--outline", "square", "--width", 300, "--height", 60, "--centre-mass", 120),
    ],
    ids=["sizes", "water", "press", "large"],
)
def test_tables_fit_80_columns(monkeypatch, capsys, asked):
    code, out, err = run(monkeypatch, capsys, "fit", *asked)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "…" not in out


def test_alike_cavities_share_a_table_and_mending_is_told(monkeypatch, capsys, tmp_path):
    path = tray(tmp_path)
    code, out, _ = run(monkeypatch, capsys, "fit", "--mesh", path, "--mend")
    assert code == 0
    assert "cavities 1 to 2, each: 39.3 +- 1.4 mL" in " ".join(out.split())
    assert "it needed nothing" in " ".join(out.split())


def test_a_shelf_is_ranked(monkeypatch, capsys, tmp_path):
    tray(tmp_path)
    shelf = tmp_path / "shelf.toml"
    shelf.write_text(
        '[[mould]]\nname = "tray"\nmesh = "tray.stl"\n\n'
        '[[mould]]\nname = "square"\noutline = "square"\nwidth_mm = 50\nheight_mm = 24.4\n'
    )
    code, out, _ = run(monkeypatch, capsys, "fit", "--shelf", shelf, "--weight", 75)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert out.index("square") < out.index("tray")
    asked = report(monkeypatch, capsys, "--shelf", shelf, "--weight", 75, "--ratio", "4:6")
    assert [each["name"] for each in asked["ranked"]] == ["square", "tray"]
    assert [each["takes"] for each in asked["ranked"]] == [True, False]
    code, _, err = run(monkeypatch, capsys, "fit", "--shelf", shelf, "--width", 60)
    assert code == 2
    assert err == "--width does nothing beside --shelf; leave one of them out.\n"


BAD = [
    ((), "must be known by one of"),
    (("--width", 60), "must be known by one of"),
    (("--width", 0, "--height", 20), "width_mm = 0.0: must be at least 1 mm"),
    (("--width", "nan", "--height", 20), "must be a number such as 12.5 mm"),
    ((*SQUARE, "--ratio", "3"), "must be crust to filling such as 3:7"),
    ((*SQUARE, "--ratio", "0:7"), "both parts must be above 0"),
    ((*SQUARE, "--loss", "0.9"), "must be at most 0.6"),
    (("--water", 60, "--mesh", "a.stl"), "are both given"),
    ((*SQUARE, "--mesh", "a.stl"), "--outline does nothing beside --mesh"),
    ((*SQUARE, "--plot", "a.svg"), "needs a press mould"),
    ((*PRESS, "--plot", "a.gif"), "must end in .svg, .png"),
    ((*SQUARE, "--pressed-weight", 60), "needs a press mould"),
    (("--water", "-5"), "must be a finite number above 0 g"),
    (("--water", "60", "--at", "-4"), "must be at least 0 deg C"),
    (("--mesh", "nowhere.stl"), "cannot be read"),
    (("--shelf", "nowhere.toml", "--weight", 75), "cannot be read"),
    (("--shelf", "nowhere.toml"), "--shelf does nothing without --weight; add it"),
    ((*SQUARE, "--corner-radius", 40), "corner_radius_mm = 40.0: must be at most half the width"),
    (
        ("--width", 60, "--height", 20, "--corner-radius", 5),
        "corner_radius_mm = 5.0: does nothing for the outline round; leave it out, or take square",
    ),
    ((*SQUARE, "--lobes", 8), "lobes = 8: does nothing for the outline square"),
    ((*SQUARE, "--lobe-depth", 2), "lobe_depth_mm = 2.0: does nothing for the outline square"),
    (("--outline", "star", "--width", 60, "--height", 20), "must be one of round, square, hexagon"),
    (("--outline", "nowhere.svg", "--width", 60, "--height", 20), "nowhere.svg: cannot be read"),
]


@pytest.mark.parametrize(("arguments", "sentence"), BAD)
def test_bad_input_is_one_sentence_and_exit_2(monkeypatch, capsys, arguments, sentence):
    code, out, err = run(monkeypatch, capsys, "fit", *arguments)
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


def facet_bytes(*corners):
    return pack("<12fH", 0, 0, 0, *np.ravel(corners), 0)


def stl_bytes(*facets):
    return bytes(80) + pack("<I", len(facets)) + b"".join(facets)


FLAT = facet_bytes((0, 0, 0), (50, 0, 0), (0, 50, 0))


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty.stl", b""),
        ("words.stl", b"a pound of flour and a stick of butter\n"),
        ("cut.stl", stl_bytes(FLAT, FLAT)[:-20]),
        ("nan.stl", stl_bytes(facet_bytes((0, 0, 0), (float("nan"), 0, 0), (0, 5, 0)))),
        ("speck.stl", stl_bytes(facet_bytes((1, 1, 1), (1, 1, 1), (1, 1, 1)))),
        ("sheet.stl", stl_bytes(FLAT, FLAT)),
        ("cup.step", b"ISO-10303-21;"),
        ("words.3mf", b"PK no archive"),
    ],
)
def test_bad_files_are_one_sentence_and_exit_2(monkeypatch, capsys, tmp_path, name, data):
    path = tmp_path / name
    path.write_bytes(data)
    code, out, err = run(monkeypatch, capsys, "fit", "--mesh", path)
    assert (code, out) == (2, "")
    assert str(path) in err
    assert err.count("\n") == 1


def test_a_folder_and_a_mesh_upside_down_are_one_sentence_and_exit_2(monkeypatch, capsys, tmp_path):
    code, _, err = run(monkeypatch, capsys, "fit", "--mesh", tmp_path)
    assert code == 2
    assert err.count("\n") == 1
    code, _, err = run(monkeypatch, capsys, "fit", "--mesh", tray(tmp_path), "--up=-z")
    assert code == 2
    assert "but it does with --up +z" in err


def test_what_fits_goes_on_to_batch_and_trial_but_to_no_new_mould(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    sizes = ("--name", "tin", "--width", 60, "--height", 21.5)
    code, _, err = run(monkeypatch, capsys, "fit", *sizes, "--out", "tin.toml")
    assert (code, err) == (0, "Written to tin.toml\n")
    design = Design.read("tin.toml")
    kept = {"kind": "own", "name": "tin", "width_mm": 60.0, "height_mm": 21.5}
    assert (design.name, design.mould.plain()) == ("tin", kept)
    # A cylinder of 60 by 21.5 mm holds 60.79 mL.
    assert figures(design).piece.volume_ml == pytest.approx(pi * 0.9 * 21.5, rel=2e-4)
    assert run(monkeypatch, capsys, "batch", "tin.toml", "--pieces", 12)[0] == 0
    weighed = ("--raw", 77, "--finished", 75, "--height", 21.5)
    code, _, _ = run(monkeypatch, capsys, "trial", "tin.toml", *weighed, "--out", "tried.toml")
    assert (code, Design.read("tried.toml").mould.plain()) == (0, kept)
    assert "mould.kind = 'own': is a mould that exists" in refused(
        monkeypatch, capsys, "make", "tried.toml", "--formats", "stl"
    )
    new = (*weighed, "--keep", "weight", "--out", "new.toml")
    assert run(monkeypatch, capsys, "trial", "tin.toml", *new)[0] == 0
    assert Design.read("new.toml").mould.kind.value == "press"  # asked for in so many words


def test_a_trial_of_a_mould_without_sizes_takes_no_heights(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    run(monkeypatch, capsys, "fit", "--water", 61.5, "--name", "cup", "-o", "cup.toml")
    pieces = ("--raw", 77, "--finished", 75)
    assert run(monkeypatch, capsys, "trial", "cup.toml", *pieces)[0] == 0
    said = refused(monkeypatch, capsys, "trial", "cup.toml", *pieces, "--height", 20)
    assert "needs its sizes for heights that were measured" in said


def test_a_press_is_asked_which_of_its_weights(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    said = refused(monkeypatch, capsys, "fit", *PRESS, "--out", "a.toml")
    assert said == (
        "weight = 'not given': must be given for a press mould, which takes many weights: "
        "add --weight."
    )
    assert "what the press mould takes" in refused(
        monkeypatch, capsys, "fit", *PRESS, "--out", "a.toml", "--weight", 900
    )
    assert list(tmp_path.iterdir()) == []


def test_a_folder_gets_design_and_bench_card(monkeypatch, capsys, tmp_path):
    folder = tmp_path / "tin"
    code, out, _ = run(monkeypatch, capsys, "fit", *SQUARE, "--out", folder, "--units", "us")
    assert code == 0
    assert "oz" in out
    assert {path.name for path in folder.iterdir()} == {
        "design.toml", "card.html", "card.pdf", "card-1.png", "card-2.png"
    }  # fmt: skip
    made = figures(Design.read(folder / "design.toml"))
    assert made.piece.volume_ml == pytest.approx(60.0, abs=0.01)  # 50 x 50 x 24 mm
    sentence = refused(monkeypatch, capsys, "fit", *SQUARE, "--out", folder)
    assert "is there already" in sentence
    (folder / "report.json").write_text("{}")
    assert "name another folder" in refused(
        monkeypatch, capsys, "fit", *SQUARE, "--out", folder, "--overwrite"
    )


@pytest.mark.parametrize(
    ("mass_g", "name", "remark"),
    [
        # Balls of 20 and 22 mm in 24 mm, whose crust of 3:7 is near 2 mm: a date gives way.
        pytest.param(5, "date", "flatten a soft one", id="a soft one flattens"),
        pytest.param(5, "walnut", "The centre does not fit.", id="a nut does not"),
    ],
)
def test_a_soft_centre_may_be_flattened(monkeypatch, capsys, mass_g, name, remark):
    made = report(monkeypatch, capsys, *SQUARE, "--ratio", "3:7", "--centre", f"{name}:{mass_g}")
    (row,) = [r for r in made["cavities"][0]["rows"] if r["with_centre"] and r["ratio"] == "3:7"]
    assert remark in " ".join(row["remarks"])


def test_paper_needs_a_card(monkeypatch, capsys, tmp_path):
    sentence = refused(
        monkeypatch, capsys, "fit", *SQUARE, "--out", tmp_path / "tin.toml", "--paper", "letter"
    )
    assert "--paper" in sentence


def test_fit_takes_named_doughs(monkeypatch, capsys):
    made = report(monkeypatch, capsys, *SQUARE, "--crust-dough", "unbaked", "--ratio", "3:7")
    row = next(r for r in made["cavities"][0]["rows"] if r["ratio"] == "3:7")
    assert row["finished_g"] == pytest.approx(row["raw_g"], rel=0.02)


def test_a_solid_piece_is_told_raw_and_finished_alone(monkeypatch, capsys):
    asked = ("fit", *SQUARE, "--composition", "solid", "--loss", 0.1, "--crust-density", 1.25)
    _, out, _ = run(monkeypatch, capsys, *asked)
    assert "75.0" in out  # 60 mL of 1.25 g/mL
    assert "67.5" in out
    for word in ("crust mm", "filling", "1:0", "--centre"):
        assert word not in out
