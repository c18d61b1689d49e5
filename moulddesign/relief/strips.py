"""The medial axis cut where the section bends, and the strip that each of its edges spans."""

from dataclasses import dataclass, fields, replace
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry import Indices, Points
from moulddesign.relief.medial_axis import NO_SITE, MedialAxis
from moulddesign.relief.profile import HeightProfile
from moulddesign.relief.voronoi import Floats

COINCIDENT_MM: Final = 1e-6
"""Distances, and places along an edge, nearer than this are one [mm]; a tenth of the grid."""


def subdivided(axis: MedialAxis, levels_mm: Floats, fan_rad: float) -> MedialAxis:
    """Return the axis with a vertex wherever it crosses a level, and its arcs in short chords.

    Parameters
    ----------
    axis : Medial
        As the diagram gives it: straight and parabolic edges, ends only.
    levels_mm : ndarray, shape (k,)
        Rising distances at which the section bends; beyond the last it is level, and arcs there
        get no chords [mm].
    fan_rad : float
        Largest angle that a chord may span, seen from the corner it goes around [rad].
    """
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
    """Places on edges: which edge, how far along it (0 to 1), position, distance."""

    edge: Indices
    share: Floats
    place: Points
    distance: Floats

    def taken(self, rows: Indices) -> "_Cuts":
        return _Cuts(*(getattr(self, name)[rows] for name in self.__slots__))


def _joined(cuts: list[_Cuts]) -> _Cuts:
    names = _Cuts.__slots__
    return _Cuts(*(np.concatenate([getattr(c, name) for c in cuts]) for name in names))


def _snapped(distances: Floats, levels: Floats) -> Floats:
    near = np.abs(distances[:, None] - levels[None, :]) < COINCIDENT_MM
    return np.where(near.any(axis=1), levels[near.argmax(axis=1)], distances)


def _straight_cuts(axis: MedialAxis, rows: Indices, levels: Floats) -> _Cuts:
    """Between two segments the distance is linear along the edge."""
    ends = axis.vertices[axis.edges[rows]]
    d0, d1 = axis.distances[axis.edges[rows]].T
    crossed = (np.minimum(d0, d1)[:, None] < levels) & (np.maximum(d0, d1)[:, None] > levels)
    edge, level = np.nonzero(crossed)
    share = (levels[level] - d0[edge]) / (d1 - d0)[edge]
    place = ends[edge, 0] + share[:, None] * (ends[edge, 1] - ends[edge, 0])
    return _Cuts(rows[edge], share, place, levels[level])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Arcs:
    """Edges around a corner as r(phi) = length / (parabola + cos(start + phi)).

    `first` is the heading of the first end seen from the corner, `turn` the angle to the other
    end; `start` is `first` seen from the heading to the other site.
    """

    centre: Points
    first: Floats
    start: Floats
    turn: Floats
    length: Floats
    parabola: Floats

    def radius(self, edge: Indices, angle: Floats) -> Floats:
        radius: Floats = self.length[edge] / (
            self.parabola[edge] + np.cos(self.start[edge] + angle)
        )
        return radius


def _arcs(axis: MedialAxis, rows: Indices) -> _Arcs:
    """Return bisectors of two corners, m / cos, and of corner and segment, p / (1 + cos)."""
    corner_left = axis.sites[rows, 0] < 0
    near = np.where(corner_left, axis.sites[rows, 0], axis.sites[rows, 1])
    other = np.where(corner_left, axis.sites[rows, 1], axis.sites[rows, 0])
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
    return cuts.taken(np.flatnonzero(apart))


def _towards(axis: MedialAxis, centre: Points, other: Indices) -> tuple[Floats, Floats]:
    """Return the heading from a corner to the other site, and m or p of r(phi)."""
    is_segment = other >= 0
    a, b = np.moveaxis(axis.corners[axis.segments[np.where(is_segment, other, 0)]], 1, 0)
    along = (b - a) / np.linalg.norm(b - a, axis=1)[:, None]
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
    """Return edges and the angles at which they cross levels: an arc may do so twice."""
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
    """Replace each edge by the chain through its cuts."""
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


FOOT_MM: Final = 1e-7
"""A foot nearer than this to a segment's end is that end; a hundredth of the grid [mm]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Arrays of one length that are taken and joined together."""

    def taken(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> Self:
        return type(self)(*(getattr(self, field.name)[rows] for field in fields(self)))

    def joined(self, other: Self) -> Self:
        pairs = ((getattr(self, f.name), getattr(other, f.name)) for f in fields(self))
        return type(self)(*map(np.concatenate, pairs))


@dataclass(frozen=True, slots=True, eq=False)
class Spokes(_Rows):
    """Lines up the wall, each at a right angle to the edge that it stands on.

    Parameters
    ----------
    foot : ndarray, shape (n, 2)
        Where it stands on the region's edge [mm].
    corner, segment : ndarray of int64, shape (n,)
        The corner that it stands on, or the segment inside whose length it stands; else -1.
    direction : ndarray, shape (n, 2)
        Unit vector up the wall, seen from above.
    reach : ndarray, shape (n,)
        Distance from the edge at its top, infinite where a plateau ends it [mm].
    top : ndarray of int64, shape (n,)
        The vertex of the axis at its top.
    first : ndarray of int64, shape (n,)
        The lowest level at which a facet needs it; level 0 is the edge.
    """

    foot: Points
    corner: Indices
    segment: Indices
    direction: Points
    reach: Floats
    top: Indices
    first: Indices


@dataclass(frozen=True, slots=True, eq=False)
class Strips(_Rows):
    """Pairs of columns of one site; strips along a segment lie in order.

    Parameters
    ----------
    right, left : ndarray of int64, shape (m,)
        Columns; with the edge below and the axis above, left is left.
    site : ndarray of int64, shape (m,)
        Segment s, or corner as -1 - c.
    band : ndarray of int64, shape (m,)
        Between which levels its top edge lies; the number of bands where that is the plateau.
    """

    right: Indices
    left: Indices
    site: Indices
    band: Indices


def strips_of(axis: MedialAxis, section: HeightProfile) -> tuple[Spokes, Strips]:
    """Return the columns and strips of an axis that is subdivided at a section's levels."""
    levels = section.distances[1:]
    columns, strips = _both_sides(axis, levels)
    columns, strips = _fanned(columns, strips, bands=len(levels), fan_rad=section.fan_rad)
    return _needed(columns, strips, len(levels)), strips


def _both_sides(axis: MedialAxis, levels: Floats) -> tuple[Spokes, Strips]:
    """Return one strip for each side of each edge, and their columns, each once."""
    start = np.concatenate([axis.edges[:, 0], axis.edges[:, 1]])
    end = np.concatenate([axis.edges[:, 1], axis.edges[:, 0]])
    site = np.concatenate([axis.sites[:, 0], axis.sites[:, 1]])
    start, end, site = (each[site != NO_SITE] for each in (start, end, site))
    top = np.concatenate([start, end])
    corner, segment, foot = _feet(axis, top, np.concatenate([site, site]))
    stands_on = np.where(corner >= 0, corner, len(axis.corners) + segment)
    key = top * (len(axis.corners) + len(axis.segments)) + stands_on
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    reach = axis.distances[top]
    rise = axis.vertices[top] - foot
    direction = rise / np.where(reach > 0.0, np.linalg.norm(rise, axis=1), 1.0)[:, None]
    reach = np.where(reach > levels[-1], np.inf, reach)
    columns = Spokes(foot, corner, segment, direction, reach, top, segment).taken(first)
    right, left = np.split(number, 2)
    low, high = np.sort(columns.reach[np.array([right, left])], axis=0)
    band = np.searchsorted(levels, high, side="left")
    # A strip with one end at the plateau's edge and one beyond ends on the plateau; with both
    # just at the edge it is a ridge.
    band = np.where(np.isinf(high) & (low < levels[-1]), len(levels) - 1, band)
    return columns, _in_order(axis, columns, Strips(right, left, site, band))


def _feet(axis: MedialAxis, top: Indices, site: Indices) -> tuple[Indices, Indices, Points]:
    """Return where columns stand: on a corner, or inside a segment (the other is -1)."""
    on_segment = site >= 0
    pair = axis.segments[np.where(on_segment, site, 0)]
    a, b = axis.corners[pair[:, 0]], axis.corners[pair[:, 1]]
    length = np.linalg.norm(b - a, axis=1)
    along = (b - a) / length[:, None]
    at = np.einsum("ij,ij->i", axis.vertices[top] - a, along)
    corner = np.where(at < FOOT_MM, pair[:, 0], np.where(at > length - FOOT_MM, pair[:, 1], -1))
    corner = np.where(on_segment, corner, -1 - site)
    corner = np.where(top < len(axis.corners), top, corner)
    foot = np.where((corner >= 0)[:, None], axis.corners[corner], a + at[:, None] * along)
    return corner, np.where(corner >= 0, -1, site), foot


def _in_order(axis: MedialAxis, columns: Spokes, strips: Strips) -> Strips:
    """Sort strips by site, and along a segment by their left foot."""
    along = np.zeros(len(strips.site))
    rows = np.flatnonzero(strips.site >= 0)
    pair = axis.corners[axis.segments[strips.site[rows]]]
    way = pair[:, 1] - pair[:, 0]
    # Two feet on one corner (a convex one) are told apart by the right foot.
    middle = columns.foot[strips.left[rows]] + columns.foot[strips.right[rows]]
    along[rows] = np.einsum("ij,ij->i", middle, way)
    return strips.taken(np.lexsort((along, strips.site)))


def _fanned(
    columns: Spokes, strips: Strips, *, bands: int, fan_rad: float
) -> tuple[Spokes, Strips]:
    """Replace strips around a corner that end on the plateau by facets of at most `fan_rad`."""
    whole = (strips.site < 0) & (strips.band == bands)
    if not whole.any():
        return columns, strips
    runs = _merged(strips.taken(whole))
    heading = np.arctan2(columns.direction[:, 1], columns.direction[:, 0])
    turn = (heading[runs.left] - heading[runs.right]) % (2.0 * np.pi)
    parts = np.maximum(np.ceil(turn / fan_rad - 1e-9).astype(np.int64), 1)
    run = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(run)) - np.repeat(np.cumsum(parts) - parts, parts)
    inner = np.flatnonzero(number > 0)
    angle = (heading[runs.right[run]] + turn[run] * number / parts[run])[inner]
    fresh = replace(
        columns.taken(runs.right[run[inner]]),
        direction=np.column_stack([np.cos(angle), np.sin(angle)]),
        reach=np.full(len(inner), np.inf),
    )
    right = runs.right[run]
    right[inner] = len(columns.foot) + np.arange(len(inner))
    left = np.append(right[1:], 0)
    left[np.cumsum(parts) - 1] = runs.left
    facets = replace(runs.taken(run), right=right, left=left)
    return columns.joined(fresh), strips.taken(~whole).joined(facets)


def _merged(strips: Strips) -> Strips:
    """Return each chain of strips, one's right column the next one's left, as one strip."""
    size = int(max(strips.right.max(), strips.left.max())) + 1
    # Corners are negative: -1 - site numbers them from 0.
    left = (-1 - strips.site) * size + strips.left
    right = (-1 - strips.site) * size + strips.right
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
    return replace(strips.taken(first), right=strips.right[after[first]])


def _needed(columns: Spokes, strips: Strips, bands: int) -> Spokes:
    """Return the columns with the lowest level at which each is needed.

    A column is needed from the lowest band in which a strip beside it ends; between two strips
    that end on the plateau it is not needed at all; on a corner it is needed from the edge.
    """
    lowest = np.where(strips.band == bands, bands + 1, strips.band)
    first = np.full(len(columns.foot), bands + 1)
    for side in (strips.left, strips.right):
        np.minimum.at(first, side, lowest)
    used = np.zeros(len(first), dtype=bool)
    used[strips.left] = used[strips.right] = True
    return replace(columns, first=np.where(used & (columns.corner >= 0), 0, first))
