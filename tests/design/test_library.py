"""Printers and plastics by name, and one's own from a file."""

import pytest

from moulddesign.core import FileError, SpecError
from moulddesign.design import Design

OWN = """
[printers.mine]
nozzle_mm = 0.8
line_width_mm = 0.9
layer_height_mm = 0.4
bed_mm = [300, 200, 180]
flow_mm3_per_s = 20

[materials.amber]
density_g_per_ml = 1.3
softening_c = 90
tensile_along_mpa = 40
tensile_across_mpa = 20
modulus_gpa = 2.2
shrink = 0
"""


def own(tmp_path, text=OWN):
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_printer_by_name_fills_what_is_not_given():
    design = Design().with_values({"printer.machine": "small-bed", "printer.layer_height_mm": 0.15})
    assert design.printer.bed_mm == (120.0, 120.0, 120.0)
    assert design.printer.layer_height_mm == 0.15
    assert Design.of(design.plain()) == design


def test_another_printer_named_later_counts_even_over_a_whole_design():
    first = Design().with_values({"printer.machine": "small-bed"})
    second = Design.of(first.plain()).with_values({"printer.machine": "wide-300"})
    assert second.printer.bed_mm == (300.0, 300.0, 300.0)


def test_ones_own_printer_and_plastic_come_from_a_file(tmp_path):
    values = {"library": own(tmp_path), "machine": "mine", "material": "amber"}
    design = Design.of({"printer": values})
    assert design.printer.nozzle_mm == 0.8
    assert design.printer.bed_mm == (300.0, 200.0, 180.0)
    assert design.printer.plastic.density_g_per_ml == 1.3
    assert design.printer.plastic.source == "your own file"
    assert Design.of(design.plain()) == design


def test_the_packages_names_stay_known_beside_ones_own(tmp_path):
    design = Design.of({"printer": {"library": own(tmp_path), "material": "PLA"}})
    assert design.printer.plastic.density_g_per_ml == 1.24


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("nozzle_mm = 0.8", "nozzle_mm = -1"), r"mine: nozzle_mm must be a number above 0"),
        (("nozzle_mm = 0.8", "nozzle_mm = nan"), r"mine: nozzle_mm must be a number above 0"),
        (("nozzle_mm = 0.8", "nozzle_mm = true"), r"mine: nozzle_mm must be a number above 0"),
        (("nozzle_mm = 0.8\n", ""), r"lacks nozzle_mm in mine"),
        (("[300, 200, 180]", "[300, 200]"), r"mine: bed_mm must be three lengths above 0 mm"),
        (("nozzle_mm = 0.8", "nozle_mm = 0.8"), r"lacks nozzle_mm in mine"),
        (("flow_mm3_per_s = 20", "flow_mm3_per_s = 20\nfan = 1"), r"has fan, which is not known"),
        (("[printers.mine]", "[printrs.mine]"), r"holds printrs; only printers and materials"),
        (("[printers.mine]", "[printers.mine"), r"is not TOML"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_a_sentence(tmp_path, change, sentence):
    path = own(tmp_path, OWN.replace(*change))
    with pytest.raises(FileError, match=sentence):
        Design.of({"printer": {"library": path}})


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        Design.of({"printer": {"library": str(tmp_path / "none.toml")}})


def test_a_printer_that_nobody_knows_is_refused_with_those_that_are():
    with pytest.raises(SpecError, match=r"printer.machine = 'mine': must be one of common-220"):
        Design().with_values({"printer.machine": "mine"})


@pytest.mark.parametrize(
    ("word", "material", "shrink", "percent"),
    [
        ("off", "PP", 0.0, 101.5228),  # 100 / 0.985
        ("auto", "PP", 0.015, 100.0),
        ("auto", "PETG", 0.003, 100.0),
        ("2 %", "PP", 0.02, 100.0),
    ],
)
def test_shrinkage_by_word_is_the_plastics_own(word, material, shrink, percent):
    design = Design().with_values({"printer.material": material, "printer.shrink": word})
    assert design.printer.shrink == shrink
    assert design.printer.slicer_percent == pytest.approx(percent, abs=1e-4)


def test_another_word_is_refused():
    with pytest.raises(SpecError, match=r"printer\.shrink = 'much': must be a number"):
        Design().with_values({"printer.shrink": "much"})
