"""How far facets are off a field.

The field is asked once at the points of a grid, row by row, which takes half the time of scattered
points, and all facets that ever come are measured at the points that they hold: first at every
second one, then at all. Where pieces meet in a facet, places halfway between points of different
pieces are looked at as well. A facet that holds few points takes samples of its own.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import cos, sin
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry import Indices, Points
from moulddesign.geometry.sampling import points_held
from moulddesign.relief.field import Field, Heights

GRID_MM: Final = 0.05
"""Of the grid: an eighth of the narrowest stroke that a usual nozzle prints [mm]."""
TURN_RAD: Final = 0.13
"""Of its rows from the x axis: narrow ends of pieces that lie along an axis, as symmetry makes
them, would slip between the rows or columns of a grid that does as well."""
TURN: Final = np.array([[cos(TURN_RAD), -sin(TURN_RAD)], [sin(TURN_RAD), cos(TURN_RAD)]])
"""From places to the grid's own axes, row by row."""
LEAST_HELD: Final = 6
"""Facets that hold fewer points of it take samples of their own."""
OFF_GRID: Final = 0.15
"""Share of the way from a point of the grid to its facet's middle at which a new corner lies."""
FACETS_AT_ONCE: Final = 8192
"""What is measured at once, so that memory stays bounded."""
ROWS_AT_ONCE: Final = 128
"""Rows of the grid that are asked at once, for the same reason."""
LEAST_MM: Final = 0.002
"""Facets narrower than this, and edges shorter than twice it, are divided no further [mm]."""
CLEAR_MM: Final = 0.005
"""New corners keep so far from the sides of their facet, or steep slivers would lie there [mm]."""
STEEP_MM: Final = 0.01
"""Facets that are narrower are not divided for being steep [mm]."""
STEEP_SHARE: Final = 1.001
"""Multiple of the bound by which a facet that is too steep counts as off."""

FacetMeasure = Callable[[Points, Heights, Indices], tuple[Heights, Points]]
"""How far facets are off, known where it is beyond the bound, and where most: of places and heights
of corners, and of rows of them, shape (m, 3)."""


class Samples(NamedTuple):
    """A field at the points of a grid, and between those of different pieces."""

    grid: "_Grid"
    between: "_Grid"


def field_samples(plan: Points, field: Field) -> Samples:
    """Return a field where facets will be measured.

    Parameters
    ----------
    plan : ndarray
        Facets that hold all that will be measured, shape (n, 3, 2) [mm].
    """
    grid = _Grid.over(plan, field)
    return Samples(grid, grid.between_pieces(field))


def facet_measures(
    samples: Samples, field: Field, *, bound_mm: float, steepest: float
) -> tuple[FacetMeasure, FacetMeasure]:
    """Return a quick measure of facets, and a full one for those that the first finds good.

    Parameters
    ----------
    steepest : float
        Facets that are steeper count as off, unless they are too narrow to be divided for it.
    """
    grid, between = samples
    coarser = grid.coarser()

    def quick(place: Points, heights: Heights, corners: Indices) -> tuple[Heights, Points]:
        found = coarser.measured(place, heights, corners, bound_mm)
        return found.error, found.worst

    def full(place: Points, heights: Heights, corners: Indices) -> tuple[Heights, Points]:
        error, worst, held, crossed = grid.measured(place, heights, corners, bound_mm)
        few = np.flatnonzero((error == 0.0) & (held < LEAST_HELD))
        error[few], worst[few] = _sampled(field, place, heights, corners[few])
        # Ridges and notches beside the end of a crease lie between the points of the grid.
        rows = np.flatnonzero(crossed & (error <= bound_mm))
        more = between.measured(place, heights, corners[rows], bound_mm)
        bad = more.error > 0.0
        error[rows[bad]], worst[rows[bad]] = more.error[bad], more.worst[bad]
        # A bend is seen best in the middle of a side that crosses it.
        on_side, at = grid.on_longest_side(field, place, heights, corners, bound_mm=bound_mm)
        rows = np.flatnonzero((on_side > EDGE_ALLOWANCE * bound_mm) & (error <= bound_mm))
        error[rows] = on_side[rows] / EDGE_ALLOWANCE
        worst[rows] = _clear(at[rows], place[corners[rows]])
        steep = np.flatnonzero(_steep(place, heights, corners, steepest) & (error <= bound_mm))
        error[steep] = STEEP_SHARE * bound_mm
        worst[steep] = place[corners[steep]].mean(axis=1)
        return error, worst

    return quick, full


class _Found(NamedTuple):
    """What facets are off."""

    error: Heights
    """0 where it is within the bound."""
    worst: Points
    held: Indices
    """Points in each facet."""
    crossed: NDArray[np.bool_]
    """Whether pieces meet in it."""


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """A field at points of a square grid."""

    low: Points
    """Its first point, along its own axes [mm]."""
    spacing_mm: float
    heights: NDArray[np.float32]
    """NaN where the field was not asked."""
    pieces: NDArray[np.int32] | None
    """None where it does not matter in which facets pieces meet."""

    @classmethod
    def over(cls, plan: Points, field: Field) -> "_Grid":
        """Return it at the points that facets hold, shape (n, 3, 2) [mm]."""
        plan = plan @ TURN
        low, high = plan.min(axis=(0, 1)) - GRID_MM, plan.max(axis=(0, 1)) + GRID_MM
        columns, rows = np.ceil((high - low) / GRID_MM).astype(np.int64).tolist()
        asked = np.zeros((rows, columns), dtype=bool)
        for some in _some(plan):
            _, column, row = points_held((some - low) / GRID_MM)
            asked[row, column] = True
        pieces = np.zeros(asked.shape, dtype=np.int32)
        return cls(low, GRID_MM, _heights(asked, low, GRID_MM, field, pieces=pieces), pieces)

    def coarser(self) -> "_Grid":
        """Return every second row and column."""
        return _Grid(self.low, 2.0 * self.spacing_mm, self.heights[::2, ::2], None)

    def between_pieces(self, field: Field) -> "_Grid":
        """Return what lies halfway in squares whose corners are not of one piece."""
        assert self.pieces is not None  # noqa: S101 (a grid over facets has them)
        ends = (slice(0, -1), slice(1, None))
        corners = [(row, column) for row in ends for column in ends]
        first, *others = (self.pieces[corner] for corner in corners)
        unlike = np.logical_or.reduce([other != first for other in others])
        for corner in corners:
            unlike &= np.isfinite(self.heights[corner])
        rows, columns = unlike.shape
        asked = np.zeros((2 * rows + 1, 2 * columns + 1), dtype=bool)
        for row, column in ((0, 1), (1, 0), (1, 1), (1, 2), (2, 1)):
            asked[row : row + 2 * rows : 2, column : column + 2 * columns : 2] |= unlike
        half_mm = self.spacing_mm / 2.0
        return _Grid(self.low, half_mm, _heights(asked, self.low, half_mm, field), None)

    def measured(
        self, place: Points, heights: Heights, corners: Indices, bound_mm: float
    ) -> _Found:
        """Return how far facets are off where that is beyond a bound, and where most."""
        found = [self._measured(place, heights, some, bound_mm) for some in _some(corners)]
        return _Found(*map(np.concatenate, zip(*found, strict=True)))

    def _measured(
        self, place: Points, heights: Heights, corners: Indices, bound_mm: float
    ) -> _Found:
        plan = ((place @ TURN)[corners] - self.low) / self.spacing_mm
        facet, column, row = points_held(plan)
        held = np.bincount(facet, minlength=len(corners))
        (ax, ay), (bx, by), (cx, cy) = np.moveaxis(plan, 0, 2)
        doubled = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        size = np.where(doubled > LEAST_MM / self.spacing_mm, doubled, np.nan)
        a, b, c = heights[corners].T
        slope_x = ((b - a) * (cy - ay) - (c - a) * (by - ay)) / size
        slope_y = ((c - a) * (bx - ax) - (b - a) * (cx - ax)) / size
        level = a - slope_x * ax - slope_y * ay
        flat = np.repeat(level, held) + np.repeat(slope_x, held) * column
        flat += np.repeat(slope_y, held) * row
        off = np.abs(flat - self.heights[row, column])
        crossed = np.zeros(len(corners), dtype=bool)
        if self.pieces is not None:
            piece, some = self.pieces[row, column], held > 0
            first = (np.cumsum(held) - held)[some]
            crossed[facet[piece != np.repeat(piece[first], held[some])]] = True
        error, worst = np.zeros(len(corners)), np.zeros((len(corners), 2))
        bad = np.flatnonzero(off > bound_mm)
        order = bad[np.lexsort([off[bad], facet[bad]])]
        most = order[np.append(facet[order][1:] != facet[order][:-1], True)[: len(order)]]
        rows = facet[most]
        error[rows] = off[most]
        at = np.column_stack([column[most], row[most]]) * self.spacing_mm + self.low
        worst[rows] = _clear(at @ TURN.T, place[corners[rows]])
        return _Found(error, worst, held, crossed)

    def on_longest_side(
        self, field: Field, place: Points, heights: Heights, corners: Indices, *, bound_mm: float
    ) -> tuple[Heights, Points]:
        """Return how far facets are off in the middle of their longest side, and the middles.

        Between four points of one piece, where their heights say so; 0 between others, and in
        slivers.
        """
        assert self.pieces is not None  # noqa: S101 (a grid over facets has them)
        sides = np.roll(place[corners], -1, axis=1) - place[corners]
        length2 = sides[..., 0] ** 2 + sides[..., 1] ** 2
        longest, every = length2.argmax(axis=1), np.arange(len(corners))
        one, other = corners[every, longest], corners[every, (longest + 1) % 3]
        doubled = _cross(sides[:, 0], sides[:, 1])
        same = doubled**2 > STEEP_MM**2 * length2[every, longest]
        middle = (place[one] + place[other]) / 2.0
        along, up = ((middle @ TURN - self.low) / self.spacing_mm).T
        column, row = along.astype(np.int64), up.astype(np.int64)
        along, up = along - column, up - row
        below, above = (
            self.heights[at, column] * (1.0 - along) + self.heights[at, column + 1] * along
            for at in (row, row + 1)
        )
        piece = self.pieces[row, column]
        for at, beside in ((row, column + 1), (row + 1, column), (row + 1, column + 1)):
            same &= self.pieces[at, beside] == piece
        level = (heights[one] + heights[other]) / 2.0
        off = np.where(same, np.abs(level - below * (1.0 - up) - above * up), 0.0)
        # Where one piece has a kink of its own, the grid alone would find good sides off.
        rows = np.flatnonzero(off > bound_mm)
        off[rows] = np.abs(level[rows] - field(middle[rows]).height)
        return off, middle


def _some(facets: NDArray[Any]) -> Iterator[NDArray[Any]]:
    """Yield facets, some at once, and once where there are none."""
    for first in range(0, max(len(facets), 1), FACETS_AT_ONCE):
        yield facets[first : first + FACETS_AT_ONCE]


def _heights(
    asked: NDArray[np.bool_],
    low: Points,
    spacing_mm: float,
    field: Field,
    *,
    pieces: NDArray[np.int32] | None = None,
) -> NDArray[np.float32]:
    """Return a field's heights where they are asked for, and write its pieces."""
    heights = np.full(asked.shape, np.nan, dtype=np.float32)
    for first in range(0, len(asked), ROWS_AT_ONCE):
        some = slice(first, first + ROWS_AT_ONCE)
        row, column = np.nonzero(asked[some])
        found = field((np.column_stack([column, row + first]) * spacing_mm + low) @ TURN.T)
        heights[some][row, column] = found.height
        if pieces is not None:
            pieces[some][row, column] = found.piece
    return heights


def _clear(at: Points, facets: Points) -> Points:
    """Return points drawn towards the middles of their facets until they are clear of the sides.

    Always a little: rows of corners in one line would make facets in one plane.
    """
    along = np.roll(facets, -1, axis=1) - facets
    along /= np.linalg.norm(along, axis=2, keepdims=True)
    middle = facets.mean(axis=1)
    own, goal = (_cross(along, points[:, None] - facets) for points in (at, middle))
    share = np.where(own < CLEAR_MM, (CLEAR_MM - own) / np.maximum(goal - own, 1e-9), 0.0)
    moved: Points = at + np.clip(share.max(axis=1), OFF_GRID, 1.0)[:, None] * (middle - at)
    return moved


def _cross(a: Points, b: Points) -> Points:
    crossed: Points = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return crossed


def _inner(n: int) -> Points:
    """Return the middles of the upright small triangles of a triangle divided n times a side."""
    made = [(i + 1 / 3, j + 1 / 3, n - i - j - 2 / 3) for i in range(n) for j in range(n - i)]
    return np.array(made) / n


def _around(n: int) -> Points:
    """Return n - 1 points inside each side."""
    share = np.arange(1, n) / n
    none = np.zeros(n - 1)
    first = np.column_stack([share, 1.0 - share, none])
    return np.concatenate([np.roll(first, turn, axis=1) for turn in range(3)])


LENGTHS_MM: Final = np.array([0.15, 0.5, 1.0, 1.8, 3.0])
"""Longest sides up to which a facet takes the next coarser pattern [mm]."""
PATTERNS: Final = tuple(
    (_inner(inner), _around(around))
    for inner, around in ((4, 3), (6, 4), (7, 5), (9, 6), (12, 9), (18, 12))
)
NARROW_ALLOWANCE: Final = 1.2
"""What is off in a facet without a clear sample counts by this less: to divide it makes slivers."""
EDGE_ALLOWANCE: Final = 1.05
"""What is off on a side counts by this less: the facet beyond it sees it as well."""


def _sampled(
    field: Field, place: Points, heights: Heights, corners: Indices
) -> tuple[Heights, Points]:
    """Return how far facets are off the field at samples of their own, and where inside most."""
    error, worst = np.zeros(len(corners)), np.zeros((len(corners), 2))
    a, b, c = np.moveaxis(place[corners], 1, 0)
    sides = np.stack([b - a, c - b, a - c], axis=1)
    lengths = np.hypot(sides[..., 0], sides[..., 1])
    longest = lengths.max(axis=1)
    doubled = _cross(b - a, c - a)
    number = np.where(
        doubled > LEAST_MM * longest, np.searchsorted(LENGTHS_MM, longest, side="right"), -1
    )
    # A point with shares s of the corners lies s times the height over each side from that side.
    reach = doubled[:, None] / np.roll(lengths, -1, axis=1)
    # Sample by sample, not facet by facet: a largest of few numbers at a time takes long. And
    # the field is asked once for all patterns.
    rows_of = [np.flatnonzero(number == first) for first in range(len(PATTERNS))]
    shares = [np.concatenate(pattern) for pattern in PATTERNS]
    places = [
        np.stack([share @ place[corners[rows], axis].T for axis in (0, 1)], axis=2)
        for rows, share in zip(rows_of, shares, strict=True)
    ]
    asked = field(np.concatenate([at.reshape(-1, 2) for at in places])).height
    begin = 0
    for rows, (inner, _), share, at in zip(rows_of, PATTERNS, shares, places, strict=True):
        found = asked[begin : begin + len(share) * len(rows)].reshape(len(share), len(rows))
        begin += found.size
        off = np.abs(share @ heights[corners[rows]].T - found)
        inside, on_sides = off[: len(inner)], off[len(inner) :].max(axis=0) / EDGE_ALLOWANCE
        clear = np.ones(inside.shape, dtype=bool)
        for corner in range(3):
            clear &= inner[:, corner, None] * reach[rows, corner] >= CLEAR_MM
        most = np.where(clear, inside + 1.0, inside).argmax(axis=0)
        narrow = np.where(clear.any(axis=0), 1.0, NARROW_ALLOWANCE)
        error[rows] = np.maximum(inside.max(axis=0), on_sides) / narrow
        worst[rows] = at[most, np.arange(len(rows))]
    return error, worst


def _steep(place: Points, heights: Heights, corners: Indices, steepest: float) -> NDArray[np.bool_]:
    """Return which facets are too steep and wide enough to be divided for it."""
    a, b, c = np.moveaxis(place[corners], 1, 0)
    doubled = _cross(b - a, c - a)
    za, zb, zc = heights[corners].T
    rise = np.hypot(
        (zb - za) * (c - a)[:, 1] - (zc - za) * (b - a)[:, 1],
        (zb - za) * (c - a)[:, 0] - (zc - za) * (b - a)[:, 0],
    )
    longest2 = np.maximum(
        np.maximum(((b - a) ** 2).sum(axis=1), ((c - b) ** 2).sum(axis=1)),
        ((a - c) ** 2).sum(axis=1),
    )
    steep: NDArray[np.bool_] = (rise > steepest * doubled) & (doubled**2 > STEEP_MM**2 * longest2)
    return steep
