"""Further stamps: one portion, sleeve and plunger, and heights that follow from the reliefs."""

import dataclasses
import json
from functools import cache

import lib3mf
import numpy as np
import pygltflib
import pytest
import shapely
import trimesh
from kept_designs import built as alone
from kept_designs import kept, made_once
from mould.judge import shared_mm3
from PIL import Image
from pypdf import PdfReader

from moulddesign.building import PASTRY, CheckInput, begin_findings, build
from moulddesign.core import SpecError, Verdict
from moulddesign.design import Design, parse_formats
from moulddesign.export import BuildFiles, ExportOptions, publish
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.verify.press_checks import closed_cavity_mm3

DESIGN = Design().with_values(
    {
        "name": "three-faces",
        "portion.ratio": "4:6",
        "relief.layers": [{"pattern": "blossom"}],
        "further_stamps": [
            {"name": "fig", "layers": [{"text": "Fig", "size_mm": 30.0}], "profile": "bevel"},
            {"name": "deep", "layers": [{"pattern": "sun"}], "sense": "sunk", "depth_mm": 1.2},
        ],
    }
)
CASES = {
    "round": {},
    "square under a shoulder": {
        "portion.finished_weight_g": 50.0,
        "pastry.outline": "square",
        "pastry.shoulder_radius_mm": 3.0,
        "relief.layers": [{"pattern": "lantern"}],
    },
}
LIGHT = kept("little-30").with_values(
    {
        "further_stamps": [
            {
                "name": "deep",
                "layers": [{"motif": "rings", "count": 4}],
                "sense": "sunk",
                "depth_mm": 2.5,
            }
        ],
    }
)
"""Under a stamp that makes a far higher pastry and cuts through its crust."""


@cache
def built(case):
    return build(DESIGN.with_values(CASES[case]))


@pytest.fixture(scope="module")
def light():
    return made_once(LIGHT)


@pytest.fixture(
    scope="module",
    params=[
        "round",
        pytest.param("square under a shoulder", marks=pytest.mark.slow),
    ],
)
def made(request):
    return built(request.param)


@pytest.fixture(scope="module")
def first(made):
    return made.pastry


def test_what_all_stamps_share_is_judged_once(light):
    stressed = [f.id for f in light.findings if f.id.endswith("-by-stress")]
    assert stressed
    assert len(set(stressed)) == len(stressed)


def read(mesh):
    seen = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=True)
    assert seen.is_watertight
    assert seen.is_winding_consistent
    assert seen.body_count == 1
    return seen


def test_nothing_fails_and_the_parts_are_named(made):
    assert made.failed == ()
    stamps, pastries = ("stamp-fig", "stamp-deep"), ("pastry-fig", "pastry-deep")
    shims = ("shim-0.4", "shim-0.8", "shim-1.6")
    together = ("sleeve", "stamp", "plunger", "stop")
    assert made.parts == (*together, *shims, *stamps, PASTRY, *pastries)
    assert tuple(part.name for part in made.mould.assembled) == together


def test_every_pastry_has_the_volume_of_the_portion(made):
    for name in (PASTRY, "pastry-fig", "pastry-deep"):
        # float32 holds 64 mm within 2e-6 mm; on the three extents of a piece 10 mm high, 6e-7.
        wanted_mm3 = 1000.0 * made.portion.piece.volume_ml
        assert read(made.meshes[name]).volume == pytest.approx(wanted_mm3, rel=1e-6)


def test_heights_differ_by_the_reliefs_over_the_outlines_area(made, first):
    """With one outline and one volume, A h + relief is the same for all (Cavalieri)."""
    area_mm2 = shapely.Polygon(first.outline.points).area
    for one in made.further:
        less_mm3 = first.relief_mm3 - one.pastry.relief_mm3
        higher_mm = one.pastry.height_mm - first.height_mm
        assert higher_mm == pytest.approx(less_mm3 / area_mm2, rel=1e-9)
        assert np.array_equal(one.pastry.outline.points, first.outline.points)
    (fig, deep) = (one.pastry.height_mm for one in made.further)
    # Letters take less than the blossom does; what is sunk gives its volume to the height.
    assert first.height_mm < fig < deep


def test_all_stamps_end_at_one_height_so_that_one_stop_serves_all(made):
    names = ("stamp", *(one.stamp_name for one in made.further))
    backs = [read(made.mould.part(name).mesh).bounds[1, 2] for name in names]
    assert backs == [backs[0]] * 3


def test_one_plunger_goes_with_each_stamp_and_shares_nothing_with_it(made):
    plunger = made.mould.part("plunger").mesh
    for name in ("stamp", *(one.stamp_name for one in made.further)):
        stamp = made.mould.part(name).mesh
        # Faces of some 20 cm^2 that touch share 0.01 mm^3 for float32 steps of 4e-6 mm.
        assert abs(shared_mm3(stamp, plunger)) < 0.02
        assert shared_mm3(stamp, plunger.moved((0.0, 0.0, -0.1))) > 1.0


def test_the_closed_cavity_holds_the_portion_under_each_stamp(made):
    sleeve = in_float32(made.mould.part("sleeve").mesh)
    for one in made.further:
        held_mm3 = closed_cavity_mm3(sleeve, in_float32(made.mould.part(one.stamp_name).mesh))
        assert held_mm3 == pytest.approx(1000.0 * made.portion.piece.volume_ml, rel=0.002)


def test_stamp_and_its_pastry_share_nothing(made):
    for one in made.further:
        pressed, stamp = made.meshes[one.pastry_name], made.mould.part(one.stamp_name).mesh
        # float32 moves either surface by 2e-6 mm at most, over the top's area.
        assert abs(shared_mm3(pressed, in_float32(stamp))) <= 4e-6 * pressed.area_mm2


def test_the_vanes_stay_in_the_bore_under_the_highest_pastry_of_a_heavy_portion(made):
    highest = max(one.pastry.height_mm for one in made.further)
    layout = made.mould.layout
    higher = 1.1 * highest - layout.height_mm
    straight = read(made.mould.part("sleeve").mesh).bounds[1, 2] - layout.lead_in_height_mm
    assert layout.vane_top_mm + higher <= straight


def test_the_report_adds_fields_and_each_stamp_is_judged_by_name(made, first):
    report = json.loads(json.dumps(made.report(), allow_nan=False))
    fig, deep = report["further_pastries"]
    assert (fig["name"], fig["stamp"]) == ("pastry-fig", "stamp-fig")
    assert deep["higher_mm"] == pytest.approx(deep["height_mm"] - first.height_mm)
    names = [found["name"] for found in report["findings"]]
    assert len(set(names)) == len(names)
    for stamp in ("stamp-fig", "stamp-deep"):
        for what in (
            *("pastry: volume", "crust thickness", "closed cavity of the assembled press"),
            *("least gap over the whole stroke", "relief matches the artwork, seen from above"),
            *("least draft, pastry from stamp", "overlap on the way out, pastry from stamp"),
            *("thinnest wall", "bodies", "first layer stands back from the fit"),
            "pieces that fill the relief before the stop",
        ):
            assert f"{stamp}: {what}" in names
    printed = {row["name"]: row["print_g"] for row in report["parts"]}
    assert printed["stamp-deep"] > 0.0
    assert printed["pastry-deep"] == 0.0


def test_the_first_stamps_findings_keep_their_names(light):
    names = [found.name for found in light.findings]
    assert [found.name for found in alone("little-30").findings if found.name not in names] == []


def check_input(made, **changes):
    plain = {"design": made.design, "figures": made.portion, "pastry": made.pastry}
    return CheckInput(
        **plain, interior=made.interior, mould=made.mould, solid=made.meshes[PASTRY],
        meshes=made.meshes | changes,
    )  # fmt: skip


def test_mirrored_lettering_and_a_stamp_that_is_too_thick_are_found_under_its_name():
    made = built("round")
    right = made.meshes["pastry-fig"]
    mirrored = Mesh(right.vertices * (-1.0, 1.0, 1.0), right.triangles[:, ::-1])
    part = made.mould.part("stamp-fig")
    low = Mesh(part.mesh.vertices - (0.0, 0.0, 0.5), part.mesh.triangles)
    parts = tuple(
        dataclasses.replace(part, mesh=low) if one is part else one for one in made.mould.parts
    )
    wrong = dataclasses.replace(made, mould=dataclasses.replace(made.mould, parts=parts))
    found = begin_findings(check_input(wrong, **{"pastry-fig": mirrored}), made.further[:1])()
    failed = {f.name for f in found if f.verdict is Verdict.FAIL}
    assert "stamp-fig: relief matches the artwork, seen from above" in failed
    # Pressed half a millimetre deeper, some 1000 mm^3 of 60000 are missing, and the dough is cut.
    assert "stamp-fig: closed cavity of the assembled press" in failed
    assert all(name.startswith("stamp-fig: ") for name in failed)


def test_a_relief_that_cuts_one_crust_fails_for_that_stamp_alone(light):
    assert light.failed
    assert all(name.startswith("stamp-deep: ") for name in light.failed)


@pytest.mark.parametrize(
    ("stamp", "sentence"),
    [
        (
            {"layers": [{"pattern": "bee", "size_mm": 90.0}]},
            r"^further_stamps.1.layers.size_mm \(the first further stamp\) = 90.0: does not fit",
        ),
        (
            {"layers": [{"pattern": "bee"}], "margin_mm": 80.0},
            r"^further_stamps.1.margin_mm \(the first further stamp\) = 80.0: leaves no room",
        ),
        (
            {"layers": [{"pattern": "bee"}], "sense": "sunk", "depth_mm": 20.0, "draft_deg": 1.0},
            r"\(under the stamp bee\)\.$",
        ),
    ],
)
def test_a_relief_that_cannot_be_is_refused_with_the_stamps_name(stamp, sentence):
    design = DESIGN.with_values(
        {"pastry.width_mm": 90.0, "further_stamps": [{"name": "bee", **stamp}]}
    )
    with pytest.raises(SpecError, match=sentence):
        build(design)


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    made = built("round")
    folder = tmp_path_factory.mktemp("published") / "set"
    options = ExportOptions(formats=parse_formats("glb,3mf,pictures,card"))
    return publish(made, folder, options), folder


def test_the_folder_holds_each_stamp_and_pastry_and_one_blank(published):
    made, folder = published
    names = {path.name for path in folder.iterdir()}
    for stem in ("stamp-fig", "stamp-deep", "pastry-fig", "pastry-deep"):
        assert f"{stem}.stl" in names
        read_back = trimesh.load_mesh(folder / f"{stem}.stl")
        assert read_back.volume == pytest.approx(made.meshes[stem].volume_mm3, rel=1e-6)
    assert {"pastry-fig.png", "pastry-deep.png", "relief-fig.png", "relief-deep.png"} <= names
    files = BuildFiles(made, ExportOptions(formats=parse_formats("step")))
    assert [name for name in files.names if "stamp" in name] == ["stamp-blank.step"]
    said = files.file("stamp-blank.step").decode("ascii").partition("ENDSEC")[0]
    assert "the same blank serves stamp-fig with its face" in said
    assert "mm higher, stamp-deep with its face" in said


def test_the_consortium_reads_every_stamp_and_no_pastry(published):
    _, folder = published
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(folder / "set.3mf"))
    objects = model.GetMeshObjects()
    names = []
    while objects.MoveNext():
        names.append(objects.GetCurrentMeshObject().GetName())
    shims = ["shim-0.4", "shim-0.8", "shim-1.6"]
    stamps = ["stamp", "stamp-deep", "stamp-fig"]
    assert sorted(names) == ["plunger", *shims, "sleeve", *stamps, "stop"]


def test_a_viewer_shows_further_stamps_beside_the_set(published):
    _, folder = published
    nodes = [node.name for node in pygltflib.GLTF2().load(folder / "set.glb").nodes]
    assert {"stamp-fig", "pastry-fig", "stamp-deep", "pastry-deep"} <= set(nodes)
    scene = trimesh.load(folder / "set.glb")
    boxes = {}
    for node in scene.graph.nodes_geometry:
        move, name = scene.graph[node]
        boxes[node] = trimesh.bounds.corners(scene.geometry[name].bounds) @ move[:3, :3].T
    spans = {name: (box[:, 0].min(), box[:, 0].max()) for name, box in boxes.items()}
    assert spans["sleeve"][1] < spans["pastry-fig"][0]
    assert spans["pastry-fig"][1] < spans["pastry-deep"][0]


def test_the_card_shows_every_pastry_of_the_sleeve(published):
    made, folder = published
    bench = PdfReader(folder / "card.pdf").pages[0]
    text = bench.extract_text()
    assert text.index("In the same sleeve") < text.index("stamp-fig", text.index("In the same"))
    shown = {image.image.convert("RGB").tobytes() for image in bench.images}
    for name in ("pastry.png", "pastry-fig.png", "pastry-deep.png"):
        with Image.open(folder / name) as picture:
            assert picture.convert("RGB").tobytes() in shown
    assert len(shown) == len(made.further) + 1


def test_the_published_design_is_the_one_that_made_the_set(published):
    made, folder = published
    assert Design.read(folder / "design.toml") == made.design
