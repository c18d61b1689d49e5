"""The dough book on the command line: remembered, shown, used, forgotten."""

import json
import tomllib

import pytest
from command_line import refused, run

from moulddesign.cli.options import design_with
from moulddesign.core import SpecError
from moulddesign.design import Design

TRIAL = (
    "trial", "--raw", 100, "--finished", 96, "--raw", 100, "--finished", 94, "--ratio", "3:7",
    "--remember", "lantern",
)  # fmt: skip


@pytest.fixture(autouse=True)
def own_book(monkeypatch, tmp_path):
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(tmp_path / "own" / "workshop.toml"))
    return tmp_path / "own" / "doughs.toml"


def test_a_trial_is_remembered_and_used(monkeypatch, capsys, own_book):
    assert run(monkeypatch, capsys, *TRIAL)[0] == 0
    (dough,) = tomllib.loads(own_book.read_text(encoding="utf-8"))["dough"]
    assert (dough["name"], dough["ratio"]) == ("lantern", "3:7")
    assert [each["figure"] for each in dough["measured"]] == ["loss"]
    code, out, err = run(
        monkeypatch, capsys, "portion", "--dough", "lantern", "--ratio", "4:6", "--json"
    )
    made = Design.of(json.loads(out)["design"])
    assert code == 0
    assert made.portion.loss == pytest.approx(0.05)
    assert made.dough.name == "lantern"
    assert "portion.loss = 0.05" in err
    assert "weighed at crust to filling 3:7, and this piece is 4:6" in err


def test_what_is_given_comes_before_the_book(monkeypatch, capsys):
    run(monkeypatch, capsys, *TRIAL)
    out = run(monkeypatch, capsys, "portion", "--dough", "lantern", "--loss", "0.03", "--json")[1]
    assert json.loads(out)["design"]["portion"]["loss"] == 0.03


def test_figures_that_were_looked_at_are_set_shown_and_forgotten(monkeypatch, capsys, own_book):
    run(monkeypatch, capsys, *TRIAL)
    asked = ("doughs", "set", "lantern", "least_crust_mm=1,6", "least_gap_mm=0.7mm")
    assert run(monkeypatch, capsys, *asked)[0] == 0
    (shown,) = json.loads(run(monkeypatch, capsys, "doughs", "--json")[1])["doughs"]
    assert shown["figures"]["least_crust_mm"]["value"] == 1.6
    # two losses, 0.04 and 0.06: t(1) = 12.706, and s / sqrt(2) = 0.01
    low = shown["figures"]["loss"]["low"]
    assert low == pytest.approx(0.05 - 12.706 * 0.01, abs=2e-4)
    table = run(monkeypatch, capsys, "doughs")[1]
    assert max(map(len, table.splitlines())) <= 80
    assert "crust that held mm" in table
    assert run(monkeypatch, capsys, "doughs", "forget", "lantern")[0] == 0
    assert not own_book.exists()


def test_a_named_crust_is_a_dough_too(monkeypatch, capsys):
    out = run(monkeypatch, capsys, "portion", "--dough", "syrup", "--json")[1]
    assert json.loads(out)["design"]["portion"]["crust_dough"] == "syrup"


def test_baked_width_is_the_mould_s_by_the_dough():
    asked = {"dough.width_ratio": 1.04, "baked.width_mm": 52.0}
    assert design_with(None, asked).pastry.width_mm == 50.0
    with pytest.raises(SpecError, match=r"--baked-width = 52.0: needs a dough"):
        design_with(None, {"baked.width_mm": 52.0})


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (("portion", "--dough", "moon"), "--dough = 'moon': is no dough"),
        (("doughs", "forget", "moon"), "doughs = 'moon': is no dough of the book"),
        (("doughs", "set", "moon", "loss=0.1"), "doughs = 'loss': must be one of"),
        (("doughs", "set", "moon", "least_gap_mm"), "must be KEY=VALUE"),
        (("doughs", "set", "moon", "least_gap_mm=nan"), "least_gap_mm = 'nan': must be a number"),
        (("doughs", "set", "moon", "least_gap_mm=-1"), "least_gap_mm = -1.0: must be above 0"),
        (("trial", "--raw", 77, "--finished", 75, "--remember", "one"), "two pieces or more"),
    ],
)
def test_what_the_book_cannot_take_is_refused(monkeypatch, capsys, own_book, asked, sentence):
    assert sentence in refused(monkeypatch, capsys, *asked)
    assert not own_book.exists()
