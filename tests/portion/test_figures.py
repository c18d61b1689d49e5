import subprocess
import sys
from math import pi

import pytest

from moulddesign.design import Design, Kind
from moulddesign.portion import figures, portion

DATE = {"name": "date", "mass_g": 5.0, "density_g_per_ml": 1.2}
PRACTICE = [  # works weighing table, common practice, no source: piece, crust from-to, filling
    (50, 10, 12, 40, 43), (80, 16, 18, 64, 66), (100, 20, 22, 80, 83),
    (125, 25, 27, 100, 103), (150, 30, 33, 120, 123), (180, 36, 39, 144, 147),
]  # fmt: skip


@pytest.mark.parametrize("row", PRACTICE, ids=lambda row: f"common practice, no source: {row[0]} g")
def test_split_lies_in_the_works_weighing_table(row):
    nominal, least_crust, most_crust, least_filling, most_filling = row
    # 2:8 and a loss of 2 %, the middle of the works table; the scale's own 1 g at either end
    made = figures(
        Design.of({"portion": {"finished_weight_g": nominal, "ratio": "2:8", "loss": 0.02}})
    ).split
    assert least_crust - 1 <= made.crust_g <= most_crust + 1
    assert least_filling - 1 <= made.paste_g <= most_filling + 1


def test_figures_belong_together():
    design = Design.of({"portion": {"centres": [{"mass_g": 8.0}]}})
    made = figures(design)
    assert made.piece == portion(design.portion)
    assert made.label is None
    assert made.asked_g == made.piece.finished_g
    assert made.spread.raw_g > 0.0


def test_a_label_that_the_piece_keeps_anyhow_changes_nothing():
    design = Design.of({"portion": {"finished_weight_g": 90.0}, "label": {"weight_g": 75.0}})
    made = figures(design)
    assert made.piece == portion(design.portion)
    assert made.piece.finished_g == made.asked_g
    assert made.split.raw_g >= made.label.raw_g


def test_what_rounding_adds_is_told_as_pressed_height():
    # by hand: 0.47 g of 1.26 g/mL over a disc of 53.1 mm are 0.17 mm
    piece = {"finished_weight_g": 75.0, "loss": 0.02, "centres": [DATE]}
    made = figures(Design.of({"portion": piece}))
    area_mm2 = pi * 53.1**2 / 4.0
    assert made.rounding_mm(area_mm2) == pytest.approx(0.17, abs=0.005)
    assert "0.17 mm higher" in str(made.rounding(Kind.PRESS, area_mm2))
    assert "0.17 mm stand over the rim" in str(made.rounding(Kind.BLOCK, area_mm2))
    lower = figures(Design.of({"portion": piece | {"finished_weight_g": 74.8}}))
    assert "0.12 mm lower" in str(lower.rounding(Kind.PRESS, area_mm2))
    fine = Design.of({"portion": piece, "scale": {"resolution_g": 0.001}})
    assert figures(fine).rounding(Kind.PRESS, area_mm2) is None


def test_weights_load_no_geometry_library():
    heavy = "cadquery manifold3d shapely trimesh scipy numpy"
    code = f"import sys, moulddesign.portion; print(set('{heavy}'.split()) & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "set()"


def test_report_has_the_keys_that_others_rely_on():
    report = figures(Design()).report()
    assert set(report) == {
        "finished_g", "raw_g", "loss", "crust_g", "filling_g", "paste_g", "centre_g", "crust_ml",
        "paste_ml", "centre_ml", "volume_ml", "raw_g_sd", "label_target_raw_g",
        "asked_g", "loss_uncertainty", "loss_source", "crust_density", "filling_density", "scale",
        "balls", "centres", "spread", "label", "remarks",
    }  # fmt: skip
    assert set(report["scale"]) >= {
        "crust_g", "paste_g", "centre_g", "filling_g", "paste_range_g", "raw_g",
    }  # fmt: skip
    assert "disc_mm" in report["balls"]


def test_the_spread_of_a_report_holds_what_its_causes_come_to():
    told = figures(Design.of({"portion": {"centres": [DATE]}})).report()["spread"]
    for kind, prefix in (("pieces", ""), ("common", "common_")):
        for name in ("volume_ml", "finished_g"):
            together = sum(cause[name] ** 2 for cause in told[kind]) ** 0.5
            assert told[f"{prefix}{name}"] == pytest.approx(together)
