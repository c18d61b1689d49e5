"""An SVG drawing as regions of relief."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from lxml import etree
from picosvg.svg_transform import Affine2D

from moulddesign.artwork.polygons import (
    FLATNESS,
    PathCommand,
    PolygonSet,
    Region,
    clip,
    largest_scale,
    polygon_union,
    polylines,
    visible_regions,
)
from moulddesign.artwork.svg_paint import (
    INHERITED,
    GraphicsState,
    PointBudget,
    SheetStyles,
    Style,
    computed_style,
    fill_and_stroke,
    filled_path,
    sheet_styles,
)
from moulddesign.artwork.svg_shapes import (
    SHAPES,
    Viewport,
    element_label,
    element_name,
    element_transform,
    opacity,
    shape_commands,
    user_length,
    view_box,
    view_box_transform,
    viewport_polygon,
)
from moulddesign.core import FileError, KernelError, SpecError, limits, read_bytes, say

GZIP: Final = b"\x1f\x8b"
RELATIVE_UNITS: Final = ("%", "em", "ex", "rem", "ch", "vw", "vh", "auto")
"""Lengths that depend on a page or a font, which a drawing of relief does not have."""


def svg_regions(path: Path) -> tuple[Region, ...]:
    """Return what an SVG file draws.

    The viewBox (or width and height) is fitted into the unit square around the origin, y up; what
    lies outside of it is cut off. Regions come without overlap, deepest first, with curves within
    `FLATNESS` of the unit. Refused are entities, and what cannot become relief: text, pictures,
    gradients, filters.
    """
    return _regions(path, _read(path))


@lru_cache(maxsize=8)
def _regions(path: Path, raw: bytes) -> tuple[Region, ...]:
    """Return what a file's contents draw; kept, for many designs in turn have one drawing."""
    root = _root(path, raw)
    try:
        found = visible_regions(_paints(root), say("artwork.file-relief", name=path.name))
    except SpecError as error:
        said = say("artwork.element-error", field=error.field, value=error.value, need=error.need)
        raise FileError(str(path), said) from error
    except KernelError as error:
        said = say("artwork.step-error", step=error.step, reason=error.reason)
        raise FileError(str(path), said) from error
    if not found:
        raise FileError(str(path), say("artwork.draws-nothing"))
    return found


def _read(path: Path) -> bytes:
    advice = say("artwork.simplify-drawing")
    return read_bytes(path, most_bytes=limits.MOST_DRAWING_BYTES, advice=advice)


def _root(path: Path, raw: bytes) -> Any:  # noqa: ANN401 (lxml has no types)
    name = str(path)
    if raw.startswith(GZIP):
        raise FileError(name, say("artwork.compressed"))
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    if declares_entities(raw):
        raise FileError(name, say("artwork.entities"))
    try:
        root = etree.fromstring(raw, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        reason = getattr(error, "msg", str(error)).splitlines()[0]
        raise FileError(name, say("artwork.no-xml", reason=reason)) from error
    if element_name(root) != "svg":
        raise FileError(name, say("artwork.no-svg"))
    return root


def declares_entities(raw: bytes) -> bool:
    """Return whether XML declares entities, in any of its encodings.

    Checked before parsing: libxml2 expands entities inside attributes whatever it is told.

    Examples
    --------
    >>> declares_entities(b'<!DOCTYPE svg [<!ENTITY a "b">]><svg/>')
    True
    """
    return any("<!ENTITY".encode(code) in raw for code in ("ascii", "utf-16-le", "utf-16-be"))


def _paints(root: Any) -> list[tuple[PolygonSet, float]]:  # noqa: ANN401
    """Return what a drawing paints, in order: polygons in the unit square with their shares."""
    width, height = _size(root)
    side = max(width, height)
    unit = Affine2D(1.0 / side, 0.0, 0.0, -1.0 / side, -width / side / 2.0, height / side / 2.0)
    _refuse_many(int(root.xpath("count(//*)")))
    elements: dict[str, Any] = {}
    for element in root.iter():
        if element.get("id"):
            elements.setdefault(element.get("id"), element)  # the first of a name counts
    viewport = Viewport(width, height)
    window = viewport_polygon(viewport, unit)
    _refuse_many_copies(root, elements)
    budget = PointBudget()
    renderer = Renderer(elements, sheet_styles(root, budget), budget)
    state = GraphicsState(matrix=unit, viewport=viewport, style=INHERITED)
    paints: list[tuple[PolygonSet, float]] = []
    for polygons, share in renderer.painted(root, state):
        paints.append((clip(polygons, window), share))
        # Crossings grow with the square of what is drawn: a scribble is known long before its end.
        if len(paints) >= FIRST_LOOK and len(paints).bit_count() == 1:
            budget.refuse_crossings(one for one, _ in paints)
    budget.refuse_crossings(one for one, _ in paints)
    return paints


def _refuse_many_copies(root: Any, elements: Mapping[str, Any]) -> None:  # noqa: ANN401
    """Refuse a drawing that comes to too many elements, before any of them is drawn.

    Ten `use` of a group of ten `use` of ... are 10^9 elements in a few lines.
    """
    counts: dict[Any, int] = {}

    def count(element: Any, depth: int) -> int:  # noqa: ANN401
        if depth > limits.MOST_ELEMENTS_DEEP:
            return 1  # refused where it is drawn, as what contains itself is
        if element not in counts:
            counts[element] = 0
            copied = elements.get(_href(element)[1:]) if element_name(element) == "use" else None
            inside = [*element, *([] if copied is None else [copied])]
            counts[element] = 1 + sum(count(one, depth + 1) for one in inside)
        return counts[element]

    _refuse_many(count(root, 0))


def _refuse_many(count: int) -> None:
    if count > limits.MOST_ELEMENTS:
        need = say("artwork.too-many-elements", most=limits.MOST_ELEMENTS)
        raise SpecError("drawing", count, need)


def _size(root: Any) -> tuple[float, float]:  # noqa: ANN401
    """Return the size of the drawing, and give it to the root, whose own may depend on a page."""
    texts = [root.get(name, "") for name in ("width", "height")]
    absolute = all(text and not text.strip().endswith(RELATIVE_UNITS) for text in texts)
    if absolute:
        width, height = (user_length(text, "width", Viewport(0.0, 0.0)) for text in texts)
    elif root.get("viewBox") is not None:
        _, _, width, height = view_box(root.get("viewBox"))
    else:
        raise SpecError("viewBox", None, say("artwork.frame-missing"))
    if not min(width, height) > 0.0:
        raise SpecError("width and height", ", ".join(texts), say("artwork.frame-empty"))
    for name, value in (("x", 0.0), ("y", 0.0), ("width", width), ("height", height)):
        root.set(name, repr(value))
    return width, height


FIRST_LOOK: Final = 256
"""Crossings are counted after so many shapes, and whenever their number has doubled."""
HREFS: Final = ("href", "{http://www.w3.org/1999/xlink}href")
REFUSED_ELEMENTS: Final = {
    "text": say("artwork.text-element"),
    "image": say("artwork.image-element"),
    "foreignObject": say("artwork.foreign-element"),
}
REFUSED_PROPERTIES: Final = {
    "filter": say("artwork.filter"),
    "mask": say("artwork.mask"),
    "vector-effect": say("artwork.vector-effect"),
    "marker-start": say("artwork.markers"),
    "marker-mid": say("artwork.markers"),
    "marker-end": say("artwork.markers"),
}
RENDERED: Final = SHAPES | {"g", "a", "svg", "use", "switch"} | set(REFUSED_ELEMENTS)
LOCAL_URL: Final = re.compile(r"url\(\s*['\"]?#([^'\")]+)['\"]?\s*\)")


@dataclass(frozen=True, slots=True, eq=False)
class Renderer:
    """One drawing: its elements by id, its style sheets, and how many points it may spend."""

    elements: dict[str, Any]
    sheet: SheetStyles
    budget: PointBudget

    def painted(self, element: Any, state: GraphicsState) -> Iterator[tuple[PolygonSet, float]]:  # noqa: ANN401 (lxml has no types)
        """Yield what an element and those inside it paint, in order.

        Polygons are in the unit square, each set with its share of the depth.
        """
        tag = element_name(element)
        style = self._style(element, state)
        if style["display"] == "none" or tag not in RENDERED:
            return
        _refuse(element, tag, style)
        if state.depth > limits.MOST_ELEMENTS_DEEP:
            raise SpecError(tag, element_label(element), say("artwork.nested"))
        inner = replace(
            state,
            matrix=self._placed(element, state),
            style=style,
            opacity=state.opacity * opacity(style["opacity"], "opacity"),
            depth=state.depth + 1,
        )
        found = self._contents(element, tag, inner)
        if style["clip-path"] == "none":
            yield from found
            return
        window = self._clip_window(element, inner)
        for polygons, share in found:
            yield polygons ^ window, share

    def _style(self, element: Any, state: GraphicsState) -> dict[str, str]:  # noqa: ANN401
        self.budget.step(len(self.sheet.get(element, ())))
        self.budget.read(element.get("style", ""))
        return computed_style(element, self.sheet, state.style)

    def _placed(self, element: Any, state: GraphicsState) -> Affine2D:  # noqa: ANN401
        """Return the map from an element's inside to the unit square."""
        self.budget.read(element.get("transform", ""))
        return state.matrix @ element_transform(element)

    def _commands(self, element: Any, tag: str, viewport: Viewport) -> list[PathCommand]:  # noqa: ANN401
        for name in ("d", "points"):
            self.budget.read(element.get(name, ""))
        lines = sum(map(element.get("d", "").count, "Mm"))
        self.budget.step(lines * limits.STEPS_A_LINE)
        return shape_commands(tag, element.attrib, viewport)

    def _contents(
        self,
        element: Any,  # noqa: ANN401
        tag: str,
        state: GraphicsState,
    ) -> Iterator[tuple[PolygonSet, float]]:
        if tag in SHAPES:
            commands = self._commands(element, tag, state.viewport)
            yield from fill_and_stroke(commands, state, self.budget)
        elif tag == "use":
            yield from self._used(element, state)
        elif tag == "svg":
            yield from self._framed(element, element, state)
        elif tag == "switch":
            for child in [child for child in element if _is_supported(child)][:1]:
                yield from self.painted(child, state)
        else:
            for child in element:
                yield from self.painted(child, state)

    def _used(self, element: Any, state: GraphicsState) -> Iterator[tuple[PolygonSet, float]]:  # noqa: ANN401
        target = self._referred(element)
        x, y = (user_length(element.get(name, "0"), name, state.viewport) for name in "xy")
        moved = replace(state, matrix=state.matrix.translate(x, y))
        if element_name(target) != "symbol":
            yield from self.painted(target, moved)
            return
        style = self._style(target, state)
        _refuse(target, "symbol", style)
        inner = replace(moved, matrix=self._placed(target, moved), style=style)
        yield from self._framed(target, element, inner)

    def _referred(self, element: Any) -> Any:  # noqa: ANN401
        """Return the element that a `use` points at."""
        href = _href(element)
        if not href.startswith("#"):
            raise SpecError("href", href[:60], say("artwork.href-outside"))
        if href[1:] not in self.elements:
            raise SpecError("href", href[:60], say("artwork.href-unknown"))
        return self.elements[href[1:]]

    def _framed(
        self,
        frame: Any,  # noqa: ANN401
        sizes: Any,  # noqa: ANN401
        state: GraphicsState,
    ) -> Iterator[tuple[PolygonSet, float]]:
        """Yield what a nested svg or a symbol holds, in its own frame and cut off at it.

        `sizes` is the element that gives width and height: the svg itself, or a symbol's `use`.
        """
        size = [
            user_length(sizes.get(name, "100%"), name, state.viewport)
            for name in ("width", "height")
        ]
        corner = [
            user_length(sizes.get(name, "0"), name, state.viewport) if frame is sizes else 0.0
            for name in "xy"
        ]
        if not min(size) > 0.0:
            return
        moved = replace(state, matrix=state.matrix.translate(*corner))
        matrix, viewport = view_box_transform(frame, *size)
        inner = replace(moved, matrix=moved.matrix @ matrix, viewport=viewport)
        overflows = state.style["overflow"] in ("visible", "auto")
        window = None if overflows else viewport_polygon(Viewport(*size), moved.matrix)
        for child in frame:
            for polygons, share in self.painted(child, inner):
                yield (polygons if window is None else clip(polygons, window)), share

    def _clip_window(self, element: Any, state: GraphicsState) -> PolygonSet:  # noqa: ANN401
        """Return what an element's clip path lets through."""
        target = self._clip_path(state.style["clip-path"])
        self.budget.clip(element_label(target))
        style = self._style(target, state)
        if state.depth > limits.MOST_ELEMENTS_DEEP:
            raise SpecError("clip-path", element_label(target), say("artwork.nested"))
        inner = replace(
            state,
            matrix=self._placed(target, state),
            style=style,
            depth=state.depth + 1,
        )
        if target.get("clipPathUnits") == "objectBoundingBox":
            inner = replace(inner, matrix=inner.matrix @ self._box_transform(element, state))
        window = polygon_union(
            [polygons for child in target for polygons in self._clip_shapes(child, inner)]
        )
        if style["clip-path"] == "none":
            return window
        return window ^ self._clip_window(element, inner)

    def _clip_path(self, value: str) -> Any:  # noqa: ANN401
        match = LOCAL_URL.fullmatch(value.strip())
        target = self.elements.get(match[1]) if match else None
        if target is None or element_name(target) != "clipPath":
            raise SpecError("clip-path", value[:60], say("artwork.clip-path"))
        return target

    def _clip_shapes(self, child: Any, state: GraphicsState) -> Iterator[PolygonSet]:  # noqa: ANN401
        """Yield what one child of a clip path covers: SVG takes shapes, and `use` of them."""
        if element_name(child) not in SHAPES | {"use", "text"}:
            return
        for commands, inner in self._outlines(child, state):
            if inner.style["visibility"] == "visible":
                polygons = filled_path(
                    commands, inner.matrix, rule=inner.style["clip-rule"], budget=self.budget
                )
                clipped = inner.style["clip-path"] != "none"
                yield polygons ^ self._clip_window(child, inner) if clipped else polygons

    def _outlines(
        self,
        element: Any,  # noqa: ANN401
        state: GraphicsState,
    ) -> Iterator[tuple[list[PathCommand], GraphicsState]]:
        """Yield the bare paths of an element and of those inside it, with where they are."""
        self.budget.clip(element_label(element))
        tag, style = element_name(element), self._style(element, state)
        if (
            style["display"] == "none"
            or tag not in RENDERED
            or state.depth > limits.MOST_ELEMENTS_DEEP
        ):
            return
        _refuse(element, tag, style)
        matrix = self._placed(element, state)
        inner = replace(state, matrix=matrix, style=style, depth=state.depth + 1)
        if tag in SHAPES:
            yield self._commands(element, tag, state.viewport), inner
            return
        for child in [self._referred(element)] if tag == "use" else element:
            x, y = (user_length(element.get(n, "0"), n, state.viewport) for n in "xy")
            shift = inner.matrix.translate(x, y) if tag == "use" else inner.matrix
            yield from self._outlines(child, replace(inner, matrix=shift))

    def _box_transform(self, element: Any, state: GraphicsState) -> Affine2D:  # noqa: ANN401
        """Return the map from the unit square to an element's bounding box, in its own units."""
        # `_outlines` applies the element's own transform, which its box leaves out.
        own = replace(state, matrix=element_transform(element).inverse())
        flatness = FLATNESS / max(largest_scale(state.matrix), 1e-300)
        lines = [
            line
            for commands, inner in self._outlines(element, own)
            for line in polylines(commands, inner.matrix, flatness)
        ]
        if not lines:
            return Affine2D.identity()
        points = np.concatenate(lines)
        self.budget.take(len(points))
        low, size = points.min(axis=0), np.ptp(points, axis=0)
        return Affine2D(float(size[0]), 0.0, 0.0, float(size[1]), float(low[0]), float(low[1]))


def _href(element: Any) -> str:  # noqa: ANN401
    """Return what a `use` points at, empty where it says nothing."""
    return next((element.get(name) for name in HREFS if name in element.attrib), "").strip()


def _refuse(element: Any, tag: str, style: Style) -> None:  # noqa: ANN401
    """Raise `SpecError` for what cannot become relief."""
    if tag in REFUSED_ELEMENTS and (tag != "text" or "".join(element.itertext()).strip()):
        raise SpecError(tag, element_label(element), REFUSED_ELEMENTS[tag])
    for name, need in REFUSED_PROPERTIES.items():
        if style[name] != "none" and not (name.startswith("marker") and tag not in SHAPES):
            raise SpecError(name, style[name], need)


def _is_supported(child: Any) -> bool:  # noqa: ANN401
    """Return whether a `switch` takes a child: one that asks for no language or extension."""
    return (
        bool(element_name(child))
        and not child.get("systemLanguage")
        and child.get("requiredExtensions") is None
    )
