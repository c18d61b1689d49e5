"""Tables by kind: foreign keys are refused, and files of earlier versions are taken.

The files in `earlier/` were written by version 0.1.0 before tables had kinds: each of them names
every key of every kind.
"""

import tomllib
from pathlib import Path

import pytest

import moulddesign
from moulddesign.core import SpecError
from moulddesign.design import BlockTable, CastTable, Design, Kind, OwnTable, PressTable
from moulddesign.design.earlier import RETIRED

EARLIER = sorted((Path(__file__).parent / "earlier").glob("*.toml"))
TABLES = {Kind.PRESS: PressTable, Kind.BLOCK: BlockTable, Kind.CAST: CastTable, Kind.OWN: OwnTable}
CHANGED = "block-with-a-changed-press-key"


REFUSED = {
    "bolt": {"joint", "bolt"},
    "everything-changed-press": {"peg_diameter_mm"},
}
"""Files that changed what is gone since."""


@pytest.mark.parametrize(
    "path", [p for p in EARLIER if p.stem not in {CHANGED, *REFUSED}], ids=lambda p: p.stem
)
def test_a_file_of_an_earlier_version_is_taken_with_a_note_of_each_thing(path):
    written = tomllib.loads(path.read_text("utf-8"))
    design, notes = Design.read_with_notes(path)
    own = TABLES[Kind(written["mould"]["kind"])].model_fields
    said = [str(note) for note in notes]
    if design.mould.kind is Kind.PRESS:
        # Defaults that were made for a peg go with it, whether or not their keys are still there.
        assert "made for a press whose stamp sat on a peg" in said.pop(0)
        at_default = {key for key, value in RETIRED.items() if written["mould"].get(key) == value}
        written["mould"] = {k: v for k, v in written["mould"].items() if k not in at_default}
    foreign = [key for key in written["mould"] if key not in own]
    if (written["portion"]["loss"], written["portion"]["loss_sd"]) == (0.02, 0.01):
        assert "counts as unmeasured" in said.pop(0)
        del written["portion"]["loss"]
    (note,) = said
    assert f"for the kind {design.mould.kind}: {', '.join(foreign)}." in note
    kept = written | {"mould": {k: v for k, v in written["mould"].items() if k in own}}
    assert holds(design.plain(), kept)  # keys that are newer stand at their defaults


@pytest.mark.parametrize(("stem", "keys"), REFUSED.items())
def test_what_was_changed_of_a_peg_or_a_bolt_is_refused_by_name(stem, keys):
    (path,) = (p for p in EARLIER if p.stem == stem)
    with pytest.raises(SpecError, match="sat on a peg or a bolt; leave it out") as caught:
        Design.read(path)
    assert all(f"mould.{key} = " in str(caught.value) for key in keys)


def test_defaults_of_a_peg_are_left_out_of_a_newer_file_too():
    tree = {"made_with": "0.2.0", "mould": {"joint": "peg", "clearance_mm": 0.3, "wall_mm": 3.0}}
    design, (note,) = Design.of_file(tree)
    assert design.mould.clearance_mm is None
    assert design.mould.wall_mm == 3.0
    assert "joint, clearance_mm" in str(note)


def holds(whole, part):
    """Whether nested values hold all those of a part."""
    if isinstance(part, dict):
        return all(key in whole and holds(whole[key], part[key]) for key in part)
    if isinstance(part, list):
        return len(whole) == len(part) and all(map(holds, whole, part))
    return whole == part


def test_a_changed_key_of_another_kind_is_refused_in_an_earlier_file_too():
    (path,) = (p for p in EARLIER if p.stem == CHANGED)
    with pytest.raises(
        SpecError, match=r"line 42: mould.clearance_mm = 0.4: belongs to the kind press"
    ):
        Design.read(path)


@pytest.mark.parametrize("kind", Kind)
def test_a_written_design_holds_the_keys_of_its_kind_and_the_version(tmp_path, kind):
    design = Design().with_values({"mould.kind": kind.value})
    written = tomllib.loads(design.toml())
    assert written.pop("made_with") == moulddesign.__version__
    assert set(written["mould"]) <= set(TABLES[kind].model_fields)
    path = tmp_path / "design.toml"
    path.write_text(design.toml(), encoding="utf-8")
    assert Design.read_with_notes(path) == (design, ())


def test_a_file_that_names_its_version_is_read_strictly():
    tree = {"mould": {"kind": "block", "clearance_mm": 0.3}}
    design, notes = Design.of_file(tree)
    assert isinstance(design.mould, BlockTable)
    assert len(notes) == 1
    with pytest.raises(SpecError, match="belongs to the kind press"):
        Design.of_file(tree | {"made_with": "0.1.0"})


def test_an_upright_side_was_usual_in_a_press():
    design, notes = Design.of_file({"mould": {"side_draft_deg": 0}})
    assert design == Design()
    assert "side_draft_deg" in str(notes[0])
    with pytest.raises(SpecError, match="side_draft_deg = 2: belongs to the kind block or cast"):
        Design.of_file({"mould": {"side_draft_deg": 2}})


@pytest.mark.parametrize(
    ("mould", "sentence"),
    [
        (
            {"kind": "block", "clearance_mm": 0.3},
            (
                "mould.clearance_mm = 0.3: belongs to the kind press and does nothing for the kind "
                "block; leave it out, or take the kind press."
            ),
        ),
        (
            {"cavities": 2},
            (
                "mould.cavities = 2: belongs to the kind block, cast or own and does nothing for "
                "the kind press; leave it out, or take the kind block, cast or own."
            ),
        ),
        (
            {"kind": "cast", "hole_mm": 3, "skin_mm": 2},
            (
                "mould.hole_mm = 3: belongs to the kind block and does nothing for the kind cast; "
                "leave it out, or take the kind block (1 more to mend after this one)."
            ),
        ),
        (
            {"kind": "block", "floor": 3},
            "mould.floor = 3: is not a known key; the nearest is floor_mm.",
        ),
        (
            {"kind": "cast", "cover_mm": 1},
            "mould.cover_mm = 1: must be at least 2 mm.",
        ),
        ({"kind": "presse"}, "mould.kind = 'presse': must be one of press, block, cast, own."),
        ({"kind": 3}, "mould.kind = 3: must be one of press, block, cast, own."),
        ("block", "mould = 'block': must be a table of keys."),
    ],
)
def test_what_does_not_go_with_the_kind_is_one_sentence(mould, sentence):
    with pytest.raises(SpecError) as refused:
        Design.of({"mould": mould})
    assert str(refused.value) == sentence


def test_another_kind_drops_what_only_the_old_one_has():
    press = Design().with_values({"mould.clearance_mm": 0.4, "mould.wall_mm": 3.0})
    cast = press.with_values({"mould.kind": "cast"})
    assert cast.mould == CastTable(wall_mm=3.0)
    assert cast.with_values({"mould.kind": "press"}).mould == PressTable(wall_mm=3.0)
    with pytest.raises(SpecError, match=r"clearance_mm = 0.3: belongs to the kind press"):
        press.with_values({"mould.kind": "block", "mould.clearance_mm": 0.3})


@pytest.mark.parametrize("kind", Kind)
def test_the_schema_of_the_file_knows_each_kind_alone(kind):
    schema = Design.file_schema()
    assert "made_with" in schema["properties"]
    mould = schema["properties"]["mould"]
    name = mould["discriminator"]["mapping"][kind].rpartition("/")[2]
    table = schema["$defs"][name]
    assert set(table["properties"]) == set(TABLES[kind].model_fields)
    assert table["additionalProperties"] is False
    assert table.get("required", []) == ([] if kind is Kind.PRESS else ["kind"])
