"""The verb `label`: text, JSON and the printed sheet, read by a PDF library."""

import io
import json
import re

import pytest
from command_line import refused, run
from pypdf import PdfReader

from moulddesign.cli.example_command import Example

PACK = ("--weight", "52", "--label-weight", "50", "--pieces-per-pack", "6")


@pytest.fixture
def file(tmp_path):
    """Return the example's recipe as a file."""
    written = tmp_path / "recipe.toml"
    written.write_text(Example.RECIPE.text, encoding="utf-8")
    return written


def test_label_as_text_and_json(monkeypatch, capsys, file):
    code, said, remarks = run(monkeypatch, capsys, "label", "--recipe", file, *PACK)
    assert code == 0
    assert "Net weight 300 g: 6 pieces of 50 g" in said
    assert "butter (MILK)" in said
    assert "WHEAT flour" in said
    assert "packet" not in said
    assert "may be short by 9 g" in remarks
    code, said, _ = run(
        monkeypatch, capsys, "label", "--recipe", file, *PACK, "--language", "de", "--json"
    )
    report = json.loads(said)
    assert report["allergens"] == ["wheat", "milk"]
    assert report["net"]["tolerable_deficiency_g"] == 9.0
    assert report["nutrition"]["energy_kj_per_100_g"] > 1000
    assert all(not row["missing"] for row in report["nutrition"]["nutrients"])
    assert "Zutaten: Füllung 71 % (gekochte Kastanie" in report["text"]
    assert re.search(r"gesättigte Fettsäuren +\d,\d g", report["text"])
    assert len(report["empty_fields"]) == 4


def test_a_sheet_holds_as_many_as_go_on_the_paper(monkeypatch, capsys, file, tmp_path):
    made = tmp_path / "labels.pdf"
    asked = ("label", "--recipe", file, *PACK, "--out", made)
    assert run(monkeypatch, capsys, *asked)[0] == 0
    (page,) = PdfReader(io.BytesIO(made.read_bytes())).pages
    text = " ".join(page.extract_text().replace("\u00ad", "").split())
    # 2 x 96 + 2 in 194 mm, 4 x 66 + 3 x 2 in 281 mm
    assert text.count("chestnut cakes") == 8
    assert page.mediabox.width == pytest.approx(210 / 25.4 * 72, abs=0.1)
    assert "is there already" in refused(monkeypatch, capsys, *asked)
    us = tmp_path / "us.pdf"
    asked = (*asked[:-1], us, "--law", "us", "--paper", "letter", "--size", "9 cm x 5 cm")
    assert run(monkeypatch, capsys, *asked)[0] == 0
    (page,) = PdfReader(io.BytesIO(us.read_bytes())).pages
    text = " ".join(page.extract_text().split())
    assert text.count("Contains: wheat, milk.") == 10
    assert "Energy" not in text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--size", "40x30", "--out", "x.pdf"), "mm high at this width"),
        (("--size", "300x60", "--out", "x.pdf"), "to go on this paper"),
        (("--size", "96", "--out", "x.pdf"), "width and height of 20 to 400 mm"),
        (("--size", "96x0", "--out", "x.pdf"), "width and height of 20 to 400 mm"),
        (("--law", "us", "--small-pack", "--out", "x.pdf"), "is a rule of the EU"),
        (("--paper", "letter"), "--paper does nothing without --out"),
        (("--loss", "0.5"), "the loss takes more than water"),
    ],
)
def test_what_is_refused(monkeypatch, capsys, file, tmp_path, asked, said):
    monkeypatch.chdir(tmp_path)
    assert said in refused(monkeypatch, capsys, "label", "--recipe", file, *asked)
    assert not (tmp_path / "x.pdf").exists()


def test_a_label_needs_a_recipe(monkeypatch, capsys):
    assert "must name a recipe" in refused(monkeypatch, capsys, "label")
