"""What is found of a build of any kind is said in the second language, too."""

import re
from functools import partial

import pytest
from building.test_checks import small
from building.test_further_stamps import LIGHT
from kept_designs import built, made_once

from moulddesign.core import Message
from moulddesign.core.messages import _texts
from moulddesign.design import Design

PUBLISHED = re.compile(r"\b(19|20)\d\d\b|Handbook")
"""Sources that are published keep their title."""
SYMBOLS = {"", "g", "mm", "mm2", "mm3", "mL", "N", "%"}
"""Units that are written alike in both languages."""

PLAIN = Design.of({"mould": {"kind": "block"}, "relief": {"layers": []}})
BUILDS = {
    "press": partial(built, "chestnut-75"),
    "block": partial(small, "two in a block"),
    "cast": partial(small, "two masters"),
    "a further stamp that is sunk too deep": partial(made_once, LIGHT),
    "nothing on top": partial(made_once, PLAIN),
}


@pytest.mark.parametrize("build", BUILDS.values(), ids=BUILDS)
def test_a_report_has_no_english_left(build):
    made = build()
    words = {id_.removeprefix("word.") for id_ in _texts("de")}
    for found in made.findings:
        assert found.title("de") != found.name
        assert isinstance(found.measured, Message | float | int)
        assert isinstance(found.source, Message) or PUBLISHED.search(found.source)
        assert not isinstance(found.source, Message) or "no source" not in found.source.text("de")
        assert found.unit in SYMBOLS | words
    names = [(found.part, found.id, found.name) for found in made.findings]
    assert len({name for *_, name in names}) == len(names)
