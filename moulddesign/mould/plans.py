"""Flat outlines that bodies are drawn from, kept as exact curves where the outline has them."""

from dataclasses import dataclass, replace
from math import asin, cos, pi, radians, sin, tan
from typing import Final

import numpy as np
import shapely
from shapely.affinity import scale, translate
from shapely.geometry.base import BaseGeometry

from moulddesign.artwork.lettering import lettering
from moulddesign.artwork.outline import Arc, Outline, exterior_points
from moulddesign.core import SpecError, say
from moulddesign.geometry import Points

OVERHANG_DEG: Final = 44.0
"""Lean from upright of every sloped underside [deg].

45 deg is common practice, no source; one degree is kept for the facets of a curved slope, some of
which lean more than the slope itself.
"""

RISE: Final = 1.0 / tan(radians(OVERHANG_DEG))
"""Height that such a slope gains for each millimetre that it reaches out."""

CHORD_MM: Final = 5e-4
"""Largest distance of a simplified chord from a drawn outline [mm]."""

FIGURE_CHORD_MM: Final = 0.02
"""The same for figures and letters, a twentieth of a printed line; our choice [mm]."""

SAME_RATIO: Final = 1e-9
"""Area by which two shapes that are the same may differ for round-off, as a share."""

DRAWN_QUARTER_CHORDS: Final = 24
"""Chords of a quarter turn round a corner of a drawn outline."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleCurve:
    """A circle about the origin."""

    radius_mm: float

    def inset(self, by_mm: float) -> "CircleCurve":
        """Return it smaller by a margin [mm], larger where that is negative."""
        return CircleCurve(radius_mm=self.radius_mm - by_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcPolyline:
    """Arcs and sharp corners, straight lines between them."""

    arcs: tuple[Arc, ...]
    """Counter-clockwise; one of radius 0 is a sharp corner."""

    def inset(self, by_mm: float) -> "ArcPolyline":
        """Return its parallel inside it by a margin [mm], outside where that is negative.

        A sharp corner stays sharp both ways, and a corner rounder than the margin stays round:
        then both sections have like edges, as bodies between them need.
        """
        return ArcPolyline(arcs=tuple(_moved(arc, by_mm) for arc in self.arcs))

    def sharpened(self, within_mm: float) -> "ArcPolyline":
        """Return it with every corner sharp whose radius is at most so much [mm]."""
        arcs = (
            _cornered(arc, 0.0) if arc.turn_rad > 0.0 and arc.radius_mm <= within_mm else arc
            for arc in self.arcs
        )
        return ArcPolyline(arcs=tuple(arcs))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StraightPolyline:
    """An outline that was drawn or is fluted, and is known by its points alone."""

    points: Points
    """Corners, counter-clockwise [mm]."""

    def inset(self, by_mm: float) -> "StraightPolyline":
        """Return its parallel inside it by a margin [mm], outside where that is negative."""
        moved = (
            shapely.Polygon(self.points)
            .buffer(-by_mm, quad_segs=DRAWN_QUARTER_CHORDS)
            .simplify(CHORD_MM)
        )
        if moved.geom_type != "Polygon" or moved.is_empty or moved.interiors:
            need = say("mould.notched-outline", by_mm=by_mm)
            raise SpecError("pastry.outline", "(a drawing)", need)
        return StraightPolyline(points=exterior_points(moved))


Curve = CircleCurve | ArcPolyline | StraightPolyline


def has_exact_parallels(outline: Outline, valley_mm: float) -> bool:
    """Return whether an outline's arcs can be moved as arcs, so that exact bodies can be drawn."""
    if outline.around is not None:
        return False  # the valleys of flutes are narrower than a lead-in
    if not _has_valleys(outline):
        return bool(outline.arcs)
    return min(arc.radius_mm for arc in outline.arcs) > valley_mm


def parallel_curve(outline: Outline, outset_mm: float) -> Curve:
    """Return the exact parallel curve of an outline.

    It has exact arcs where the outline has them, else points. A sharp corner becomes round outside
    and stays sharp inside.
    """
    if outline.name == "round":
        return CircleCurve(radius_mm=outline.width_mm / 2.0 + outset_mm)
    if not outline.arcs or outline.around is not None:
        drawn = StraightPolyline(points=outline.points)
        return drawn.inset(-outset_mm) if outset_mm else drawn
    if outset_mm > 0.0:
        return ArcPolyline(arcs=tuple(_widened(arc, outset_mm) for arc in outline.arcs))
    return ArcPolyline(arcs=outline.arcs).inset(-outset_mm)


def surrounding_curve(outline: Outline, outset_mm: float) -> Curve:
    """Return what stands round an outline from outside, nowhere nearer than a distance.

    Round a lobed outline that is a circle, for a wall need not follow the lobes; nor flutes.
    """
    outline = outline.plain
    if _has_valleys(outline):
        return CircleCurve(radius_mm=outline.circumradius_mm + outset_mm)
    return parallel_curve(outline, outset_mm)


def drawn_out_circle(root_mm: float, end_radius_mm: float, end_mm: float) -> Curve:
    """Return what is stretched round a circle about the origin and two smaller ones along y.

    Parameters
    ----------
    root_mm : float
        Radius of the circle about the origin [mm].
    end_radius_mm : float
        Radius of the smaller ones [mm].
    end_mm : float
        How far they reach from the origin [mm].
    """
    centre = end_mm - end_radius_mm
    if centre + end_radius_mm <= root_mm:
        return CircleCurve(radius_mm=root_mm)
    # A line that touches two circles from outside is as far from each centre as its radius.
    lean = asin((root_mm - end_radius_mm) / centre)
    turns = [(-lean, 2.0 * lean, 0.0, root_mm), (lean, pi - 2.0 * lean, centre, end_radius_mm)]
    half = [
        Arc(centre=(0.0, y), radius_mm=radius, start_rad=start, turn_rad=turn)
        for start, turn, y, radius in turns
    ]
    other = [
        replace(arc, centre=(0.0, -arc.centre[1]), start_rad=arc.start_rad + pi) for arc in half
    ]
    return ArcPolyline(arcs=(*half, *other))


def reach_along_x_mm(curve: Curve) -> float:
    """Return where a curve around the origin crosses the +x axis [mm]."""
    if isinstance(curve, CircleCurve):
        return curve.radius_mm
    if isinstance(curve, ArcPolyline):  # widest there, as all outlines of arcs are
        return max(float(arc.chords()[:, 0].max()) for arc in curve.arcs)
    starts, ends = curve.points, np.roll(curve.points, -1, axis=0)
    across = (starts[:, 1] > 0.0) != (ends[:, 1] > 0.0)
    (x, y), (to_x, to_y) = starts[across].T, ends[across].T
    return float((x - y * (to_x - x) / (to_y - y)).max())


def inscribed_diameter_mm(outline: Outline) -> float:
    """Return the diameter of the largest circle about the origin inside an outline [mm].

    It is 0 where the origin lies outside.
    """
    if outline.arcs and not _has_valleys(outline):
        return min(outline.width_mm, outline.depth_mm)
    origin = shapely.Point(0.0, 0.0)
    inside = outline.shape.contains(origin)
    return 2.0 * float(outline.shape.exterior.distance(origin)) if inside else 0.0


def half_extents_mm(outline: Outline) -> tuple[float, float]:
    """Return the largest distances from the origin along x and along y [mm]."""
    x, y = np.abs(outline.points).max(axis=0).tolist()
    return x, y


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateEnd:
    """Where a plate through the origin ends on an outline."""

    far_mm: float
    """Largest distance from the origin over the plate's thickness [mm]."""
    side_mm: float
    """Smallest distance over it: at one of its faces, but for a waist in its middle [mm]."""


def plate_ends_mm(
    outline: Outline, inset_mm: float, half_mm: float, *, quarter_turns: int = 0
) -> tuple[PlateEnd, PlateEnd]:
    """Return where a plate along x ends inside an outline: towards -x, towards +x."""
    inside = outline.shape.buffer(-inset_mm)
    towards = _rotated_quarters(inside, -quarter_turns)
    return _end(_rotated_quarters(towards, 2), half_mm), _end(towards, half_mm)


def is_fourfold(outline: Outline) -> bool:
    """Return whether a quarter turn about the origin leaves an outline as it is."""
    changed = outline.shape.symmetric_difference(_rotated_quarters(outline.shape, 1))
    return bool(changed.area <= SAME_RATIO * outline.shape.area)


def _rotated_quarters(shape: BaseGeometry, times: int) -> BaseGeometry:
    x, y = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][times % 4]
    return shapely.transform(shape, lambda points: points @ np.array([[x, y], [-y, x]]))


def _end(inside: BaseGeometry, half_mm: float) -> PlateEnd:
    """Return where a plate ends towards +x."""
    long_mm = inside.bounds[2]
    strip = shapely.box(0.0, -half_mm, long_mm, half_mm)
    far_mm, beyond = inside.intersection(strip).bounds[2], strip.difference(inside)
    return PlateEnd(far_mm=far_mm, side_mm=far_mm if beyond.is_empty else beyond.bounds[0])


def _has_valleys(outline: Outline) -> bool:
    return any(arc.turn_rad < 0.0 for arc in outline.arcs)


def _moved(arc: Arc, by_mm: float) -> Arc:
    corner = arc.turn_rad > 0.0 and (arc.radius_mm <= by_mm or not arc.radius_mm)
    return _cornered(arc, by_mm) if corner else _widened(arc, -by_mm)


def _cornered(arc: Arc, by_mm: float) -> Arc:
    """Return the sharp corner in which the sides beside an arc meet, once moved inwards."""
    # The sides touch the arc at half its turn from the middle. Moved inwards they are `radius - by`
    # from the centre, and meet on the middle heading, 1 / cos(turn / 2) times as far from it.
    way = (arc.radius_mm - by_mm) / cos(arc.turn_rad / 2.0)
    middle = arc.start_rad + arc.turn_rad / 2.0
    x, y = arc.centre
    return replace(arc, centre=(x + way * cos(middle), y + way * sin(middle)), radius_mm=0.0)


def _widened(arc: Arc, by_mm: float) -> Arc:
    """Return the parallel of an arc on the outline's outside, inside where `by_mm` is negative."""
    radius = arc.radius_mm + (by_mm if arc.turn_rad > 0.0 else -by_mm)
    if radius < 0.0:
        raise SpecError("pastry.outline", "(lobes)", say("mould.narrow-valleys"))
    return replace(arc, radius_mm=radius)


def text_region(
    text: str, *, height_mm: float, at_mm: tuple[float, float] = (0.0, 0.0)
) -> shapely.Geometry:
    """Return lines of text of a height about a place, as they read from above."""
    shape = shapely.union_all([region.shape for region in lettering(text)])
    _, low, _, high = shape.bounds
    factor = height_mm / (high - low)
    grown = scale(shape, factor, factor, origin=(0.0, 0.0))
    x0, y0, x1, y1 = grown.bounds
    return translate(grown, at_mm[0] - (x0 + x1) / 2.0, at_mm[1] - (y0 + y1) / 2.0)
