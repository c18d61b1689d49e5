"""Every kind is checked end to end, what is wrong is found, and files grow by the shrinkage."""

import dataclasses

import numpy as np
import pytest
import trimesh
from kept_designs import made_once

from moulddesign.core import Verdict
from moulddesign.design import Design

SMALL = {
    "portion.finished_weight_g": 40.0,
    "portion.ratio": "5:5",  # crust enough: for less, the weight is sought that has it
    "relief.layers": [{"text": "Fig"}],
}
PLAIN = SMALL | {"relief.layers": []}
SHRINKING = {"printer.shrink": 0.01}
KINDS = {
    "press": {"mould.kind": "press"},
    "two in a block": {"mould.kind": "block", "mould.cavities": 2},
    "two masters": {"mould.kind": "cast", "mould.cavities": 2, "mould.silicone_shrink": 0.01},
}


def small(kind):
    return made_once(Design().with_values(SMALL | KINDS[kind] | SHRINKING))


@pytest.fixture(scope="module", params=KINDS)
def made(request):
    return small(request.param)


def test_nothing_fails_and_each_kind_names_what_it_checks(made):
    assert made.failed == ()
    names = " ".join(found.name for found in made.findings)
    for word in {
        "press": ("least gap over the whole stroke", "pastry from stamp", "sleeve: lettering"),
        "block": ("cavities that hold water", "pastry from block", "block: lettering"),
        "cast": ("pastries standing in the tray", "silicone to the notch", "silicone from tray"),
    }[made.design.mould.kind]:
        assert word in names


def test_files_are_larger_by_the_shrinkage_and_the_pastry_is_not(made):
    for part in made.mould.parts:
        # Lengths over 1 - s, volumes by its cube; float32 steps of 8e-6 mm on 10 mm.
        ratio = read(made.meshes[part.name]).volume / read(part.mesh).volume
        assert ratio == pytest.approx(0.99**-3, rel=1e-5)
    piece = made.portion.piece
    assert read(made.meshes["pastry"]).volume == pytest.approx(1000.0 * piece.volume_ml, rel=1e-6)


def test_the_report_says_what_printing_takes(made):
    report = made.report()
    for row in report["parts"]:
        if row["name"] == "pastry":
            continue
        # PETG 1.27 g/mL (published); a filament of 1.75 mm has 2.405 mm^2; 8 mm^3/s.
        assert row["print_g"] == pytest.approx(1.27 * row["volume_ml"])
        assert row["filament_m"] == pytest.approx(row["volume_ml"] / 2.40528, rel=1e-5)
        assert row["least_print_min"] == pytest.approx(1000.0 * row["volume_ml"] / 8.0 / 60.0)
        assert row["print_price"] is None
    if made.design.mould.kind == "cast":
        silicone = report["mould"]
        # From memory: 1.15 g/mL.
        assert silicone["silicone_g"] == pytest.approx(1.15 * silicone["silicone_ml"])


def test_a_price_gives_the_cost_of_each_part():
    made = small("two masters")
    priced = made.design.with_values({"printer.price_per_kg": 20.0})
    (row, _) = dataclasses.replace(made, design=priced).report()["parts"]
    assert row["print_price"] == pytest.approx(0.020 * row["print_g"])


def test_a_block_without_draft_is_built_and_said_to_have_none():
    design = Design().with_values(SMALL | {"mould.kind": "block", "mould.side_draft_deg": 0.0})
    found = {f.name: f for f in made_once(design).findings}
    assert found["least draft, pastry from block"].measured == pytest.approx(0.0, abs=0.2)


def test_letters_can_be_left_out():
    made = made_once(
        Design().with_values(PLAIN | {"mould.kind": "block", "mould.lettering": False})
    )
    assert made.mould.parts[0].plain is None
    assert not [f for f in made.findings if "lettering" in f.name]
    assert {f.verdict for f in made.findings} <= {Verdict.GOOD, Verdict.WARN}


@pytest.mark.parametrize(
    ("material", "off", "verdict"),
    [
        # Cubes of 1 - s; figures of the plastics as materials.toml has them.
        ("PLA", -0.0045, "good"), ("PETG", -0.0090, "good"),
        ("ABS", -0.0209, "warn"), ("PP", -0.0443, "fail"),
    ],
)  # fmt: skip
def test_the_volume_is_told_as_it_will_print(material, off, verdict):
    made = made_once(
        Design().with_values(PLAIN | {"mould.kind": "cast", "printer.material": material})
    )
    (found,) = [f for f in made.findings if f.id == "verify.volume-as-printed"]
    (pastry,) = [f for f in made.findings if f.id == "building.volume"]
    assert found.measured / pastry.measured - 1.0 == pytest.approx(off, abs=5e-5)
    assert found.verdict.value == verdict
    assert (found.remedy is None) == (verdict == "good")


@pytest.mark.parametrize("shrink", ["auto", 0.02])
def test_prints_of_larger_files_have_the_volume(shrink):
    values = {"mould.kind": "cast", "printer.material": "PP", "printer.shrink": shrink}
    made = made_once(Design().with_values(PLAIN | values))
    (found,) = [f for f in made.findings if f.id == "verify.volume-as-printed"]
    assert found.measured == pytest.approx(made.portion.piece.volume_ml)
    printer = made.report()["printer"]
    assert printer["shrink_in_files"] == (0.015 if shrink == "auto" else shrink)
    assert (printer["slicer_percent"], "do not scale again" in printer["scaling"]) == (100.0, True)


def read(mesh):
    seen = trimesh.Trimesh(np.array(mesh.vertices), np.array(mesh.triangles), process=False)
    assert seen.is_watertight
    return seen
