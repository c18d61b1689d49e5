"""Each id that the code says has a text in every language, with the same values; none is idle."""

import ast
import pickle
from functools import cache
from pathlib import Path
from string import Formatter

import pytest

import moulddesign
from moulddesign.core import LANGUAGES, SpecError, say
from moulddesign.core.messages import WORD, _template, _texts

PACKAGE = Path(moulddesign.__file__).parent


@cache
def said():
    """Return each id that the code says, with the names of its values and the place."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say":
                place = f"{path.relative_to(PACKAGE)}:{node.lineno}"
                assert isinstance(node.args[0], ast.Constant), (
                    f"{place}: the id must be written out"
                )
                found.append((node.args[0].value, {key.arg for key in node.keywords}, place))
    return found


def holes(template):
    """Return the names in a template's braces."""
    return {name.partition(".")[0] for _, name, _, _ in Formatter().parse(template) if name}


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_id_has_a_text_that_takes_its_values(language):
    texts = _texts(language)
    for id_, values, place in said():
        assert id_ in texts, f"{place}: no text for {id_!r} in {language}"
        assert holes(texts[id_]) == values, f"{place}: {id_!r} in {language}"


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_text_is_said(language):
    ids = {id_ for id_, _, _ in said()}
    idle = {id_ for id_ in _texts(language) if not id_.startswith(WORD)} - ids
    assert not idle


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_table_that_is_read_alone_says_what_the_whole_file_says(language):
    texts = _texts(language)
    assert {id_: _template(id_, language) for id_ in texts} == texts
    assert _template("core.no-such-text", language) is None
    assert _template("no-such-table.text", language) is None


def test_an_error_that_was_pickled_speaks_both_languages():
    need = say(
        "building.relief-leaves-no-room", height_mm=3.14, left_ml=1, volume_ml=2, filled_ml=3
    )
    error = pickle.loads(pickle.dumps(SpecError("pastry.width_mm", 90.0, need)))
    assert str(error).startswith("pastry.width_mm = 90.0: makes a piece 3.1 mm high")
    assert error.need.text("de").startswith("macht ein Stück von 3.1 mm Höhe")
