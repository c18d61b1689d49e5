"""The frame of a sheet and its title block, after ISO 5457 and ISO 7200."""

from dataclasses import dataclass
from typing import Final

from moulddesign import __version__
from moulddesign.building import Build
from moulddesign.design import Kind
from moulddesign.export.dimension import number
from moulddesign.export.ink import Circle, Ink, Layer, Lettering, Point, Stroke
from moulddesign.export.letters import fitted

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
    pressed = mould.kind is Kind.PRESS
    clearance = f", clearance {number(mould.clearance_mm)} mm" if pressed else ""
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
