"""Facets of a height field: constraint edges, and a triangulation of them refined to a bound.

Creases, outline and the stamp's outline are noded on a fine grid, so that no two edges cross or
nearly touch, and short edges are contracted. The constrained Delaunay triangulation (pythoncdt) of
what is left is refined: a facet that is off the field by more than the bound, and by more than its
neighbours are, takes a new corner where it is worst. That is nearly the greedy order, which needs
fewest facets, at some thirty rounds in place of one for each corner.
"""

from collections.abc import Callable, Sequence
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
from moulddesign.geometry.topology import undirected
from moulddesign.relief.coarsening import coarsened
from moulddesign.relief.facet_samples import LEAST_MM, FacetMeasure, Samples, facet_measures
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
SPLITS: Final = 8
"""Halvings of a constraint edge: 10 mm come down to 0.04 mm."""
ALONG: Final = np.arange(1, 12) / 12.0
"""Where the field is asked along a constraint edge: a rim may cross a groove of 0.1 mm."""
MIDDLE: Final = 5
ROUNDS: Final = 120
"""Rounds of refinement before it is given up: twice what the finest face took."""
SUPER: Final = 3
"""Corners that the triangulation puts before the given ones."""
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
    noded, edges = _noded(pieces, rings)
    # Corners of the rings come first, then noded points; those at a corner become the corner.
    corners = np.concatenate([shapely.get_coordinates(ring)[:-1] for ring in rings])
    away, corner = cKDTree(corners).query(noded, distance_upper_bound=NEAR_RING_MM)
    row = np.where(np.isfinite(away), corner, len(corners) + np.arange(len(noded)))
    points = np.concatenate([corners, noded])
    rank = np.concatenate([np.full(len(corners), 2), np.zeros(len(noded), dtype=np.int64)])
    edges = row[edges]
    for ring in rings:
        on_ring = rows_on(ring, points, NEAR_RING_MM)
        on_ring = on_ring[on_ring >= len(corners)]
        at = shapely.line_locate_point(ring, shapely.points(points[on_ring]))
        points[on_ring] = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
        rank[on_ring] = 1
    row = _contracted(points, edges, rank)
    edges = row[edges]
    chains = tuple(_chain(ring, points, np.unique(edges), corners) for ring in rings)
    around = np.concatenate([np.column_stack([c, np.roll(c, -1)]) for c in chains])
    edges = undirected(np.concatenate([around, _uncrossed(points, edges, around)]))
    used, flat = np.unique(edges, return_inverse=True)
    chains = tuple(np.searchsorted(used, chain) for chain in chains)
    return Network(points[used], flat.reshape(-1, 2), chains)


def rows_on(ring: shapely.LinearRing, points: Points, reach_mm: float) -> Indices:
    """Return which points lie no farther than a reach from a ring, rows of shape (n, 2) [mm].

    The distance is measured in a band around the ring: to measure all takes ten times as long.
    """
    # The band's round corners are chords: they come as near to the ring as 0.7 of its half width.
    around = ring.buffer(2.0 * reach_mm, quad_segs=1)
    shapely.prepare([ring, around])
    near = np.flatnonzero(shapely.intersects_xy(around, points[:, 0], points[:, 1]))
    on_ring: Indices = near[shapely.dwithin(ring, shapely.points(points[near]), reach_mm)]
    return on_ring


def _noded(pieces: Points, rings: Sequence[shapely.LinearRing]) -> tuple[Points, Indices]:
    """Return points on the grid, and edges between them that cross nowhere.

    Few pieces meet others between their ends: the library nodes those only.
    """
    around = [shapely.get_coordinates(ring) for ring in rings]
    segments = np.concatenate([pieces, *(np.stack([at[:-1], at[1:]], axis=1) for at in around)])
    ends = np.rint(segments / NODE_GRID_MM)
    lines = shapely.linestrings(ends * NODE_GRID_MM)
    first, second = shapely.STRtree(lines).query(lines, "dwithin", distance=NODE_GRID_MM)
    name = ends @ (1.0, 1.0j)
    apart = (name[first][:, :, None] != name[second][:, None, :]).all(axis=(1, 2))
    meets = np.zeros(len(lines), dtype=bool)
    meets[first[apart]] = True
    graph = shapely.union_all(lines[meets], grid_size=NODE_GRID_MM)
    coordinates, part = shapely.get_coordinates(shapely.get_parts(graph), return_index=True)
    found = np.stack([coordinates[:-1], coordinates[1:]], axis=1)[part[:-1] == part[1:]]
    ends = np.concatenate([ends[~meets], np.rint(found / NODE_GRID_MM)])
    name, row = np.unique(ends @ (1.0, 1.0j), return_inverse=True)
    return np.column_stack([name.real, name.imag]) * NODE_GRID_MM, row


def _uncrossed(points: Points, edges: Indices, around: Indices) -> Indices:
    """Return edges without those that cross another one or an edge of the rings, or nearly do.

    Points that were moved onto rings and corners take their edges along, which may then cross one
    beside them. A crease with a gap costs some more facets there, and nothing else.
    """
    edges = undirected(edges[edges[:, 0] != edges[:, 1]])
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
    rest = rest[rows_on(ring, points[rest], ON_RING_MM)]
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


def facets(  # noqa: PLR0913 (what is refined, and to what)
    points: Points,
    edges: Indices,
    field: Field,
    *,
    area_of: Callable[[Points], Indices],
    samples: Callable[[], Samples],
    bound_mm: float,
    steepest: float,
) -> Facets:
    """Return a constrained triangulation, refined until its samples are within a bound of a field.

    Facets are refined until a quick measure finds none off, then by the full one; at last corners
    that neither needs are taken out.

    Parameters
    ----------
    points, edges : ndarray
        Constraint edges, which are not divided.
    area_of : callable
        The number of the area in which points lie, shape (n, 2) to (n,), `OUTSIDE` where there is
        to be no surface; areas end at constraint edges.
    samples : callable
        Returns the `field_samples` of what the areas cover.
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
    measures = facet_measures(samples(), field, bound_mm=bound_mm, steepest=steepest)
    stages = [_Measured(measure, bound_mm) for measure in measures]
    heights = np.empty(0)
    for _ in range(ROUNDS):
        corners, neighbours, place = _state(mesh)
        heights = np.concatenate([heights, field(place[len(heights) :]).height])
        # A facet that is new has a corner that is new, and lies in that corner's area.
        newest = np.maximum(np.maximum(corners[:, 0], corners[:, 1]), corners[:, 2])
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

    def is_off(measure: FacetMeasure) -> Callable[[Indices], NDArray[np.bool_]]:
        return lambda rows: measure(place, heights, rows)[0] > bound_mm

    corners, source = coarsened(
        np.column_stack([place, heights]),
        corners,
        may_go=np.arange(len(place)) >= given - SUPER,
        steepest=steepest,
        bound_mm=bound_mm,
        are_off=[is_off(measure) for measure in measures],
    )
    return Facets(place, heights, corners, area[source])


def unrefined_facets(
    points: Points, edges: Indices, field: Field, *, area_of: Callable[[Points], Indices]
) -> Facets:
    """Return a constrained triangulation of points whose heights are a field's, not refined.

    Parameters and errors are those of `facets`.
    """
    mesh = _triangulation(points, edges)
    corners, _, place = _state(mesh)
    area = _areas(mesh, corners, place, area_of)
    kept = area != OUTSIDE
    place = place[SUPER:]
    return Facets(place, field(place).height, corners[kept] - SUPER, area[kept])


def _grown(values: Points, count: int) -> Points:
    return np.concatenate([values, np.zeros((count - len(values), *values.shape[1:]))])


class _Measured:
    """How far facets are off by one kind of samples, known until one of their corners changes."""

    def __init__(self, measure: FacetMeasure, bound_mm: float) -> None:
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
        a, b, c = (corners[: len(self._known)] != self._known).T
        changed[: len(self._known)] = a | b | c
        self._known = corners
        error, worst = _grown(self._error, len(corners)), _grown(self._worst, len(corners))
        error[changed] = 0.0
        rows = np.flatnonzero(changed & inside)
        error[rows], worst[rows] = self._measure(place, heights, corners[rows])
        self._error, self._worst = error, worst
        top = error > self._bound_mm
        # What is beyond the edge of all has the number of no facet.
        beside = np.append(error, 0.0)[np.minimum(neighbours[top], len(error))]
        top[top] = error[top] >= beside.max(axis=1)
        return top, worst


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
    along, out = b - a, c - a
    size_mm2 = np.abs(along[:, 0] * out[:, 1] - along[:, 1] * out[:, 0])
    order = np.lexsort([size_mm2, group])
    largest = order[np.append(group[order][1:] != group[order][:-1], True)]
    area = area_of(place[corners[largest]].mean(axis=1))
    area[(corners[largest] < SUPER).any(axis=1)] = OUTSIDE
    found: Indices = area[group]
    return found
