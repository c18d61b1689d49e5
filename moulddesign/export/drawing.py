"""The drawing: views on the smallest sheet that takes them in true size, frame and title block."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.core import KernelError, say
from moulddesign.design import Kind, PressTable
from moulddesign.export.assembly_view import assembly_section, assembly_view
from moulddesign.export.entities import (
    Circle,
    DrawingLayer,
    DrawnLine,
    Entity,
    Point,
    Text,
    bounds_of,
    fit_text,
    format_number,
)
from moulddesign.export.export_options import Paper
from moulddesign.export.views import (
    PartProfile,
    part_plan,
    part_profile,
    part_view,
)
from moulddesign.geometry import upright_section

View = tuple[Entity, ...]

SCALES: Final = (1.0, 0.5, 0.2, 0.1)
"""Scales of ISO 5455 that are tried, true size first."""

VIEW_GAP_MM: Final = 8.0
"""Between views of a column [mm]."""

COLUMN_GAP_MM: Final = 2.0
"""Least distance between columns, and from the frame [mm]."""

FRAME_MM: Final = 10.0
"""From the edge of the paper to the frame; ISO 5457 wants 20 mm at the left, for filing [mm]."""

TITLE_BLOCK_MM: Final = (180.0, 34.0)
"""Width, that of ISO 7200, and height of the title block [mm]."""

CARD_ROOM_MM: Final = (60.0, 84.0)
"""Largest width and height of the section on a card, without dimensions and labels [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet of paper as it lies before the reader."""

    name: str
    width_mm: float
    height_mm: float
    third_angle: bool = False
    """Whether its readers are used to third-angle projection: a plan above the view, not below."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sections:
    """What the views of a build are drawn from."""

    parts: tuple[PartProfile, ...]
    pastry: shapely.Geometry
    """The pastry's section [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A sheet and all that is drawn on it."""

    sheet: Sheet
    scale: float
    """Length on the paper over true length."""
    entities: View
    """From the sheet's lower left corner [mm]."""


def build_sections(build: Build) -> Sections:
    """Return the sections and edges of a build's parts, and the section of its pastry.

    Raises
    ------
    KernelError
        A mesh cannot be cut.
    """
    return Sections(
        parts=tuple(part_profile(part.mesh, part.name) for part in build.mould.assembled),
        pastry=upright_section(build.meshes[PASTRY], "the section of the pastry"),
    )


def drawing(build: Build, shown: Sections, paper: Paper) -> Drawing:
    """Return the drawing: at 1:1 on the smallest sheet, or the largest at a smaller scale.

    Raises
    ------
    KernelError
        The mould is too large for any sheet at any scale.
    """
    for scale in SCALES:
        views = _views(build, shown, scale=scale, third_angle=paper is Paper.LETTER)
        for sheet in SHEETS[paper]:
            arranged = _arranged(views, sheet)
            if arranged is not None:
                title = _title_block(build, sheet, f"1:{1.0 / scale:g}")
                return Drawing(
                    sheet=sheet, scale=scale, entities=(_frame(sheet), *title, *arranged)
                )
    raise KernelError(say("export.the-drawing"), say("export.mould-larger-than-any-sheet"))


def card_section(build: Build, shown: Sections) -> tuple[tuple[float, float], View]:
    """Return the section of the pressed mould alone, no larger than a card has room for.

    Width and height of what is drawn come first [mm]; entities count from its lower left corner.
    """
    low, high = (
        np.array([part.section.bounds for part in shown.parts]).reshape(-1, 2, 2).swapaxes(0, 1)
    )
    size = high.max(axis=0) - low.min(axis=0)
    scale = min(1.0, *(np.array(CARD_ROOM_MM) / size).tolist())
    entities = assembly_section(build, shown.parts, shown.pastry, scale=scale)
    x0, y0, x1, y1 = bounds_of(entities)
    return (x1 - x0, y1 - y0), tuple(entity.moved(-x0, -y0) for entity in entities)


def _views(build: Build, shown: Sections, *, scale: float, third_angle: bool) -> list[View]:
    is_press = build.design.mould.kind is Kind.PRESS
    whole = assembly_view(build, shown.parts, shown.pastry, scale=scale)
    views = [_with_plan(*whole, third_angle=third_angle)]
    for number, part in enumerate(shown.parts):
        view = part_view(part, scale=scale, number=number)
        plan = part_plan(part, scale=scale)
        if not is_press:
            # Beside the section, not below it: so most blocks fit a sheet in true size.
            views += [view, plan]
        elif build.pastry.outline.name == "round":
            views.append(view)  # the diameters say it all
        else:
            views.append(_with_plan(view, plan, third_angle=third_angle))
    return views


def _with_plan(view: View, plan: View, *, third_angle: bool) -> View:
    """Return a section with its plan: below it in first angle, above it in third."""
    upper, lower = (plan, view) if third_angle else (view, plan)
    down = bounds_of(lower)[3] + VIEW_GAP_MM - bounds_of(upper)[1]
    return (*upper, *(entity.moved(0.0, -down) for entity in lower))


def _arranged(views: list[View], sheet: Sheet) -> View | None:
    """Return views in columns from the left; None where the sheet is too small."""
    left, high = FRAME_MM + COLUMN_GAP_MM, sheet.height_mm - FRAME_MM - COLUMN_GAP_MM
    low = FRAME_MM + TITLE_BLOCK_MM[1] + COLUMN_GAP_MM
    right = sheet.width_mm - FRAME_MM - COLUMN_GAP_MM
    columns = _columns(views, high - low)
    if columns is None:
        return None
    widths = [max(_size_mm(view)[0] for view in column) for column in columns]
    spare = right - left - sum(widths)
    if spare < COLUMN_GAP_MM * (len(columns) - 1):
        return None
    gap = spare / (len(columns) + 1)
    entities: list[Entity] = []
    x = left
    for column, width in zip(columns, widths, strict=True):
        x += gap
        entities += _column(column, (x, width), (low, high))
        x += width
    return tuple(entities)


def _columns(views: list[View], height: float) -> list[list[View]] | None:
    """Return views in columns, each filled from above; None where one view is too high."""
    columns: list[list[View]] = [[]]
    for view in views:
        if _size_mm(view)[1] > height:
            return None
        used = sum(_size_mm(other)[1] + VIEW_GAP_MM for other in columns[-1])
        if columns[-1] and used + _size_mm(view)[1] > height:
            columns.append([])
        columns[-1].append(view)
    return columns


def _column(
    views: list[View], left_and_width: tuple[float, float], low_and_high: tuple[float, float]
) -> list[Entity]:
    """Return views one below the other, spread evenly over a column's height."""
    left, width = left_and_width
    low, high = low_and_high
    gap = (high - low - sum(_size_mm(view)[1] for view in views)) / (len(views) + 1)
    y, entities = high, []
    for view in views:
        x0, _, x1, y1 = bounds_of(view)
        y -= gap
        shift = (left + (width - (x1 - x0)) / 2.0 - x0, y - y1)
        entities += [entity.moved(*shift) for entity in view]
        y -= _size_mm(view)[1]
    return entities


def _size_mm(view: View) -> tuple[float, float]:
    x0, y0, x1, y1 = bounds_of(view)
    return x1 - x0, y1 - y0


def _frame(sheet: Sheet) -> DrawnLine:
    low = (FRAME_MM, FRAME_MM)
    return _rectangle(low, (sheet.width_mm - FRAME_MM, sheet.height_mm - FRAME_MM))


def _title_block(build: Build, sheet: Sheet, scale: str) -> list[Entity]:
    """Return the title block, three rows of three cells in the frame's lower right corner."""
    width, height = TITLE_BLOCK_MM
    width = min(width, sheet.width_mm - 2.0 * FRAME_MM)
    right, low = sheet.width_mm - FRAME_MM, FRAME_MM
    left, high = right - width, low + height
    columns = (left, left + 0.5 * width, left + 0.78 * width, right)
    rows = (low, low + height / 3.0, low + 2.0 * height / 3.0, high)
    entities: list[Entity] = [_rectangle((left, low), (right, high))]
    entities += [_line((x, low), (x, high)) for x in columns[1:-1]]
    entities += [_line((left, y), (right, y)) for y in rows[1:-1]]
    for (column, row), (head, text) in _cells(build, sheet, scale).items():
        entities += _cell((head, text), (columns[column], rows[row]), columns[column + 1])
    symbol = (columns[2] + 27.0, rows[1] + height / 6.0 - 1.0)
    return [*entities, *_projection_symbol(*symbol, third_angle=sheet.third_angle)]


def _cells(build: Build, sheet: Sheet, scale: str) -> dict[tuple[int, int], tuple[str, str]]:
    """Return heading and text of each cell by its column and its row from below."""
    piece, mould = build.portion.piece, build.design.mould
    weights = f"{format_number(piece.finished_g)} g finished, {format_number(piece.raw_g)} g raw, "
    weights += f"crust : filling {build.design.portion.ratio}"
    clearance = ""
    if isinstance(mould, PressTable):
        clearance = f", clearance {format_number(mould.clearance_mm)} mm"
    return {
        (0, 2): ("Name", build.design.name),
        (0, 1): ("Piece", weights),
        (0, 0): ("Drawn from the design by", f"moulddesign {__version__}"),
        (1, 2): ("Mould", f"{mould.kind}{clearance}"),
        (1, 1): ("Material", build.design.printer.material),
        (1, 0): ("Date", ""),
        (2, 2): ("Scale, lengths in mm", f"{scale} on {sheet.name}"),
        (2, 1): (f"{'third' if sheet.third_angle else 'first'} angle", ""),
        (2, 0): ("Checked", ""),
    }


def _cell(head_and_text: tuple[str, str], corner: Point, right: float) -> list[Entity]:
    """Return a cell's small heading and its text, from its lower left corner to its right side."""
    (head, text), (x, y) = head_and_text, corner
    room_mm = right - x - 4.0
    head, small = fit_text(head, capital_mm=1.8, least_capital_mm=1.4, room_mm=room_mm)
    entities: list[Entity] = [Text(text=head, at=(x + 2.0, y + 8.2), capital_mm=small)]
    if text:
        text, capital = fit_text(text, capital_mm=3.2, least_capital_mm=1.8, room_mm=room_mm)
        entities.append(Text(text=text, at=(x + 2.0, y + 2.6), capital_mm=capital))
    return entities


def _projection_symbol(x: float, y: float, *, third_angle: bool) -> list[Entity]:
    """Return the symbol of ISO 5456-2: a truncated cone's two views, as the angle places them."""
    # The cone's small end faces the circles in third angle, and away from them in first.
    cone_x, circles_x = (x + 6.0, x - 6.0) if third_angle else (x - 6.0, x + 6.0)
    cone = ((-3.5, -1.5), (3.5, -3.0), (3.5, 3.0), (-3.5, 1.5))
    points = tuple((cone_x + px, y + py) for px, py in cone)
    return [
        DrawnLine(points=points, layer=DrawingLayer.FRAME, closed=True),
        Circle(centre=(circles_x, y), radius_mm=1.5, layer=DrawingLayer.FRAME),
        Circle(centre=(circles_x, y), radius_mm=3.0, layer=DrawingLayer.FRAME),
        DrawnLine(points=((x - 10.5, y), (x + 10.5, y)), layer=DrawingLayer.AXIS),
        DrawnLine(points=((circles_x, y - 4.0), (circles_x, y + 4.0)), layer=DrawingLayer.AXIS),
    ]


def _rectangle(low: Point, high: Point) -> DrawnLine:
    (x0, y0), (x1, y1) = low, high
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return DrawnLine(points=corners, layer=DrawingLayer.FRAME, closed=True)


def _line(a: Point, b: Point) -> DrawnLine:
    return DrawnLine(points=(a, b), layer=DrawingLayer.FRAME)
