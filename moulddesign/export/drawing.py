"""The drawing: views side by side on the smallest sheet that takes them at the largest scale."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.building import PASTRY, Build
from moulddesign.design import Kind
from moulddesign.errors import KernelError
from moulddesign.export.assembly import assembly_section, assembly_view
from moulddesign.export.cut import upright_section
from moulddesign.export.ink import Ink, box_of
from moulddesign.export.paper import Paper
from moulddesign.export.title_block import HEIGHT_MM, MARGIN_MM, Sheet, frame, title_block
from moulddesign.export.views import Profile, lowered, part_plan, part_view, profile

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
