"""Height maps of other programs as parts of a face."""

from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from skimage.measure import find_contours

from moulddesign.core import SpecError, say
from moulddesign.design.face_tables import CarvingTable, Meets
from moulddesign.face.surface import Carver, Surface
from moulddesign.relief.field import EdgeDistance
from moulddesign.relief.height_map import Carving, MapPlace, carving, read_height_map

FOOT_MM: Final = 0.02
"""A carving begins where it is this high: below that rounding has made it level [mm]."""
SAMPLE_MM: Final = 0.2
"""Steps at which the slope under a carving is sampled [mm]."""
LEAST_SLOPE: Final = 0.5
"""What a carving that is added to other parts needs of the draft's slope; our choice."""


def carving_of(table: CarvingTable, *, inner_mm: float, scale: float, wall: float) -> Carving:
    """Return a carving where it lies, no steeper than a wall may be.

    Parameters
    ----------
    inner_mm : float
        Radius of the largest circle that is free for it [mm].
    scale : float
        Factor of its sizes and places, not of its depth.
    wall : float
        Steepest slope, rise over run.

    Raises
    ------
    FileError
        The file cannot be read, or is level.
    """
    size_mm = 2.0 * inner_mm if table.size_mm is None else table.size_mm * scale
    place = MapPlace(
        size_mm=size_mm,
        x_mm=table.x_mm * scale,
        y_mm=table.y_mm * scale,
        turn_deg=table.turn_deg,
    )
    return carving(
        read_height_map(Path(table.file)),
        place,
        depth_mm=table.depth_mm,
        keep_detail=table.keep_detail,
        slope=wall,
    )


def carved_part(made: Carving, meets: Meets, *, wall: float, number: int) -> Carver:
    """Return a carving as a part of a face.

    Parameters
    ----------
    wall : float
        Slope of the wall of the pit that a carving stands in, where it takes the place of all else.
    number : int
        First piece number; three are used.
    """
    edge = EdgeDistance(_footprint(made)) if meets is Meets.INSTEAD else None
    return partial(_carve, made=made, meets=meets, edge=edge, wall=wall, number=number)


def _carve(
    surface: Surface,
    *,
    made: Carving,
    meets: Meets,
    edge: EdgeDistance | None,
    wall: float,
    number: int,
) -> None:
    points = surface.spots.points
    heights = made(points) - FOOT_MM
    rows = np.flatnonzero(heights > 0.0)
    heights, pieces = heights[rows], np.full(len(rows), number)
    if meets is Meets.ON:
        surface.height[rows] += heights
        return
    if meets is Meets.INTO:
        surface.cut_to(rows, surface.floor[rows] - heights, pieces)
        return
    if edge is not None:
        outside = np.maximum(-edge(points), 0.0)
        every = np.arange(len(points))
        pit = np.where(outside > 0.0, number + 1, number + 2)
        surface.cut_to(every, surface.floor + wall * outside, pit)
    surface.raise_to(rows, surface.floor[rows] + heights, pieces)


def room_on(field_slope: float, wall: float, file: str) -> float:
    """Return the slope that is left for a carving which is added to what is there.

    Raises
    ------
    SpecError
        What is there is too steep to carry more.
    """
    left = wall - field_slope
    if left < LEAST_SLOPE * wall:
        raise SpecError("face.carvings.file", file, say("face.carving-on-steep"))
    return left


def _footprint(made: Carving) -> shapely.Polygon:
    """Return the outer edge of what the map covers."""
    framed = np.pad(made.covered.astype(np.float64), 1)
    x, y = made.grid.centres_mm
    rings = []
    for line in find_contours(framed, 0.5):
        rows, columns = (line - 1.0).T
        across = np.interp(columns, np.arange(len(x)), x)
        along = np.interp(rows, np.arange(len(y)), y)
        rings.append(shapely.Polygon(made.place.on_face(np.column_stack([across, along]))))
    largest: shapely.Polygon = max(rings, key=lambda ring: float(ring.area))
    return largest.simplify(made.grid.pixel_mm / 2.0)
