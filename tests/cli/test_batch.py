import csv
import json

import pytest
from command_line import refused, run

DESIGN = """
name = "orchard cakes"
[portion]
finished_weight_g = 98
loss = 0.02
[batch]
recipe = "recipe.toml"
mixing_loss = 0
hand_loss = 0
box_price = 0.5
currency = "EUR"
[[portion.centres]]
name = "date"
mass_g = 10
"""
RECIPE = """
crust.ingredients = [
  { food = "wheat flour", mass_g = 60, price_per_kg = 1 },
  { food = "honey", mass_g = 40, price_per_kg = 10 },
]
filling.ingredients = [{ food = "cooked chestnut", mass_g = 1 }]
rests = [{ what = "soften", days = 2 }]
"""


@pytest.fixture
def design(tmp_path):
    file = tmp_path / "design.toml"
    file.write_text(DESIGN)
    (tmp_path / "recipe.toml").write_text(RECIPE)
    return file


def test_json_has_the_totals(monkeypatch, capsys, design):
    # by hand: raw 100 g: crust 30, paste 60, centre 10
    asked = ("batch", design, "--pieces", 50, "--serving-date", "2026-11-30", "--json")
    code, out, err = run(monkeypatch, capsys, *asked)
    report = json.loads(out)
    assert (code, err) == (0, "")
    assert report["pieces"] == 50
    assert report["crust"]["mixed_g"] == pytest.approx(1500.0, rel=1e-12)
    assert [line["scaled_g"] for line in report["crust"]["lines"]] == [900.0, 600.0]
    assert report["centres"] == [{"name": "date", "count": 50}]
    assert report["cost"]["total"] == pytest.approx(0.9 + 6.0 + 13 * 0.5, rel=1e-12)
    assert report["cost"]["unpriced"] == ["cooked chestnut", "date"]
    assert report["days"] == [
        {"date": "2026-11-28", "step": "rest", "what": "soften"},
        {"date": "2026-11-30", "step": "serve", "what": "serve 50 pieces"},
    ]
    assert report["plan"]["hours"][0]["at"] == "08:00"
    assert report["allergens"]["found"] == ["wheat or another cereal with gluten"]


def test_table_fits_80_columns_and_says_it_all(monkeypatch, capsys, design):
    asked = ("batch", design, "--pieces", 50, "--serving-date", "2026-11-30")
    code, out, _ = run(monkeypatch, capsys, *asked)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    for words in (
        "orchard cakes: 50 pieces", "Mix for the crust", "wheat flour", "Centres: 50 of date",
        "Trays: 5 of 12, 2 on the last", "Cost: 13.40 EUR", "Sat 28 Nov 2026", "soften",
        "Mon 30 Nov 2026", "load 1 into the oven: 12 pieces", "Allergens: wheat",
    ):  # fmt: skip
        assert words in out


def test_csv_is_read_back(monkeypatch, capsys, design, tmp_path):
    file = tmp_path / "batch.csv"
    asked = ("batch", design, "--pieces", 50, "--csv", file)
    assert run(monkeypatch, capsys, *asked)[0] == 0
    with file.open(encoding="utf-8", newline="") as lines:
        rows = {(row["part"], row["item"]): row for row in csv.DictReader(lines)}
    assert float(rows["crust", "honey"]["scaled_g"]) == 600.0
    assert float(rows["crust", "mixed"]["exact_g"]) == 1500.0
    assert rows["centres", "date"]["count"] == "50"
    assert rows["batch", "pieces"]["count"] == "50"
    code, _, err = run(monkeypatch, capsys, *asked)
    assert code == 2
    assert "is there already; choose another name or add --overwrite" in err
    assert run(monkeypatch, capsys, *asked, "--overwrite")[0] == 0


def test_what_runs_short_is_named(monkeypatch, capsys, design):
    asked = ("batch", design, "--crust-on-hand", 301, "--filling-on-hand", 5000, "--centres", 40)
    code, out, _ = run(monkeypatch, capsys, *asked)
    assert code == 0
    assert "What runs short first is the crust; left over: 1 g crust, 4400 g filling" in out


def test_what_is_ready_is_taken_off_the_mix(monkeypatch, capsys, design):
    # by hand: 1500 g of crust for 50 pieces, 500 g of it there
    asked = ("batch", design, "--pieces", 50, "--crust-on-hand", 500, "--json")
    report = json.loads(run(monkeypatch, capsys, *asked)[1])
    assert report["crust"]["mixed_g"] == pytest.approx(1000.0, rel=1e-12)


@pytest.fixture
def builds(tmp_path, design):
    """Return a folder of two builds that share a recipe."""
    folder = tmp_path / "exports"
    for name, grams in (("bee", 60), ("sun", 98)):
        text = design.read_text().replace("orchard cakes", name).replace("= 98", f"= {grams}")
        (folder / name).mkdir(parents=True)
        (folder / name / "design.toml").write_text(text)
        (folder / name / "recipe.toml").write_text(RECIPE)
    return folder


def test_a_folder_of_builds_is_one_batch(monkeypatch, capsys, builds):
    code, out, _ = run(monkeypatch, capsys, "batch", builds, "--pieces", 24, "--wage", 12)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "2 designs, 48 pieces" in out
    assert "g for the crust of bee, sun" in out
    code, said, _ = run(monkeypatch, capsys, "batch", *builds.iterdir(), "--pieces", 24, "--json")
    report = json.loads(said)
    # 0.3 x (60 + 98) / 0.98 on whole grams: 18 and 30 g of crust
    assert report["doughs"][0]["mixed_g"] == pytest.approx(24 * (18 + 30), rel=1e-12)
    assert sorted(each["name"] for each in report["designs"]) == ["bee", "sun"]


def test_what_counts_for_one_design_is_refused_for_two(monkeypatch, capsys, builds, tmp_path):
    asked = ("batch", builds, "--pieces", 24)
    code, _, err = run(monkeypatch, capsys, *asked, "--csv", tmp_path / "x.csv")
    assert code == 2
    assert "counts for one design only" in err
    (tmp_path / "empty").mkdir()
    code, _, err = run(monkeypatch, capsys, "batch", tmp_path / "empty")
    assert code == 2
    assert "holds no design.toml" in err


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((), "batch.pieces = 'not given': must be given"),
        (("--pieces", 0), "batch.pieces = 0: must be at least 1"),
        (("--crust-on-hand", 10), "crust on hand = 10.0: must be enough for one piece"),
        (("--crust-on-hand", 1e308), "crust on hand = 1e+308: must be for at most 1000000 pieces"),
        (("--crust-on-hand", -1), "crust_on_hand_g = -1.0: must be"),
        (("--centres", 4, "--centre-mass", 0), "this piece has no centre in it"),
        (("--pieces", 5, "--serving-date", "30.11.2026"), "such as 2026-11-30"),
        (("--pieces", 5, "--recipe", "nowhere.toml"), "nowhere.toml: cannot be read"),
        (("--pieces", "many"), "--pieces = 'many': must be a whole number such as 12"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(monkeypatch, capsys, design, arguments, sentence):
    code, out, err = run(monkeypatch, capsys, "batch", design, *arguments)
    assert (code, out) == (2, "")
    assert sentence in err
    assert len(err.splitlines()) == 1


def test_a_csv_that_cannot_be_written_is_exit_1(monkeypatch, capsys, design, tmp_path):
    file = tmp_path / "none" / "batch.csv"
    code, _, err = run(monkeypatch, capsys, "batch", design, "--pieces", 5, "--csv", file)
    assert code == 1
    assert "cannot be written" in err


def test_a_batch_in_ounces_keeps_its_grams(monkeypatch, capsys):
    asked = ("batch", "--weight", 98, "--loss", 0.02, "--pieces", 10, "--units", "us")
    _, out, _ = run(monkeypatch, capsys, *asked)
    # 100 g raw, 30 g of it crust: 30 / 28.349523125 = 1.06 oz, the avoirdupois ounce.
    assert "30.0" in out
    assert "1.06" in out


def test_pieces_of_a_pack_need_its_label(monkeypatch, capsys):
    asked = ("batch", "--weight", 60, "--pieces", 9, "--pieces-per-pack", 4)
    assert "add --label-weight" in refused(monkeypatch, capsys, *asked)
    _, out, _ = run(monkeypatch, capsys, *asked, "--label-weight", 58)
    assert "2 packs of 232 g" in " ".join(out.split())
