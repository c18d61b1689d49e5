import json
from pathlib import Path

import pytest
from command_line import run

RECIPE = """
crust.ingredients = [{ food = "white sugar", mass_g = 66 }, { food = "water", mass_g = 34 }]
filling.ingredients = [{ food = "honey", mass_g = 80 }, { food = "water", mass_g = 20 }]
"""
SYRUPS = Path(__file__).parents[2] / "moulddesign" / "data" / "examples" / "recipe.toml"
CUP = ("density", "cup", "--cup-empty", 80, "--cup-water", 316, "--cup-filled", 385)
LABEL = ("density", "label", "--fat", 4, "--carbohydrate", 55, "--protein", 4)
DRYER = ("density", "composition", "--water", 83, "--protein", 12, "--carbohydrate", 5, "--at", 22)


def test_composition_is_the_worked_value(monkeypatch, capsys):
    # University course code, dryer example: 1045.8 kg/m3, five digits printed
    code, out, err = run(monkeypatch, capsys, *DRYER, "--json")
    report = json.loads(out)
    assert (code, err) == (0, "")
    assert set(report) == {"density_g_per_ml", "at_c", "method", "uncertainty_g_per_ml"}
    assert report["density_g_per_ml"] == pytest.approx(1.0458, abs=5e-5)
    assert report["at_c"] == 22


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(DRYER, id="composition"),
        pytest.param(LABEL, id="label"),
        pytest.param(CUP, id="cup"),
        pytest.param(
            ("density", "displacement", "--mass", 75, "--displaced", 60), id="displacement"
        ),
    ],
)
def test_each_way_says_method_and_uncertainty_in_80_columns(monkeypatch, capsys, arguments):
    code, out, err = run(monkeypatch, capsys, *arguments)
    assert (code, err) == (0, "")
    assert "Method: " in out
    assert " +- " in out
    assert max(map(len, out.splitlines())) <= 80
    # What was found goes into the next command as it stands there.
    line = next(line for line in out.splitlines() if line.startswith("For the piece: "))
    figure = out.split(" ")[0]
    code, report, _ = run(
        monkeypatch, capsys, "portion", *line.removeprefix("For the piece: ").split(), "--json"
    )
    assert json.loads(report)["portion"]["crust_density"]["g_per_ml"] == float(figure)


def test_air_is_asked_for_where_none_is_given(monkeypatch, capsys):
    assert "No air is counted" in run(monkeypatch, capsys, *DRYER)[1]
    assert "No air is counted" not in run(monkeypatch, capsys, *DRYER, "--air", 0)[1]


def test_recipe_gives_both_parts_and_the_loss(monkeypatch, capsys, tmp_path):
    file = tmp_path / "recipe.toml"
    file.write_text(RECIPE)
    asked = ("density", "recipe", file, "--finished-water", 0.3, "--ratio", "5:5", "--json")
    code, out, _ = run(monkeypatch, capsys, *asked)
    report = json.loads(out)
    assert code == 0
    # CRC Handbook, sucrose 66 % at 20 deg C; within 1 %
    assert report["crust"]["density_g_per_ml"] == pytest.approx(1.3224, rel=0.01)
    # by hand: water 0.34 and 0.2 + 0.8 x 0.171 = 0.3368; 1 - (1 - 0.3384) / 0.7
    assert report["loss"] == pytest.approx(1 - (1 - 0.3384) / 0.7, abs=1e-9)
    code, out, _ = run(monkeypatch, capsys, *asked[:-1])
    assert code == 0
    assert "Loss by the dry-matter balance: 0.0549 +- " in out
    assert "--loss 0.0549 --loss-uncertainty " in " ".join(out.split())


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("composition", "--water", 80, "--protein", 12), "must sum to 1"),
        (("composition", "--water", -1, "--protein", 101), "water = -1.0: must be"),
        (("composition", "--water", "nan"), "--water = 'nan': must be"),
        (("composition", "--protein", 12), "Missing option '--water'"),
        (("composition", "--water", 50, "--fat", 50, "--at", -5), "ice or steam"),
        (("label", "--fat", 60, "--carbohydrate", 55, "--protein", 4), "more than 100 g"),
        (("cup", "--cup-empty", 80, "--cup-water", 316, "--cup-filled", 70), "empty cup's 80 g"),
        (("cup", "--cup-water", 316, "--cup-filled", 385, "--at", 120), "ice or steam"),
        (("cup", "--cup-water", 0, "--cup-filled", 385), "water_g = 0.0: must be"),
        (("displacement", "--mass", "inf", "--displaced", 60), "--mass = 'inf': must be"),
        (("recipe", "nowhere.toml"), "cannot be read"),
        (("recipe", SYRUPS, "--centre", "date:5"), "does nothing without --finished-water"),
        (("recipe", SYRUPS, "--finished-water", 0.1, "--centre", "marble:5"), "no food of known"),
        (
            ("recipe", SYRUPS, "--finished-water", 0.1, "--finished-water-sd", -1),
            "finished_water_sd = -1.0",
        ),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(monkeypatch, capsys, arguments, sentence):
    code, out, err = run(monkeypatch, capsys, "density", *arguments)
    assert (code, out) == (2, "")
    assert sentence in err
    assert len(err.splitlines()) == 1


def test_unknown_ingredient_offers_the_nearest(monkeypatch, capsys, tmp_path):
    file = tmp_path / "recipe.toml"
    file.write_text(RECIPE.replace("honey", "hunney"))
    code, _, err = run(monkeypatch, capsys, "density", "recipe", file)
    assert code == 2
    assert "'hunney': is not a known ingredient; the nearest are honey" in err


@pytest.mark.parametrize("way", ["composition", "label", "cup", "displacement", "recipe"])
def test_help_has_an_example(monkeypatch, capsys, way):
    code, out, _ = run(monkeypatch, capsys, "density", way, "--help")
    assert code == 0
    assert f"Example: moulddesign density {way}" in out


def test_foods_say_where_their_figures_come_from(monkeypatch, capsys):
    code, out, err = run(monkeypatch, capsys, "density", "foods", "honey", "--json")
    (honey,) = json.loads(out)["foods"]
    assert (code, err) == (0, "")
    assert honey["density_g_per_ml"] == pytest.approx(1.42, rel=1e-12)  # measured
    assert honey["source"].startswith("published: measured")
    code, out, _ = run(monkeypatch, capsys, "density", "foods")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
