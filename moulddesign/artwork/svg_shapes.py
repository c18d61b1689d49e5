"""SVG's path grammar, lengths, basic shapes, transforms and frames."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import hypot, isfinite, sqrt
from typing import Any, Final

from picosvg.geometric_types import Rect
from picosvg.svg_transform import Affine2D

from moulddesign.artwork.polygons import PathCommand, PolygonSet, fill_nonzero, polylines
from moulddesign.core import SpecError, say

SVG_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
PATH_TOKEN: Final = re.compile(rf"[\s,]*(?:([MmZzLlHhVvCcSsQqTtAa])|({SVG_NUMBER.pattern}))")
NEXT_NUMBER: Final = rf"[\s,]*+((?>{SVG_NUMBER.pattern}))"
NUMBER_COUNTS: Final = {
    "M": 2,
    "L": 2,
    "H": 1,
    "V": 1,
    "C": 6,
    "S": 4,
    "Q": 4,
    "T": 2,
    "A": 7,
    "Z": 0,
}
SEGMENTS: Final = {
    name: re.compile(
        "".join(
            r"[\s,]*+([01])" if name == "A" and index in (3, 4) else NEXT_NUMBER
            for index in range(count)
        )
    )
    for name, count in NUMBER_COUNTS.items()
}
"""The numbers of a segment: none is given a digit less so that another has one."""
Pair = tuple[float, float]


def path_commands(text: str) -> list[PathCommand]:
    """Return the absolute commands (M L Q C A Z) of path data.

    As the specification asks, what stands before an error is drawn, and nothing after it.

    Examples
    --------
    >>> path_commands("m1 1h2v-.5z")
    [('M', (1.0, 1.0)), ('L', (3.0, 1.0)), ('L', (3.0, 0.5)), ('Z', ())]
    """
    commands: list[PathCommand] = []
    start = here = (0.0, 0.0)
    control: tuple[str, Pair] = ("", here)
    for letter, numbers in _segments(text):
        if not commands and letter not in "Mm":
            break
        name, values = _absolute(letter, numbers, here)
        name, values, control = _with_control_points((name, values), here, control)
        if name == "Z":
            here = start
        else:
            here = (values[-2], values[-1])
            start = here if name == "M" else start
        commands.append((name, values))
    return commands


def _segments(text: str) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Yield one letter with its numbers for each segment, repeated letters written out."""
    place, letter = 0, ""
    while match := PATH_TOKEN.match(text, place):
        if match[1]:
            letter, place = match[1], match.end()
        elif letter in ("", "Z", "z"):
            return
        numbers, place = _numbers(text, place, letter.upper())
        if numbers is None:
            return
        yield letter, numbers
        letter = {"M": "L", "m": "l"}.get(letter, letter)


def _numbers(text: str, place: int, name: str) -> tuple[tuple[float, ...] | None, int]:
    """Return a segment's numbers and where the next begins; None where the text breaks off."""
    match = SEGMENTS[name].match(text, place)
    if match is None:
        return None, place
    numbers = tuple(map(float, match.groups()))
    for digits, number in zip(match.groups(), numbers, strict=True):
        if not isfinite(number):
            raise SpecError("d", digits, say("artwork.path-number"))
    return numbers, match.end()


def _absolute(letter: str, numbers: tuple[float, ...], here: Pair) -> tuple[str, tuple[float, ...]]:
    """Return a segment in absolute form, H and V written as L."""
    name = letter.upper()
    x, y = here if letter.islower() else (0.0, 0.0)
    if name == "H":
        return "L", (x + numbers[0], here[1])
    if name == "V":
        return "L", (here[0], y + numbers[0])
    if name == "A":
        return name, (*numbers[:5], x + numbers[5], y + numbers[6])
    return name, tuple(value + (x, y)[index % 2] for index, value in enumerate(numbers))


def _with_control_points(
    command: PathCommand, here: Pair, control: tuple[str, Pair]
) -> tuple[str, tuple[float, ...], tuple[str, Pair]]:
    """Return a smooth curve's segment with all control points, and the last of them."""
    name, values = command
    if name in "ST":
        name = {"S": "C", "T": "Q"}[name]
        # The first control point mirrors the last one of a curve of the same kind before it.
        mirrored = here
        if control[0] == name:
            mirrored = (2.0 * here[0] - control[1][0], 2.0 * here[1] - control[1][1])
        values = (*mirrored, *values)
    if name in "CQ":
        return name, values, (name, (values[-4], values[-3]))
    return name, values, ("", here)


PX_PER_UNIT: Final = {
    "": 1.0, "px": 1.0, "pt": 4.0 / 3.0, "pc": 16.0, "in": 96.0, "cm": 96.0 / 2.54,
    "mm": 96.0 / 25.4, "q": 96.0 / 101.6,
}  # fmt: skip
"""CSS pixels in each absolute unit. Source: W3C, "CSS Values and Units 3", section 6.2."""
SVG_LENGTH: Final = re.compile(rf"({SVG_NUMBER.pattern})\s*([a-zA-Z]*|%)")
SHAPES: Final = {"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}


@dataclass(frozen=True, slots=True)
class Viewport:
    """The frame that percentages are shares of [user units]."""

    width: float
    height: float

    def percentage_base(self, name: str) -> float:
        """Return what 100 % is of: width, height, or the diagonal by the square root of 2."""
        if name in ("x", "cx", "rx", "width", "x1", "x2"):
            return self.width
        if name in ("y", "cy", "ry", "height", "y1", "y2"):
            return self.height
        return hypot(self.width, self.height) / sqrt(2.0)


def user_length(text: str, name: str, viewport: Viewport) -> float:
    """Return a length in user units.

    Examples
    --------
    >>> user_length("25.4mm", "x", Viewport(0, 0)), user_length("50%", "y", Viewport(10, 20))
    (96.0, 10.0)
    """
    match = SVG_LENGTH.fullmatch(text.strip())
    number = float(match[1]) if match else float("nan")
    unit = match[2].lower() if match else ""
    if not isfinite(number) or not (unit == "%" or unit in PX_PER_UNIT):
        raise SpecError(name, text, say("artwork.length"))
    return number * (viewport.percentage_base(name) / 100.0 if unit == "%" else PX_PER_UNIT[unit])


def shape_commands(
    tag: str, attributes: Mapping[str, str], viewport: Viewport
) -> list[PathCommand]:
    """Return a basic shape or path as absolute path commands; empty where SVG draws nothing."""

    def at(name: str, default: str = "0") -> float:
        return user_length(attributes.get(name, default), name, viewport)

    if tag == "path":
        return path_commands(attributes.get("d", ""))
    if tag in ("polyline", "polygon"):
        return _polyline_commands(attributes.get("points", ""), closed=tag == "polygon")
    if tag == "line":
        return [("M", (at("x1"), at("y1"))), ("L", (at("x2"), at("y2")))]
    if tag == "circle":
        return _ellipse_commands((at("cx"), at("cy")), at("r"), at("r"))
    rx, ry = _radii(attributes, viewport)
    if tag == "ellipse":
        return _ellipse_commands((at("cx"), at("cy")), rx, ry)
    return _rectangle_commands((at("x"), at("y")), (at("width"), at("height")), (rx, ry))


def _radii(attributes: Mapping[str, str], viewport: Viewport) -> tuple[float, float]:
    """Return both radii of an ellipse or a corner: one that is not given is the other."""
    given = [attributes.get(name, "auto") for name in ("rx", "ry")]
    names = [name for name, text in zip(("rx", "ry"), given, strict=True) if text != "auto"]
    values = [user_length(attributes[name], name, viewport) for name in names]
    if not values:
        return 0.0, 0.0
    return values[0], values[-1]


def _polyline_commands(points: str, *, closed: bool) -> list[PathCommand]:
    numbers = [float(match) for match in SVG_NUMBER.findall(points)]
    if not all(map(isfinite, numbers)):
        raise SpecError("points", points[:40], say("artwork.points"))
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    lines: list[PathCommand] = [("L" if index else "M", pair) for index, pair in enumerate(pairs)]
    return [*lines, ("Z", ())] if closed and lines else lines


def _ellipse_commands(centre: tuple[float, float], rx: float, ry: float) -> list[PathCommand]:
    if not (rx > 0.0 and ry > 0.0):
        return []
    cx, cy = centre
    # Four arcs: one whose ends coincide is not drawn (SVG 2, 9.5.1).
    corners = ((cx, cy + ry), (cx - rx, cy), (cx, cy - ry), (cx + rx, cy))
    arcs: list[PathCommand] = [("A", (rx, ry, 0.0, 0.0, 1.0, *corner)) for corner in corners]
    return [("M", (cx + rx, cy)), *arcs, ("Z", ())]


def _rectangle_commands(
    corner: tuple[float, float], size: tuple[float, float], radii: tuple[float, float]
) -> list[PathCommand]:
    x, y = corner
    width, height = size
    if not (width > 0.0 and height > 0.0):
        return []
    rx, ry = min(max(radii[0], 0.0), width / 2.0), min(max(radii[1], 0.0), height / 2.0)
    if not (rx and ry):
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        return [("L" if index else "M", corner) for index, corner in enumerate(corners)] + [
            ("Z", ())
        ]
    far_x, far_y = x + width, y + height
    return [
        ("M", (x + rx, y)), ("L", (far_x - rx, y)), ("A", (rx, ry, 0, 0, 1, far_x, y + ry)),
        ("L", (far_x, far_y - ry)), ("A", (rx, ry, 0, 0, 1, far_x - rx, far_y)),
        ("L", (x + rx, far_y)), ("A", (rx, ry, 0, 0, 1, x, far_y - ry)),
        ("L", (x, y + ry)), ("A", (rx, ry, 0, 0, 1, x + rx, y)), ("Z", ()),
    ]  # fmt: skip


TRANSFORM_LIST: Final = re.compile(
    r"[\s,]*(?:(?:matrix|translate|scale|rotate|skewX|skewY)\s*\([^()]*\)[\s,]*)*"
)
SVG_NAMESPACE: Final = "{http://www.w3.org/2000/svg}"


def element_name(element: Any) -> str:  # noqa: ANN401
    """Return an element's name; empty for comments and for other languages' elements."""
    tag = element.tag if isinstance(element.tag, str) else ""
    space, brace, name = tag.rpartition("}")
    return name if not brace or space + brace == SVG_NAMESPACE else ""


def element_label(element: Any) -> str:  # noqa: ANN401
    """Return what an element is called in an error: its id, or its line."""
    return str(element.get("id") or f"line {element.sourceline}")


def element_transform(element: Any) -> Affine2D:  # noqa: ANN401
    """Return the map of an element's `transform`."""
    text = element.get("transform", "")
    try:
        # picosvg 0.23 passes over words that it does not know.
        if not TRANSFORM_LIST.fullmatch(text):
            raise ValueError(text)  # noqa: TRY301 (the same sentence for both)
        matrix = Affine2D.fromstring(text) if text.strip() else Affine2D.identity()
    except (ValueError, TypeError, IndexError) as error:
        raise SpecError("transform", text[:60], say("artwork.transform")) from error
    if not all(map(isfinite, matrix)):
        raise SpecError("transform", text[:60], say("artwork.transform-number"))
    return matrix


def view_box_transform(frame: Any, width: float, height: float) -> tuple[Affine2D, Viewport]:  # noqa: ANN401
    """Return the map from a frame's inside to its place, and the inside's own size."""
    text = frame.get("viewBox")
    if text is None:
        return Affine2D.identity(), Viewport(width, height)
    box = view_box(text)
    fit = frame.get("preserveAspectRatio", "xMidYMid").replace("defer", "").strip()
    try:
        return Affine2D.rect_to_rect(box, Rect(0, 0, width, height), fit), Viewport(box.w, box.h)
    except ValueError as error:
        raise SpecError("preserveAspectRatio", fit, say("artwork.aspect-ratio")) from error


def view_box(text: str) -> Rect:
    """Return the rectangle of a viewBox."""
    try:
        numbers = [float(word) for word in text.replace(",", " ").split()]
    except ValueError:
        numbers = []
    if len(numbers) != 4 or not all(map(isfinite, numbers)) or not min(numbers[2:]) > 0.0:  # noqa: PLR2004 (x, y, width, height)
        raise SpecError("viewBox", text[:60], say("artwork.view-box"))
    return Rect(*numbers)


def viewport_polygon(size: Viewport, matrix: Affine2D) -> PolygonSet:
    """Return a frame's rectangle, mapped."""
    edge = {"width": str(size.width), "height": str(size.height)}
    return fill_nonzero(polylines(shape_commands("rect", edge, size), matrix))


def opacity(text: str, name: str) -> float:
    """Return an opacity, a number or a percentage, clipped to 0 and 1 as SVG asks."""
    try:
        value = float(text[:-1]) / 100.0 if text.endswith("%") else float(text)
    except ValueError:
        value = float("nan")
    if value != value:  # noqa: PLR0124 (not a number)
        raise SpecError(name, text, say("artwork.opacity"))
    return min(max(value, 0.0), 1.0)
