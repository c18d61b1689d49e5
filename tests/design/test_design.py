"""The Design: there and back through TOML, frozen, and refusing with the nearest known name."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from strategies import designs

from moulddesign.core import FileError, SpecError
from moulddesign.design import Design, Layer, ReliefTable, Table

STATUSES = ("common practice", "no source", "from memory", "our choice", "", "design")


@given(design=designs())
@settings(max_examples=50)
def test_toml_gives_back_the_same_design(tmp_path_factory, design):
    path = tmp_path_factory.mktemp("design") / "design.toml"
    path.write_text(design.toml(), encoding="utf-8")
    assert Design.read(path) == design
    assert Design.of(tomllib.loads(design.toml())) == design
    assert Design.of(design.plain()) == design


@given(name=st.text(min_size=1, max_size=80))
@settings(max_examples=200)
def test_any_name_is_kept_exactly_or_refused(name):
    try:
        made = Design.of({"name": name})
    except SpecError as error:
        assert error.field == "name"  # noqa: PT017 (most names pass)
        return
    assert tomllib.loads(made.toml())["name"] == name
    assert not set(made.name) & set("/\\")
    assert made.name not in {".", ".."}


@pytest.mark.parametrize(
    ("values", "name"),
    [
        ({}, "75g-round-chestnut"),
        ({"relief": {"layers": []}, "portion": {"finished_weight_g": 62.5}}, "62.5g-round-plain"),
        ({"portion": {"finished_weight_g": "2.4 oz"}}, "68g-round-chestnut"),  # 68.0389 g
        (
            {"pastry": {"outline": "square"}, "relief": {"layers": [{"pattern": "bee"}]}},
            "75g-square-bee",
        ),
        (
            {"pastry": {"outline": "my/Old Moon.svg"}, "relief": {"layers": [{"motif": "beads"}]}},
            "75g-Old-Moon-beads",
        ),
        (
            {"relief": {"layers": [{"pattern": "a/artwork-fox.png"}, {"text": "A / 1\n\u00e9"}]}},
            "75g-round-fox-A-1-\u00e9",
        ),
        ({"relief": {"layers": [{"text": "x" * 300}]}}, f"75g-round-{'x' * 50}"),
    ],
)
def test_a_design_without_a_name_is_called_what_it_is(values, name):
    design = Design.of(values)
    assert design.name == name
    assert "name" not in design.plain()
    assert Design.of(tomllib.loads(design.toml())).name == name
    assert design.with_values({"portion.finished_weight_g": 50.0}).name.startswith("50g-")
    kept = Design.of(values | {"name": "mine"})
    assert kept.with_values({"portion.finished_weight_g": 50.0}).name == "mine"


def tables(model, name=""):
    """Yield each field of a model and of the tables in it, with its dotted name."""
    for key, info in model.model_fields.items():
        inner = (info.annotation, *getattr(info.annotation, "__args__", ()))
        table = next((a for a in inner if isinstance(a, type) and issubclass(a, BaseModel)), None)
        if table is None:
            yield f"{name}{key}", info
        else:
            yield from tables(table, f"{name}{key}.")


FIELDS = dict(tables(Design))
UNITS = {
    "_g_per_ml": "g/mL",
    "_g": "g",
    "_mm": "mm",
    "_deg": "deg",
}


@pytest.mark.parametrize("name", FIELDS)
def test_every_key_says_what_it_is_with_its_unit_and_source(name):
    info = FIELDS[name]
    extra = info.json_schema_extra
    assert info.description
    assert extra["source"]
    suffix = next((s for s in UNITS if name.endswith(s)), None)
    if suffix is not None:
        assert extra["unit"] == UNITS[suffix]
    else:
        assert extra["unit"] not in UNITS.values()


NUMBERS = [name for name, info in FIELDS.items() if "float" in str(info.annotation)]


SIGNED = ("dough.springback_mm",)
"""A difference that was measured: noise may turn it."""


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf"), "five", True, -1e-9])
@pytest.mark.parametrize("name", [n for n in NUMBERS if n.count(".") == 1 and "bed" not in n])
def test_no_number_takes_nonsense(name, value):
    value = -99.0 if name in SIGNED and value == -1e-9 else value
    table, key = name.split(".")
    if table == "further_stamps":
        tree = {table: [{"name": "bee", "layers": [], key: value}]}
        said = rf"^{table}.1.{key} \(the first further stamp\) = .*: must be .*\.$"
    else:
        tree, said = {table: {key: value}}, rf"^{table}.{key} = .*: must be .*\.$"
    with pytest.raises(SpecError, match=said):
        Design.of(tree)


def test_defaults_that_nothing_checked_are_those_that_validation_gives():
    defaults = [field.default for field in Design.model_fields.values()]
    tables = [each for each in defaults if isinstance(each, Table)]
    assert len(tables) > 9
    for table in tables:
        made = type(table)()
        assert (table, table.model_fields_set) == (made, made.model_fields_set)
    assert ReliefTable().layers == (Layer(pattern="chestnut"),)


def test_a_default_design_is_valid_and_frozen():
    design = Design()
    with pytest.raises(ValidationError, match="frozen"):
        design.portion.loss = 0.5


@pytest.mark.parametrize(
    ("tree", "nearest"),
    [
        ({"portion": {"finished_weigth_g": 1}}, "finished_weight_g"),
        ({"mould": {"clearence_mm": 1}}, "clearance_mm"),
        ({"relief": {"layers": [{"patern": "x"}]}}, "pattern"),
        ({"portion": {"centres": [{"mass": 1}]}}, "mass_g"),
        ({"printr": {}}, "printer"),
    ],
)
def test_an_unknown_key_names_the_nearest(tree, nearest):
    with pytest.raises(SpecError, match=f"is not a known key; the nearest is {nearest}"):
        Design.of(tree)


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("salted\nyolk", "must be on one line"),
        ("yolk\u2028two", "must be on one line"),
        ("yolk\x07", "must be on one line"),
        (" ", "must not be empty"),
    ],
)
def test_a_name_that_is_printed_is_one_line(name, sentence):
    with pytest.raises(SpecError, match=f"the first centre.*{sentence}"):
        Design.of({"portion": {"centres": [{"name": name}]}})


def test_values_are_replaced_by_dotted_name():
    design = Design().with_values({"portion.ratio": "4:6", "name": "b", "pastry.width_mm": 50.0})
    assert (design.portion.ratio, design.name, design.pastry.width_mm) == ("4:6", "b", 50.0)
    other = design.with_values({"pastry.height_mm": 20.0}).pastry
    assert (other.width_mm, other.height_mm) == (None, 20.0)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"\xff", "is not text in UTF-8"),
        (b"a = " + b"[" * 50_000, "nests its lists and tables too deep"),
        (b"[" + b".".join([b"a"] * 900) + b"]", "nests its lists and tables too deep"),
        (b"a = " + b"9" * 5000, "is not TOML: Exceeds the limit"),
        (b"#" * 1_000_001, "is larger than 1 MB"),
    ],
)
def test_a_file_that_is_no_design_is_refused(tmp_path, content, sentence):
    path = tmp_path / "design.toml"
    path.write_bytes(content)
    with pytest.raises(FileError, match=sentence):
        Design.read(path)


@pytest.mark.parametrize(
    ("ratio", "share"), [("3:7", 0.3), ("2:8", 0.2), ("1:1", 0.5), ("0.5:1.5", 0.25)]
)
def test_a_ratio_is_a_share_of_the_whole(ratio, share):
    assert Design.of({"portion": {"ratio": ratio}}).portion.crust_share == pytest.approx(share)


@pytest.mark.parametrize(
    ("layer_mm", "depth_mm"), [(0.2, 1.6), (0.15, 1.5), (0.28, 1.4), (1.0, 2.0)]
)
def test_a_relief_without_a_depth_is_whole_layers_near_a_millimetre_and_a_half(layer_mm, depth_mm):
    design = Design.of({"printer": {"layer_height_mm": layer_mm}})
    assert design.relief.depth_mm == pytest.approx(depth_mm)
    assert "depth_mm" not in design.plain()["relief"]
    assert tomllib.loads(design.toml())["relief"]["depth_mm"] == design.relief.depth_mm
    # It follows other layers; what is given stays.
    assert design.with_values({"printer.layer_height_mm": 0.3}).relief.depth_mm == 1.5
    kept = design.with_values({"relief.depth_mm": 1.55})
    assert kept.with_values({"printer.layer_height_mm": 0.3}).relief.depth_mm == 1.55
