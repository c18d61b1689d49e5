"""For carving by hand: contour lines at each millimetre of depth, and section templates, 1:1.

All of it lies as the mould lies before the carver: mirrored, for the pastry reads the other way.
"""

from collections.abc import Iterator
from math import cos, hypot, radians, sin
from typing import Final

import numpy as np
import shapely
from scipy.ndimage import map_coordinates
from skimage.measure import find_contours

from moulddesign.core import say
from moulddesign.export.drawing import Drawing, Sheet
from moulddesign.export.entities import (
    Align,
    DrawingLayer,
    DrawnLine,
    Entity,
    Point,
    Text,
    bounds_of,
    format_number,
)
from moulddesign.export.fonts import Fonts
from moulddesign.export.height_maps import TopHeights
from moulddesign.geometry import Points

BESIDE_MM: Final = 0.01
"""A contour lies so far beside its level, for a floor may lie just at it [mm]."""
EDGE_MM: Final = 0.05
"""Depth at which the edge of what is cut is drawn [mm]."""
SMOOTH_MM: Final = 0.02
"""Corners of a contour that stand out by less are left out: below what a knife follows [mm]."""
SPECK_MM: Final = 0.6
"""Contours that are shorter are left out: no blade cuts them; our choice [mm]."""
SECTIONS: Final = (("A", 0.0), ("B", 90.0), ("C", 45.0))
"""Letter and heading of each section through the middle [deg]."""
GRIP_MM: Final = 18.0
"""Height of a template over the mould's face, to hold it by; our choice [mm]."""
SHOULDER_MM: Final = 12.0
"""How far a template rests on the mould's face on each side; our choice [mm]."""
GAP_MM: Final = 14.0
CAPITAL_MM: Final = 2.2
LABELS_APART_MM: Final = 3.0
BAR_MM: Final = 50.0
"""Printed to measure whether the paper is 1:1 [mm]."""


def carving_templates(made: TopHeights, name: str, fonts: Fonts) -> Drawing:
    """Return the sheet for carving a mould by hand, at 1:1 on as much paper as it takes.

    Parameters
    ----------
    made : TopHeights
        Of the pastry.
    name : str
        Title of the sheet.
    """
    depths = (made.heights_mm - made.beyond_mm)[:, ::-1]
    plan = [*_contours(depths, made.grid.pixel_mm), *_cutting_lines(depths, made.grid.pixel_mm)]
    blocks: list[list[Entity]] = [
        [
            _text(name, CAPITAL_MM * 1.6, 3.0 * CAPITAL_MM),
            _text(fonts.text(say("export.templates-what")), CAPITAL_MM, 0.0),
        ],
        [*_bar(), _text(fonts.text(say("export.templates-bar")), CAPITAL_MM, 3.0, BAR_MM / 2.0)],
        plan,
    ]
    for letter, heading_deg in SECTIONS:
        template = section_template(depths, made.grid.pixel_mm, heading_deg)
        blocks.append([template, _text(letter, 2.0 * CAPITAL_MM, GRIP_MM / 3.0)])
    return _stacked(blocks)


def section_template(depths: Points, pixel_mm: float, heading_deg: float) -> DrawnLine:
    """Return a template that fills a cavity along a line through its middle, its face at y = 0.

    Parameters
    ----------
    depths : ndarray
        Depth under the mould's face, shape (rows, columns), row 0 at the least y [mm].
    heading_deg : float
        Counter-clockwise from x [deg].
    """
    rows, columns = depths.shape
    half_mm = pixel_mm * hypot(rows, columns) / 2.0
    ways = np.arange(-half_mm, half_mm + pixel_mm, pixel_mm)
    across = [(rows - 1) / 2.0 + ways * sin(radians(heading_deg)) / pixel_mm,
              (columns - 1) / 2.0 + ways * cos(radians(heading_deg)) / pixel_mm]  # fmt: skip
    found = map_coordinates(depths, across, order=1, mode="constant")
    cut = np.flatnonzero(np.abs(found) > 0.0)
    first, last = (cut[0], cut[-1] + 1) if len(cut) else (0, len(found))
    ways, found = ways[max(first - 1, 0) : last + 1], found[max(first - 1, 0) : last + 1]
    profile = shapely.simplify(shapely.LineString(np.column_stack([ways, -found])), SMOOTH_MM / 2)
    left, right = ways[0] - SHOULDER_MM, ways[-1] + SHOULDER_MM
    points = [(left, GRIP_MM), (left, 0.0), *profile.coords, (right, 0.0), (right, GRIP_MM)]
    return DrawnLine(
        points=tuple((float(x), float(y)) for x, y in points),
        layer=DrawingLayer.TEMPLATE,
        closed=True,
    )


def _contours(depths: Points, pixel_mm: float) -> Iterator[Entity]:
    """Yield the edge of what is cut, and a line for each whole millimetre of depth."""
    low, high = float(depths.min()), float(depths.max())
    for level in (-EDGE_MM, EDGE_MM):
        for line in contour_lines(depths, level, pixel_mm):
            yield _drawn(line, DrawingLayer.ARTWORK)
    labelled: list[Point] = []
    for depth in range(int(np.ceil(low)), int(np.floor(high + BESIDE_MM)) + 1):
        if depth == 0:
            continue
        lines = contour_lines(depths, depth - np.sign(depth) * BESIDE_MM, pixel_mm)
        for line in lines:
            yield _drawn(line, DrawingLayer.CONTOUR)
        for line in lines[:1]:  # the longest
            x, y = line[line[:, 0].argmax()].tolist()
            if all(hypot(x - u, y - v) >= LABELS_APART_MM for u, v in labelled):
                labelled.append((x, y))
                yield Text(text=format_number(-depth), at=(x + 0.6, y), capital_mm=1.6)


def contour_lines(depths: Points, level_mm: float, pixel_mm: float) -> list[Points]:
    """Return the lines of a depth, their middle that of the raster, the longest first [mm]."""
    rows, columns = depths.shape
    # A frame at the face's level closes lines that run out of the raster.
    lines = find_contours(np.pad(depths, 1), level_mm)
    found = []
    for line in lines:
        at = (line[:, ::-1] - 1.0 - np.array([columns - 1, rows - 1]) / 2.0) * pixel_mm
        smooth = shapely.simplify(shapely.LineString(at), SMOOTH_MM)
        if smooth.length >= SPECK_MM:
            found.append(shapely.get_coordinates(smooth))
    return sorted(found, key=lambda at: -float(np.linalg.norm(np.diff(at, axis=0), axis=1).sum()))


def _drawn(line: Points, layer: DrawingLayer) -> DrawnLine:
    closed = bool(np.array_equal(line[0], line[-1]))
    points = line[:-1] if closed else line
    return DrawnLine(
        points=tuple((float(x), float(y)) for x, y in points), layer=layer, closed=closed
    )


def _cutting_lines(depths: Points, pixel_mm: float) -> Iterator[Entity]:
    """Yield where the sections lie, with their letters at both ends."""
    reach_mm = pixel_mm * max(depths.shape) / 2.0 + 4.0
    for letter, heading_deg in SECTIONS:
        x, y = reach_mm * cos(radians(heading_deg)), reach_mm * sin(radians(heading_deg))
        yield DrawnLine(points=((-x, -y), (x, y)), layer=DrawingLayer.AXIS)
        for sign in (-1.0, 1.0):
            at = (sign * 1.06 * x, sign * 1.06 * y - CAPITAL_MM / 2.0)
            yield Text(text=letter, at=at, capital_mm=CAPITAL_MM, align=Align.MIDDLE)


def _bar() -> list[Entity]:
    ends = ((0.0, 0.0), (BAR_MM, 0.0))
    ticks = [((x, -2.0), (x, 2.0)) for x, _ in ends]
    return [DrawnLine(points=each, layer=DrawingLayer.FRAME) for each in (ends, *ticks)]


def _text(text: str, capital_mm: float, y: float, x: float = 0.0) -> Text:
    return Text(text=text, at=(x, y), capital_mm=capital_mm, align=Align.MIDDLE)


def _stacked(blocks: list[list[Entity]]) -> Drawing:
    """Return blocks below each other, centred, on a sheet of their size."""
    boxes = [bounds_of(block) for block in blocks]
    width = max(x1 - x0 for x0, _, x1, _ in boxes) + 2.0 * GAP_MM
    height = sum(y1 - y0 for _, y0, _, y1 in boxes) + (len(blocks) + 1) * GAP_MM
    entities: list[Entity] = []
    top = height - GAP_MM
    for block, (x0, y0, x1, y1) in zip(blocks, boxes, strict=True):
        shift = ((width - x0 - x1) / 2.0, top - y1)
        entities += [entity.moved(*shift) for entity in block]
        top -= y1 - y0 + GAP_MM
    sheet = Sheet(name="1:1", width_mm=round(width, 3), height_mm=round(height, 3))
    return Drawing(sheet=sheet, scale=1.0, entities=tuple(entities))
