"""The form holds what the schema holds, and both languages name all of it."""

import ast
import re
import string
from pathlib import Path

import pytest

import moulddesign.page
from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.building import shaped
from moulddesign.core import LANGUAGES, SpecError, word
from moulddesign.design import (
    OUTLINES,
    BlockTable,
    Design,
    Kind,
    Motif,
    Readings,
    Workshop,
    library,
)
from moulddesign.design.face_tables import Figure, Fill, Tip, face_names
from moulddesign.page.address import decode_design, encode_design
from moulddesign.page.design_form import design_sections
from moulddesign.page.draft import Draft, all_fields, form_sections, parse_input, values_of_kind
from moulddesign.page.figure_help import CupReading, GaugeReading, PlateReading, SyrupReading
from moulddesign.page.form_schema import FormSchema
from moulddesign.page.jobs import BatchRequest, TrialRequest, preview
from moulddesign.page.owned_jobs import FitRequest, RankingRequest
from moulddesign.page.printed_sets import PartRequest
from moulddesign.page.texts import page_texts

MODELS = (
    Design, FitRequest, RankingRequest, TrialRequest, BatchRequest, Workshop, GaugeReading,
    CupReading, PlateReading, SyrupReading, PartRequest, Readings,
)  # fmt: skip
SECTIONS = [
    design_sections() if model is Design else form_sections(model.model_json_schema())
    for model in MODELS
]
FIELDS = [field for sections in SECTIONS for field in all_fields(sections)]


def _leaves(tree, path=""):
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        yield from _leaves(value, here) if isinstance(value, dict) else [here]


def test_every_value_of_a_design_has_a_field():
    known = {field.path for field in FIELDS}
    assert set(_leaves(Design().plain())) <= known


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_every_field_has_words(language):
    words = page_texts(language).tables
    unnamed = [f.path for f in FIELDS if len(words["fields"].get(f.path, ())) != 2]
    assert unnamed == []
    choices = {
        c for f in FIELDS for c in f.choices if not c.isupper() and c[-1] not in "0123456789"
    }
    unsaid = {choice for choice in choices if word(choice).text(language) == choice}
    unsaid -= {"mm", "cm", "m", *words["labels"]}
    assert unsaid == set()


OFFERED = (*OUTLINES, *face_names(), *pattern_names(), *Motif, *Fill, *Tip, *Figure)


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_what_is_offered_by_name_has_words(language):
    labels = page_texts(language).tables["labels"]
    unsaid = [x for x in OFFERED if x not in labels and word(x).text(language) == x]
    assert not unsaid, f"give them a word under [word] of data/messages/{language}.toml"


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_what_a_plastic_says_of_itself_has_words(language):
    plastics = library(None).materials.values()
    phrases = {part for one in plastics for part in re.split("; |: ", one.source)}
    texts = {text for text in phrases if re.search("[a-z]{3}", text)}
    texts |= {one.caution for one in plastics}
    unsaid = sorted(text for text in texts if word(text).text(language) == text)
    assert not unsaid, f"give them words under [word] of data/messages/{language}.toml"


@pytest.mark.parametrize("language", LANGUAGES[1:])
@pytest.mark.parametrize("table", ["page", "plot", "sections", "entries", "labels", "in_a_field"])
def test_the_languages_have_the_same_texts(language, table):
    first, other = page_texts(LANGUAGES[0]).tables[table], page_texts(language).tables[table]
    assert first.keys() == other.keys()
    for key, text in first.items():
        if isinstance(text, str):
            assert _holes(text) == _holes(other[key]), key


def _holes(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


MOULD = next(s for s in form_sections(Design.model_json_schema()) if s.name == "mould")


@pytest.mark.parametrize("kind", Kind)
def test_the_form_shows_of_the_mould_what_counts_for_its_kind(kind):
    schema = FormSchema(words=page_texts("en"), choices={}, pictures=frozenset(), suggestions={})
    described = schema.section(MOULD)
    shown = [
        field["name"]
        for field in described["fields"]
        if all(kind.value in allowed for _, allowed in field["only"])
    ]
    table = type(Design().with_values({"mould.kind": kind.value}).mould)
    assert sorted(shown) == sorted(table.model_fields)
    choices = next(field["options"] for field in described["fields"] if field["name"] == "kind")
    assert {option["value"] for option in choices} == {kind.value for kind in Kind}


def test_another_kind_keeps_what_was_typed_for_this_one_and_does_not_send_it():
    draft = Draft(Design().plain(), Design)
    draft.set_value("mould.clearance_mm", 0.45)
    draft.add("further_stamps", {"name": "sun", "layers": [{"pattern": "sun"}]})
    pressed = Design.of(values_of_kind(draft.tree))
    draft.set_value("mould.kind", "block")
    draft.set_value("mould.cavities", 3)
    board = Design.of(values_of_kind(draft.tree))
    assert isinstance(board.mould, BlockTable)
    assert (board.mould.cavities, board.further_stamps) == (3, ())
    draft.set_value("mould.kind", "press")
    assert Design.of(values_of_kind(draft.tree)) == pressed
    draft.set_value("mould.kind", "block")
    assert Design.of(values_of_kind(draft.tree)) == board


@pytest.mark.parametrize("kind", Kind)
def test_an_address_brings_a_design_of_each_kind_back(kind):
    more = {"mould.wall_mm": 3.3} if kind in {Kind.PRESS, Kind.CAST} else {}
    design = Design().with_values({"mould.kind": kind.value} | more)
    assert Design.of(decode_design(encode_design(design))) == design


def test_the_piece_of_a_block_leans_on_the_page_too():
    design = Design().with_values({"mould.kind": "block", "mould.side_draft_deg": 8.0})
    told = dict(preview(lambda: None, design.plain()))
    assert told["figures"].height_mm == shaped(design).pastry.height_mm
    upright = Design().with_values({"pastry.width_mm": told["figures"].width_mm})
    assert told["figures"].height_mm > shaped(upright).pastry.height_mm


def test_an_address_brings_a_design_back():
    design = Design().with_values({"portion.ratio": "4:6", "mould.clearance_mm": 0.4})
    assert Design.of(decode_design(encode_design(design))) == design


@pytest.mark.parametrize(
    "text",
    ["x", encode_design(Design().with_values({"portion.ratio": "4:6"}))[:-6], "A" * 7000, "\u00e9"],
    ids=["nonsense", "cut off", "too long", "not ASCII"],
)
def test_an_address_that_is_none_is_told(text):
    with pytest.raises(SpecError, match=r"^address = .*(holds no whole design|is too long)"):
        decode_design(text)


def keys_asked(tree):
    """Yield the keys that are written out between the brackets of `words[...]`, choices too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript) and ast.unparse(node.value).endswith("words"):
            key = node.slice
            for one in (key.body, key.orelse) if isinstance(key, ast.IfExp) else (key,):
                if isinstance(one, ast.Constant):
                    yield one.value


def test_each_text_that_the_page_asks_for_is_there():
    # Keys written out in the page's source: a missing one would break a part of the page only.
    asked = {
        key
        for path in Path(moulddesign.page.__file__).parent.glob("*.py")
        for key in keys_asked(ast.parse(path.read_text("utf-8")))
    }
    assert len(asked) > 50
    assert "fits_no" in asked
    assert asked - page_texts(LANGUAGES[0]).tables["page"].keys() == set()


@pytest.mark.parametrize(
    ("path", "typed", "value"),
    [
        # NIST Special Publication 811 (2008), appendix B.8: ounce and inch.
        ("portion.finished_weight_g", "2.4 oz", 2.4 * 28.349523125),
        ("portion.finished_weight_g", " 68,5g ", 68.5),
        ("pastry.width_mm", "2 in", 50.8),
        ("portion.loss", "2 %", 0.02),
        ("printer.bed_mm", "220 x 220x250", [220.0, 220.0, 250.0]),
        ("portion.finished_weight_g", "1,250", "1,250"),  # for the design to refuse
        ("portion.finished_weight_g", "2 in", "2 in"),
    ],
)
def test_a_field_takes_numbers_as_people_type_them(path, typed, value):
    fields = {field.path: field for field in FIELDS}
    assert parse_input(fields[path], typed) == pytest.approx(value)
