"""The form holds what the schema holds, and both languages name all of it."""

import string

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.page.draft import every_field, sections
from moulddesign.page.jobs import OnHandAsk, OwnedAsk, ShelfAsk, TrialAsk
from moulddesign.page.texts import LANGUAGES, texts
from moulddesign.page.uploads import packed, unpacked

MODELS = (Design, OwnedAsk, ShelfAsk, TrialAsk, OnHandAsk)
FIELDS = [f for model in MODELS for f in every_field(sections(model.model_json_schema()))]


def _leaves(tree, path=""):
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        yield from _leaves(value, here) if isinstance(value, dict) else [here]


def test_every_value_of_a_design_has_a_field():
    known = {field.path for field in FIELDS}
    assert set(_leaves(Design().plain())) <= known


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_every_field_has_words(language):
    words = texts(language).tables
    unnamed = [f.path for f in FIELDS if len(words["fields"].get(f.path, ())) != 2]
    assert unnamed == []
    choices = {
        c for f in FIELDS for c in f.choices if not c.isupper() and c[-1] not in "0123456789"
    }
    unsaid = choices - words["words"].keys() - {"mm", "cm", "m"}
    assert unsaid == set()


@pytest.mark.parametrize("language", LANGUAGES[1:])
@pytest.mark.parametrize("table", ["page", "plot", "sections", "entries"])
def test_the_languages_have_the_same_texts(language, table):
    first, other = texts(LANGUAGES[0]).tables[table], texts(language).tables[table]
    assert first.keys() == other.keys()
    for key, text in first.items():
        if isinstance(text, str):
            assert _holes(text) == _holes(other[key]), key


def _holes(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_an_address_brings_a_design_back():
    design = Design().with_values({"portion.ratio": "4:6", "mould.clearance_mm": 0.4})
    assert Design.of(unpacked(packed(design))) == design


@pytest.mark.parametrize(
    "text",
    ["x", packed(Design().with_values({"portion.ratio": "4:6"}))[:-6], "A" * 7000, "\u00e9"],
    ids=["nonsense", "cut off", "too long", "not ASCII"],
)
def test_an_address_that_is_none_is_told(text):
    with pytest.raises(SpecError, match=r"^address = .*(holds no whole design|is too long)"):
        unpacked(text)
