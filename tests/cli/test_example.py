"""Each example works as it is printed, and is what its schema says."""

import csv
import json
import tomllib

import pytest
from command_line import refused, run

from moulddesign.cli.example_command import Example
from moulddesign.design import read_set_file
from moulddesign.series import orders


@pytest.fixture
def write(monkeypatch, capsys, tmp_path):
    """Return a function that prints an example into a file."""

    def written(kind):
        code, said, remarks = run(monkeypatch, capsys, "example", kind)
        assert (code, remarks) == (0, "")
        file = tmp_path / f"{kind}.{'csv' if kind in {'series', 'weighings'} else 'toml'}"
        file.write_text(said)
        return file

    return written


@pytest.fixture
def answer(monkeypatch, capsys):
    """Return a function that runs a verb and returns its JSON."""

    def asked(*arguments):
        code, said, remarks = run(monkeypatch, capsys, *arguments, "--json")
        assert code == 0, remarks
        return json.loads(said)

    return asked


def test_the_design_and_the_recipe_make_a_batch(write, answer):
    design, recipe = write("design"), write("recipe")
    assert answer("portion", design)["portion"]["finished_g"] == 75
    made = answer("batch", design, "--recipe", recipe)
    assert made["pieces"] == 48
    # 100 + 70 + 25 + 2 percent of the flour
    lines = {line["food"]: line["percent"] for line in made["crust"]["lines"]}
    assert sum(lines.values()) == pytest.approx(197)
    assert made["cost"]["unpriced"] == []


def test_the_recipe_has_densities(write, answer):
    found = answer("density", "recipe", write("recipe"))
    # 1.25 to 1.33 g/mL: syrup crusts, from memory
    assert 1.25 <= found["crust"]["density_g_per_ml"] <= 1.34


def test_the_moulds_are_ranked(write, answer):
    found = answer("fit", "--shelf", write("moulds"), "--weight", "75")
    assert len(found["ranked"]) == 3


def test_the_sleeve_is_a_set_that_parts_fit(write):
    found = read_set_file(write("sleeve"))
    assert (found.bore.width_mm, found.sleeve_height_mm, found.press) == (52.1, 102.0, None)


def test_the_weighings_correct_the_design(write, answer):
    found = answer("trial", write("design"), "--weighings", write("weighings"))
    rows = [(77.0, 74.9), (76.5, 74.5), (77.2, 75.0), (76.8, 74.6), (77.1, 74.8)]  # as printed
    loss = sum(1 - finished / raw for raw, finished in rows) / len(rows)
    assert found["loss"]["value"] == pytest.approx(loss, rel=1e-9)


def test_the_series_is_read_over_the_design(write, monkeypatch, capsys, tmp_path):
    seen = []
    monkeypatch.setattr(orders, "run_all", lambda asked, *_: seen.extend(asked) or ())
    run(
        monkeypatch, capsys, "series", write("series"), "--base", write("design"),
        "--out", tmp_path / "out",
    )  # fmt: skip
    assert [(one.design.name, one.design.portion.finished_weight_g) for one in seen] == [
        ("orchard-small", 50.0), ("orchard-middle", 75.0), ("orchard-large", 125.0),
    ]  # fmt: skip
    assert {one.design.pastry.height_to_width for one in seen} == {0.5}


def known(schema, value, root):
    """Walk values and schema side by side: each key is in the schema, each type is one of its."""
    if "$ref" in schema:
        schema = root["$defs"][schema["$ref"].rpartition("/")[2]]
    choices = schema.get("anyOf") or schema.get("oneOf")
    if choices:
        return any(known(each, value, root) for each in choices)
    kinds = {"number": (int, float), "integer": int, "string": str, "boolean": bool,
             "array": list, "object": dict}  # fmt: skip
    if "const" in schema or "enum" in schema:
        return value in schema.get("enum", [schema.get("const")])
    if not isinstance(value, kinds[schema["type"]]):
        return schema.get("format") == "date"
    if isinstance(value, list):
        return all(known(schema.get("items", {}), each, root) for each in value)
    if isinstance(value, dict):
        keys = schema["properties"]
        return all(key in keys and known(keys[key], each, root) for key, each in value.items())
    return True


@pytest.mark.parametrize("kind", Example)
def test_each_example_is_what_its_schema_says(monkeypatch, capsys, kind):
    code, said, _ = run(monkeypatch, capsys, "example", kind, "--schema")
    assert code == 0
    schema = json.loads(said)
    if kind is Example.SIZES:
        assert compile(kind.text, "sizes.py", "exec")  # run by the tests of what it calls
    elif kind in {Example.SERIES, Example.WEIGHINGS}:
        lines = [line for line in kind.text.splitlines() if not line.startswith("#")]
        rows = list(csv.DictReader(lines, delimiter=";"))
        if kind is Example.WEIGHINGS:
            assert known(schema, [{k: float(v) for k, v in row.items()} for row in rows], schema)
        assert schema["type"] == {"series": "object", "weighings": "array"}[kind]
    else:
        assert known(schema, tomllib.loads(kind.text), schema)


def test_what_is_no_example_is_refused(monkeypatch, capsys):
    assert "'cake'" in refused(monkeypatch, capsys, "example", "cake")
