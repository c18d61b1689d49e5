"""How a drawing's elements are painted: attributes, style sheets and `style`, with inheritance.

Source: W3C, "Scalable Vector Graphics (SVG) 2", chapters 6 (Styling) and 13 (Painting).
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.errors import SpecError

Style = Mapping[str, str]

INITIAL: Final[Style] = {
    "fill": "black", "stroke": "none", "color": "black",
    "fill-rule": "nonzero", "clip-rule": "nonzero", "fill-opacity": "1", "stroke-opacity": "1",
    "stroke-width": "1", "stroke-linecap": "butt", "stroke-linejoin": "miter",
    "stroke-miterlimit": "4", "stroke-dasharray": "none", "stroke-dashoffset": "0",
    "visibility": "visible", "paint-order": "normal", "marker-start": "none",
    "marker-mid": "none", "marker-end": "none",
}  # fmt: skip
"""Properties that pass from an element to what it holds, with their first values."""
OWN: Final[Style] = {
    "opacity": "1", "display": "inline", "clip-path": "none", "mask": "none", "filter": "none",
    "vector-effect": "none", "overflow": "",
}  # fmt: skip
"""Properties of one element alone."""
RULE: Final = re.compile(r"([^{}]*)\{([^{}]*)\}")
COMMENT: Final = re.compile(r"/\*.*?\*/|<!--|-->", re.DOTALL)
SIMPLE: Final = re.compile(r"(\*|[\w-]+)?((?:[.#][\w-]+)*)")


@dataclass(frozen=True, slots=True)
class Rule:
    """One selector of a style sheet with what it declares.

    Parameters
    ----------
    tag : str
        Element name; empty for any.
    classes : frozenset of str
        Classes that the element must have.
    identity : str
        Id that the element must have; empty for any.
    declared : mapping of str to str
        Properties.
    """

    tag: str
    classes: frozenset[str]
    identity: str
    declared: Style

    @property
    def weight(self) -> tuple[bool, int, bool]:
        """Which rule wins, as CSS counts: ids, classes, names."""
        return bool(self.identity), len(self.classes), bool(self.tag)

    def fits(self, tag: str, classes: Iterable[str], identity: str) -> bool:
        """Whether an element is meant."""
        return (
            self.tag in ("", tag)
            and self.classes <= set(classes)
            and self.identity in ("", identity)
        )


def sheet_rules(text: str) -> list[Rule]:
    """Return the rules of a style sheet, the weightier later.

    Raises
    ------
    SpecError
        It holds an at-rule or a selector other than names, classes, ids and lists of them.
    """
    text = COMMENT.sub("", text)
    if "@" in text:
        need = "must hold plain rules only; save the drawing with style attributes"
        raise SpecError("style", text.strip()[:40], need)
    rules = [
        _rule(selector.strip(), declarations(block))
        for selectors, block in RULE.findall(text)
        for selector in selectors.split(",")
    ]
    return sorted(rules, key=lambda rule: rule.weight)


def _rule(selector: str, declared: Style) -> Rule:
    match = SIMPLE.fullmatch(selector)
    if not match or not selector:
        need = "must be a name, a class or an id; save the drawing with style attributes"
        raise SpecError("style", selector[:40], need)
    marks = re.findall(r"[.#][\w-]+", match[2])
    ids = [mark[1:] for mark in marks if mark[0] == "#"]
    classes = frozenset(mark[1:] for mark in marks if mark[0] == ".")
    tag = "" if match[1] in (None, "*") else match[1]
    return Rule(tag, classes, ids[0] if ids else "", declared)


def declarations(text: str) -> dict[str, str]:
    """Return the properties that a `style` attribute or a rule's block declares.

    Examples
    --------
    >>> declarations("fill: red; stroke:none !important;")
    {'fill': 'red', 'stroke': 'none'}
    """
    pairs = (part.partition(":") for part in COMMENT.sub("", text).split(";"))
    return {
        name.strip().lower(): value.replace("!important", "").strip()
        for name, colon, value in pairs
        if colon and value.strip()
    }


def styled(element: Any, rules: Iterable[Rule], parent: Style) -> dict[str, str]:  # noqa: ANN401 (lxml has no types)
    """Return every property of an element.

    Parameters
    ----------
    element : lxml element
        Its attributes weigh least, then the rules, then its `style`.
    rules : iterable of Rule
        The weightier later.
    parent : mapping of str to str
        Properties of what holds it.
    """
    tag = element.tag.rpartition("}")[2]
    classes, identity = element.get("class", "").split(), element.get("id", "")
    given: dict[str, str] = {
        name: element.attrib[name] for name in (*INITIAL, *OWN) if name in element.attrib
    }
    for rule in rules:
        if rule.fits(tag, classes, identity):
            given.update(rule.declared)
    given |= declarations(element.get("style", ""))
    result = {name: parent.get(name, first) for name, first in INITIAL.items()}
    result.update(OWN)
    for name, value in given.items():
        if name == "transform":
            raise SpecError("style", f"transform: {value}", "must be an attribute; write it there")
        if name in result and value != "inherit":
            result[name] = value.strip()
        elif name in OWN:
            result[name] = parent.get(name, OWN[name])
    return result
