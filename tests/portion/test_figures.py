import subprocess
import sys

import pytest

from moulddesign.design import Design
from moulddesign.portion import figures, portion

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
        "asked_g", "scale", "balls", "spread", "label",
    }  # fmt: skip
