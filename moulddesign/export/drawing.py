"""The drawing.

Views on the smallest sheet that takes them, its frame and title block, and its SVG.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
import shapely

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.core import KernelError
from moulddesign.design import Kind, PressTable
from moulddesign.export.assembly_view import assembly_section, assembly_view
from moulddesign.export.glyphs import Faces
from moulddesign.export.ink import (
    CAPITAL,
    PENS,
    Align,
    Circle,
    Fill,
    Ink,
    Layer,
    Lettering,
    Mark,
    Point,
    Stroke,
    box_of,
    fitted,
    marks_of,
    number,
)
from moulddesign.export.options import Paper
from moulddesign.export.views import (
    Profile,
    lowered,
    part_plan,
    part_view,
    profile,
)
from moulddesign.geometry import upright_section

HEIGHT_MM: Final = 34.0
"""Height of the title block [mm]."""

WIDTH_MM: Final = 180.0
"""Width of the title block: that of ISO 7200 [mm]."""

MARGIN_MM: Final = 10.0
"""Between the edge of the paper and the frame, 20 mm at the left for filing [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet of paper.

    Parameters
    ----------
    name : str
        Its name, such as A4.
    width_mm, height_mm : float
        As it lies before the reader [mm].
    third_angle : bool
        Whether its readers are used to third-angle projection.
    """

    name: str
    width_mm: float
    height_mm: float
    third_angle: bool = False


def frame(sheet: Sheet) -> tuple[Ink, ...]:
    """Return the frame of a sheet, from its lower left corner."""
    x0, y0 = MARGIN_MM, MARGIN_MM
    x1, y1 = sheet.width_mm - MARGIN_MM, sheet.height_mm - MARGIN_MM
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return (Stroke(points=corners, layer=Layer.FRAME, closed=True),)


def title_block(made: Build, sheet: Sheet, scale: str) -> tuple[Ink, ...]:
    """Return the title block, its lower right corner in the frame's.

    Parameters
    ----------
    made : Build
        What is drawn.
    sheet : Sheet
        What it is drawn on.
    scale : str
        Such as 1:1.
    """
    x1, y0 = sheet.width_mm - MARGIN_MM, MARGIN_MM
    wide = min(WIDTH_MM, sheet.width_mm - 2.0 * MARGIN_MM)
    x0, top = x1 - wide, y0 + HEIGHT_MM
    columns = (x0, x0 + 0.5 * wide, x0 + 0.78 * wide, x1)
    rows = (y0, y0 + HEIGHT_MM / 3.0, y0 + 2.0 * HEIGHT_MM / 3.0, top)
    inks: list[Ink] = [_box((x0, y0), (x1, top))]
    inks += [_line((x, y0), (x, top)) for x in columns[1:-1]]
    inks += [_line((x0, y), (x1, y)) for y in rows[1:-1]]
    cells = _cells(made, sheet, scale)
    for (column, row), (head, text) in cells.items():
        inks += _cell((head, text), (columns[column], rows[row]), columns[column + 1])
    inks += _projection(columns[2] + 27.0, rows[1] + HEIGHT_MM / 6.0 - 1.0, third=sheet.third_angle)
    return tuple(inks)


def _cells(made: Build, sheet: Sheet, scale: str) -> dict[tuple[int, int], tuple[str, str]]:
    piece, mould = made.portion.piece, made.design.mould
    weights = f"{number(piece.finished_g)} g finished, {number(piece.raw_g)} g raw, "
    weights += f"crust : filling {made.design.portion.ratio}"
    clearance = ""
    if isinstance(mould, PressTable):
        clearance = f", clearance {number(mould.clearance_mm)} mm"
    angle = "third" if sheet.third_angle else "first"
    return {
        (0, 2): ("Name", made.design.name),
        (0, 1): (
            "Piece",
            weights,
        ),
        (0, 0): ("Drawn from the design by", f"moulddesign {__version__}"),
        (1, 2): ("Mould", f"{mould.kind}{clearance}"),
        (1, 1): ("Material", made.design.printer.material),
        (1, 0): ("Date", ""),
        (2, 2): ("Scale, lengths in mm", f"{scale} on {sheet.name}"),
        (2, 1): (f"{angle} angle", ""),
        (2, 0): ("Checked", ""),
    }


def _cell(said: tuple[str, str], corner: Point, end: float) -> list[Ink]:
    """Return a cell's small heading and its text, from its lower left corner to where it ends."""
    (head, text), (x, y) = said, corner
    room = end - x - 4.0
    title, small = fitted(head, capital_mm=1.8, least_mm=1.4, room_mm=room)
    inks: list[Ink] = [Lettering(text=title, at=(x + 2.0, y + 8.2), capital_mm=small)]
    if text:
        shown, capital = fitted(text, capital_mm=3.2, least_mm=1.8, room_mm=room)
        inks.append(Lettering(text=shown, at=(x + 2.0, y + 2.6), capital_mm=capital))
    return inks


def _projection(x: float, y: float, *, third: bool) -> list[Ink]:
    """Return the symbol of ISO 5456-2: a cone's two views, as the angle places them."""
    side, circles = (6.0, -6.0) if third else (-6.0, 6.0)
    cone = ((-3.5, -1.5), (3.5, -3.0), (3.5, 3.0), (-3.5, 1.5))
    flip = -1.0 if third else 1.0
    points = tuple((x + side + flip * px * (1.0 if not third else -1.0), y + py) for px, py in cone)
    return [
        Stroke(points=points, layer=Layer.FRAME, closed=True),
        Circle(middle=(x + circles, y), radius_mm=1.5, layer=Layer.FRAME),
        Circle(middle=(x + circles, y), radius_mm=3.0, layer=Layer.FRAME),
        Stroke(points=((x - 10.5, y), (x + 10.5, y)), layer=Layer.AXIS),
        Stroke(points=((x + circles, y - 4.0), (x + circles, y + 4.0)), layer=Layer.AXIS),
    ]


def _box(low: Point, high: Point) -> Stroke:
    (x0, y0), (x1, y1) = low, high
    return Stroke(points=((x0, y0), (x1, y0), (x1, y1), (x0, y1)), layer=Layer.FRAME, closed=True)


def _line(a: Point, b: Point) -> Stroke:
    return Stroke(points=(a, b), layer=Layer.FRAME)


GAP_MM: Final = 8.0
"""Between views [mm]."""

LEAST_MM: Final = 2.0
"""Least distance between columns, and from the frame [mm]."""

CARD_ROOM_MM: Final = (60.0, 84.0)
"""Largest width and height of the section on a card, without dimensions and labels [mm]."""

SHEETS: Final = {
    Paper.A4: (
        Sheet(name="A4", width_mm=210.0, height_mm=297.0),
        Sheet(name="A4", width_mm=297.0, height_mm=210.0),
        Sheet(name="A3", width_mm=420.0, height_mm=297.0),
    ),
    Paper.LETTER: (
        Sheet(name="Letter", width_mm=215.9, height_mm=279.4, third_angle=True),
        Sheet(name="Letter", width_mm=279.4, height_mm=215.9, third_angle=True),
        Sheet(name="Tabloid", width_mm=431.8, height_mm=279.4, third_angle=True),
    ),
}
"""Sheets of each paper, the smallest first."""

SCALES: Final = (1.0, 0.5, 0.2, 0.1)
"""Scales of ISO 5455 that are tried, true size first."""

View = tuple[Ink, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """What the views of a build are drawn from.

    Parameters
    ----------
    parts : tuple of Profile
        The mould's parts.
    pastry : shapely geometry
        The pastry's section [mm].
    """

    parts: tuple[Profile, ...]
    pastry: shapely.Geometry


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A sheet and all that is drawn on it.

    Parameters
    ----------
    sheet : Sheet
        At 1:1 the smallest that takes all views; where none does, the largest at a smaller scale.
    scale : float
        Length on the paper over true length.
    inks : tuple of Ink
        What is on it, from its lower left corner [mm].
    """

    sheet: Sheet
    scale: float
    inks: View


def cuts(made: Build) -> Cuts:
    """Return the sections and edges of a build's parts and of its pastry.

    Raises
    ------
    KernelError
        A section cannot be cut.
    """
    return Cuts(
        parts=tuple(profile(part.mesh, part.name) for part in made.mould.assembled),
        pastry=upright_section(made.meshes[PASTRY], "the section of the pastry"),
    )


def drawing(made: Build, shown: Cuts, paper: Paper) -> Drawing:
    """Return the drawing of a build.

    Parameters
    ----------
    made : Build
        What is drawn.
    shown : Cuts
        Its sections.
    paper : Paper
        A4 (and A3), or Letter (and Tabloid).

    Raises
    ------
    KernelError
        The mould is too large for any sheet.
    """
    for scale in SCALES:
        views = _views(made, shown, scale=scale, third=paper is Paper.LETTER)
        for sheet in SHEETS[paper]:
            inks = _arranged(views, sheet)
            if inks is not None:
                title = title_block(made, sheet, f"1:{1.0 / scale:g}")
                inks = (*frame(sheet), *title, *inks)
                return Drawing(sheet=sheet, scale=scale, inks=inks)
    raise KernelError("the drawing", "the mould is larger than two metres; make it smaller")


def section_drawing(made: Build, shown: Cuts) -> tuple[tuple[float, float], View]:
    """Return the section of the pressed mould alone, no larger than a card has room for.

    Parameters
    ----------
    made : Build
        What is drawn.
    shown : Cuts
        Its sections.

    Returns
    -------
    size_mm : tuple of float
        Width and height of what is drawn [mm].
    inks : tuple of Ink
        From its lower left corner [mm].
    """
    low, high = np.array([part.cut.bounds for part in shown.parts]).reshape(-1, 2, 2).swapaxes(0, 1)
    size = high.max(axis=0) - low.min(axis=0)
    scale = min(1.0, *(np.array(CARD_ROOM_MM) / size).tolist())
    inks = assembly_section(made, shown.parts, shown.pastry, scale=scale)
    x0, y0, x1, y1 = box_of(inks)
    return (x1 - x0, y1 - y0), tuple(ink.moved(-x0, -y0) for ink in inks)


def _views(made: Build, shown: Cuts, *, scale: float, third: bool) -> list[View]:
    whole = assembly_view(made, shown.parts, shown.pastry, scale=scale)
    views = [_stacked(*whole, third=third)]
    for turn, part in enumerate(shown.parts):
        view = part_view(part, scale=scale, turn=turn)
        if made.pastry.outline.name != "round" and made.design.mould.kind is Kind.PRESS:
            view = _stacked(view, part_plan(part, scale=scale), third=third)
        views.append(view)
        if made.design.mould.kind is not Kind.PRESS:
            # Beside the section, not below it: so most blocks fit a sheet in true size.
            views.append(part_plan(part, scale=scale))
    return views


def _stacked(view: View, plan: View, *, third: bool) -> View:
    """Return a section with its plan: below it in first angle, above it in third."""
    upper, lower = (plan, view) if third else (view, plan)
    down = box_of(lower)[3] + GAP_MM - box_of(upper)[1]
    return (*upper, *lowered(lower, down))


def _arranged(views: list[View], sheet: Sheet) -> View | None:
    """Return views in columns from the left; None where the sheet is too small."""
    left, high = MARGIN_MM + LEAST_MM, sheet.height_mm - MARGIN_MM - LEAST_MM
    low, right = MARGIN_MM + HEIGHT_MM + LEAST_MM, sheet.width_mm - MARGIN_MM - LEAST_MM
    columns = _columns(views, high - low)
    if columns is None:
        return None
    widths = [max(_size(view)[0] for view in column) for column in columns]
    spare = right - left - sum(widths)
    if spare < LEAST_MM * (len(columns) - 1):
        return None
    gap = spare / (len(columns) + 1)
    inks: list[Ink] = []
    x = left
    for column, wide in zip(columns, widths, strict=True):
        x += gap
        inks += _column(column, (x, wide), (low, high))
        x += wide
    return tuple(inks)


def _columns(views: list[View], tall: float) -> list[list[View]] | None:
    columns: list[list[View]] = [[]]
    for view in views:
        if _size(view)[1] > tall:
            return None
        used = sum(_size(other)[1] + GAP_MM for other in columns[-1])
        if columns[-1] and used + _size(view)[1] > tall:
            columns.append([])
        columns[-1].append(view)
    return columns


def _column(views: list[View], across: tuple[float, float], tall: tuple[float, float]) -> list[Ink]:
    """Return views one below the other, spread over a column's height."""
    x, wide = across
    low, high = tall
    spare = high - low - sum(_size(view)[1] for view in views)
    gap = spare / (len(views) + 1)
    y, inks = high, []
    for view in views:
        x0, _, x1, y1 = box_of(view)
        y -= gap
        move = (x + (wide - (x1 - x0)) / 2.0 - x0, y - y1)
        inks += [ink.moved(*move) for ink in view]
        y -= _size(view)[1]
    return inks


def _size(view: View) -> tuple[float, float]:
    x0, y0, x1, y1 = box_of(view)
    return x1 - x0, y1 - y0


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
