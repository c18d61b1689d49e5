"""The contour roof: a surface over a region whose height follows the distance to the edge.

Each edge of the medial axis, seen from one side, spans a strip down to the boundary. A strip is
ruled: its foot on the boundary, the levels where the section bends, its top on the axis or on
the plateau. Strips share their columns, so the surface is closed by construction, every facet
lies in the plane of the wall it belongs to, and narrow strokes end in a ridge by themselves.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Mesh, Points, unfolded
from moulddesign.pastry.flat import filled
from moulddesign.pastry.medial import Floats, Medial, medial
from moulddesign.pastry.profile import Section
from moulddesign.pastry.subdivide import subdivided

FOOT_MM = 1e-5
"""A foot nearer than this to a segment's end is that end [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Roof:
    """A roof in pieces, over z = 0 at the region's edge.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
        Vertices [mm].
    walls : ndarray of int64, shape (m, 3)
        Triangles of the walls, upward side counter-clockwise.
    eaves, rims : tuple of ndarray of int64
        Closed loops of `vertices` along the region's edge and along the plateau, with the region
        (and the plateau) on the left.
    """

    vertices: Points
    walls: Indices
    eaves: tuple[Indices, ...]
    rims: tuple[Indices, ...]

    @property
    def surface(self) -> Mesh:
        """The walls and the plateaus."""
        return Mesh(self.vertices, np.concatenate([self.walls, filled(self.vertices, self.rims)]))


def roof(shape: shapely.MultiPolygon, section: Section) -> Roof:
    """Return the roof of a section over a region.

    Parameters
    ----------
    shape : shapely MultiPolygon
        Region on the grid (`medial.on_grid`) [mm], not empty.
    section : Section
        Height over the distance to the edge.

    Raises
    ------
    KernelError
        The region's medial axis could not be computed.
    """
    return roof_over(medial(shape), section)


def roof_over(axis: Medial, section: Section) -> Roof:
    """Return the roof of a section over a medial axis that is known already."""
    levels = section.distances[1:]
    axis = subdivided(axis, levels, section.fan_rad)
    columns, strips = _strips(axis, float(levels[-1]))
    columns, strips = _plateau_runs(columns, strips, section.fan_rad)
    return _assembled(axis, columns, strips=strips, section=section)


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Lines up the wall: where each starts, which way it climbs, where it ends."""

    foot: Points
    corner: Indices  # the boundary corner it stands on, or -1
    segment: Indices  # the segment it stands on inside its length, or -1
    direction: Points
    reach: Floats  # distance at its top; infinite where the plateau ends it
    top: Indices  # the axis vertex at its top

    def taken(self, rows: NDArray[np.int64]) -> "_Columns":
        return _Columns(*(getattr(self, name)[rows] for name in self.__slots__))


@dataclass(frozen=True, slots=True, eq=False)
class _Strips:
    """Pairs of columns of one site, the boundary below: right and left seen from the region."""

    right: Indices
    left: Indices
    site: Indices
    on_plateau: NDArray[np.bool_]

    def taken(self, rows: Indices) -> "_Strips":
        return _Strips(*(getattr(self, name)[rows] for name in self.__slots__))


def _strips(axis: Medial, plateau_mm: float) -> tuple[_Columns, _Strips]:
    """Return one strip for each side of each edge, and their columns, each once."""
    start = np.concatenate([axis.edges[:, 0], axis.edges[:, 1]])
    end = np.concatenate([axis.edges[:, 1], axis.edges[:, 0]])
    site = np.concatenate([axis.sites[:, 0], axis.sites[:, 1]])
    top = np.concatenate([start, end])
    corner, segment, foot = _feet(axis, top, np.concatenate([site, site]))
    stands_on = np.where(corner >= 0, corner, len(axis.corners) + segment)
    _, first, number = np.unique(
        top * (len(axis.corners) + len(axis.segments)) + stands_on,
        return_index=True,
        return_inverse=True,
    )
    reach = axis.distances[top]
    rise = axis.vertices[top] - foot
    direction = rise / np.where(reach > 0.0, np.linalg.norm(rise, axis=1), 1.0)[:, None]
    reach = np.where(reach > plateau_mm, np.inf, reach)
    columns = _Columns(foot, corner, segment, direction, reach, top).taken(first)
    right, left = np.split(number, 2)
    ends = np.sort(columns.reach[np.array([right, left])], axis=0)
    # A strip with both ends just at the plateau's edge is a ridge, not a rim.
    return columns, _Strips(right, left, site, (ends[0] >= plateau_mm) & np.isinf(ends[1]))


def _feet(axis: Medial, top: Indices, site: Indices) -> tuple[Indices, Indices, Points]:
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


def _plateau_runs(columns: _Columns, strips: _Strips, fan_rad: float) -> tuple[_Columns, _Strips]:
    """Merge neighbouring strips that end on the plateau, and fan those around a corner."""
    if not strips.on_plateau.any():
        return columns, strips
    runs = _merged(strips.taken(np.flatnonzero(strips.on_plateau)))
    columns, runs = _fanned(columns, runs, fan_rad)
    rest = strips.taken(np.flatnonzero(~strips.on_plateau))
    names = _Strips.__slots__
    return columns, _Strips(
        *(np.concatenate([getattr(rest, name), getattr(runs, name)]) for name in names)
    )


def _merged(strips: _Strips) -> _Strips:
    """Return each chain of strips, one's right column the next one's left, as one strip."""
    size = int(max(strips.right.max(), strips.left.max())) + 1
    left, right = strips.site * size + strips.left, strips.site * size + strips.right
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
    merged = strips.taken(first)
    return replace(merged, right=strips.right[after[first]])


def _fanned(columns: _Columns, runs: _Strips, fan_rad: float) -> tuple[_Columns, _Strips]:
    """Divide runs around a corner into facets of at most `fan_rad`, with columns between."""
    heading = np.arctan2(columns.direction[:, 1], columns.direction[:, 0])
    turn = np.where(runs.site < 0, (heading[runs.left] - heading[runs.right]) % (2.0 * np.pi), 0.0)
    parts = np.maximum(np.ceil(turn / fan_rad - 1e-9).astype(np.int64), 1)
    run = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(run)) - np.repeat(np.cumsum(parts) - parts, parts)
    inner = np.flatnonzero(number > 0)
    angle = heading[runs.right[run]] + turn[run] * number / parts[run]
    fresh = columns.taken(runs.right[run[inner]])
    fresh = replace(
        fresh,
        direction=np.column_stack([np.cos(angle), np.sin(angle)])[inner],
        reach=np.full(len(inner), np.inf),
    )
    begin = runs.right[run].copy()
    begin[inner] = len(columns.foot) + np.arange(len(inner))
    finish = np.append(begin[1:], 0)
    last = np.cumsum(parts) - 1
    finish[last] = runs.left
    names = _Columns.__slots__
    grown = _Columns(
        *(np.concatenate([getattr(columns, name), getattr(fresh, name)]) for name in names)
    )
    return grown, replace(runs.taken(run), right=begin, left=finish)


def _assembled(axis: Medial, columns: _Columns, *, strips: _Strips, section: Section) -> Roof:
    """Join the points of the columns that are used into walls, eaves and rims."""
    used, pairs = np.unique(np.array([strips.right, strips.left]), return_inverse=True)
    columns = columns.taken(used)
    right, left = pairs.reshape(2, -1)
    vertices, chains, last = _points(axis, columns, section)
    walls = _walls(chains, last, right=right, left=left)
    ends = chains[np.arange(len(last)), last]
    rims = _loops(ends[left[strips.on_plateau]], ends[right[strips.on_plateau]])
    return Roof(vertices=vertices, walls=walls, eaves=_eaves(axis, columns, chains), rims=rims)


def _points(axis: Medial, columns: _Columns, section: Section) -> tuple[Points, Indices, Indices]:
    """Return all vertices, the chain of vertices up each column, and where each chain ends.

    Chains have shape (columns, levels + 2): foot, levels below the top, top; -1 beyond the end.
    """
    levels = section.distances[1:]
    below = np.searchsorted(levels, columns.reach, side="left")
    count = len(columns.foot)
    chains = np.full((count, len(levels) + 2), -1, dtype=np.int64)
    inside = np.flatnonzero(columns.corner < 0)
    chains[:, 0] = columns.corner
    chains[inside, 0] = len(axis.vertices) + np.arange(len(inside))
    column, level = np.nonzero(np.arange(len(levels)) < below[:, None])
    chains[column, level + 1] = len(axis.vertices) + len(inside) + np.arange(len(column))
    capped = np.isinf(columns.reach)
    topped = np.flatnonzero(~capped & (columns.reach > 0.0))
    chains[topped, below[topped] + 1] = columns.top[topped]
    last = np.where(capped | (columns.reach == 0.0), below, below + 1)
    on_level = columns.foot[column] + levels[level, None] * columns.direction[column]
    flat = np.concatenate([axis.vertices, columns.foot[inside], on_level])
    height = np.concatenate(
        [section.height(axis.distances), np.zeros(len(inside)), section.heights[1:][level]]
    )
    return np.column_stack([flat, height]), chains, last


def _walls(chains: Indices, last: Indices, *, right: Indices, left: Indices) -> Indices:
    """Return the triangles between the columns of each strip, none with a corner twice."""
    both = np.minimum(last[right], last[left])
    made = []
    for level in range(int(both.max())):
        at = np.flatnonzero(both > level)
        l0, r0 = chains[left[at], level], chains[right[at], level]
        l1, r1 = chains[left[at], level + 1], chains[right[at], level + 1]
        made += [np.column_stack([l0, r0, r1]), np.column_stack([l0, r1, l1])]
    for higher in (right, left):
        at = np.flatnonzero(last[higher] > both)
        base, tip = both[at], chains[higher[at], both[at] + 1]
        corners = np.column_stack([chains[left[at], base], chains[right[at], base], tip])
        made.append(corners)
    return unfolded(np.concatenate(made))


def _eaves(axis: Medial, columns: _Columns, chains: Indices) -> tuple[Indices, ...]:
    """Return each ring of the boundary with the feet on it, in order."""
    rows = np.flatnonzero(columns.corner < 0)
    starts = axis.corners[axis.segments[:, 0]]
    along = np.linalg.norm(columns.foot[rows] - starts[columns.segment[rows]], axis=1)
    segment = np.concatenate([np.arange(len(axis.segments)), columns.segment[rows]])
    order = np.lexsort((np.concatenate([np.full(len(starts), -1.0), along]), segment))
    loop = np.concatenate([axis.segments[:, 0], chains[rows, 0]])[order]
    ring = axis.rings[segment[order]]
    return tuple(np.split(loop, np.flatnonzero(np.diff(ring)) + 1))


def _loops(begin: Indices, end: Indices) -> tuple[Indices, ...]:
    """Return closed loops of directed edges."""
    after: dict[int, list[int]] = {}
    for a, b in zip(begin.tolist(), end.tolist(), strict=True):
        after.setdefault(a, []).append(b)
    loops = []
    while after:
        here = start = next(iter(after))
        loop = []
        while True:
            loop.append(here)
            onward = after[here]
            following = onward.pop()
            if not onward:
                del after[here]
            here = following
            if here == start:
                break
        loops.append(np.array(loop, dtype=np.int64))
    return tuple(loops)
