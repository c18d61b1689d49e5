"""Flat areas that any closed lines bound, by either fill rule, and what is left of stacked paint.

The booleans are manifold3d's, on integers inside, so that no crossing, touching or doubled line
can make them fail.
"""

from collections.abc import Iterable, Sequence
from typing import Final, TypeAlias

import numpy as np
import shapely
from manifold3d import CrossSection, FillRule, JoinType, OpType
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from moulddesign.errors import KernelError

Area: TypeAlias = CrossSection
"""A flat area inside this module and those that stack it; shapely's regions leave the room."""

LEAST_CORNERS: Final = 3
AREA_STEP: Final = 1e-9
"""Clipper rounds to 1e-8: a drawing's area may move by that times its edges' length."""


def nonzero(lines: Sequence[NDArray[np.float64]]) -> Area:
    """Return what closed lines wind around, whichever way [square units]."""
    return _filled(lines, FillRule.NonZero)


def even_odd(lines: Sequence[NDArray[np.float64]]) -> Area:
    """Return what lies inside an odd number of closed lines [square units]."""
    return _filled(lines, FillRule.EvenOdd)


def _filled(lines: Sequence[NDArray[np.float64]], rule: FillRule) -> Area:
    usable = [
        np.ascontiguousarray(line, dtype=np.float64) for line in lines if len(line) >= LEAST_CORNERS
    ]
    return CrossSection(usable, rule) if usable else CrossSection()


def joined(areas: Sequence[Area]) -> Area:
    """Return the union of areas."""
    return CrossSection.batch_boolean(list(areas), OpType.Add) if areas else CrossSection()


def within(area: Area, window: Area) -> Area:
    """Return what of an area lies in a window; untouched where it surely lies inside."""
    if area.is_empty() or window.is_empty():
        return CrossSection()
    left, low, right, high = window.bounds()
    upright = abs((right - left) * (high - low) - window.area()) <= AREA_STEP
    inner = area.bounds()
    if upright and inner[0] >= left and inner[1] >= low and inner[2] <= right and inner[3] <= high:
        return area
    return area ^ window


def offset(area: Area, by: float, segments: int) -> Area:
    """Return an area grown by a distance to all sides, or shrunk where it is negative.

    Parameters
    ----------
    area : Area
        The area.
    by : float
        The distance, in the area's unit.
    segments : int
        Sides of the polygon that stands for a whole circle.
    """
    return area.offset(by, JoinType.Round, 2.0, segments)


def stacked(paints: Iterable[tuple[Area, float]]) -> list[tuple[Area, float]]:
    """Return what stays visible of paint laid in order, one area a share, deepest first.

    Parameters
    ----------
    paints : iterable of (Area, float)
        Areas with their share of the depth, first laid first; a share of 0 erases.

    Returns
    -------
    list of (Area, float)
        Areas without overlap, none empty.
    """
    runs: list[tuple[list[Area], float]] = []
    for area, share in paints:
        if runs and runs[-1][1] == share:
            runs[-1][0].append(area)
        else:
            runs.append(([area], share))
    visible: dict[float, list[Area]] = {}
    covered = CrossSection()
    for areas, share in reversed(runs):
        whole = joined(areas)
        visible.setdefault(share, []).append(whole - covered)
        covered += whole
    shares = sorted((share for share in visible if share > 0.0), reverse=True)
    result = [(joined(visible[share]), share) for share in shares]
    return [(area, share) for area, share in result if not area.is_empty()]


def multipolygon(area: Area, step: str) -> MultiPolygon:
    """Return an area as valid polygons; `step` names it in a `KernelError`.

    Rings that touch themselves in a point come out as SFS wants them: split, or as a hole.
    """
    shape = MultiPolygon([polygon for part in area.decompose() for polygon in _polygons(part)])
    if not shape.is_valid:
        shape = _polygonal(shapely.make_valid(shape))
    if abs(shape.area - area.area()) > AREA_STEP * (1.0 + shape.length):
        raise KernelError(
            step, "its lines lie too close together; draw it with fewer doubled lines"
        )
    return shape


def parts(area: Area, least_area: float, step: str) -> list[Polygon]:
    """Return the connected parts of an area that are at least so large, as valid polygons."""
    large = [part for part in area.decompose() if part.area() >= least_area]
    return [polygon for part in large for polygon in multipolygon(part, step).geoms]


def area_of(shape: Polygon | MultiPolygon) -> Area:
    """Return polygons as an area to combine with others."""
    rings = [
        shapely.get_coordinates(ring)[:-1]
        for polygon in shapely.get_parts(shape)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return even_odd(rings)


def _polygons(part: Area) -> list[Polygon]:
    """Return the one polygon of a connected part, or none where it is too thin for floats."""
    rings = sorted(part.to_polygons(), key=lambda ring: -abs(_signed(ring)))
    usable = [ring for ring in rings if len(ring) >= LEAST_CORNERS]
    return [Polygon(usable[0], usable[1:])] if usable else []


def _signed(ring: NDArray[np.float64]) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def _polygonal(shape: shapely.Geometry) -> MultiPolygon:
    """Return the polygons among what a repair left, without its points and lines."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon)])
