"""What is found of a build of any kind is said in the second language, too."""

import re

import pytest

from moulddesign.building import build
from moulddesign.core import Message
from moulddesign.core.messages import _texts
from moulddesign.design import Design

PUBLISHED = re.compile(r"\b(19|20)\d\d\b|Handbook")
"""Sources that are published keep their title."""
SYMBOLS = {"", "g", "mm", "mm2", "mm3", "mL", "N", "%"}
"""Units that are written alike in both languages."""

DESIGNS = {
    "press": {},
    "block": {"mould": {"kind": "block", "cavities": 2}, "portion": {"centres": [{"mass_g": 4}]}},
    "cast": {"mould": {"kind": "cast"}},
    "sunk, and a further stamp": {
        "relief": {"sense": "sunk"},
        "further_stamps": [{"name": "sun", "layers": [{"pattern": "sun"}]}],
    },
    "nothing on top": {"relief": {"layers": []}, "portion": {"centres": []}},
}


@pytest.mark.parametrize("plain", DESIGNS.values(), ids=DESIGNS)
def test_a_report_has_no_english_left(plain):
    made = build(Design.of(plain))
    words = {id_.removeprefix("word.") for id_ in _texts("de")}
    for found in made.findings:
        assert found.title("de") != found.name
        assert isinstance(found.measured, Message | float | int)
        assert isinstance(found.source, Message) or PUBLISHED.search(found.source)
        assert found.unit in SYMBOLS | words
    names = [(found.part, found.id, found.name) for found in made.findings]
    assert len({name for *_, name in names}) == len(names)
