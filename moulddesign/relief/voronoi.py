"""A region's edge on an integer grid, and the Voronoi diagram of its segments.

The diagram is Boost's, through pyvoronoi. Its predicates are exact on integers, so the edge is
snapped to a grid first; from there on corners are whole numbers, and "the same corner" is a
comparison, not a tolerance.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyvoronoi import Pyvoronoi

from moulddesign.geometry import Indices, Points

VORONOI_GRID_MM: Final = 1e-5
"""Step of the integer grid that the diagram is computed on [mm]; far below float32 STL's step."""

FEWEST_CORNERS: Final = 3
"""Of a ring."""

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


def snapped_to_grid(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a valid region [mm] with its corners on the integer grid, areas only.

    A corner that turns by less than rounding moves it is none: its cell would be thinner than that.
    """
    snapped = shapely.set_precision(shape, VORONOI_GRID_MM)
    parts = [p for p in shapely.get_parts(snapped) if p.geom_type in {"Polygon", "MultiPolygon"}]
    region = shapely.MultiPolygon(shapely.get_parts(parts).tolist())
    return shapely.orient_polygons(_without_straight_corners(region))


def _without_straight_corners(region: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return a region without corners that rounding cannot tell from their neighbours' line.

    They stay where rings meet, and every other of those that stand in a row.
    """
    rings, polygon = shapely.get_rings(shapely.get_parts(region), return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    first_again = np.append(ring[1:] != ring[:-1], values=True)[: len(ring)]
    corners, ring = corners[~first_again], ring[~first_again]
    count, start = np.bincount(ring)[ring], np.searchsorted(ring, ring)
    place = np.arange(len(ring)) - start
    before, after = start + (place - 1) % count, start + (place + 1) % count
    chord, arm = corners[after] - corners[before], corners - corners[before]
    length, along = np.hypot(*chord.T), (chord * arm).sum(axis=1)
    off = np.abs(chord[:, 0] * arm[:, 1] - chord[:, 1] * arm[:, 0])
    straight = (along > 0.0) & (along < length**2) & (off <= 0.5 * VORONOI_GRID_MM * length)
    if not straight.any():
        return region
    _, same, met = np.unique(corners, axis=0, return_inverse=True, return_counts=True)
    straight &= met[same.ravel()] == 1
    straight &= ~straight[before]
    left = np.bincount(ring[~straight], minlength=len(rings))
    kept = ~straight | (left < FEWEST_CORNERS)[ring]
    thinned = shapely.linearrings(corners[kept], indices=ring[kept])
    polygons = shapely.multipolygons(shapely.polygons(thinned, indices=polygon))
    snapped = shapely.set_precision(polygons, VORONOI_GRID_MM)
    return shapely.MultiPolygon(shapely.get_parts(snapped).tolist())


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Boundary:
    """The edge of a region, the region on its left."""

    corners: Points
    """Distinct corners, whole numbers, shape (c, 2) [grid steps]."""
    segments: Indices
    """Pairs of corners, ring after ring in order, shape (s, 2)."""
    rings: Indices
    """Number of the ring of each segment."""
    before: Indices
    """The segment that ends where each begins, with nothing but the region between them."""
    turn: Floats
    """Cross product of the two, above 0 at a convex corner; exact, as all numbers are whole."""

    @property
    def after(self) -> Indices:
        """The segment that begins where each ends: the inverse of `before`."""
        after = np.empty_like(self.before)
        after[self.before] = np.arange(len(self.before))
        return after

    @property
    def directions(self) -> Points:
        """Unit vectors along the segments, shape (s, 2)."""
        way = _ways(self.corners, self.segments)
        directions: Points = way / np.linalg.norm(way, axis=1)[:, None]
        return directions

    @property
    def reflex(self) -> Mask:
        """Whether the region spans more than half a turn around each corner, shape (c,)."""
        reflex = np.zeros(len(self.corners), dtype=bool)
        reflex[self.segments[self.turn < 0.0, 0]] = True
        return reflex

    @property
    def straight(self) -> Indices:
        """The segment that goes straight on from each corner, -1 where none does, shape (c,)."""
        straight = np.full(len(self.corners), -1)
        onward = np.flatnonzero(self.turn == 0.0)
        straight[self.segments[onward, 0]] = onward
        return straight


def boundary_of(shape: shapely.MultiPolygon) -> Boundary:
    """Return the edge of a region that lies on the grid and is oriented [mm]."""
    coords, ring_of = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(shape)), return_index=True
    )
    whole = np.rint(coords / VORONOI_GRID_MM)
    keep = ring_of[1:] == ring_of[:-1]
    # Rings may share corners: equal grid points are one corner.
    _, first, ids = np.unique(grid_keys(whole), return_index=True, return_inverse=True)
    corners = whole[first]
    segments = np.column_stack([ids[:-1], ids[1:]])[keep].astype(np.int64)
    before = _before(corners, segments)
    way = _ways(corners, segments)
    return Boundary(
        corners=corners,
        segments=segments,
        rings=ring_of[:-1][keep].astype(np.int64),
        before=before,
        turn=_cross(way[before], way),
    )


def _ways(corners: Points, segments: Indices) -> Points:
    ways: Points = corners[segments[:, 1]] - corners[segments[:, 0]]
    return ways


def _cross(a: Points, b: Points) -> Floats:
    cross: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return cross


def _before(corners: Points, segments: Indices) -> Indices:
    """Return the segment that ends where each begins; where several do, the next one around.

    Rings may touch in a corner. There the arms that arrive and leave are sorted by heading, and
    an arm that leaves belongs with the next arm counter-clockwise that arrives: the region on the
    left of both lies between them.
    """
    ending = np.empty(len(corners), dtype=np.int64)
    ending[segments[:, 1]] = np.arange(len(segments))
    before = ending[segments[:, 0]]
    shared = np.bincount(segments[:, 0], minlength=len(corners)) > 1
    leaving, arriving = (np.flatnonzero(shared[segments[:, end]]) for end in (0, 1))
    way = _ways(corners, segments)
    arms = np.concatenate([way[leaving], -way[arriving]])
    at = np.concatenate([segments[leaving, 0], segments[arriving, 1]])
    order = np.lexsort((np.arctan2(arms[:, 1], arms[:, 0]), at))
    _, first, count = np.unique(at[order], return_index=True, return_counts=True)
    onward = np.arange(1, len(order) + 1)
    onward[first + count - 1] = first
    following = np.empty(len(order), dtype=np.int64)
    following[order] = order[onward]
    before[leaving] = arriving[following[: len(leaving)] - len(leaving)]
    return before


START: Final = 1
END: Final = 2
"""Boost's source categories of a segment's ends; 3 and 4 are the segment itself."""

SAME_CORNER: Final = 1e-2
"""A vertex nearer than this to a corner is that corner [grid steps]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class VoronoiDiagram:
    """The finite edges of a diagram, each once."""

    vertices: Points
    """The corners, then the diagram's vertices, shape (v, 2) [grid steps]."""
    ends: Indices
    """Rows of `vertices`, shape (e, 2); a corner's own row where a vertex coincides with it."""
    sites: Indices
    """What is nearest on the left and right of each edge: a segment s, or a corner as -1 - c."""
    square: Mask
    """Edges between a segment and its own end, at a right angle to it: they separate two sites,
    but the distance to the boundary does not bend there."""


def voronoi_diagram(corners: Points, segments: Indices) -> VoronoiDiagram:
    """Return the diagram of segments, pairs of corners, that meet in their ends only.

    Corners are distinct, whole numbers of at most 31 bits [grid steps].
    """
    diagram = Pyvoronoi(1)
    integers = corners.astype(np.int64).tolist()
    for a, b in segments.tolist():
        diagram.AddSegment([integers[a], integers[b]])
    diagram.Construct()
    starts, sites = _half_edges(diagram, segments)
    vertices = _vertices(diagram)
    # Twins lie side by side: each ends where the other starts.
    ends, sites = starts.reshape(-1, 2), sites.reshape(-1, 2)
    finite = (ends >= 0).all(axis=1)
    ends, sites = _row_of(corners, vertices)[ends[finite]], sites[finite]
    return VoronoiDiagram(
        vertices=np.concatenate([corners, vertices]),
        ends=ends,
        sites=sites,
        square=_square(sites, segments),
    )


def _half_edges(diagram: Pyvoronoi, segments: Indices) -> tuple[Indices, Indices]:
    """Return the vertex that each half-edge starts from, -1 at infinity, and the site on its left.

    pyvoronoi 1.2.8 has no bulk access, and an object a half-edge would cost as much as the
    diagram itself. A cell lists its half-edges with their first vertices, so cells tell it all.
    """
    edges: list[int] = []
    starts: list[int] = []
    cells: list[tuple[int, int, int]] = []
    for number in range(diagram.CountCells()):
        cell = diagram.GetCell(number)
        around, corners = cell.edges, cell.vertices
        cells.append((cell.site, cell.source_category, len(around)))
        edges += around
        # The list of vertices is closed, and names two equal ones in a row only once.
        whole = len(corners) == len(around) + 1
        starts += corners[:-1] if whole else [diagram.GetEdge(edge).start for edge in around]
    source, category, count = np.array(cells, dtype=np.int64).T
    corner = np.where(category == START, segments[source, 0], segments[source, 1])
    site = np.where(category <= END, -1 - corner, source)
    order = np.array(edges, dtype=np.int64)
    start_of, site_of = np.empty_like(order), np.empty_like(order)
    start_of[order] = starts
    site_of[order] = np.repeat(site, count)
    return start_of, site_of


def _vertices(diagram: Pyvoronoi) -> Points:
    flat: list[float] = []  # no pairs: a list of floats costs half as much to read
    for number in range(diagram.CountVertices()):
        vertex = diagram.GetVertex(number)
        flat += (vertex.X, vertex.Y)
    return np.array(flat).reshape(-1, 2)


def _square(sites: Indices, segments: Indices) -> Mask:
    low, high = sites.min(axis=1), sites.max(axis=1)
    mixed = (low < 0) & (high >= 0)
    own = (segments[np.maximum(high, 0)] == -1 - low[:, None]).any(axis=1)
    square: Mask = mixed & own
    return square


def _row_of(corners: Points, vertices: Points) -> Indices:
    """Return the row of each vertex among corners and vertices: its corner's, or its own."""
    row = np.arange(len(vertices)) + len(corners)
    whole = np.rint(vertices)
    close = np.flatnonzero(np.abs(vertices - whole).max(axis=1) < SAME_CORNER)
    keys = grid_keys(corners)
    order = np.argsort(keys)
    wanted = grid_keys(whole[close])
    found = order[np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)]
    hit = keys[found] == wanted
    row[close[hit]] = found[hit]
    return row


def grid_keys(whole: Points) -> Indices:
    """Return one sortable number for each pair of grid coordinates (32 bits each)."""
    keys: Indices = whole[:, 0].astype(np.int64) * 2**32 + whole[:, 1].astype(np.int64)
    return keys
