"""The plate test, a pot of syrup and the water of a recipe on the command line."""

import json
from pathlib import Path

import pytest
from command_line import refused, run

EXAMPLE = Path(__file__).parents[2] / "moulddesign" / "data" / "examples" / "recipe.toml"
ASKED = ("firmness", "--dough-ml", "20", "--load", "1000", "--height")


@pytest.mark.parametrize(("height", "kpa"), [("5", 0.38), ("7", 0.75), ("10", 1.44)])
def test_json_has_the_yield_stress_and_its_range(monkeypatch, capsys, height, kpa):
    # 20 mL under 1 kg; theory as in Meeten, Rheologica Acta 43:6, worked by hand
    code, said, _ = run(monkeypatch, capsys, *ASKED, height, "--json")
    found = json.loads(said)
    assert code == 0
    assert found["yield_kpa"] == pytest.approx(kpa, abs=0.005)
    assert found["most_kpa"] == pytest.approx(1.4 * found["yield_kpa"])


def test_the_table_hands_over_to_the_design(monkeypatch, capsys):
    _, said, _ = run(monkeypatch, capsys, *ASKED, "7")
    assert "0.75 kPa, 0.45 to 1.04" in said
    assert "--crust-yield 0.75" in said


@pytest.mark.parametrize("height", ["0", "-1", "nan"])
def test_no_height_is_refused(monkeypatch, capsys, height):
    assert "height" in refused(monkeypatch, capsys, *ASKED, height)


POT = ("syrup", "--sugar", "500g", "--solids", "78 %")


def test_json_has_net_weight_and_reading_of_the_pot(monkeypatch, capsys):
    asked = (*POT, "--inverted", "0.5", "--altitude", "3281ft", "--pot", "700", "--json")
    code, said, _ = run(monkeypatch, capsys, *asked)
    found = json.loads(said)
    assert code == 0
    assert found["net_g"] == pytest.approx(658.0, abs=0.5)  # 500 (1 + 0.0526 / 2) / 0.78
    assert found["net_g_range"][0] < 658.0 < found["net_g_range"][1]
    assert found["reading_c_range"][0] < 106.9 < found["reading_c"] < found["reading_c_range"][1]
    assert found["pot_solids"] == pytest.approx(513.15 / 700.0)


def test_a_pot_is_told_in_sentences_or_refused_in_one(monkeypatch, capsys):
    _, said, _ = run(monkeypatch, capsys, *POT, columns="400")
    assert "641 g (629 to 654 g" in said
    assert "108.2 deg C by formula" in said
    assert "pot_g" in refused(monkeypatch, capsys, *POT, "--pot", "400")
    beside = refused(monkeypatch, capsys, *POT, "--boiling", "95", "--altitude", "500")
    assert "--altitude does nothing beside --boiling" in beside


def test_water_of_a_recipe_is_told_with_its_ranges(monkeypatch, capsys, tmp_path):
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(EXAMPLE.read_text("utf-8"), "utf-8")
    code, said, _ = run(monkeypatch, capsys, "water", recipe, "--crust-water", "9 %", "--json")
    found = json.loads(said)
    assert code == 0
    assert found["parts"]["crust"]["source"] == "measured"
    wet = found["parts"]["filling"]["water_activity"]
    assert wet["high"] - wet["low"] == pytest.approx(0.09)
    assert found["parts"]["crust"]["water_activity"]["estimate"] is None  # under 0.70
    _, said, _ = run(monkeypatch, capsys, "water", recipe, columns="300")
    assert "usual of its kind" in said
    assert "not measured" in said
    assert "filling_water" in refused(
        monkeypatch, capsys, "water", recipe, "--filling-water", "0.6"
    )
