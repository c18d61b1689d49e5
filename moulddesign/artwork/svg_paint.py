"""How a drawing's elements are painted.

The cascade of style sheets and attributes, colours as shares of the depth, fill and stroke as
polygons.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import numpy as np
import tinycss2
from cssselect2 import ElementWrapper, Matcher, SelectorError, compile_selector_list
from cssselect2 import parser as selectors
from picosvg.svg_transform import Affine2D
from tinycss2.color4 import parse_color

from moulddesign.artwork import polygons
from moulddesign.artwork.svg_shapes import (
    SVG_NUMBER,
    Viewport,
    element_name,
    opacity,
    user_length,
)
from moulddesign.core import SpecError, limits, say
from moulddesign.geometry import Points

LUMA: Final = (0.299, 0.587, 0.114)
"""Weights of red, green and blue in brightness. Source: ITU-R BT.601, section 2.5.1; the same that
turn a picture to grey."""


@lru_cache(maxsize=1024)  # a drawing names few colours, and names them often
def darkness(colour: str) -> tuple[float, float]:
    """Return how dark a colour is, and how opaque.

    Darkness is 1 less the brightness, to a thousandth: 0 is white and 1 is black.

    Examples
    --------
    >>> darkness("black"), darkness("#fff"), darkness("rgb(0 0 0 / 25%)")
    ((1.0, 1.0), (0.0, 1.0), (1.0, 0.25))
    """
    try:
        red, green, blue, opaque = parse_color(colour).to("srgb")
    # tinycss2 1.5 answers None for no colour, a word for currentcolor, and unpacks an empty
    # color(); spaces wider than sRGB it does not convert.
    except (AttributeError, ValueError, NotImplementedError) as error:
        raise SpecError("fill or stroke", colour, say("artwork.no-colour")) from error
    channels = np.clip((red, green, blue), 0.0, 1.0).tolist()
    bright = sum(weight * channel for weight, channel in zip(LUMA, channels, strict=True))
    return round(min(max(1.0 - bright, 0.0), 1.0), 3), opaque


Style = Mapping[str, str]

INHERITED: Final[Style] = {
    "fill": "black", "stroke": "none", "color": "black",
    "fill-rule": "nonzero", "clip-rule": "nonzero", "fill-opacity": "1", "stroke-opacity": "1",
    "stroke-width": "1", "stroke-linecap": "butt", "stroke-linejoin": "miter",
    "stroke-miterlimit": "4", "stroke-dasharray": "none", "stroke-dashoffset": "0",
    "visibility": "visible", "paint-order": "normal", "marker-start": "none",
    "marker-mid": "none", "marker-end": "none",
}  # fmt: skip
"""Properties that pass from an element to those inside it, with their initial values."""
NOT_INHERITED: Final[Style] = {
    "opacity": "1", "display": "inline", "clip-path": "none", "mask": "none", "filter": "none",
    "vector-effect": "none", "overflow": "",
}  # fmt: skip
"""Properties of one element alone, with their initial values."""

Declarations = tuple[tuple[str, str, bool], ...]
"""Property, value, and whether it is marked !important."""
SheetStyles = Mapping[Any, Declarations]
"""What the style sheets declare for each element that they match, the weightier later."""
PLAIN_SELECTORS: Final = (
    selectors.LocalNameSelector,
    selectors.ClassSelector,
    selectors.IDSelector,
)
"""Others (children, pseudo-classes such as :has) cost a walk of the tree for each element."""
COMBINED: Final = re.compile(r"(?<!\\)[>+~(]|[^\s,\\]\s+[^\s,]")
"""Names that are combined: parsing takes time by the square of how many there are."""


@lru_cache(maxsize=1024)  # drawing programs repeat one style on many elements
def declarations(text: str) -> Declarations:
    """Return what a `style` attribute declares.

    Examples
    --------
    >>> declarations("fill: red; stroke:none !important; oops")
    (('fill', 'red', False), ('stroke', 'none', True))
    """
    return _declared(tinycss2.parse_blocks_contents(text))


def _declared(nodes: Iterable[Any]) -> Declarations:
    """Return the declarations among nodes; what is no CSS is passed over, as CSS asks."""
    found = []
    for node in nodes:
        if node.type in ("at-rule", "qualified-rule"):
            raise SpecError("style", _text([node])[:40], say("artwork.style-rule"))
        if node.type == "declaration" and (value := _text(node.value)):
            found.append((node.lower_name, value, node.important))
    return tuple(found)


def _text(nodes: Iterable[Any]) -> str:
    try:
        return str(tinycss2.serialize([n for n in nodes if n.type != "comment"])).strip()
    except RecursionError as error:  # brackets in brackets in brackets
        raise SpecError("style", "((((", say("artwork.style-rule")) from error


def sheet_styles(root: Any, budget: "PointBudget") -> SheetStyles:  # noqa: ANN401 (lxml has no types)
    """Return what a drawing's style sheets declare for its elements."""
    sheets = [element.text or "" for element in root.iter() if element_name(element) == "style"]
    attributes = {element.get("style", "") for element in root.iter()}
    budget.step(sum(map(len, (*sheets, *attributes))))
    matcher = Matcher()
    for node in tinycss2.parse_stylesheet("\n".join(sheets), skip_comments=True):
        if node.type == "at-rule":
            raise SpecError("style", _text([node])[:40], say("artwork.style-rule"))
        if node.type == "qualified-rule":
            budget.step(limits.STEPS_A_RULE)
            declared = _declared(tinycss2.parse_blocks_contents(node.content))
            for selector in _compiled(node.prelude):
                matcher.add_selector(selector, declared)
    if not matcher.order:
        return {}
    # The key is an lxml proxy: kept here, it stays the same object for the same element.
    found = {}
    for element in ElementWrapper.from_xml_root(root).iter_subtree():
        applied = tuple(one for *_, given in matcher.match(element) for one in given)
        budget.step(len(applied))
        found[element.etree_element] = applied
    return found


def _compiled(prelude: list[Any]) -> list[Any]:
    try:
        found = [] if COMBINED.search(_text(prelude)) else list(selectors.parse(prelude))
        plain = bool(found) and all(
            isinstance(one.parsed_tree, selectors.CompoundSelector)
            and one.pseudo_element is None
            and all(isinstance(s, PLAIN_SELECTORS) for s in one.parsed_tree.simple_selectors)
            for one in found
        )
    except SelectorError:
        plain = False
    if not plain:
        raise SpecError("style", _text(prelude)[:40], say("artwork.style-selector"))
    return list(compile_selector_list(prelude))


def computed_style(element: Any, sheet: SheetStyles, parent: Style) -> dict[str, str]:  # noqa: ANN401
    """Return every property of an element.

    Attributes weigh least, then the rules of the sheet, then the `style` attribute. What is marked
    !important beats what is not.
    """
    given: dict[str, str] = {
        name: element.attrib[name]
        for name in (*INHERITED, *NOT_INHERITED)
        if name in element.attrib
    }
    declared = sheet.get(element, ()) + declarations(element.get("style", ""))
    for level in (False, True):
        given |= {name: value for name, value, important in declared if important is level}
    if "transform" in given:
        value = f"transform: {given['transform']}"
        raise SpecError("style", value, say("artwork.style-transform"))
    result = {name: parent.get(name, first) for name, first in INHERITED.items()}
    result.update(NOT_INHERITED)
    for name, value in given.items():
        if name in result and value != "inherit":
            result[name] = value.strip()
        elif name in NOT_INHERITED:
            result[name] = parent.get(name, NOT_INHERITED[name])
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class GraphicsState:
    """What an element is drawn in: the place, the frame and the style around it."""

    matrix: Affine2D
    """From here to the unit square."""
    viewport: Viewport
    """The nearest frame [user units]."""
    style: Style
    opacity: float = 1.0
    """Product of the opacities around it."""
    depth: int = 0
    """How many elements are around it."""


SCRIBBLE_FLATNESS: Final = 1e-3
"""How closely a path is followed where its crossings are estimated; of a drawing one unit wide."""


LETTERS_A_STEP: Final = 20
"""Letters without a number that are passed over in a step."""


@dataclass(slots=True)
class PointBudget:
    """How many points one drawing may still spend; a crossing of lines is one too."""

    left: int = field(default=limits.MOST_POINTS)
    steps: int = field(default=limits.MOST_STEPS)
    clips: int = field(default=limits.MOST_CLIPS)

    def read(self, text: str) -> None:
        """Count a path, a transform, dashes or a style, before they are parsed."""
        numbers = len(SVG_NUMBER.findall(text))
        self.step(numbers + text.count("(") + len(text) // LETTERS_A_STEP)

    def step(self, steps: int) -> None:
        """Count steps of reading."""
        self.steps -= steps
        if self.steps < 0:
            need = say("artwork.too-much-to-read", most=limits.MOST_STEPS)
            raise SpecError("drawing", "too much to read", need)

    def clip(self, label: str) -> None:
        """Count one clip path that is applied, or one shape in it: each may apply further ones."""
        self.clips -= 1
        if self.clips < 0:
            raise SpecError(
                "clip-path", label, say("artwork.too-many-clips", most=limits.MOST_CLIPS)
            )

    def spend(self, lines: Sequence[Points]) -> Sequence[Points]:
        """Return the lines, counted with the crossings among them."""
        self.take(sum(map(len, lines)) + 1)
        self.take(polygons.crossing_count(lines))
        self.take(polygons.nesting_count(lines) // limits.NESTED_A_POINT)
        return lines

    def refuse_crossings(self, sets: Iterable[polygons.PolygonSet]) -> None:
        """Refuse polygon sets whose crossings are too many; nothing is spent."""
        self.refuse_scribble([ring for one in sets for ring in one.to_polygons()])

    def refuse_scribble(self, lines: Sequence[Points]) -> None:
        """Refuse lines whose crossings are too many by themselves; nothing is spent."""
        if (crossings := polygons.crossing_count(lines)) > self.left:
            self.take(crossings)

    def take(self, points: int) -> None:
        """Count points."""
        self.left -= points
        if self.left < 0:
            need = say("artwork.too-many-points", most=limits.MOST_POINTS)
            raise SpecError("drawing", "too many points", need)


def fill_and_stroke(
    commands: Sequence[polygons.PathCommand], state: GraphicsState, budget: PointBudget
) -> Iterator[tuple[polygons.PolygonSet, float]]:
    """Yield the fill and the stroke of a shape, in the order in which they are laid."""
    style = state.style
    if not commands or style["visibility"] != "visible" or state.opacity == 0.0:
        return
    order = ("stroke", "fill") if style["paint-order"].startswith("stroke") else ("fill", "stroke")
    for name in order:
        share = _depth_share(name, state)
        if share is None:
            continue
        if name == "fill":
            yield filled_path(commands, state.matrix, rule=style["fill-rule"], budget=budget), share
        else:
            yield _stroke(commands, state, budget), share


def filled_path(
    commands: Sequence[polygons.PathCommand], matrix: Affine2D, *, rule: str, budget: PointBudget
) -> polygons.PolygonSet:
    """Return what a path encloses by SVG's fill rule: `nonzero` or `evenodd`."""
    lines = budget.spend(polygons.polylines(commands, matrix))
    return polygons.fill_even_odd(lines) if rule == "evenodd" else polygons.fill_nonzero(lines)


def _depth_share(name: str, state: GraphicsState) -> float | None:
    """Return the share of the depth that a fill or stroke takes; None where nothing is laid."""
    colour = state.style[name]
    if colour.lower() == "currentcolor":
        colour = state.style["color"]
    if colour == "none":
        return None
    if "url(" in colour:
        raise SpecError(name, colour[:60], say("artwork.gradient"))
    dark, opaque = darkness(colour)
    opaque *= state.opacity * opacity(state.style[f"{name}-opacity"], f"{name}-opacity")
    return None if opaque == 0.0 else round(dark * opaque, 3)


def _stroke(
    commands: Sequence[polygons.PathCommand], state: GraphicsState, budget: PointBudget
) -> polygons.PolygonSet:
    budget.read(state.style["stroke-dasharray"])
    stroke = _stroke_style(state.style, state.viewport)
    scale = polygons.largest_scale(state.matrix)
    if stroke.width == 0.0 or scale == 0.0:
        return polygons.fill_nonzero([])
    if stroke.dashes:
        _refuse_many_dashes(commands, stroke, state, budget=budget)
    # Each crossing of a path is four of its outline, which takes far longer to draw.
    budget.refuse_scribble(polygons.polylines(commands, state.matrix, SCRIBBLE_FLATNESS))
    # Stroked in the path's own units and mapped afterwards: a stroke is stretched with its path.
    outline = polygons.stroke_outline(commands, stroke, polygons.STROKE_SCALE * scale)
    return polygons.fill_nonzero(budget.spend(polygons.polylines(outline, state.matrix)))


def _stroke_style(style: Style, viewport: Viewport) -> polygons.StrokeStyle:
    width = user_length(style["stroke-width"], "stroke-width", viewport)
    limit = user_length(style["stroke-miterlimit"], "stroke-miterlimit", viewport)
    if width < 0.0:
        raise SpecError("stroke-width", style["stroke-width"], say("artwork.stroke-width"))
    if limit < 1.0:
        raise SpecError("stroke-miterlimit", style["stroke-miterlimit"], say("artwork.mitre-limit"))
    cap, join = style["stroke-linecap"], style["stroke-linejoin"]
    if cap not in polygons.CAPS:
        raise SpecError("stroke-linecap", cap, say("artwork.line-cap"))
    if join not in polygons.JOINS:
        raise SpecError("stroke-linejoin", join, say("artwork.line-join"))
    offset = user_length(style["stroke-dashoffset"], "stroke-dashoffset", viewport)
    return polygons.StrokeStyle(
        width=width, cap=cap, join=join, miter_limit=limit,
        dashes=_dashes(style["stroke-dasharray"], viewport), dash_offset=offset,
    )  # fmt: skip


def _dashes(text: str, viewport: Viewport) -> tuple[float, ...]:
    """Return lengths drawn and left out in turn; none where SVG draws a whole line."""
    if text == "none":
        return ()
    words = text.replace(",", " ").split()
    dashes = tuple(user_length(word, "stroke-dasharray", viewport) for word in words)
    if any(dash < 0.0 for dash in dashes):
        raise SpecError("stroke-dasharray", text[:60], say("artwork.negative-dash"))
    if sum(dashes) == 0.0:
        return ()
    return dashes * 2 if len(dashes) % 2 else dashes


def _refuse_many_dashes(
    commands: Sequence[polygons.PathCommand],
    stroke: polygons.StrokeStyle,
    state: GraphicsState,
    *,
    budget: PointBudget,
) -> None:
    lines = budget.spend(polygons.polylines(commands, state.matrix))
    drawn = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
    if drawn > sum(stroke.dashes) * polygons.largest_scale(state.matrix) * limits.MOST_DASHES:
        need = say("artwork.too-many-dashes", most=limits.MOST_DASHES)
        raise SpecError("stroke-dasharray", state.style["stroke-dasharray"][:60], need)
