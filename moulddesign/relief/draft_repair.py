"""Facets brought to the draft by the least moves of their heights.

A field is no steeper than the draft allows, yet a facet between three of its points may be, by a
little: its corners lie on a wall that bends. The plan stays, so that no facet can fold; heights
move by averaged projections onto what each facet allows, and by no more than a bound.
"""

from collections.abc import Callable, Sequence
from math import radians, tan
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Heights

ROUNDS: Final = 120
"""Rounds of projections before the rest is left as it is."""
MARGIN_DEG: Final = 0.003
"""By which the draft is overdone, so that round-off does not count [deg]."""
OVERSHOOT: Final = 1.02
"""By which a projection goes beyond its goal: its neighbours take some of it back."""
NEEDLE_MM: Final = 2e-5
"""Facets narrower than this in plan have no slope that a file in float32 would keep [mm]."""

SHORT_MM: Final = 0.05
"""A longer edge is not contracted: facets that reach across a crease would hide it [mm]."""
ALONG: Final = np.arange(1, 8) / 8.0
"""Where along a flipped side its heights are asked."""
SIXTHS: Final = 6
WITHIN: Final = (
    np.array([(i, j, SIXTHS - i - j) for i in range(6) for j in range(6) if 0 < i + j <= SIXTHS])
    / SIXTHS
)
"""Where in a facet that is made its heights are asked."""
GONE: Final = (-1, -1, -1)
"""Corners of a facet that was contracted."""
FLIPPED_MM: Final = 0.006
"""What a flip may move the surface where the new side is not within the error [mm]."""
CONTRACTED_MM: Final = 0.02
"""What contracting an edge may move the surface [mm]."""


class Repaired(NamedTuple):
    """Corners with heights that keep the draft."""

    vertices: Points
    """Shape (n, 3) [mm]."""
    moved_mm: float
    """The most that a height moved."""


def with_draft(vertices: Points, triangles: Indices, draft_deg: float, most_mm: float) -> Repaired:
    """Return corners moved in height so that facets keep a draft.

    Parameters
    ----------
    draft_deg : float
        Least angle between a facet and the pull direction [deg].
    most_mm : float
        No height moves by more [mm].
    """
    steepest = 1.0 / tan(radians(draft_deg + MARGIN_DEG))
    a, b, c = np.moveaxis(vertices[triangles, :2], 1, 0)
    sides = np.stack([b - a, c - b, a - c], axis=1)
    doubled = sides[:, 0, 0] * -sides[:, 2, 1] + sides[:, 0, 1] * sides[:, 2, 0]
    wide = doubled > NEEDLE_MM * np.sqrt((sides**2).sum(axis=2).max(axis=1))
    rows, sides, doubled = triangles[wide], sides[wide], doubled[wide]
    height = vertices[:, 2].copy()
    low, high = height - most_mm, height + most_mm
    # The gradient is the sum of each corner's height times the opposite side turned by 90 deg.
    turned = np.roll(sides, -1, axis=1)[..., ::-1] * (-1.0, 1.0) / doubled[:, None, None]
    out = vertices[rows, :2] - vertices[rows, :2].mean(axis=1, keepdims=True)
    owner = np.argsort(rows.ravel(), kind="stable") // 3
    start = np.searchsorted(np.sort(rows.ravel()), np.arange(len(vertices) + 1))
    active = np.arange(len(rows))
    for _ in range(ROUNDS):
        gradient = np.einsum("tc,tcx->tx", height[rows[active]], turned[active])
        slope = np.linalg.norm(gradient, axis=1)
        steep = slope > steepest
        if not steep.any():
            break
        bad = active[steep]
        factor = (steepest / slope[steep] - 1.0) * OVERSHOOT
        move = np.einsum("tcx,tx->tc", out[bad], gradient[steep] * factor[:, None])
        corners, at = np.unique(rows[bad], return_inverse=True)
        mean = np.bincount(at.ravel(), weights=move.ravel()) / np.bincount(at.ravel())
        height[corners] = np.clip(height[corners] + mean, low[corners], high[corners])
        around = [owner[start[corner] : start[corner + 1]] for corner in corners.tolist()]
        active = np.unique(np.concatenate(around))
    moved_mm = float(np.abs(height - vertices[:, 2]).max())
    return Repaired(np.column_stack([vertices[:, :2], height]), moved_mm)


def without_steep_slivers(
    vertices: Points,
    triangles: Indices,
    exact: Callable[[Indices, Points], Heights],
    *,
    fixed: Indices,
    draft_deg: float,
    error_mm: float,
) -> Indices:
    """Return triangles in which facets below a draft are flipped or contracted, where that helps.

    The longest side of such a facet becomes the other diagonal of its two facets, or its shortest
    possible side shrinks to a point. That is done where no facet turns over or falls below the
    draft, where the surface moves by no more than a bound, and where it stays one: the ends of a
    side that shrinks share no neighbours but the corners opposite to it.

    Parameters
    ----------
    exact : callable
        The heights at points that a facet each, a row of `triangles`, stands for, shapes (n,) and
        (n, 2) to (n,) [mm].
    fixed : ndarray
        Rows of `vertices` that stay.
    draft_deg : float
        Least angle between a facet and the pull direction [deg].
    error_mm : float
        What a side that is flipped, and a facet that a contracted side changed, may be off those
        heights [mm].

    Returns
    -------
    ndarray
        Row by row the given ones, with three times -1 where one is gone, shape (n, 3).
    """
    limit = 1.0 / tan(radians(draft_deg))
    slope = _slopes(vertices[triangles])
    bad = np.flatnonzero(~(slope <= limit) & (triangles[:, 0] >= 0))
    if not len(bad):
        return triangles
    around = _Neighbours(vertices, triangles, limit, set(fixed.tolist()))
    fits = around.flips_that_fit(bad, exact, error_mm)

    def keeps(rows: Indices, corners: Points) -> bool:
        return bool(_within(rows, corners, exact, error_mm).all())

    for facet in bad[np.argsort(-slope[bad], kind="stable")].tolist():
        if around.triangles[facet] and not around.flip_longest(facet, fits):
            around.contract_one_edge(facet, keeps)
    return around.triangles.changed()


class Divided(NamedTuple):
    """Triangles of which some were divided."""

    vertices: Points
    """The given ones first, shape (n, 3) [mm]."""
    triangles: Indices
    source: Indices
    """Of each triangle the one that it is a part of, shape (m,)."""


def with_feet(
    vertices: Points,
    triangles: Indices,
    exact: Callable[[Indices, Points], Heights],
    *,
    fixed: Indices,
    draft_deg: float,
    error_mm: float,
) -> Divided:
    """Return triangles in which slivers below a draft are divided, where less of them is then.

    The third corner of a sliver lies so near to its longest side that what this side is off the
    field, however little, makes the facet steep. The side takes a corner at the foot of the third,
    at the field's own height, and the facet beyond it is divided there as well.

    Parameters
    ----------
    exact, fixed, draft_deg, error_mm
        As for `without_steep_slivers`; a facet that is made may be off by so much.
    """
    limit = 1.0 / tan(radians(draft_deg))
    around = _Neighbours(vertices, triangles, limit, set(fixed.tolist()))
    bad = np.flatnonzero(~(_slopes(vertices[triangles]) <= limit)).tolist()
    sides = [(facet, *side) for facet in bad if (side := around.longest_side(facet))]
    facet, *corners, other = np.array(sides, dtype=np.int64).reshape(-1, 6).T
    a, b, c, d = vertices[np.stack(corners)]
    along, out = (b - a)[:, :2], (c - a)[:, :2]
    at = a[:, :2] + along * ((along * out).sum(axis=1) / (along**2).sum(axis=1))[:, None]
    feet = np.column_stack([at, exact(facet, at)])
    before = _corners([(a, b, c), (b, a, d)])
    after = _corners([(a, feet, c), (feet, b, c), (feet, a, d), (b, feet, d)])
    # Facets of two areas do not agree on the side's height: it is an edge, and stays.
    better = _steep_area(after, limit) < _steep_area(before, limit)
    better &= exact(other, at) == feet[:, 2]
    owner = np.stack([facet, facet, other, other])[:, better]
    better[better] = _within(owner, after[:, better], exact, error_mm).all(axis=0)
    made, taken, added = triangles.copy(), set[int](), list[int]()
    source, more = [np.arange(len(triangles))], list[tuple[int, ...]]()
    for row in np.flatnonzero(better).tolist():
        first, a_, b_, c_, d_, second = sides[row]
        if taken.isdisjoint((first, second)):
            taken |= {first, second}
            foot = len(vertices) + len(added)
            made[first], made[second] = (a_, foot, c_), (foot, a_, d_)
            more += [(foot, b_, c_), (b_, foot, d_)]
            added.append(row)
            source.append(np.array([first, second]))
    parts = np.array(more, dtype=np.int64).reshape(-1, 3)
    return Divided(
        np.concatenate([vertices, feet[np.array(added, dtype=np.int64)]]),
        np.concatenate([made, parts]),
        np.concatenate(source),
    )


def _corners(facets: Sequence[tuple[Points, Points, Points]]) -> Points:
    """Return the corners of facets that belong together row by row, shape (m, n, 3, 3) [mm]."""
    return np.stack([np.stack(three, axis=1) for three in facets])


def _steep_area(corners: Points, limit: float) -> Heights:
    """Return how much of facets is steeper than a limit, shape (m, n, 3, 3) to (n,) [mm^2]."""
    a, b, c = np.moveaxis(corners, 2, 0)
    size = np.linalg.norm(np.cross(b - a, c - a), axis=-1) / 2.0
    steep = ~(_slopes(corners.reshape(-1, 3, 3)) <= limit).reshape(size.shape)
    area: Heights = (size * steep).sum(axis=0)
    return area


def _within(
    rows: Indices,
    corners: Points,
    exact: Callable[[Indices, Points], Heights],
    error_mm: float,
) -> NDArray[np.bool_]:
    """Return whether facets, each part of a row, are within an error, (..., 3, 3) to (...)."""
    at = np.einsum("sc,...cx->...sx", WITHIN, corners).reshape(-1, 3)
    off = np.abs(exact(np.repeat(rows.ravel(), len(WITHIN)), at[:, :2]) - at[:, 2])
    good: NDArray[np.bool_] = (off.reshape(*rows.shape, len(WITHIN)) <= error_mm).all(axis=-1)
    return good


def _slopes(corners: Points) -> Points:
    """Return the slope of facets, infinite where one is upright or turned over."""
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    level = np.linalg.norm(normal[:, :2], axis=1)
    up = normal[:, 2]
    return np.where(up > 0.0, level / np.where(up > 0.0, up, 1.0), np.inf)


def _off_mm(corners: Points, point: Points) -> float:
    """Return how far facets, one of which holds a point in the plan, pass above or below it."""
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, ac, out = b - a, c - a, point - a
    doubled = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    second = (out[:, 0] * ac[:, 1] - out[:, 1] * ac[:, 0]) / doubled
    third = (ab[:, 0] * out[:, 1] - ab[:, 1] * out[:, 0]) / doubled
    holds = np.minimum(np.minimum(second, third), 1.0 - second - third)
    off = np.abs(second * ab[:, 2] + third * ac[:, 2] - out[:, 2])
    return float(off[holds.argmax()]) if len(off) else 0.0


def _crossing(a: Points, b: Points, c: Points, d: Points) -> Points:
    """Return the point of the line a b over which, in the plan, the line c d runs."""
    across = (d - c)[1], -(d - c)[0]
    share = (c - a)[:2] @ across / ((b - a)[:2] @ across)
    point: Points = a + share * (b - a)
    return point


class _Corners(dict[int, tuple[int, ...]]):
    """Corners of the triangles that were looked up, a few hundred of many; none where one is gone.

    What is assigned stays.
    """

    def __init__(self, triangles: Indices) -> None:
        self._rows = triangles

    def __missing__(self, facet: int) -> tuple[int, ...]:
        """Return a triangle's corners as they were given."""
        corners = tuple(self._rows[facet].tolist())
        self[facet] = corners if corners[0] >= 0 else ()
        return self[facet]

    def changed(self) -> Indices:
        """Return all triangles, with three times -1 where one is gone."""
        made = self._rows.copy()
        for facet, corners in self.items():
            made[facet] = corners or GONE
        return made


class _Neighbours:
    """Triangles as they are while edges are contracted."""

    def __init__(self, vertices: Points, triangles: Indices, limit: float, stay: set[int]) -> None:
        self.vertices = vertices
        self.limit = limit
        self.stay = stay
        self.triangles = _Corners(triangles)
        order = np.argsort(triangles.ravel(), kind="stable")
        start = np.searchsorted(triangles.ravel()[order], np.arange(len(vertices) + 1))
        self._owner, self._start = order // 3, start
        self._facets: dict[int, set[int]] = {}

    def facets_at(self, corner: int) -> set[int]:
        """Return the facets around a corner."""
        if corner not in self._facets:
            rows = self._owner[self._start[corner] : self._start[corner + 1]]
            self._facets[corner] = set(rows.tolist())
        return self._facets[corner]

    def longest_side(self, facet: int) -> tuple[int, ...]:
        """Return the ends of a facet's longest side, the corners opposite, and the facet beyond.

        Nothing where it lies along a ring, has no facet beyond, or the corners opposite share one.
        """
        corners = self.triangles[facet]
        place = self.vertices[list(corners), :2]
        first = int(np.linalg.norm(place - np.roll(place, -1, axis=0), axis=1).argmax())
        a, b, c = (corners[(first + turn) % 3] for turn in range(3))
        beyond = (self.facets_at(a) & self.facets_at(b)) - {facet}
        if len(beyond) != 1 or {a, b} <= self.stay:
            return ()
        (other,) = beyond
        (d,) = set(self.triangles[other]) - {a, b}
        return () if self.facets_at(c) & self.facets_at(d) else (a, b, c, d, other)

    def flips_that_fit(
        self, facets: Indices, exact: Callable[[Indices, Points], Heights], error_mm: float
    ) -> set[tuple[int, ...]]:
        """Return which flips of longest sides leave the new side within an error."""
        found = [(facet, self.longest_side(facet)) for facet in facets.tolist()]
        sides = np.array([(facet, *side) for facet, side in found if side], dtype=np.int64)
        facet, _, _, c, d, other = sides.reshape(-1, 6).T
        ends = self.vertices[np.stack([c, d], axis=1)]
        at = ends[:, :1] + ALONG[:, None] * (ends[:, 1:] - ends[:, :1])
        rows, points = np.repeat(np.stack([facet, other]), len(ALONG), axis=1), at.reshape(-1, 3)
        off = np.abs(np.stack([exact(row, points[:, :2]) for row in rows]) - points[:, 2])
        fit = (off.reshape(2, -1, len(ALONG)) <= error_mm).all(axis=(0, 2))
        return {tuple(side) for side in sides[fit].tolist()}

    def flip_longest(self, facet: int, fits: set[tuple[int, ...]]) -> bool:
        """Replace the longest side of a facet by the other diagonal, and return whether it may."""
        side = self.longest_side(facet)
        if not side:
            return False
        a, b, c, d, other = side
        made = [(c, a, d), (d, b, c)]
        halves = self.vertices[np.array(made)]
        if not (_slopes(halves) <= self.limit).all():
            return False
        on_side = _crossing(*self.vertices[[a, b, c, d]])
        if (facet, *side) not in fits and _off_mm(halves, on_side) > FLIPPED_MM:
            return False
        for row, corners in zip((facet, other), made, strict=True):
            self.triangles[row] = corners
        self.facets_at(a).discard(other)
        self.facets_at(b).discard(facet)
        self.facets_at(c).add(other)
        self.facets_at(d).add(facet)
        return True

    def contract_one_edge(self, facet: int, keeps: Callable[[Indices, Points], bool]) -> None:
        """Contract the shortest edge of a facet that can be contracted, where it is short."""
        corners = self.triangles[facet]
        pairs = [(a, b) for a in corners for b in corners if a != b and a not in self.stay]
        place = self.vertices[:, :2]
        pairs.sort(key=lambda pair: float(np.linalg.norm(place[pair[0]] - place[pair[1]])))
        for gone, kept in pairs:
            if np.linalg.norm(place[gone] - place[kept]) > SHORT_MM:
                return
            if self._may_contract(gone, kept, keeps):
                self._contract(gone, kept)
                return

    def _may_contract(self, gone: int, kept: int, keeps: Callable[[Indices, Points], bool]) -> bool:
        beside = {corner for facet in self.facets_at(gone) for corner in self.triangles[facet]}
        beyond = {corner for facet in self.facets_at(kept) for corner in self.triangles[facet]}
        both = self.facets_at(gone) & self.facets_at(kept)
        if len((beside & beyond) - {gone, kept}) != len(both):
            return False
        facets = sorted(self.facets_at(gone) - both)
        moved = [self._renamed(facet, gone, kept) for facet in facets]
        corners = self.vertices[np.array(moved, dtype=np.int64).reshape(-1, 3)]
        if not (_slopes(corners) <= self.limit).all():
            return False
        if _off_mm(corners, self.vertices[gone]) > CONTRACTED_MM:
            return False
        return keeps(np.array(facets, dtype=np.int64), corners)

    def _contract(self, gone: int, kept: int) -> None:
        for facet in sorted(self.facets_at(gone)):
            if kept in self.triangles[facet]:
                for corner in self.triangles[facet]:
                    self.facets_at(corner).discard(facet)
                self.triangles[facet] = ()
            else:
                self.triangles[facet] = self._renamed(facet, gone, kept)
                self.facets_at(kept).add(facet)
        self._facets[gone] = set()

    def _renamed(self, facet: int, gone: int, kept: int) -> tuple[int, ...]:
        return tuple(kept if corner == gone else corner for corner in self.triangles[facet])
