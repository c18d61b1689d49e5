"""What one shape paints: its fill and its stroke, as areas with shares of the depth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
from picosvg.svg_transform import Affine2D

from moulddesign.errors import SpecError
from moulddesign.pastry.area import Area, even_odd, nonzero
from moulddesign.pastry.curve import (
    CAPS,
    JOINS,
    STROKE_SCALE,
    Command,
    Pen,
    Polyline,
    polylines,
    stretch,
    stroked,
)
from moulddesign.pastry.svg_colour import darkness
from moulddesign.pastry.svg_shape import Viewport, length
from moulddesign.pastry.svg_style import Style

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
