"""How a drawing's elements are painted.

Styles, colours as shares of the depth, fill and stroke as areas.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from colorsys import hls_to_rgb
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

import numpy as np
from picosvg.svg_transform import Affine2D
from PIL import ImageColor

from moulddesign.artwork.areas import (
    CAPS,
    JOINS,
    STROKE_SCALE,
    Area,
    Command,
    Pen,
    Polyline,
    even_odd,
    nonzero,
    polylines,
    stretch,
    stroked,
)
from moulddesign.artwork.svg_shapes import Viewport, length
from moulddesign.core import SpecError

LUMA: Final = (0.299, 0.587, 0.114)
"""Weights of red, green and blue in brightness. Source: ITU-R BT.601, section 2.5.1; the same that
turn a picture to grey."""
STEPS: Final = 255.0
CALL: Final = re.compile(r"(rgba?|hsla?)\(([^)]*)\)")


def darkness(colour: str) -> tuple[float, float]:
    """Return how dark a colour is, and how opaque.

    Parameters
    ----------
    colour : str
        A CSS colour: a name, ``#rgb``, ``#rrggbb`` (with opacity too), ``rgb()`` or ``hsl()``.

    Returns
    -------
    tuple of float
        1 less its brightness, 0 for white and 1 for black, to a thousandth; opacity, 0 to 1.

    Raises
    ------
    SpecError
        It is not a colour.

    Examples
    --------
    >>> darkness("black"), darkness("#fff"), darkness("rgb(0 0 0 / 25%)")
    ((1.0, 1.0), (0.0, 1.0), (1.0, 0.25))
    """
    red, green, blue, opacity = _channels(colour.strip().lower())
    bright = LUMA[0] * red + LUMA[1] * green + LUMA[2] * blue
    return round(min(max(1.0 - bright, 0.0), 1.0), 3), opacity


def _channels(colour: str) -> tuple[float, float, float, float]:
    """Return red, green, blue and opacity, each 0 to 1."""
    if colour == "transparent":
        return 0.0, 0.0, 0.0, 0.0
    call = CALL.fullmatch(colour)
    try:
        if call:
            return _called(call[1], re.split(r"[\s,/]+", call[2].strip()))
        values = ImageColor.getrgb(colour)
    except ValueError as error:
        need = "must be a colour such as black, #804000 or rgb(128, 64, 0)"
        raise SpecError("fill or stroke", colour, need) from error
    red, green, blue, *rest = (value / STEPS for value in values)
    return red, green, blue, rest[0] if rest else 1.0


def _called(name: str, words: list[str]) -> tuple[float, float, float, float]:
    colours, opaque = words[:3], words[3:]
    if len(colours) < 3 or len(opaque) > 1:  # noqa: PLR2004 (three channels)
        raise ValueError(name)
    opacity = _share(opaque[0], 1.0) if opaque else 1.0
    if name.startswith("hsl"):
        hue = float(words[0].removesuffix("deg")) / 360.0
        return (*hls_to_rgb(hue % 1.0, _share(words[2], 100.0), _share(words[1], 100.0)), opacity)
    red, green, blue = (_share(word, STEPS) for word in colours)
    return red, green, blue, opacity


def _share(word: str, whole: float) -> float:
    """Return a number of `whole`, or a percentage, as a share that CSS clips to 0 and 1."""
    share = float(word[:-1]) / 100.0 if word.endswith("%") else float(word) / whole
    return min(max(share, 0.0), 1.0)


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


MOST_POINTS: Final = 400_000
MOST_DASHES: Final = 20_000


class Placed(Protocol):
    """What a shape needs to know of where it stands."""

    @property
    def matrix(self) -> Affine2D:
        """Map to the unit square."""

    @property
    def viewport(self) -> Viewport:
        """The nearest frame."""

    @property
    def style(self) -> Style:
        """Every property."""

    @property
    def opacity(self) -> float:
        """Product of the opacities around it and its own."""


@dataclass(slots=True)
class Ink:
    """How many points one drawing may still spend."""

    left: int = field(default=MOST_POINTS)

    def spend(self, lines: Sequence[Polyline]) -> Sequence[Polyline]:
        """Return the lines, counted.

        Raises
        ------
        SpecError
            The drawing has more points than can be pressed or computed.
        """
        self.left -= sum(map(len, lines)) + 1
        if self.left < 0:
            need = f"must come to at most {MOST_POINTS} points; simplify its paths"
            raise SpecError("drawing", "too many points", need)
        return lines


def painted(commands: Sequence[Command], place: Placed, ink: Ink) -> Iterator[tuple[Area, float]]:
    """Yield the fill and the stroke of a shape, in the order in which they are laid.

    Raises
    ------
    SpecError
        A colour, a width or a dash cannot be read, or the paint is a gradient.
    """
    style = place.style
    if not commands or style["visibility"] != "visible" or place.opacity == 0.0:
        return
    order = ("stroke", "fill") if style["paint-order"].startswith("stroke") else ("fill", "stroke")
    for name in order:
        depth = _depth(name, place)
        if depth is not None:
            yield (_fill if name == "fill" else _stroke)(commands, place, ink), depth


def fill_area(commands: Sequence[Command], matrix: Affine2D, *, rule: str, ink: Ink) -> Area:
    """Return what a path encloses by SVG's fill rule: `nonzero` or `evenodd`."""
    lines = ink.spend(polylines(commands, matrix))
    return even_odd(lines) if rule == "evenodd" else nonzero(lines)


def _fill(commands: Sequence[Command], place: Placed, ink: Ink) -> Area:
    return fill_area(commands, place.matrix, rule=place.style["fill-rule"], ink=ink)


def _depth(name: str, place: Placed) -> float | None:
    """Return the share of the depth that a fill or stroke takes; None where nothing is laid."""
    colour = place.style[name]
    if colour.lower() == "currentcolor":
        colour = place.style["color"]
    if colour == "none":
        return None
    if "url(" in colour:
        raise SpecError(name, colour[:60], "is a gradient or a pattern; give it one plain colour")
    dark, opaque = darkness(colour)
    opaque *= place.opacity * _opacity(place.style[f"{name}-opacity"], f"{name}-opacity")
    return None if opaque == 0.0 else round(dark * opaque, 3)


def _opacity(text: str, name: str) -> float:
    return min(max(length(text, name, Viewport(1.0, 1.0)), 0.0), 1.0)


def _stroke(commands: Sequence[Command], place: Placed, ink: Ink) -> Area:
    pen = _pen(place.style, place.viewport)
    size = stretch(place.matrix)
    if pen.width == 0.0 or size == 0.0:
        return nonzero([])
    _count_dashes(commands, pen, place, ink=ink)
    outline = stroked(commands, pen, STROKE_SCALE * size)
    return nonzero(ink.spend(polylines(outline, place.matrix)))


def _pen(style: Style, viewport: Viewport) -> Pen:
    width = length(style["stroke-width"], "stroke-width", viewport)
    limit = length(style["stroke-miterlimit"], "stroke-miterlimit", viewport)
    if width < 0.0:
        raise SpecError("stroke-width", style["stroke-width"], "must not be negative")
    if limit < 1.0:
        raise SpecError("stroke-miterlimit", style["stroke-miterlimit"], "must be at least 1")
    cap, join = style["stroke-linecap"], style["stroke-linejoin"]
    if cap not in CAPS:
        raise SpecError("stroke-linecap", cap, "must be butt, round or square")
    if join not in JOINS:
        raise SpecError("stroke-linejoin", join, "must be miter, round or bevel")
    offset = length(style["stroke-dashoffset"], "stroke-dashoffset", viewport)
    return Pen(
        width=width, cap=cap, join=join, miter_limit=limit,
        dashes=_dashes(style["stroke-dasharray"], viewport), dash_offset=offset,
    )  # fmt: skip


def _dashes(text: str, viewport: Viewport) -> tuple[float, ...]:
    """Return lengths on and off in turn; none where SVG draws a whole line."""
    if text == "none":
        return ()
    words = text.replace(",", " ").split()
    dashes = tuple(length(word, "stroke-dasharray", viewport) for word in words)
    if any(dash < 0.0 for dash in dashes):
        raise SpecError("stroke-dasharray", text[:60], "must not hold a negative length")
    if sum(dashes) == 0.0:
        return ()
    return dashes * 2 if len(dashes) % 2 else dashes


def _count_dashes(commands: Sequence[Command], pen: Pen, place: Placed, *, ink: Ink) -> None:
    """Refuse so many dashes before they are drawn."""
    if pen.dashes:
        lines = ink.spend(polylines(commands, place.matrix))
        length_drawn = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
        period = sum(pen.dashes) * stretch(place.matrix)
        if length_drawn > period * MOST_DASHES:
            need = f"must make at most {MOST_DASHES} dashes; make them longer"
            raise SpecError("stroke-dasharray", place.style["stroke-dasharray"][:60], need)
