"""SVG's lengths, and its basic shapes as path commands.

Source: W3C, "Scalable Vector Graphics (SVG) 2", chapters 7 (Coordinate systems) and 10 (Basic
shapes): where each shape's path begins and which way it runs matters to dashes.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, isfinite, sqrt
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.pastry.curve import Command
from moulddesign.pastry.svg_path import NUMBER, path_commands

PX: Final = {
    "": 1.0, "px": 1.0, "pt": 4.0 / 3.0, "pc": 16.0, "in": 96.0, "cm": 96.0 / 2.54,
    "mm": 96.0 / 25.4, "q": 96.0 / 101.6,
}  # fmt: skip
"""CSS pixels in each absolute unit. Source: W3C, "CSS Values and Units 3", section 6.2."""
LENGTH: Final = re.compile(rf"({NUMBER.pattern})\s*([a-zA-Z]*|%)")
SHAPES: Final = {"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}


@dataclass(frozen=True, slots=True)
class Viewport:
    """The frame that percentages are shares of [user units]."""

    width: float
    height: float

    def share_of(self, name: str) -> float:
        """Return what 100 % is of: width, height, or the diagonal by the square root of 2."""
        if name in ("x", "cx", "rx", "width", "x1", "x2"):
            return self.width
        if name in ("y", "cy", "ry", "height", "y1", "y2"):
            return self.height
        return hypot(self.width, self.height) / sqrt(2.0)


def length(text: str, name: str, viewport: Viewport) -> float:
    """Return a length in user units.

    Raises
    ------
    SpecError
        It is no number, or in a unit that depends on a font.

    Examples
    --------
    >>> length("25.4mm", "x", Viewport(0, 0)), length("50%", "y", Viewport(10, 20))
    (96.0, 10.0)
    """
    match = LENGTH.fullmatch(text.strip())
    number = float(match[1]) if match else float("nan")
    unit = match[2].lower() if match else ""
    if not isfinite(number) or not (unit == "%" or unit in PX):
        raise SpecError(name, text, "must be a length such as 12, 3mm or 50%")
    return number * (viewport.share_of(name) / 100.0 if unit == "%" else PX[unit])


def shape_commands(tag: str, attributes: Mapping[str, str], viewport: Viewport) -> list[Command]:
    """Return a basic shape or path as absolute path commands; empty where SVG draws nothing.

    Raises
    ------
    SpecError
        A length cannot be read.
    """

    def at(name: str, default: str = "0") -> float:
        return length(attributes.get(name, default), name, viewport)

    if tag == "path":
        return path_commands(attributes.get("d", ""))
    if tag in ("polyline", "polygon"):
        return _many(attributes.get("points", ""), closed=tag == "polygon")
    if tag == "line":
        return [("M", (at("x1"), at("y1"))), ("L", (at("x2"), at("y2")))]
    if tag == "circle":
        return _ellipse((at("cx"), at("cy")), at("r"), at("r"))
    rx, ry = _radii(attributes, viewport)
    if tag == "ellipse":
        return _ellipse((at("cx"), at("cy")), rx, ry)
    return _rectangle((at("x"), at("y")), (at("width"), at("height")), (rx, ry))


def _radii(attributes: Mapping[str, str], viewport: Viewport) -> tuple[float, float]:
    """Return both radii of an ellipse or a corner: one that is not given is the other."""
    given = [attributes.get(name, "auto") for name in ("rx", "ry")]
    names = [name for name, text in zip(("rx", "ry"), given, strict=True) if text != "auto"]
    values = [length(attributes[name], name, viewport) for name in names]
    rx, ry = (*values, *values, 0.0, 0.0)[:2] if values else (0.0, 0.0)
    return rx, ry


def _many(points: str, *, closed: bool) -> list[Command]:
    numbers = [float(match) for match in NUMBER.findall(points)]
    if not all(map(isfinite, numbers)):
        raise SpecError("points", points[:40], "must be finite numbers")
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    lines: list[Command] = [("L" if index else "M", pair) for index, pair in enumerate(pairs)]
    return [*lines, ("Z", ())] if closed and lines else lines


def _ellipse(centre: tuple[float, float], rx: float, ry: float) -> list[Command]:
    if not (rx > 0.0 and ry > 0.0):
        return []
    cx, cy = centre
    corners = ((cx, cy + ry), (cx - rx, cy), (cx, cy - ry), (cx + rx, cy))
    arcs: list[Command] = [("A", (rx, ry, 0.0, 0.0, 1.0, *corner)) for corner in corners]
    return [("M", (cx + rx, cy)), *arcs, ("Z", ())]


def _rectangle(
    corner: tuple[float, float], size: tuple[float, float], radii: tuple[float, float]
) -> list[Command]:
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
