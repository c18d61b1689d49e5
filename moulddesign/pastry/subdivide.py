"""The medial axis cut where the section bends and where its arcs need more chords."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from moulddesign.mesh import Indices, Points
from moulddesign.pastry.boundary import Floats
from moulddesign.pastry.medial import NOBODY, Medial

SAME_MM: Final = 1e-6
"""Distances, and places along an edge, nearer than this are one [mm]; a tenth of the grid."""


def subdivided(axis: Medial, levels_mm: Floats, fan_rad: float) -> Medial:
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
    near = (axis.sites != NOBODY).all(axis=1)
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
    near = np.abs(distances[:, None] - levels[None, :]) < SAME_MM
    return np.where(near.any(axis=1), levels[near.argmax(axis=1)], distances)


def _straight_cuts(axis: Medial, rows: Indices, levels: Floats) -> _Cuts:
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


def _arcs(axis: Medial, rows: Indices) -> _Arcs:
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


def _arc_cuts(axis: Medial, rows: Indices, *, levels: Floats, fan_rad: float) -> _Cuts:
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
    apart = np.linalg.norm(ends - place[:, None, :], axis=2).min(axis=1) > SAME_MM
    cuts = _Cuts(rows[edge], angle / arcs.turn[edge], place, _snapped(radius, levels))
    return cuts.taken(np.flatnonzero(apart))


def _towards(axis: Medial, centre: Points, other: Indices) -> tuple[Floats, Floats]:
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


def _cut(axis: Medial, cuts: _Cuts) -> Medial:
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
