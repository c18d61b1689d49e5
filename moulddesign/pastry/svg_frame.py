"""Frames of a drawing: viewBox, transforms, windows, and what to call an element.

Source: W3C, "Scalable Vector Graphics (SVG) 2", chapter 7 (Coordinate systems).
"""

import re
from math import isfinite
from typing import Any, Final

from picosvg.geometric_types import Rect
from picosvg.svg_transform import Affine2D

from moulddesign.errors import SpecError
from moulddesign.pastry.area import Area, nonzero
from moulddesign.pastry.curve import polylines
from moulddesign.pastry.svg_shape import Viewport, shape_commands

TRANSFORMS: Final = re.compile(
    r"[\s,]*(?:(?:matrix|translate|scale|rotate|skewX|skewY)\s*\([^()]*\)[\s,]*)*"
)
SVG: Final = "{http://www.w3.org/2000/svg}"


def name_of(element: Any) -> str:  # noqa: ANN401
    """Return an element's name; empty for comments and for other languages' elements."""
    tag = element.tag if isinstance(element.tag, str) else ""
    space, brace, name = tag.rpartition("}")
    return name if not brace or space + brace == SVG else ""


def identity(element: Any) -> str:  # noqa: ANN401
    """Return what to call an element in a sentence."""
    return str(element.get("id") or f"line {element.sourceline}")


def transform_of(element: Any) -> Affine2D:  # noqa: ANN401
    """Return the map of an element's `transform`.

    Raises
    ------
    SpecError
        It cannot be read.
    """
    text = element.get("transform", "")
    try:
        # picosvg 0.23 passes over words that it does not know.
        if not TRANSFORMS.fullmatch(text):
            raise ValueError(text)  # noqa: TRY301 (the same sentence for both)
        matrix = Affine2D.fromstring(text) if text.strip() else Affine2D.identity()
    except (ValueError, TypeError, IndexError) as error:
        raise SpecError("transform", text[:60], "must be a list such as rotate(30)") from error
    if not all(map(isfinite, matrix)):
        raise SpecError("transform", text[:60], "must hold finite numbers")
    return matrix


def framing(frame: Any, width: float, height: float) -> tuple[Affine2D, Viewport]:  # noqa: ANN401
    """Return the map from a frame's inside to its place, and the inside's own size.

    Raises
    ------
    SpecError
        The viewBox cannot be read.
    """
    text = frame.get("viewBox")
    if text is None:
        return Affine2D.identity(), Viewport(width, height)
    box = view_box(text)
    fit = frame.get("preserveAspectRatio", "xMidYMid").replace("defer", "").strip()
    try:
        return Affine2D.rect_to_rect(box, Rect(0, 0, width, height), fit), Viewport(box.w, box.h)
    except ValueError as error:
        raise SpecError("preserveAspectRatio", fit, "must be such as xMidYMid meet") from error


def view_box(text: str) -> Rect:
    """Return the rectangle of a viewBox.

    Raises
    ------
    SpecError
        It is not four numbers of positive size.
    """
    try:
        numbers = [float(word) for word in text.replace(",", " ").split()]
    except ValueError:
        numbers = []
    if len(numbers) != 4 or not all(map(isfinite, numbers)) or not min(numbers[2:]) > 0.0:  # noqa: PLR2004 (x, y, width, height)
        raise SpecError("viewBox", text[:60], "must be four numbers: x, y, width and height")
    return Rect(*numbers)


def window_of(size: Viewport, matrix: Affine2D) -> Area:
    """Return a frame's rectangle mapped, as an area."""
    edge = {"width": str(size.width), "height": str(size.height)}
    return nonzero(polylines(shape_commands("rect", edge, size), matrix))


def share(text: str, name: str) -> float:
    """Return an opacity, a number or a percentage, that SVG clips to 0 and 1.

    Raises
    ------
    SpecError
        It is not a number.
    """
    try:
        value = float(text[:-1]) / 100.0 if text.endswith("%") else float(text)
    except ValueError:
        value = float("nan")
    if value != value:  # noqa: PLR0124 (not a number)
        raise SpecError(name, text, "must be a number from 0 to 1")
    return min(max(value, 0.0), 1.0)
