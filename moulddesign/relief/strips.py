"""The medial axis cut where the profile bends, and the strip that each of its edges spans.

The words of a roof, seen from a segment of the region's edge up to the axis::

    axis      t0 ------- t1 -- t2       tips of the spokes: vertices of the medial axis
               |    s    |  s'  |       strips: each is what one edge of the axis spans
    level 2   -+---------+------+-
               |         |      |       interval 1
    level 1   -+---------+------+-
               |         |      |       interval 0
    level 0    f0 ------ f1 --- f2      feet, on the segment

- A *site* is a segment or a corner of the edge. The diagram gives each the cell of points that are
  nearer to it than to any other site.
- A *spoke* is the shortest way from a vertex of the axis down to the edge: at a right angle to a
  segment, or straight to a corner. Along it the height is the profile itself.
- A *strip* is the part of a cell under one edge of the axis, between the spokes of its two ends.
- A *level* is a distance to the edge at which the profile bends; level 0 is the edge. Between two
  levels, in an *interval*, the profile is straight, so that the roof over a strip is plane there.
"""

from dataclasses import dataclass, fields, replace
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry import Indices, Points
from moulddesign.relief.medial_axis import NO_SITE, MedialAxis
from moulddesign.relief.profile import HeightProfile
from moulddesign.relief.voronoi import Floats

COINCIDENT_MM: Final = 1e-6
"""Distances, and places along an edge, nearer than this are one; a tenth of the grid [mm]."""


def subdivided(axis: MedialAxis, levels_mm: Floats, fan_rad: float) -> MedialAxis:
    """Return the axis with a vertex wherever it crosses a level, and its arcs in short chords.

    `levels_mm` are rising distances at which the profile bends. Beyond the last it is constant, and
    arcs there get no chords. No chord spans more than `fan_rad`, seen from the corner that it goes
    around.

    Notes
    -----
    Between two segments the axis is a straight bisector, and the distance is linear along it.
    Around a corner it is an arc. In polar coordinates about the corner, with the angle a from the
    heading to the other site, a point at the radius r is as far from the corner as

    - from a line at the distance p, where r = p - r cos a: a parabola, r = p / (1 + cos a);
    - from a corner at the distance 2 m, where r cos a = m: a straight line, r = m / cos a.

    Both are r = length / (parabola + cos a) with parabola 1 or 0. The facets around a corner all
    go down to it, so a chord of the arc moves no facet off its corner; it makes the facet steeper
    than the profile by 1 / cos(fan / 2), which the profile allows for.
    """
    # A vertex that lies on a level but for round-off is put there: else a sliver would be cut off.
    axis = replace(axis, distances=_snapped(axis.distances, levels_mm))
    near = (axis.sites != NO_SITE).all(axis=1)
    round_corner = (axis.sites < 0).any(axis=1)
    cuts = _joined(
        [
            _straight_cuts(axis, np.flatnonzero(near & ~round_corner), levels_mm),
            _arc_cuts(axis, np.flatnonzero(near & round_corner), levels=levels_mm, fan_rad=fan_rad),
        ]
    )
    return _cut(axis, cuts)


@dataclass(frozen=True, slots=True, eq=False)
class _Cuts:
    """Places on edges: which edge, how far along it (0 to 1), where, and its distance [mm]."""

    edge: Indices
    share: Floats
    place: Points
    distance: Floats

    def take(self, rows: Indices) -> "_Cuts":
        return _Cuts(*(getattr(self, name)[rows] for name in self.__slots__))


def _joined(cuts: list[_Cuts]) -> _Cuts:
    names = _Cuts.__slots__
    return _Cuts(*(np.concatenate([getattr(c, name) for c in cuts]) for name in names))


def _snapped(distances: Floats, levels: Floats) -> Floats:
    near = np.abs(distances[:, None] - levels[None, :]) < COINCIDENT_MM
    return np.where(near.any(axis=1), levels[near.argmax(axis=1)], distances)


def _straight_cuts(axis: MedialAxis, rows: Indices, levels: Floats) -> _Cuts:
    """Cut straight bisectors where they cross a level."""
    ends = axis.vertices[axis.edges[rows]]
    d0, d1 = axis.distances[axis.edges[rows]].T
    # Along a bisector of two segments the distance to both is linear in the place.
    crossed = (np.minimum(d0, d1)[:, None] < levels) & (np.maximum(d0, d1)[:, None] > levels)
    edge, level = np.nonzero(crossed)
    share = (levels[level] - d0[edge]) / (d1 - d0)[edge]
    place = ends[edge, 0] + share[:, None] * (ends[edge, 1] - ends[edge, 0])
    return _Cuts(rows[edge], share, place, levels[level])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Arcs:
    """Edges around a corner as r(phi) = length / (parabola + cos(start + phi))."""

    centre: Points
    """The corner."""
    first: Floats
    """Heading of the first end, seen from the corner [rad]."""
    start: Floats
    """The same, from the heading to the other site [rad]."""
    turn: Floats
    """Angle from the first end to the last [rad]."""
    length: Floats
    parabola: Floats

    def radius(self, edge: Indices, angle: Floats) -> Floats:
        radius: Floats = self.length[edge] / (
            self.parabola[edge] + np.cos(self.start[edge] + angle)
        )
        return radius


def _arcs(axis: MedialAxis, rows: Indices) -> _Arcs:
    """Return the bisectors of a corner and another site."""
    corner_left = axis.sites[rows, 0] < 0
    near = np.where(corner_left, axis.sites[rows, 0], axis.sites[rows, 1])
    other = np.where(corner_left, axis.sites[rows, 1], axis.sites[rows, 0])
    # The corner is the pole; where both sites are corners, either would do.
    centre = axis.corners[-1 - near]
    towards, length = _towards(axis, centre, other)
    arms = axis.vertices[axis.edges[rows]] - centre[:, None, :]
    first, last = np.arctan2(arms[:, :, 1], arms[:, :, 0]).T
    return _Arcs(
        centre=centre,
        first=first,
        start=_wrapped(first - towards),
        turn=_wrapped(last - first),
        length=length,
        parabola=(other >= 0).astype(np.float64),
    )


def _arc_cuts(axis: MedialAxis, rows: Indices, *, levels: Floats, fan_rad: float) -> _Cuts:
    """Cut arcs into chords up to the last level, and where they cross a level."""
    arcs = _arcs(axis, rows)
    chord, chord_angle = _chords(arcs, fan_rad)
    # Beyond the last level the roof is level, so an arc needs no chords there.
    low = arcs.radius(chord, chord_angle) < levels[-1]
    crossing, crossing_angle = _crossings(arcs, levels)
    edge = np.concatenate([chord[low], crossing])
    angle = np.concatenate([chord_angle[low], crossing_angle])
    radius = arcs.radius(edge, angle)
    heading = arcs.first[edge] + angle
    way = np.column_stack([np.cos(heading), np.sin(heading)])
    place = arcs.centre[edge] + radius[:, None] * way
    ends = axis.vertices[axis.edges[rows[edge]]]
    apart = np.linalg.norm(ends - place[:, None, :], axis=2).min(axis=1) > COINCIDENT_MM
    cuts = _Cuts(rows[edge], angle / arcs.turn[edge], place, _snapped(radius, levels))
    return cuts.take(np.flatnonzero(apart))


def _towards(axis: MedialAxis, centre: Points, other: Indices) -> tuple[Floats, Floats]:
    """Return the heading from a corner to the other site, and the length m or p of its arc."""
    is_segment = other >= 0
    a, b = np.moveaxis(axis.corners[axis.segments[np.where(is_segment, other, 0)]], 1, 0)
    along = (b - a) / np.linalg.norm(b - a, axis=1)[:, None]
    # The foot of the perpendicular from the corner on the line, or the other corner itself.
    to_line = a - centre - np.einsum("ij,ij->i", a - centre, along)[:, None] * along
    to_corner = axis.corners[np.where(is_segment, 0, -1 - other)] - centre
    gap = np.where(is_segment[:, None], to_line, to_corner)
    length = np.linalg.norm(gap, axis=1)
    return np.arctan2(gap[:, 1], gap[:, 0]), np.where(is_segment, length, length / 2.0)


def _chords(arcs: _Arcs, fan_rad: float) -> tuple[Indices, Floats]:
    """Return edges and the angles that divide them evenly, none beyond `fan_rad` apart."""
    parts = np.maximum(np.ceil(np.abs(arcs.turn) / fan_rad).astype(np.int64), 1)
    edge = np.repeat(np.arange(len(parts)), parts - 1)
    before = np.cumsum(parts - 1) - (parts - 1)
    number = np.arange(len(edge)) - before[edge]
    return edge, arcs.turn[edge] * (number + 1) / parts[edge]


def _crossings(arcs: _Arcs, levels: Floats) -> tuple[Indices, Floats]:
    """Return edges and the angles at which they cross levels: an arc may do so twice.

    r = level where cos a = length / level - parabola, so on both sides of the arc's lowest point.
    """
    cosine = arcs.length[:, None] / levels - arcs.parabola[:, None]
    bend = np.arccos(np.where(np.abs(cosine) <= 1.0, cosine, np.nan))
    found = [_between(sign * bend, arcs.start, arcs.turn) for sign in (1.0, -1.0)]
    edges, angles = zip(*found, strict=True)
    return np.concatenate(edges), np.concatenate(angles)


def _between(heading: Floats, start: Floats, turn: Floats) -> tuple[Indices, Floats]:
    """Return where headings lie strictly between an edge's ends, and how far from its first."""
    away = _wrapped(heading - start[:, None])
    share = away / turn[:, None]
    edge, level = np.nonzero((share > 0.0) & (share < 1.0))
    return edge, away[edge, level]


def _wrapped(angle: Floats) -> Floats:
    """Return an angle between -pi and pi."""
    wrapped: Floats = (angle + np.pi) % (2.0 * np.pi) - np.pi
    return wrapped


def _cut(axis: MedialAxis, cuts: _Cuts) -> MedialAxis:
    """Replace each edge by the chain of vertices through its cuts."""
    # The chains of all edges lie one after the other in one array: edge e has count[e] + 2
    # vertices from begins[e] on, its two ends and the cuts between them.
    order = np.lexsort((cuts.share, cuts.edge))
    edge = cuts.edge[order]
    new = len(axis.vertices) + np.arange(len(edge))
    count = np.bincount(edge, minlength=len(axis.edges))
    begins = np.cumsum(count + 2) - (count + 2)
    chain = np.empty(len(edge) + 2 * len(axis.edges), dtype=np.int64)
    chain[begins] = axis.edges[:, 0]
    chain[begins + count + 1] = axis.edges[:, 1]
    slot = np.arange(len(edge)) + 2 * edge + 1
    chain[slot] = new
    inner = np.ones(len(chain), dtype=bool)
    inner[begins + count + 1] = False
    at = np.flatnonzero(inner)
    return replace(
        axis,
        vertices=np.concatenate([axis.vertices, cuts.place[order]]),
        distances=np.concatenate([axis.distances, cuts.distance[order]]),
        edges=np.column_stack([chain[at], chain[at + 1]]),
        sites=np.repeat(axis.sites, count + 1, axis=0),
    )


SAME_FOOT_MM: Final = 1e-7
"""A foot nearer than this to a segment's end is that end; a hundredth of the grid [mm]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Arrays of one length, a row of which belongs together."""

    def take(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> Self:
        return type(self)(*(getattr(self, field.name)[rows] for field in fields(self)))

    def append(self, other: Self) -> Self:
        pairs = ((getattr(self, f.name), getattr(other, f.name)) for f in fields(self))
        return type(self)(*map(np.concatenate, pairs))


@dataclass(frozen=True, slots=True, eq=False)
class Spokes(_Rows):
    """Shortest ways from vertices of the axis down to the edge, each once."""

    foot: Points
    """Where it stands on the region's edge, shape (n, 2) [mm]."""
    corner: Indices
    """The corner that it stands on, or -1."""
    segment: Indices
    """The segment that it stands on, between its ends, or -1."""
    direction: Points
    """Unit vector up the wall, seen from above, shape (n, 2)."""
    reach: Floats
    """Distance from the edge at its tip, infinite where a plateau ends it [mm]."""
    tip: Indices
    """The vertex of the axis at its top."""
    first_level: Indices
    """The lowest level at which a facet needs a vertex on it."""


@dataclass(frozen=True, slots=True, eq=False)
class Strips(_Rows):
    """Pairs of spokes of one site; strips along a segment lie in order."""

    right: Indices
    """The spoke on the right, with the edge below and the axis above."""
    left: Indices
    site: Indices
    """A segment s, or a corner as -1 - c."""
    interval: Indices
    """In which interval its top edge lies; the number of intervals where that is the plateau."""


def strips_of(axis: MedialAxis, profile: HeightProfile) -> tuple[Spokes, Strips]:
    """Return the spokes and strips of an axis that is subdivided at a profile's levels."""
    levels = profile.distances[1:]
    spokes, strips = _both_sides(axis, levels)
    spokes, strips = _fans_divided(spokes, strips, intervals=len(levels), fan_rad=profile.fan_rad)
    return _with_first_levels(spokes, strips, len(levels)), strips


def _both_sides(axis: MedialAxis, levels: Floats) -> tuple[Spokes, Strips]:
    """Return one strip for each side of each edge, and their spokes, each once."""
    # Walked with the site on its left, an edge starts at the right end of the strip.
    start = np.concatenate([axis.edges[:, 0], axis.edges[:, 1]])
    end = np.concatenate([axis.edges[:, 1], axis.edges[:, 0]])
    site = np.concatenate([axis.sites[:, 0], axis.sites[:, 1]])
    start, end, site = (each[site != NO_SITE] for each in (start, end, site))
    tip = np.concatenate([start, end])
    # From each end of an edge a spoke runs down to the nearest point of the site.
    corner, segment, foot = _feet(axis, tip, np.concatenate([site, site]))
    # Two strips side by side share a spoke: the same tip on the same foot.
    stands_on = np.where(corner >= 0, corner, len(axis.corners) + segment)
    key = tip * (len(axis.corners) + len(axis.segments)) + stands_on
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    reach = axis.distances[tip]
    rise = axis.vertices[tip] - foot
    direction = rise / np.where(reach > 0.0, np.linalg.norm(rise, axis=1), 1.0)[:, None]
    reach = np.where(reach > levels[-1], np.inf, reach)
    # `first_level` follows at the end; until then any array of that length stands for it.
    spokes = Spokes(foot, corner, segment, direction, reach, tip, segment).take(first)
    right, left = np.split(number, 2)
    # The interval of a strip is that of its top edge, which ends at the higher of both tips.
    low, high = np.sort(spokes.reach[np.array([right, left])], axis=0)
    interval = np.searchsorted(levels, high, side="left")
    # A strip with one end at the plateau's edge and one beyond ends on the plateau; with both
    # just at the edge it is a ridge.
    interval = np.where(np.isinf(high) & (low < levels[-1]), len(levels) - 1, interval)
    return spokes, _in_order(axis, spokes, Strips(right, left, site, interval))


def _feet(axis: MedialAxis, tip: Indices, site: Indices) -> tuple[Indices, Indices, Points]:
    """Return where spokes stand: on a corner, or between a segment's ends (the other is -1)."""
    on_segment = site >= 0
    pair = axis.segments[np.where(on_segment, site, 0)]
    a, b = axis.corners[pair[:, 0]], axis.corners[pair[:, 1]]
    length = np.linalg.norm(b - a, axis=1)
    along = (b - a) / length[:, None]
    at = np.einsum("ij,ij->i", axis.vertices[tip] - a, along)
    corner = np.where(
        at < SAME_FOOT_MM, pair[:, 0], np.where(at > length - SAME_FOOT_MM, pair[:, 1], -1)
    )
    corner = np.where(on_segment, corner, -1 - site)
    corner = np.where(tip < len(axis.corners), tip, corner)
    foot = np.where((corner >= 0)[:, None], axis.corners[corner], a + at[:, None] * along)
    return corner, np.where(corner >= 0, -1, site), foot


def _in_order(axis: MedialAxis, spokes: Spokes, strips: Strips) -> Strips:
    """Sort strips by site, and along a segment by their left foot."""
    along = np.zeros(len(strips.site))
    rows = np.flatnonzero(strips.site >= 0)
    pair = axis.corners[axis.segments[strips.site[rows]]]
    way = pair[:, 1] - pair[:, 0]
    # Two left feet on one corner (a convex one) are told apart by the right foot.
    middle = spokes.foot[strips.left[rows]] + spokes.foot[strips.right[rows]]
    along[rows] = np.einsum("ij,ij->i", middle, way)
    return strips.take(np.lexsort((along, strips.site)))


def _fans_divided(
    spokes: Spokes, strips: Strips, *, intervals: int, fan_rad: float
) -> tuple[Spokes, Strips]:
    """Replace strips around a corner that end on the plateau by facets of at most `fan_rad`.

    Beyond the last level the axis has no chords, and all of a fan that reaches the plateau is one
    cone: it is divided evenly, whatever edges of the axis lie above it.
    """
    whole = (strips.site < 0) & (strips.interval == intervals)
    if not whole.any():
        return spokes, strips
    fans = _chained(strips.take(whole))
    heading = np.arctan2(spokes.direction[:, 1], spokes.direction[:, 0])
    # A fan turns counter-clockwise from its right spoke to its left one.
    turn = (heading[fans.left] - heading[fans.right]) % (2.0 * np.pi)
    parts = np.maximum(np.ceil(turn / fan_rad - 1e-9).astype(np.int64), 1)
    fan = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(fan)) - np.repeat(np.cumsum(parts) - parts, parts)
    inner = np.flatnonzero(number > 0)
    angle = (heading[fans.right[fan]] + turn[fan] * number / parts[fan])[inner]
    added = replace(
        spokes.take(fans.right[fan[inner]]),
        direction=np.column_stack([np.cos(angle), np.sin(angle)]),
        reach=np.full(len(inner), np.inf),
    )
    right = fans.right[fan]
    right[inner] = len(spokes.foot) + np.arange(len(inner))
    left = np.append(right[1:], 0)
    left[np.cumsum(parts) - 1] = fans.left
    facets = replace(fans.take(fan), right=right, left=left)
    return spokes.append(added), strips.take(~whole).append(facets)


def _chained(strips: Strips) -> Strips:
    """Return each chain of strips, one's right spoke the next one's left, as one strip."""
    size = int(max(strips.right.max(), strips.left.max())) + 1
    # Corners are negative: -1 - site numbers them from 0.
    left = (-1 - strips.site) * size + strips.left
    right = (-1 - strips.site) * size + strips.right
    # A strip is followed by the one whose left spoke is its right one, around the same corner.
    order = np.argsort(left)
    found = np.minimum(np.searchsorted(left[order], right), len(left) - 1)
    follows = left[order][found] == right
    after = np.where(follows, order[found], np.arange(len(left)))
    while True:  # each round doubles how far a strip looks ahead
        further = after[after]
        if np.array_equal(further, after):
            break
        after = further
    first = np.setdiff1d(np.arange(len(left)), order[found[follows]])
    return replace(strips.take(first), right=strips.right[after[first]])


def _with_first_levels(spokes: Spokes, strips: Strips, intervals: int) -> Spokes:
    """Return the spokes with the lowest level at which each is needed.

    A spoke is needed from the lowest interval in which a strip beside it ends; between two strips
    that end on the plateau it is not needed at all; on a corner it is needed from the edge.
    """
    # A facet in an interval has corners at its lower level, so the spoke is needed from there on.
    lowest = np.where(strips.interval == intervals, intervals + 1, strips.interval)
    first = np.full(len(spokes.foot), intervals + 1)
    for side in (strips.left, strips.right):
        np.minimum.at(first, side, lowest)
    used = np.zeros(len(first), dtype=bool)
    used[strips.left] = used[strips.right] = True
    return replace(spokes, first_level=np.where(used & (spokes.corner >= 0), 0, first))
