"""Thinnest strokes and gaps of a region, and strokes thickened to a minimum.

A stroke is thinner than w where no disc of that diameter fits into it: what a morphological
opening by the disc takes off the region. The opening is an erosion by the radius (the centres of
discs that fit) and a dilation by the radius (what those discs cover)::

    region            opened by a disc        the rest
    #########         #########                           A whisker is in the rest,
    ######### ####    #########                    ####   and so is a sliver of every
    #########         #########               .       .   sharp corner.

A second, smaller disc of three quarters of the radius distinguishes corners from strokes: in the
rest of a stroke about as wide as w it fits, in a corner's sliver it leaves too little. One such
search finds strokes between three quarters of w and w, so widths rise from the least by a ratio
that leaves no gap between two searches. The width itself is then measured by the largest circle
inside the piece. A gap is a stroke of what lies around the region.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from math import hypot, inf, pi
from typing import Final, TypeAlias

import shapely
from shapely import MultiPolygon, Point, Polygon

from moulddesign.artwork.polygons import (
    PolygonSet,
    connected_parts,
    multipolygon,
    offset,
    polygon_set,
    polygon_union,
)
from moulddesign.core import say

SEARCH_FROM_MM: Final = 0.1
"""No printer draws a line so thin; where the search begins [mm]."""
HAIRLINE_LENGTH_MM: Final = 0.5
"""A shorter piece that the smallest disc cannot reach is a corner, not a stroke; our choice."""
HAIRLINE_WIDTH_MM: Final = 1e-3
"""A piece as thin as this is left over by booleans, not drawn; our choice."""
WIDTH_RATIO: Final = 0.8
"""Ratio of one width of the search to the next; above `SMALLER_DISC`, so that none is missed."""
SMALLER_DISC: Final = 0.75
"""Radius of the disc that fits into a stroke and not into a corner, as a share of the search's."""
FILLED_SHARE: Final = 0.7
"""A piece counts as a stroke where a disc of this share of the searched width fits into it."""
DISC_SEGMENTS: Final = 48
"""Sides of a circle: its chords lie within 0.22 % of the radius."""
SIMPLIFIED_SHARE: Final = 1e-3
"""How far a region's lines may move before it is searched, as a share of the radius."""
CHORD_SHARE: Final = 0.004
"""What such chords can take off an opened region, as a share of the radius, twice."""
SLACK: Final = 0.01
"""How far what a disc cannot reach may be off, as a share of its radius: simplified twice (0.002),
chords (0.0021) and what the opened region is grown by (0.004)."""
PASSES: Final = 2
"""Thickening a taper leaves a shorter one, which the second pass finds."""
CIRCLE_TOLERANCE: Final = 0.01
"""How closely the largest circle is found, as a share of the search's radius."""
TOUCHES: Final = 0.25
"""Pieces closer than this share of a width are one place that narrows."""

AnyPolygon: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, slots=True)
class ThinPlace:
    """A thin place."""

    width_mm: float
    """Width of the stroke or gap there."""
    x_mm: float
    y_mm: float
    shape: Polygon
    """The whole of the thin piece."""


def least_stroke_mm(region: AnyPolygon, *, below_mm: float) -> ThinPlace | None:
    """Return the thinnest stroke of a valid region; None where all are as wide as a limit.

    Narrower than 0.1 mm, only strokes at least half a millimetre long are found. Answers are kept:
    other moulds, portions and stamps have the same relief.

    Examples
    --------
    >>> bar = shapely.box(0, 0, 20, 1.5)
    >>> round(least_stroke_mm(bar, below_mm=2.0).width_mm, 2)
    1.5
    >>> least_stroke_mm(bar, below_mm=1.4) is None
    True
    """
    return _least_stroke(region, below_mm)


@lru_cache(maxsize=32)
def _least_stroke(region: AnyPolygon, below_mm: float) -> ThinPlace | None:
    searched = (search.pieces() for search in _searches(region, below_mm))
    for pieces in chain([_hairlines(region)], searched):
        found = [thin for thin in pieces if thin.width_mm < below_mm]
        if found:
            return min(found, key=lambda thin: thin.width_mm)
    return None


def least_gap_mm(region: AnyPolygon, *, below_mm: float) -> ThinPlace | None:
    """Return the thinnest gap of a region: the thinnest stroke of what lies around it.

    Examples
    --------
    >>> two = shapely.union_all([shapely.box(0, 0, 9, 4), shapely.box(0, 4.8, 9, 9)])
    >>> round(least_gap_mm(two, below_mm=2.0).width_mm, 2)
    0.8
    """
    return least_stroke_mm(_surroundings(region, 4.0 * below_mm), below_mm=below_mm)


def thin_strokes(region: AnyPolygon, *, below_mm: float) -> tuple[ThinPlace, ...]:
    """Return every stroke thinner than a width, the thinnest first.

    Examples
    --------
    >>> comb = shapely.union_all([shapely.box(0, 0, 9, 4), shapely.box(1, 4, 1.5, 9)])
    >>> [round(thin.width_mm, 2) for thin in thin_strokes(comb, below_mm=0.6)]
    [0.5]
    """
    found = [thin for search in _searches(region, below_mm) for thin in search.pieces()]
    found += _hairlines(region)
    kept: list[ThinPlace] = []
    for thin in sorted(found, key=lambda thin: (thin.width_mm, thin.x_mm, thin.y_mm)):
        close = any(hypot(thin.x_mm - k.x_mm, thin.y_mm - k.y_mm) < below_mm for k in kept)
        same = any(thin.shape.distance(k.shape) < TOUCHES * below_mm for k in kept)
        if thin.width_mm < below_mm and not close and not same:
            kept.append(thin)
    return tuple(kept)


def thin_gaps(region: AnyPolygon, *, below_mm: float) -> tuple[ThinPlace, ...]:
    """Return every gap thinner than a width, the thinnest first.

    As `thin_strokes` of what lies around it.
    """
    return thin_strokes(_surroundings(region, 4.0 * below_mm), below_mm=below_mm)


def thickened(region: AnyPolygon, least_mm: float) -> MultiPolygon:
    """Return a region whose strokes are at least so wide.

    Strokes grow to both sides, so gaps beside them shrink. They come out wider than asked for by up
    to a quarter of what they were.
    """
    area = polygon_set(region)
    for _ in range(PASSES):
        area = _thickened_once(area, least_mm)
    return multipolygon(area, say("artwork.thicker-strokes"))


def _thickened_once(region: PolygonSet, least_mm: float) -> PolygonSet:
    grown = [region]
    for search in _searches(multipolygon(region, say("artwork.thicker-strokes")), least_mm):
        pieces = [thin.shape for thin in search.pieces() if thin.width_mm < least_mm]
        if pieces:
            beside = offset(
                polygon_union([polygon_set(piece) for piece in pieces]),
                0.1 * search.radius,
                DISC_SEGMENTS,
            )
            spine = offset(region, -search.radius * SMALLER_DISC, DISC_SEGMENTS) ^ beside
            grown.append(offset(spine, least_mm / 2.0, DISC_SEGMENTS))
    return polygon_union(grown)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Search:
    """Looks for strokes between three quarters of a width, twice the radius, and that width."""

    radius: float
    whole: PolygonSet
    """The region."""
    rest: PolygonSet
    """What a disc of the radius cannot reach in it."""

    def pieces(self) -> tuple[ThinPlace, ...]:
        """Return the strokes of about this width."""
        least = pi * (FILLED_SHARE * self.radius) ** 2
        if all(part.area() < least for part in self.rest.decompose()):
            return ()
        surviving = _opening(self.whole, self.radius * SMALLER_DISC) ^ self.rest
        found = (
            _thin_place(piece, self.radius)
            for piece in connected_parts(surviving, least, say("artwork.thin-stroke-search"))
        )
        return tuple(thin for thin in found if thin.width_mm >= 2.0 * self.radius * FILLED_SHARE)

    def may_hold(self, radius: float) -> bool:
        """Return whether strokes of a smaller radius can lie in what this disc cannot reach.

        A wider disc reaches less, so a stroke lies in this rest too, and its disc with it.
        """
        return not offset(
            self.rest, SLACK * self.radius - FILLED_SHARE * radius, DISC_SEGMENTS
        ).is_empty()


def _searches(region: AnyPolygon, below_mm: float) -> list[_Search]:
    """Return searches of rising width that together find every stroke thinner than a width.

    They are made from the widest down: where nothing narrower can lie in a rest, the narrower
    searches are left out. Where all strokes are wide, one search is enough.
    """
    area, found = polygon_set(region), list[_Search]()
    radii = [width / 2.0 for width in _search_widths(below_mm)]
    while radii:
        found.append(_search(area, radii.pop()))
        while radii and not found[-1].may_hold(radii[-1]):
            radii.pop()
    return found[::-1]


def _hairlines(region: AnyPolygon) -> tuple[ThinPlace, ...]:
    """Return strokes too thin for any search: what the smallest disc cannot reach, and is long.

    A corner leaves a piece shorter than a hairline, and booleans leave one of less area.
    """
    rest = _search(polygon_set(region), SEARCH_FROM_MM / 2.0).rest
    pieces = connected_parts(
        rest, HAIRLINE_LENGTH_MM * HAIRLINE_WIDTH_MM, say("artwork.hairline-search")
    )
    long = [piece for piece in pieces if piece.length / 2.0 >= HAIRLINE_LENGTH_MM]
    return tuple(_thin_place(piece, SEARCH_FROM_MM / 2.0) for piece in long)


def _search(area: PolygonSet, radius: float) -> _Search:
    whole = area.simplify(SIMPLIFIED_SHARE * radius)
    # grown by what the chords took off, so that flanks do not fall out as hairs
    kept = offset(_opening(whole, radius), CHORD_SHARE * radius, DISC_SEGMENTS)
    return _Search(radius=radius, whole=whole, rest=whole - kept)


def _surroundings(region: AnyPolygon, margin_mm: float) -> MultiPolygon:
    """Return what lies around a region, out to a margin; nothing where it is empty."""
    if region.is_empty:
        return MultiPolygon()
    left, low, right, high = region.bounds
    frame = shapely.box(left - margin_mm, low - margin_mm, right + margin_mm, high + margin_mm)
    return multipolygon(polygon_set(frame) - polygon_set(region), say("artwork.gap-search"))


def _search_widths(below_mm: float) -> Iterator[float]:
    """Yield widths from the least up to one that still finds all below `below_mm`."""
    width = SEARCH_FROM_MM
    while width * SMALLER_DISC < below_mm:
        yield width
        width /= WIDTH_RATIO


def _opening(area: PolygonSet, radius_mm: float) -> PolygonSet:
    return offset(offset(area, -radius_mm, DISC_SEGMENTS), radius_mm, DISC_SEGMENTS)


def _thin_place(piece: Polygon, radius_mm: float) -> ThinPlace:
    """Return the widest place of a piece: the stroke's width where the piece is one."""
    radius = shapely.maximum_inscribed_circle(piece, tolerance=CIRCLE_TOLERANCE * radius_mm)
    centre = Point(radius.coords[0])
    width = 2.0 * radius.length if radius.length < inf else 0.0
    return ThinPlace(width, centre.x, centre.y, piece)
