"""Facets of a height field: constraint edges, and a triangulation of them refined to a bound.

Creases, outline and the stamp's outline are noded on a fine grid, so that no two edges cross or
nearly touch, and short edges are contracted. The constrained Delaunay triangulation (pythoncdt) of
what is left is refined: a facet that is off the field by more than the bound, and by more than its
neighbours are, takes a new corner where it is worst. That is nearly the greedy order, which needs
fewest facets, at some thirty rounds in place of one for each corner.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, NamedTuple

import numpy as np
import pythoncdt
import shapely
from numpy.typing import DTypeLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moulddesign.core import KernelError, say
from moulddesign.geometry import Indices, Points
from moulddesign.geometry.sampling import points_held
from moulddesign.relief.coarsening import coarsened
from moulddesign.relief.field import Field, Heights

NODE_GRID_MM: Final = 5e-4
"""Grid on which lines are noded: a hundredth of what a printer resolves [mm]."""
NEAR_RING_MM: Final = 0.004
"""Points so near to a ring are put on it, or upright slivers would stand along it [mm]."""
ON_RING_MM: Final = 1e-6
"""Points of a ring lie on it within this: round-off [mm]."""
NEAR_EDGE_MM: Final = 0.002
"""Creases that pass a foreign corner so nearly are left out [mm]."""
SHORT_MM: Final = 0.005
"""Constraint edges shorter than this are contracted; a quarter of the usual bound [mm]."""
LEAST_MM: Final = 0.002
"""Facets narrower than this, and edges shorter than twice it, are divided no further [mm]."""
CLEAR_MM: Final = 0.005
"""New corners keep so far from the sides of their facet, or steep slivers would lie there [mm]."""
STEEP_MM: Final = 0.01
"""Facets that are narrower are not divided for being steep [mm]."""
STEEP_SHARE: Final = 1.001
SPLITS: Final = 8
"""Halvings of a constraint edge: 10 mm come down to 0.04 mm."""
ALONG: Final = np.arange(1, 12) / 12.0
"""Where the field is asked along a constraint edge: a rim may cross a groove of 0.1 mm."""
MIDDLE: Final = 5
ROUNDS: Final = 120
"""Rounds of refinement before it is given up: twice what the finest face took."""
SUPER: Final = 3
"""Corners that the triangulation puts before the given ones."""
GRID_MM: Final = 0.1
"""Of the grid on which facets are measured first: half of what creases are looked for on [mm]."""
OFF_GRID: Final = 0.15
"""Share of the way from a point of the grid to its facet's middle at which a new corner lies."""
OUTSIDE: Final = -1
"""Area of facets that belong to no surface."""


class Network(NamedTuple):
    """Constraint edges that meet in their ends only."""

    points: Points
    """Shape (n, 2) [mm]."""
    edges: Indices
    """Rows of `points`, shape (m, 2)."""
    rings: tuple[Indices, ...]
    """Rows along each of the rings that were asked for, counter-clockwise."""


def network(pieces: Points, rings: Sequence[shapely.LinearRing]) -> Network:
    """Return straight pieces and rings noded; corners of rings stay where they are, exactly.

    Parameters
    ----------
    pieces : ndarray
        Ends of straight pieces within the first ring, shape (n, 2, 2) [mm].
    rings : sequence of shapely LinearRing
        Counter-clockwise, apart from each other [mm].
    """
    graph = shapely.union_all([*shapely.linestrings(pieces), *rings], grid_size=NODE_GRID_MM)
    coordinates, part = shapely.get_coordinates(shapely.get_parts(graph), return_index=True)
    noded, row = np.unique(coordinates, axis=0, return_inverse=True)
    edges = np.column_stack([row[:-1], row[1:]])[part[:-1] == part[1:]]
    # Corners of the rings come first, then noded points; those at a corner become the corner.
    corners = np.concatenate([shapely.get_coordinates(ring)[:-1] for ring in rings])
    away, corner = cKDTree(corners).query(noded, distance_upper_bound=NEAR_RING_MM)
    row = np.where(np.isfinite(away), corner, len(corners) + np.arange(len(noded)))
    points = np.concatenate([corners, noded])
    rank = np.concatenate([np.full(len(corners), 2), np.zeros(len(noded), dtype=np.int64)])
    edges = row[edges]
    for ring in rings:
        shapely.prepare(ring)
        on_ring = shapely.dwithin(ring, shapely.points(points), NEAR_RING_MM)
        on_ring[: len(corners)] = False
        at = shapely.line_locate_point(ring, shapely.points(points[on_ring]))
        points[on_ring] = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
        rank[on_ring] = 1
    row = _contracted(points, edges, rank)
    edges = row[edges]
    chains = tuple(_chain(ring, points, np.unique(edges), corners) for ring in rings)
    around = np.concatenate([np.column_stack([c, np.roll(c, -1)]) for c in chains])
    edges = np.concatenate([around, _uncrossed(points, edges, around)])
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    used, flat = np.unique(edges, return_inverse=True)
    chains = tuple(np.searchsorted(used, chain) for chain in chains)
    return Network(points[used], flat.reshape(-1, 2), chains)


def _uncrossed(points: Points, edges: Indices, around: Indices) -> Indices:
    """Return edges without those that cross another one or an edge of the rings, or nearly do.

    Points that were moved onto rings and corners take their edges along, which may then cross one
    beside them. A crease with a gap costs some more facets there, and nothing else.
    """
    edges = np.unique(np.sort(edges[edges[:, 0] != edges[:, 1]], axis=1), axis=0)
    both = np.concatenate([around, edges])
    lines = shapely.linestrings(points[both])
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    met = both[first][:, :, None] == both[second][:, None, :]
    corner, passed = shapely.STRtree(lines).query(
        shapely.points(points[(used := np.unique(both))]), "dwithin", distance=NEAR_EDGE_MM
    )
    foreign = (both[passed] != used[corner, None]).all(axis=1)
    crossed = np.append(first[~met.any(axis=(1, 2))], passed[foreign]) - len(around)
    return np.delete(edges, np.unique(crossed[crossed >= 0]), axis=0)


def _contracted(points: Points, edges: Indices, rank: Indices) -> Indices:
    """Return the row that each point becomes when short edges shrink onto their chief end.

    A corner of a ring goes before a point on a ring, and that before others; corners never join.
    """
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    short = np.flatnonzero(length < SHORT_MM)
    chief = np.arange(len(points))
    members = {row: [row] for row in np.unique(edges[short]).tolist()}
    for a, b in edges[short[np.argsort(length[short], kind="stable")]].tolist():
        high, low = sorted((int(chief[a]), int(chief[b])), key=lambda row: (-rank[row], row))
        if high == low or rank[low] == rank.max():
            continue
        chief[members[low]] = high
        members[high] += members.pop(low)
    return chief


def _chain(ring: shapely.LinearRing, points: Points, rows: Indices, corners: Points) -> Indices:
    """Return the rows of points that lie on a ring, in the order of the ring."""
    own = shapely.get_coordinates(ring)[:-1]
    own_rows = cKDTree(corners).query(own)[1]
    rest = rows[rows >= len(corners)]
    rest = rest[shapely.dwithin(ring, shapely.points(points[rest]), ON_RING_MM)]
    on_ring = np.concatenate([own_rows, rest])
    lengths = np.linalg.norm(np.diff(shapely.get_coordinates(ring), axis=0), axis=1)
    at = np.concatenate(
        [
            np.cumsum(np.append(0.0, lengths[:-1])),
            shapely.line_locate_point(ring, shapely.points(points[rest])),
        ]
    )
    chain: Indices = on_ring[np.argsort(at, kind="stable")]
    return chain


def divided(
    points: Points, edges: Indices, field: Field, bound_mm: float
) -> tuple[Points, Indices]:
    """Return edges halved until the field along each is straight within a bound.

    New points come after the given ones.
    """
    done = [np.empty((0, 2), dtype=np.int64)]
    heights = field(points).height
    for _ in range(SPLITS):
        a, b = points[edges[:, 0]], points[edges[:, 1]]
        between = a[:, None] + ALONG[:, None] * (b - a)[:, None]
        found = field(between.reshape(-1, 2)).height.reshape(len(edges), len(ALONG))
        za, zb = heights[edges[:, 0], None], heights[edges[:, 1], None]
        off = np.abs(za + ALONG * (zb - za) - found).max(axis=1)
        bad = (off > bound_mm) & (np.linalg.norm(b - a, axis=1) > 2.0 * LEAST_MM)
        done.append(edges[~bad])
        new = len(points) + np.arange(int(bad.sum()))
        points = np.concatenate([points, between[bad, MIDDLE]])
        heights = np.concatenate([heights, found[bad, MIDDLE]])
        edges = np.concatenate(
            [np.column_stack([edges[bad, 0], new]), np.column_stack([new, edges[bad, 1]])]
        )
    return points, np.concatenate([*done, edges])


class Facets(NamedTuple):
    """Facets of a field."""

    points: Points
    """The given ones first, shape (n, 2) [mm]."""
    heights: Heights
    triangles: Indices
    """Counter-clockwise, shape (m, 3)."""
    area: Indices
    """The area that each triangle lies in, as `area_of` numbers them, shape (m,)."""


def facets(
    points: Points,
    edges: Indices,
    field: Field,
    *,
    area_of: Callable[[Points], Indices],
    bound_mm: float,
    steepest: float,
) -> Facets:
    """Return a constrained triangulation, refined until its samples are within a bound of a field.

    Facets that hold points of a grid are measured there first, for the field is asked once for all
    of them; then every facet at samples of its own, more of them where pieces meet inside it.

    Parameters
    ----------
    points, edges : ndarray
        Constraint edges, which are not divided.
    area_of : callable
        The number of the area in which points lie, shape (n, 2) to (n,), `OUTSIDE` where there is
        to be no surface; areas end at constraint edges.
    steepest : float
        Facets that are steeper are refined as well, unless they are too narrow for it.

    Raises
    ------
    KernelError
        The triangulation refuses the edges.
    """
    mesh = _triangulation(points, edges)
    given = len(points) + SUPER
    corners, _, place = _state(mesh)
    if len(place) != given:
        points, given = place[SUPER:], len(place)
    area = _areas(mesh, corners, place, area_of)
    corner_area = np.full(given, OUTSIDE, dtype=np.int64)
    plan = place[corners[area != OUTSIDE]]
    grid = _GridSamples.over(plan, field)
    measures = (
        partial(grid.measured, bound_mm=bound_mm),
        partial(_sampled, field, bound_mm=bound_mm, steepest=steepest),
    )
    stages = [_Measured(measure, bound_mm) for measure in measures]
    heights = np.empty(0)
    for _ in range(ROUNDS):
        corners, neighbours, place = _state(mesh)
        heights = np.concatenate([heights, field(place[len(heights) :]).height])
        # A facet that is new has a corner that is new, and lies in that corner's area.
        newest = corners.max(axis=1)
        area = np.concatenate([area, np.zeros(len(corners) - len(area), dtype=np.int64)])
        later = newest >= given
        area[later] = corner_area[newest[later]]
        top, worst = stages[0].worst_of(place, heights, corners, neighbours, area != OUTSIDE)
        if top.any():
            corner_area = np.concatenate([corner_area, area[top]])
            mesh.insert_vertices(_buffer(worst[top], np.float64))
        elif len(stages) > 1:
            stages.pop(0)
        else:
            break
    kept = area != OUTSIDE
    corners, area = corners[kept] - SUPER, area[kept]
    place, heights = place[SUPER:], heights[SUPER:]

    def off_ratio(rows: Indices) -> Heights:
        ratio = np.zeros(len(rows))
        for measure in measures:
            # What is found off on a grid need not be measured at samples of its own.
            some = np.flatnonzero(ratio <= 1.0)
            ratio[some] = measure(place, heights, rows[some])[0] / bound_mm
        return ratio

    corners, source = coarsened(
        np.column_stack([place, heights]),
        corners,
        may_go=np.arange(len(place)) >= given - SUPER,
        steepest=steepest,
        bound_mm=bound_mm,
        off_ratio=off_ratio,
    )
    return Facets(place, heights, corners, area[source])


def unrefined_facets(
    points: Points, edges: Indices, field: Field, *, area_of: Callable[[Points], Indices]
) -> Facets:
    """Return a constrained triangulation of points whose heights are a field's, not refined.

    Parameters and errors are those of `facets`.
    """
    corners, _, place = _state(_triangulation(points, edges))
    area = area_of(place[corners].mean(axis=1))
    kept = (area != OUTSIDE) & (corners >= SUPER).all(axis=1)
    place = place[SUPER:]
    return Facets(place, field(place).height, corners[kept] - SUPER, area[kept])


def _grown(values: Points, count: int) -> Points:
    return np.concatenate([values, np.zeros((count - len(values), *values.shape[1:]))])


class _Measured:
    """How far facets are off by one kind of samples, known until one of their corners changes."""

    def __init__(
        self, measure: Callable[[Points, Heights, Indices], tuple[Heights, Points]], bound_mm: float
    ) -> None:
        self._measure = measure
        self._bound_mm = bound_mm
        self._known = np.zeros((0, 3), dtype=np.int64)
        self._error, self._worst = np.zeros(0), np.zeros((0, 2))

    def worst_of(  # noqa: PLR0917 (the state of a triangulation)
        self,
        place: Points,
        heights: Heights,
        corners: Indices,
        neighbours: Indices,
        inside: NDArray[np.bool_],
    ) -> tuple[NDArray[np.bool_], Points]:
        """Return which facets are beyond the bound and worse than their neighbours, and where."""
        changed = np.ones(len(corners), dtype=bool)
        changed[: len(self._known)] = (corners[: len(self._known)] != self._known).any(axis=1)
        self._known = corners
        error, worst = _grown(self._error, len(corners)), _grown(self._worst, len(corners))
        error[changed] = 0.0
        rows = np.flatnonzero(changed & inside)
        error[rows], worst[rows] = self._measure(place, heights, corners[rows])
        self._error, self._worst = error, worst
        beside = np.where(
            neighbours < len(error), error[np.minimum(neighbours, len(error) - 1)], 0.0
        )
        return (error > self._bound_mm) & (error >= beside.max(axis=1)), worst


@dataclass(frozen=True, slots=True, eq=False)
class _GridSamples:
    """Heights of a field at the points of a square grid which facets hold."""

    low: Points
    heights: Points
    """NaN where the field was not asked."""

    @classmethod
    def over(cls, plan: Points, field: Field) -> "_GridSamples":
        """Return them at all points in facets that hold all that are to come, (n, 3, 2) [mm]."""
        low = plan.min(axis=(0, 1)) - GRID_MM
        _, column, row = points_held((plan - low) / GRID_MM)
        asked = np.zeros((int(row.max(initial=0)) + 2, int(column.max(initial=0)) + 2), dtype=bool)
        asked[row, column] = True
        heights = np.full(asked.shape, np.nan)
        y, x = np.nonzero(asked)
        heights[asked] = field(np.column_stack([x, y]) * GRID_MM + low).height
        return cls(low, heights)

    def measured(
        self, place: Points, heights: Heights, corners: Indices, bound_mm: float
    ) -> tuple[Heights, Points]:
        """Return how far facets are off at points of the grid inside them, and where most."""
        error, worst = np.zeros(len(corners)), np.zeros((len(corners), 2))
        plan = (place[corners] - self.low) / GRID_MM
        facet, column, row = points_held(plan)
        (ax, ay), (bx, by), (cx, cy) = np.moveaxis(plan, 0, 2)
        doubled = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        wide = np.abs(doubled) > LEAST_MM / GRID_MM
        x, y, size = column - ax[facet], row - ay[facet], np.where(wide, doubled, np.inf)[facet]
        second = (x * (cy - ay)[facet] - y * (cx - ax)[facet]) / size
        third = (y * (bx - ax)[facet] - x * (by - ay)[facet]) / size
        a, b, c = heights[corners].T
        flat = a[facet] + second * (b - a)[facet] + third * (c - a)[facet]
        off = np.where(wide[facet], np.abs(flat - self.heights[row, column]), 0.0)
        bad = np.flatnonzero(off > bound_mm)
        # A point with a share of a corner lies that share of its height from the side beyond it.
        facet, share = facet[bad], np.stack([1.0 - second - third, second, third])[:, bad]
        sides = np.stack(
            [np.hypot(cx - bx, cy - by), np.hypot(ax - cx, ay - cy), np.hypot(bx - ax, by - ay)]
        )
        clear = (share * (doubled / sides)[:, facet]).min(axis=0) * GRID_MM >= CLEAR_MM
        bad, facet = bad[clear], facet[clear]
        order = bad[np.lexsort([off[bad], facet])]
        facet = np.sort(facet)
        last = np.append(facet[1:] != facet[:-1], True)[: len(facet)]
        rows, most = facet[last], order[last]
        error[rows] = off[most]
        # A little off the grid: rows of corners in one line make facets in one plane.
        at = np.column_stack([column[most], row[most]]) * GRID_MM + self.low
        worst[rows] = at + OFF_GRID * (place[corners[rows]].mean(axis=1) - at)
        return error, worst


def _triangulation(points: Points, edges: Indices) -> pythoncdt.Triangulation:
    made = pythoncdt.Triangulation(
        pythoncdt.VertexInsertionOrder.AUTO,
        pythoncdt.IntersectingConstraintEdges.TRY_RESOLVE,
        0.0,
    )
    try:
        made.insert_vertices(_buffer(points, np.float64))
        made.insert_edges(_buffer(edges, np.uintc))
    except (RuntimeError, ValueError) as error:
        raise KernelError(say("relief.facets"), say("relief.said", reason=str(error))) from error
    return made


def _buffer(rows: Points | Indices, kind: DTypeLike) -> Any:  # noqa: ANN401
    """Return rows as the triangulation takes them; an array is a typed buffer from Python 3.12."""
    return np.ascontiguousarray(rows, dtype=kind)


def _state(mesh: pythoncdt.Triangulation) -> tuple[Indices, Indices, Points]:
    """Return corners and neighbours of all triangles, and the places of all corners."""
    triangles, vertices = mesh.triangles_array(), mesh.vertices_array()
    return (
        triangles["vertices"].astype(np.int64),
        triangles["neighbors"].astype(np.int64),
        np.column_stack([vertices["x"], vertices["y"]]),
    )


def _areas(
    mesh: pythoncdt.Triangulation,
    corners: Indices,
    place: Points,
    area_of: Callable[[Points], Indices],
) -> Indices:
    """Return the area of each triangle: asked once for all that no constraint edge divides."""
    neighbours = mesh.triangles_array()["neighbors"].astype(np.int64)
    size = len(place)
    fixed = np.array([(edge.v1, edge.v2) for edge in mesh.fixed_edges_iter()], dtype=np.int64)
    fixed = np.sort(fixed.reshape(-1, 2), axis=1)
    # Of a triangle, neighbour i lies beyond the side from corner i to the next one.
    sides = np.sort(np.stack([corners, np.roll(corners, -1, axis=1)], axis=2), axis=2)
    walled = np.isin(sides[..., 0] * size + sides[..., 1], fixed[:, 0] * size + fixed[:, 1])
    triangle, side = np.nonzero(~walled & (neighbours < len(corners)))
    links = (np.ones(len(triangle)), (triangle, neighbours[triangle, side]))
    _, group = connected_components(
        coo_array(links, shape=(len(corners), len(corners))), directed=False
    )
    a, b, c = np.moveaxis(place[corners], 1, 0)
    size_mm2 = np.abs(_cross(b - a, c - a))
    order = np.lexsort([size_mm2, group])
    largest = order[np.append(group[order][1:] != group[order][:-1], True)]
    area = area_of(place[corners[largest]].mean(axis=1))
    area[(corners[largest] < SUPER).any(axis=1)] = OUTSIDE
    found: Indices = area[group]
    return found


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
    for inner, around in ((3, 2), (4, 3), (5, 5), (8, 6), (12, 9), (18, 12))
)
COARSE: Final = (_inner(4), _around(3))
"""The pattern that large facets take first: most of them are off so clearly that it shows."""
DENSEST: Final = len(PATTERNS) - 1
CROSSED_MORE: Final = 3
"""Facets in which pieces meet take the pattern of so much larger ones."""
FINE_FROM: Final = 3
"""Patterns from here on are large ones."""
NARROW_ALLOWANCE: Final = 1.2
"""What is off in a facet without a clear sample counts by this less: to divide it makes slivers."""
EDGE_ALLOWANCE: Final = 1.05
"""What is off on a side counts by this less: the facet beyond it sees it as well."""


def _sampled(
    field: Field,
    place: Points,
    heights: Heights,
    corners: Indices,
    *,
    bound_mm: float,
    steepest: float,
) -> tuple[Heights, Points]:
    """Return how far facets are off the field at their samples, and where inside most.

    A facet that is too steep counts as off by more than the bound, be it by little.
    """
    error, worst = np.zeros(len(corners)), np.zeros((len(corners), 2))
    crossed = np.zeros(len(corners), dtype=bool)
    a, b, c = np.moveaxis(place[corners], 1, 0)
    sides = np.stack([b - a, c - b, a - c], axis=1)
    lengths = np.hypot(sides[..., 0], sides[..., 1])
    longest = np.maximum(np.maximum(lengths[:, 0], lengths[:, 1]), lengths[:, 2])
    doubled = _cross(b - a, c - a)
    number = np.where(
        doubled > LEAST_MM * longest, np.searchsorted(LENGTHS_MM, longest, side="right"), -1
    )
    # A point with shares s of the corners lies s times the height over each side from that side.
    reach = doubled[:, None] / np.roll(lengths, -1, axis=1)

    def sample(patterns: Sequence[tuple[Indices, Points, Points]]) -> None:
        # Sample by sample, not facet by facet: a largest of few numbers at a time takes long. And
        # the field is asked once for all patterns.
        shares = [np.concatenate([inner, around]) for _, inner, around in patterns]
        places = [
            np.stack([share @ place[corners[rows], axis].T for axis in (0, 1)], axis=2)
            for (rows, _, _), share in zip(patterns, shares, strict=True)
        ]
        asked, piece = field(np.concatenate([at.reshape(-1, 2) for at in places]))
        begin = 0
        for (rows, inner, _), share, at in zip(patterns, shares, places, strict=True):
            found, label = (
                kind[begin : begin + len(share) * len(rows)].reshape(len(share), len(rows))
                for kind in (asked, piece)
            )
            begin += found.size
            crossed[rows] = (label[: len(inner)] != label[0]).any(axis=0)
            off = np.abs(share @ heights[corners[rows]].T - found)
            inside, on_sides = off[: len(inner)], off[len(inner) :].max(axis=0) / EDGE_ALLOWANCE
            clear = np.ones(inside.shape, dtype=bool)
            for corner in range(3):
                clear &= inner[:, corner, None] * reach[rows, corner] >= CLEAR_MM
            most = np.where(clear, inside + 1.0, inside).argmax(axis=0)
            narrow = np.where(clear.any(axis=0), 1.0, NARROW_ALLOWANCE)
            error[rows] = np.maximum(inside.max(axis=0), on_sides) / narrow
            worst[rows] = at[most, np.arange(len(rows))]

    sample([(np.flatnonzero(number >= FINE_FROM), *COARSE)])
    # Ridges and notches beside the end of a crease lie between the usual samples.
    for more, which in ((0, number >= 0), (CROSSED_MORE, crossed)):
        good = which & (error <= bound_mm)
        sample(
            [
                (np.flatnonzero(good & (number == first)), *PATTERNS[min(first + more, DENSEST)])
                for first in range(len(PATTERNS))
            ]
        )
    za, zb, zc = heights[corners].T
    rise = np.hypot(
        (zb - za) * (c - a)[:, 1] - (zc - za) * (b - a)[:, 1],
        (zb - za) * (c - a)[:, 0] - (zc - za) * (b - a)[:, 0],
    )
    steep = (rise > steepest * doubled) & (doubled > STEEP_MM * longest)
    return np.where(steep, np.maximum(error, STEEP_SHARE * bound_mm), error), worst
