"""An SVG drawing as regions of relief."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from lxml import etree
from picosvg.svg_transform import Affine2D

from moulddesign.artwork.areas import (
    FLATNESS,
    Area,
    Command,
    Region,
    joined,
    polylines,
    regions,
    stretch,
    within,
)
from moulddesign.artwork.svg_paint import (
    INITIAL,
    Ink,
    Rule,
    Style,
    fill_area,
    painted,
    sheet_rules,
    styled,
)
from moulddesign.artwork.svg_shapes import (
    SHAPES,
    Viewport,
    framing,
    identity,
    length,
    name_of,
    shape_commands,
    share,
    transform_of,
    view_box,
    window_of,
)
from moulddesign.core import FileError, MouldError, SpecError, read_bytes, say

HREFS: Final = ("href", "{http://www.w3.org/1999/xlink}href")
DEEPEST: Final = 60
"""Most elements inside one another, `use` counted."""
MOST_SHAPES: Final = 20_000
REFUSED: Final = {
    "text": "holds text; turn it into paths in your drawing program, or use the layer's own text",
    "image": "embeds a picture; give the picture itself as the artwork, or trace it",
    "foreignObject": "embeds a foreign object; turn it into paths",
}
FORBIDDEN: Final = {
    "filter": "uses a filter; remove it, or draw its result as plain shapes",
    "mask": "uses a mask; cut the shapes themselves, or use a clip path",
    "vector-effect": "uses a vector effect; turn the strokes into paths",
    "marker-start": "uses markers; draw them as shapes",
    "marker-mid": "uses markers; draw them as shapes",
    "marker-end": "uses markers; draw them as shapes",
}

DRAWN: Final = SHAPES | {"g", "a", "svg", "use", "switch"} | set(REFUSED)
LOCAL: Final = re.compile(r"url\(\s*['\"]?#([^'\")]+)['\"]?\s*\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the walk is.

    Parameters
    ----------
    matrix : Affine2D
        From here to the unit square.
    viewport : Viewport
        The nearest frame [user units].
    style : mapping of str to str
        Properties that pass on.
    opacity : float
        Product of the groups' opacities.
    depth : int
        Elements around this one.
    """

    matrix: Affine2D
    viewport: Viewport
    style: Style
    opacity: float = 1.0
    depth: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """One drawing: its elements by id, its style rules, and how much it has drawn so far."""

    ids: dict[str, Any]
    rules: list[Rule]
    ink: Ink

    def paints(self, element: Any, place: Place) -> Iterator[tuple[Area, float]]:  # noqa: ANN401 (lxml has no types)
        """Yield what an element and those inside it paint: areas in the unit square with shares.

        Raises
        ------
        SpecError
            The drawing holds what cannot become relief, or refers to itself.
        """
        tag = name_of(element)
        style = styled(element, self.rules, place.style)
        if style["display"] == "none" or tag not in DRAWN:
            return
        _refuse(element, tag, style)
        if place.depth > DEEPEST:
            raise SpecError(tag, identity(element), "is nested too deeply or uses itself")
        inner = replace(
            place,
            matrix=place.matrix @ transform_of(element),
            style=style,
            opacity=place.opacity * share(style["opacity"], "opacity"),
            depth=place.depth + 1,
        )
        found = self._inside(element, tag, inner)
        if style["clip-path"] == "none":
            yield from found
            return
        window = self._clip(element, inner)
        for area, depth in found:
            yield area ^ window, depth

    def _inside(self, element: Any, tag: str, place: Place) -> Iterator[tuple[Area, float]]:  # noqa: ANN401
        if tag in SHAPES:
            commands = shape_commands(tag, element.attrib, place.viewport)
            yield from painted(commands, place, self.ink)
        elif tag == "use":
            yield from self._used(element, place)
        elif tag == "svg":
            yield from self._framed(element, element, place)
        elif tag == "switch":
            for child in [child for child in element if _fits(child)][:1]:
                yield from self.paints(child, place)
        else:
            for child in element:
                yield from self.paints(child, place)

    def _used(self, element: Any, place: Place) -> Iterator[tuple[Area, float]]:  # noqa: ANN401
        target = self.referred(element)
        x, y = (length(element.get(name, "0"), name, place.viewport) for name in "xy")
        moved = replace(place, matrix=place.matrix.translate(x, y))
        if name_of(target) != "symbol":
            yield from self.paints(target, moved)
            return
        style = styled(target, self.rules, place.style)
        _refuse(target, "symbol", style)
        inner = replace(moved, matrix=moved.matrix @ transform_of(target), style=style)
        yield from self._framed(target, element, inner)

    def referred(self, element: Any) -> Any:  # noqa: ANN401
        """Return the element that a `use` points at.

        Raises
        ------
        SpecError
            It points out of the file, or at nothing.
        """
        href = next((element.get(name) for name in HREFS if name in element.attrib), "").strip()
        if not href.startswith("#"):
            need = "must point into the same file (#name); copy what it points at into the drawing"
            raise SpecError("href", href[:60], need)
        if href[1:] not in self.ids:
            raise SpecError("href", href[:60], "must name an element of the drawing")
        return self.ids[href[1:]]

    def _framed(self, frame: Any, sizes: Any, place: Place) -> Iterator[tuple[Area, float]]:  # noqa: ANN401
        """Yield what a nested svg or a symbol holds, in its own frame and cut off at it."""
        size = [length(sizes.get(n, "100%"), n, place.viewport) for n in ("width", "height")]
        corner = [
            length(sizes.get(n, "0"), n, place.viewport) if frame is sizes else 0.0 for n in "xy"
        ]
        if not min(size) > 0.0:
            return
        moved = replace(place, matrix=place.matrix.translate(*corner))
        matrix, viewport = framing(frame, *size)
        inner = replace(moved, matrix=moved.matrix @ matrix, viewport=viewport)
        edge = Viewport(*size)
        window = (
            None
            if place.style["overflow"] in ("visible", "auto")
            else window_of(edge, moved.matrix)
        )
        for child in frame:
            for area, depth in self.paints(child, inner):
                yield (area if window is None else within(area, window)), depth

    def _clip(self, element: Any, place: Place) -> Area:  # noqa: ANN401
        """Return what an element's clip path lets through."""
        target = self._clip_path(place.style["clip-path"])
        style = styled(target, self.rules, place.style)
        if place.depth > DEEPEST:
            raise SpecError("clip-path", identity(target), "is nested too deeply or uses itself")
        inner = replace(
            place, matrix=place.matrix @ transform_of(target), style=style, depth=place.depth + 1
        )
        if target.get("clipPathUnits") == "objectBoundingBox":
            inner = replace(inner, matrix=inner.matrix @ self._box(element, place))
        window = joined([area for child in target for area in self._cut(child, inner)])
        return window ^ self._clip(element, inner) if style["clip-path"] != "none" else window

    def _clip_path(self, value: str) -> Any:  # noqa: ANN401
        match = LOCAL.fullmatch(value.strip())
        target = self.ids.get(match[1]) if match else None
        if target is None or name_of(target) != "clipPath":
            raise SpecError(
                "clip-path", value[:60], "must name a clipPath of the drawing: url(#name)"
            )
        return target

    def _cut(self, child: Any, place: Place) -> Iterator[Area]:  # noqa: ANN401
        """Yield the areas of one child of a clip path: SVG takes shapes, and `use` of them."""
        if name_of(child) not in SHAPES | {"use", "text"}:
            return
        for commands, inner in self._shapes(child, place):
            if inner.style["visibility"] == "visible":
                area = fill_area(
                    commands, inner.matrix, rule=inner.style["clip-rule"], ink=self.ink
                )
                clipped = inner.style["clip-path"] != "none"
                yield area ^ self._clip(child, inner) if clipped else area

    def _shapes(self, element: Any, place: Place) -> Iterator[tuple[list[Command], Place]]:  # noqa: ANN401
        """Yield the bare geometry of an element and of those inside it."""
        tag, style = name_of(element), styled(element, self.rules, place.style)
        if style["display"] == "none" or tag not in DRAWN or place.depth > DEEPEST:
            return
        _refuse(element, tag, style)
        matrix = place.matrix @ transform_of(element)
        inner = replace(place, matrix=matrix, style=style, depth=place.depth + 1)
        if tag in SHAPES:
            yield shape_commands(tag, element.attrib, place.viewport), inner
            return
        for child in [self.referred(element)] if tag == "use" else element:
            x, y = (length(element.get(n, "0"), n, place.viewport) for n in "xy")
            shift = inner.matrix.translate(x, y) if tag == "use" else inner.matrix
            yield from self._shapes(child, replace(inner, matrix=shift))

    def _box(self, element: Any, place: Place) -> Affine2D:  # noqa: ANN401
        """Return the map from the unit square to an element's bounding box, in its own units."""
        plain = replace(place, matrix=transform_of(element).inverse())
        flatness = FLATNESS / max(stretch(place.matrix), 1e-300)
        lines = [
            line
            for commands, inner in self._shapes(element, plain)
            for line in polylines(commands, inner.matrix, flatness)
        ]
        if not lines:
            return Affine2D.identity()
        points = np.concatenate(lines)
        low, size = points.min(axis=0), np.ptp(points, axis=0)
        return Affine2D(float(size[0]), 0.0, 0.0, float(size[1]), float(low[0]), float(low[1]))


def _refuse(element: Any, tag: str, style: Style) -> None:  # noqa: ANN401
    if tag in REFUSED and (tag != "text" or "".join(element.itertext()).strip()):
        raise SpecError(tag, identity(element), REFUSED[tag])
    for name, need in FORBIDDEN.items():
        if style[name] != "none" and not (name.startswith("marker") and tag not in SHAPES):
            raise SpecError(name, style[name], need)


def _fits(child: Any) -> bool:  # noqa: ANN401
    return (
        bool(name_of(child))
        and not child.get("systemLanguage")
        and (child.get("requiredExtensions") is None)
    )


MOST_BYTES: Final = 10_000_000
GZIP: Final = b"\x1f\x8b"
RELATIVE: Final = ("%", "em", "ex", "rem", "ch", "vw", "vh", "auto")
"""Lengths that hang on a page or a font, which a drawing of relief does not have."""


def svg_regions(path: Path) -> tuple[Region, ...]:
    """Return what an SVG file draws.

    Parameters
    ----------
    path : Path
        The file. Its viewBox (or width and height) is fitted into the unit square around the
        origin, y up; what lies outside of it is cut off.

    Returns
    -------
    tuple of Region
        Without overlap, deepest first, curves within `FLATNESS` of the unit.

    Raises
    ------
    FileError
        The file cannot be read, is too large, is not SVG, declares entities, holds what cannot
        become relief (text, pictures, gradients, filters), or draws nothing dark.
    """
    root = svg_root(path)
    try:
        found = regions(_paints(root), f"the relief of {path.name}")
    except MouldError as error:
        raise FileError(str(path), str(error).rstrip(".")) from error
    if not found:
        reason = "draws nothing that is darker than white; fill or stroke its shapes with black"
        raise FileError(str(path), reason)
    return found


def svg_root(path: Path) -> Any:  # noqa: ANN401 (lxml has no types)
    """Return the root element of a drawing.

    Raises
    ------
    FileError
        It cannot be read, is too large or compressed, is not XML, declares entities, or is not
        SVG.
    """
    raw = read_bytes(path, most_bytes=MOST_BYTES, advice=say("artwork.simplify-drawing"))
    name = str(path)
    if raw.startswith(GZIP):
        raise FileError(name, "is compressed; unpack it first, or save it as plain SVG")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    if declares_entities(raw):
        raise FileError(name, "declares entities, which are not resolved; save it as plain SVG")
    try:
        root = etree.fromstring(raw, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise FileError(name, f"is not XML: {str(error).splitlines()[0]}") from error
    if name_of(root) != "svg":
        raise FileError(name, "is XML but not SVG; its first element must be svg")
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


def _paints(root: Any) -> list[tuple[Area, float]]:  # noqa: ANN401
    width, height = _size(root)
    side = max(width, height)
    unit = Affine2D(1.0 / side, 0.0, 0.0, -1.0 / side, -width / side / 2.0, height / side / 2.0)
    rules = _rules(root)
    size = Viewport(width, height)
    walk = Walk(_by_id(root), rules, Ink())
    window = window_of(size, unit)
    paints = walk.paints(root, Place(matrix=unit, viewport=size, style=INITIAL))
    return [(within(area, window), share) for area, share in paints]


def _size(root: Any) -> tuple[float, float]:  # noqa: ANN401
    """Return the size of the drawing, and give it to the root, whose own may hang on a page."""
    texts = [root.get(name, "") for name in ("width", "height")]
    absolute = all(text and not text.strip().endswith(RELATIVE) for text in texts)
    if absolute:
        width, height = (length(text, "width", Viewport(0.0, 0.0)) for text in texts)
    elif root.get("viewBox") is not None:
        _, _, width, height = view_box(root.get("viewBox"))
    else:
        need = "must be given, or a width and a height; set the page size in your drawing program"
        raise SpecError("viewBox", None, need)
    if not min(width, height) > 0.0:
        raise SpecError("width and height", ", ".join(texts), "must be above 0")
    for name, value in (("x", 0.0), ("y", 0.0), ("width", width), ("height", height)):
        root.set(name, repr(value))
    return width, height


def _by_id(root: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return elements by id; the first of a name counts."""
    found: dict[str, Any] = {}
    for element in root.iter():
        if element.get("id"):
            found.setdefault(element.get("id"), element)
    return found


def _rules(root: Any) -> list[Rule]:  # noqa: ANN401
    sheets = [element.text or "" for element in root.iter() if name_of(element) == "style"]
    return sheet_rules("\n".join(sheets))
