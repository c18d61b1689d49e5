"""Thinnest strokes and gaps of a region, and strokes thickened to a minimum.

A stroke is what a disc of its width can run along: where a region is opened by a disc a little
wider, a piece falls out that a disc of three quarters of that width still fills. Corners, and
points that taper by more than about 17 deg, do not fall out so; they are not strokes.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, inf, pi
from typing import Final, TypeAlias

import shapely
from shapely import MultiPolygon, Point, Polygon

from moulddesign.pastry.area import Area, area_of, joined, multipolygon, offset, parts

LEAST_MM: Final = 0.1
"""No printer draws a line so thin; where the search begins [mm]."""
STEP: Final = 0.8
"""Ratio of one width of the search to the next; above `SURVIVES`, so that none is passed over."""
SURVIVES: Final = 0.75
FILLS: Final = 0.7
"""A piece counts as a stroke where a disc of this share of the searched width fills it."""
ARC: Final = 48
"""Sides of a circle: its chords lie within 0.22 % of the radius."""
FINE: Final = 1e-3
"""How far a region's lines may move before it is searched, as a share of the radius."""
STEP_NAME: Final = "thicker strokes"
CHORD: Final = 0.004
"""What such chords can take off an opened region, as a share of the radius, twice."""
PASSES: Final = 2
"""Thickening a taper leaves a shorter one, which the second pass finds."""
PLACE_SHARE: Final = 0.01
"""How closely a widest place is found, as a share of the searched width."""

TOUCHES: Final = 0.25
"""Pieces closer than this share of a width are one place that narrows."""

Shape: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, slots=True)
class Thin:
    """A thin place.

    Parameters
    ----------
    width_mm : float
        Width of the stroke or gap there [mm].
    x_mm, y_mm : float
        Where it is [mm].
    shape : Polygon
        The whole of the thin piece.
    """

    width_mm: float
    x_mm: float
    y_mm: float
    shape: Polygon


def least_stroke_mm(region: Shape, *, below_mm: float) -> Thin | None:
    """Return the thinnest stroke of a region.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    below_mm : float
        Strokes at least so wide are not looked for [mm].

    Returns
    -------
    Thin or None
        The thinnest with its width and place [mm], or None where every stroke is at least
        `below_mm` wide. Widths under 0.1 mm may be passed over.

    Examples
    --------
    >>> bar = shapely.box(0, 0, 20, 1.5)
    >>> round(least_stroke_mm(bar, below_mm=2.0).width_mm, 2)
    1.5
    >>> least_stroke_mm(bar, below_mm=1.4) is None
    True
    """
    for width in _widths(below_mm):
        found = [thin for thin in thin_pieces(region, width) if thin.width_mm < below_mm]
        if found:
            return min(found, key=lambda thin: thin.width_mm)
    return None


def least_gap_mm(region: Shape, *, below_mm: float) -> Thin | None:
    """Return the thinnest gap of a region: the thinnest stroke of what lies around it.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    below_mm : float
        Gaps at least so wide are not looked for [mm].

    Examples
    --------
    >>> two = shapely.union_all([shapely.box(0, 0, 9, 4), shapely.box(0, 4.8, 9, 9)])
    >>> round(least_gap_mm(two, below_mm=2.0).width_mm, 2)
    0.8
    """
    return least_stroke_mm(_around(region, 4.0 * below_mm), below_mm=below_mm)


def thin_strokes(region: Shape, *, below_mm: float) -> tuple[Thin, ...]:
    """Return every stroke thinner than a width, the thinnest first.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    below_mm : float
        The width; of places closer together than this only the thinnest is returned [mm].

    Examples
    --------
    >>> comb = shapely.union_all([shapely.box(0, 0, 9, 4), shapely.box(1, 4, 1.5, 9)])
    >>> [round(thin.width_mm, 2) for thin in thin_strokes(comb, below_mm=0.6)]
    [0.5]
    """
    found = [thin for width in _widths(below_mm) for thin in thin_pieces(region, width)]
    kept: list[Thin] = []
    for thin in sorted(found, key=lambda thin: (thin.width_mm, thin.x_mm, thin.y_mm)):
        near = any(hypot(thin.x_mm - k.x_mm, thin.y_mm - k.y_mm) < below_mm for k in kept)
        same = any(thin.shape.distance(k.shape) < TOUCHES * below_mm for k in kept)
        if thin.width_mm < below_mm and not near and not same:
            kept.append(thin)
    return tuple(kept)


def thin_gaps(region: Shape, *, below_mm: float) -> tuple[Thin, ...]:
    """Return every gap thinner than a width, the thinnest first.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    below_mm : float
        The width; of places closer together than this only the thinnest is returned [mm].
    """
    return thin_strokes(_around(region, 4.0 * below_mm), below_mm=below_mm)


def thin_pieces(region: Shape, width_mm: float) -> tuple[Thin, ...]:
    """Return the strokes that are between three quarters of a width and that width wide.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    width_mm : float
        The width [mm].
    """
    radius = width_mm / 2.0
    whole = area_of(region).simplify(FINE * radius)
    surviving = _opened(whole, radius * SURVIVES) ^ whole
    # grown by what the chords took off, so that flanks do not fall out as hairs
    kept = offset(_opened(whole, radius), CHORD * radius, ARC)
    least = pi * (FILLS * radius) ** 2
    pieces = parts(surviving - kept, least, "the search for thin strokes")
    found = (_widest(piece, radius) for piece in pieces)
    return tuple(thin for thin in found if thin.width_mm >= width_mm * FILLS)


def thickened(region: Shape, least_mm: float) -> MultiPolygon:
    """Return a region whose strokes are at least so wide.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid [mm].
    least_mm : float
        Width that thin strokes are brought to; they come out wider by up to a quarter of what
        they were [mm].

    Returns
    -------
    MultiPolygon
        The region with its thin strokes thickened to both sides; gaps beside them shrink.
    """
    area = area_of(region)
    for _ in range(PASSES):
        area = _thickened_once(area, least_mm)
    return multipolygon(area, STEP_NAME)


def _thickened_once(region: Area, least_mm: float) -> Area:
    grown = [region]
    for width in _widths(least_mm):
        found = thin_pieces(multipolygon(region, STEP_NAME), width)
        pieces = [thin.shape for thin in found if thin.width_mm < least_mm]
        if pieces:
            near = offset(joined([area_of(piece) for piece in pieces]), 0.05 * width, ARC)
            spine = offset(region, -width / 2.0 * SURVIVES, ARC) ^ near
            grown.append(offset(spine, least_mm / 2.0, ARC))
    return joined(grown)


def _around(region: Shape, margin_mm: float) -> MultiPolygon:
    """Return what lies around a region, out to a margin; nothing where it is empty."""
    if region.is_empty:
        return MultiPolygon()
    left, low, right, high = region.bounds
    frame = shapely.box(left - margin_mm, low - margin_mm, right + margin_mm, high + margin_mm)
    return multipolygon(area_of(frame) - area_of(region), "the search for gaps")


def _widths(below_mm: float) -> Iterator[float]:
    """Yield widths from the least up to one that still finds all below `below_mm`."""
    width = LEAST_MM
    while width * SURVIVES < below_mm:
        yield width
        width /= STEP


def _opened(area: Area, radius_mm: float) -> Area:
    return offset(offset(area, -radius_mm, ARC), radius_mm, ARC)


def _widest(piece: Polygon, radius_mm: float) -> Thin:
    """Return the widest place of a piece: the stroke's width where the piece is one."""
    spoke = shapely.maximum_inscribed_circle(piece, tolerance=PLACE_SHARE * radius_mm)
    centre = Point(spoke.coords[0])
    width = 2.0 * spoke.length if spoke.length < inf else 0.0
    return Thin(width, centre.x, centre.y, piece)
