"""SVG of a drawing: the sheet's size in millimetres, a group for each layer."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final
from xml.sax.saxutils import escape

from moulddesign.export.glyphs import Faces
from moulddesign.export.ink import (
    Align,
    Circle,
    Fill,
    Ink,
    Layer,
    Lettering,
    Mark,
    Stroke,
    marks_of,
)  # fmt: skip
from moulddesign.export.letters import CAPITAL
from moulddesign.export.pens import PENS

FACES: Final = ("Verdana", "Arial")
"""Stand in for our own face, which the lettering was measured with and which is the widest."""

ANCHORS: Final = {Align.LEFT: "start", Align.MIDDLE: "middle", Align.RIGHT: "end"}


def svg_bytes(
    size_mm: tuple[float, float], inks: Sequence[Ink], title: str, *, faces: Faces
) -> bytes:
    """Return a drawing as an SVG file; one user unit is a millimetre.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height [mm].
    inks : sequence of Ink
        What is drawn, from the lower left corner.
    title : str
        What a reader without eyes is told.
    faces : Faces
        What can be lettered; code points stand in the place of the rest.
    """
    wide, high = size_mm
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}" font-family="{_families(faces)}">'
    )
    rows = ['<?xml version="1.0" encoding="UTF-8"?>', head, f"<title>{escape(title)}</title>"]
    rows.append(f'<rect width="{wide:g}" height="{high:g}" fill="#fff"/>')
    marks = list(marks_of(inks))
    for layer in Layer:
        shapes = [_element(mark, high, faces) for mark in marks if mark.layer is layer]
        if shapes:
            rows += [_group(layer), *shapes, "</g>"]
    return "\n".join([*rows, "</svg>", ""]).encode("utf-8")


def _families(faces: Faces) -> str:
    named = ("DejaVu Sans", *faces.families, *FACES)
    quoted = (escape(name, {"'": "", '"': ""}) for name in named)
    return ", ".join([*(f"'{name}'" for name in quoted), "sans-serif"])


def _group(layer: Layer) -> str:
    pen = PENS[layer]
    dashes = " ".join(f"{length:g}" for length in pen.dashes_mm)
    return (
        f'<g id="{layer}" fill="none" stroke="{pen.colour}" stroke-width="{pen.width_um / 1000:g}" '
        f'stroke-linejoin="round" stroke-linecap="round"'
        + (f' stroke-dasharray="{dashes}"' if dashes else "")
        + ">"
    )


def _element(ink: Mark, high: float, faces: Faces) -> str:
    if isinstance(ink, Lettering):
        return _text(replace(ink, text=faces.marked(ink.text)), high)
    if isinstance(ink, Circle):
        x, y = ink.middle
        return f'<circle cx="{_n(x)}" cy="{_n(high - y)}" r="{_n(ink.radius_mm)}"/>'
    points = " ".join(f"{_n(x)},{_n(high - y)}" for x, y in ink.points)
    if isinstance(ink, Fill):
        return f'<polygon points="{points}" fill="{PENS[ink.layer].colour}" stroke="none"/>'
    kind = "polygon" if isinstance(ink, Stroke) and ink.closed else "polyline"
    return f'<{kind} points="{points}"/>'


def _text(ink: Lettering, high: float) -> str:
    x, y = _n(ink.at[0]), _n(high - ink.at[1])
    turn = f' transform="rotate(-90 {x} {y})"' if ink.upright_deg else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{_n(ink.capital_mm / CAPITAL)}" '
        f'text-anchor="{ANCHORS[ink.align]}" fill="{PENS[ink.layer].colour}" stroke="none"{turn}>'
        f"{escape(ink.text)}</text>"
    )


def _n(value: float) -> str:
    """Return a length with three decimals at most: a micrometre."""
    return f"{value + 0.0:.3f}".rstrip("0").rstrip(".") or "0"
