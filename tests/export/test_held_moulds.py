"""A mould that lies in a folder is refreshed or kept, never lost."""

import json
import os
import time
from dataclasses import replace
from datetime import date

import pytest

from moulddesign.core import FileError
from moulddesign.design import Design
from moulddesign.export import ExportOptions, refuse_to_lose
from moulddesign.export.held_moulds import held_mould, shape_digest
from moulddesign.portion import figures
from moulddesign.series.orders import Order, kept

PIECE = Design.of({"relief": {"layers": [{"pattern": "bee"}]}})


def lay(folder, design):
    """Lay the two files by which a folder says what it holds."""
    folder.mkdir()
    (folder / "design.toml").write_text(design.toml(), encoding="utf-8")
    report = {
        "moulddesign": "0.1.0",
        "portion": figures(design).report(),
        "pastry": {"width_mm": 52.1},
    }
    (folder / "report.json").write_text(json.dumps(report), encoding="utf-8")
    return folder


SAME = [
    {"name": "another"},
    {"scale.resolution_g": 0.1},
    {"batch.pieces": 48},
    {"printer.material": "PLA"},
    {"printer.price_per_kg": 20.0},
    {"relief.layers": [{"pattern": "bee", "colour": "matcha"}]},
    # As much dough as before is denser and heavier: a trial that keeps the mould writes this.
    {
        "portion.finished_weight_g": 150.0,
        "portion.crust_density_g_per_ml": 2 * PIECE.portion.crust_density.g_per_ml,
        "portion.filling_density_g_per_ml": 2 * PIECE.portion.filling_density.g_per_ml,
    },
]
OTHER = [
    {"portion.finished_weight_g": 75.1},
    {"portion.crust_density_g_per_ml": 1.3},
    {"label.weight_g": 80.0},  # asks for a heavier piece
    {"pastry.outline": "square"},
    {"pastry.width_mm": 60.0},
    {"relief.depth_mm": 1.3},
    {"relief.layers": [{"pattern": "sun"}]},
    {"face": {"name": "sun"}},
    {"mould.clearance_mm": 0.25},
    {"mould.kind": "block"},
    {"further_stamps": [{"name": "sun", "layers": [{"pattern": "sun"}]}]},
    {"printer.shrink": 0.004},
]


@pytest.mark.parametrize("values", SAME, ids=lambda values: next(iter(values)))
def test_the_same_geometry_is_refreshed(tmp_path, values):
    held = lay(tmp_path / "held", PIECE)
    refuse_to_lose(PIECE.with_values(values), held)


@pytest.mark.parametrize("values", OTHER, ids=lambda values: next(iter(values)))
def test_another_geometry_is_refused(tmp_path, values):
    held = lay(tmp_path / "held", PIECE)
    with pytest.raises(FileError, match="holds another mould"):
        refuse_to_lose(PIECE.with_values(values), held)


def test_the_sentence_says_what_is_there_and_a_free_name(tmp_path):
    held = lay(tmp_path / "75g-round-bee", PIECE)
    (tmp_path / "75g-round-bee-2").mkdir()
    day = time.mktime((2026, 5, 3, 12, 0, 0, 0, 0, -1))
    os.utime(held / "report.json", (day, day))
    with pytest.raises(FileError) as refused:
        refuse_to_lose(PIECE.with_values({"pastry.width_mm": 60.0}), held)
    said = str(refused.value)
    assert "(52 mm, 75 g, made 2026-05-03)" in said
    assert "such as 75g-round-bee-3, or give it up with --overwrite" in said
    assert held_mould(held).made == date(2026, 5, 3).isoformat()


def test_a_drawing_counts_by_its_content_wherever_it_lies(tmp_path):
    for folder, shape in (("a", "10"), ("b", "10"), ("c", "20")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / f"{folder}.svg").write_text(
            f'<svg viewBox="0 0 99 99"><circle cx="50" cy="50" r="{shape}"/></svg>'
        )
    drawn = [
        Design.of({"relief": {"layers": [{"pattern": str(tmp_path / f / f"{f}.svg")}]}})
        for f in ("a", "b", "c")
    ]
    first, same, other = map(shape_digest, drawn)
    assert first == same != other


def test_what_is_no_mould_of_ours_is_nobody_s_to_keep(tmp_path):
    assert held_mould(tmp_path) is None
    (tmp_path / "report.json").write_text('{"moulddesign": "0.2.0", "parts": []}')  # coupons
    assert held_mould(tmp_path) is None
    (tmp_path / "report.json").write_text("[[[")
    assert held_mould(tmp_path) is None


def test_a_mould_whose_design_cannot_be_read_is_another_one(tmp_path):
    held = lay(tmp_path / "held", PIECE)
    (held / "design.toml").write_text("lost")
    with pytest.raises(FileError, match="holds another mould"):
        refuse_to_lose(PIECE, held)


def test_a_series_keeps_the_moulds_of_the_rows_that_changed(tmp_path):
    designs = {"same": PIECE, "changed": PIECE.with_values({"pastry.width_mm": 60.0})}
    orders = [
        Order(
            place=name, design=design, target=lay(tmp_path / name, PIECE),
            options=ExportOptions(), keep_failing=False,
        )
        for name, design in designs.items()
    ]  # fmt: skip
    assert {number: one.state for number, one in kept(orders).items()} == {1: "kept"}
    insisting = [replace(order, options=ExportOptions(overwrite=True)) for order in orders]
    assert kept(insisting) == {}
