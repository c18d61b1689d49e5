"""Dimensions as ISO 129-1 draws them: a line between arrows, two extension lines, the figure."""

from collections.abc import Sequence
from typing import Final

from moulddesign.export.ink import Align, Fill, Ink, Layer, Lettering, Point, Stroke, text_width_mm

CAPITAL_MM: Final = 2.5
"""Height of a figure, the least of ISO 3098 that reads well in a workshop [mm]."""

ARROW_MM: Final = 2.5
"""Length of an arrow [mm]."""

STEP_MM: Final = 7.0
"""Distance between one dimension line and the next; the first is as far from the view [mm]."""

OVER_MM: Final = 1.5
"""How far an extension line runs beyond the dimension line [mm]."""

LIFT_MM: Final = 0.8
"""Gap between a dimension line and its figure [mm]."""

GAP_MM: Final = 1.0
"""Gap between the view and an extension line [mm]."""


def number(length_mm: float) -> str:
    """Return a length as it is written on a drawing: at most two decimals, no trailing zero.

    Examples
    --------
    >>> number(53.5), number(26.474), number(4.0)
    ('53.5', '26.47', '4')
    """
    return f"{length_mm:.2f}".rstrip("0").rstrip(".")


def across(
    ends: tuple[Point, Point], at_y: float, text: str, *, crossed: Sequence[float] = ()
) -> tuple[Ink, ...]:
    """Return a dimension of a width, below or above a view.

    Parameters
    ----------
    ends : ((float, float), (float, float))
        What is measured, left and right [mm].
    at_y : float
        Where the dimension line runs [mm].
    text : str
        The figure.
    crossed : sequence of float
        x of extension lines that cross this line: the figure stays clear of them [mm].
    """
    (left, left_y), (right, right_y) = ends
    extensions = _extension_x(left, left_y, at_y) + _extension_x(right, right_y, at_y)
    line, place, align = _line((left, right), text, crossed)
    arrows = _arrows(left, right, outside=right - left < 3.0 * ARROW_MM)
    return (
        *extensions,
        Stroke(points=tuple((x, at_y) for x in line), layer=Layer.DIMENSION),
        *(
            Fill(
                points=(
                    (x, at_y),
                    (x - turn, at_y + ARROW_MM / 6),
                    (x - turn, at_y - ARROW_MM / 6),
                ),
                layer=Layer.DIMENSION,
            )
            for x, turn in arrows
        ),
        Lettering(
            text=text,
            at=(place, at_y + LIFT_MM),
            capital_mm=CAPITAL_MM,
            layer=Layer.DIMENSION,
            align=align,
        ),
    )


def upright(ends: tuple[Point, Point], at_x: float, text: str) -> tuple[Ink, ...]:
    """Return a dimension of a height, right of a view; the figure reads from the right.

    Parameters
    ----------
    ends : ((float, float), (float, float))
        What is measured, low and high [mm].
    at_x : float
        Where the dimension line runs [mm].
    text : str
        The figure; of a short height it stands below the low end.
    """
    (low_x, low), (high_x, high) = ends
    flat = across(((-high, high_x), (-low, low_x)), at_x, text)
    return tuple(map(_quarter_turned, flat))


def _quarter_turned(ink: Ink) -> Ink:
    """Return an entity drawn along x as one along y: x is minus the height, y is x."""
    if isinstance(ink, Lettering):
        # The figure lies left of its line, so that it reads from the right of the sheet.
        x, y = ink.at
        align = {Align.LEFT: Align.RIGHT, Align.RIGHT: Align.LEFT}.get(ink.align, ink.align)
        return Lettering(
            text=ink.text,
            at=(y - 2.0 * LIFT_MM, -x),
            capital_mm=ink.capital_mm,
            layer=ink.layer,
            align=align,
            upright_deg=90,
        )
    if isinstance(ink, Stroke | Fill):
        return type(ink)(points=tuple((y, -x) for x, y in ink.points), layer=ink.layer)
    return ink


def _extension_x(x: float, start_y: float, at_y: float) -> tuple[Ink, ...]:
    sign = 1.0 if at_y > start_y else -1.0
    ends = ((x, start_y + sign * GAP_MM), (x, at_y + sign * OVER_MM))
    return (Stroke(points=ends, layer=Layer.DIMENSION),)


def _arrows(low: float, high: float, *, outside: bool) -> tuple[tuple[float, float], ...]:
    """Return tip and signed length of each arrow: pointing outwards, or inwards from outside."""
    return ((low, ARROW_MM), (high, -ARROW_MM)) if outside else ((low, -ARROW_MM), (high, ARROW_MM))


def _line(
    ends: tuple[float, float], text: str, crossed: Sequence[float]
) -> tuple[tuple[float, float], float, Align]:
    """Return the ends of the dimension line, where its figure stands, and how."""
    low, high = ends
    wide = text_width_mm(text, CAPITAL_MM)
    if high - low >= 3.0 * ARROW_MM and high - low >= wide + 1.0:
        return (low, high), (low + high) / 2.0, Align.MIDDLE
    start = high + 2.0 * ARROW_MM
    for x in sorted(x for x in crossed if x > high):
        if start - 0.8 < x < start + wide + 0.8:
            start = x + 0.8
    return (low - 2.0 * ARROW_MM, start + wide), start, Align.LEFT
