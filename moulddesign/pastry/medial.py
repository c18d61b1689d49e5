"""The medial axis of a region: who is nearest where, exactly.

The Voronoi diagram of the region's boundary segments and corners (Boost's, exact predicates on
an integer grid) cuts the region into cells, one a segment or reflex corner. Inside a cell the
distance to the boundary is the distance to its own segment or corner, so every edge of the
diagram, seen from the cell on its left, spans one strip between boundary and medial axis.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyvoronoi import Pyvoronoi

from moulddesign.errors import KernelError
from moulddesign.mesh import Indices, Points

GRID_MM: Final = 1e-5
"""Step of the integer grid that the diagram is computed on [mm]; far below float32 STL's step."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Medial:
    """Boundary and medial axis of a region, as arrays.

    Parameters
    ----------
    corners : ndarray, shape (c, 2)
        Distinct corners of the boundary [mm].
    segments : ndarray of int64, shape (s, 2)
        Corner pairs, the region on the left, ring after ring in order.
    rings : ndarray of int64, shape (s,)
        Number of the ring of each segment.
    vertices : ndarray, shape (v, 2)
        Vertices of the axis [mm]; the first c are the corners.
    distances : ndarray, shape (v,)
        Distance of each to the boundary [mm].
    edges : ndarray of int64, shape (e, 2)
        Edges of the axis inside the region, each once; rows of `vertices`.
    sites : ndarray of int64, shape (e, 2)
        What is nearest on the left and right of each edge: a segment s, or a corner as -1 - c.
    """

    corners: Points
    segments: Indices
    rings: Indices
    vertices: Points
    distances: Floats
    edges: Indices
    sites: Indices


def on_grid(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a valid region with its corners on the integer grid, areas only.

    Parameters
    ----------
    shape : shapely Polygon, MultiPolygon or GeometryCollection
        Region [mm].
    """
    snapped = shapely.set_precision(shape, GRID_MM)
    parts = [p for p in shapely.get_parts(snapped) if p.geom_type in {"Polygon", "MultiPolygon"}]
    return shapely.orient_polygons(shapely.MultiPolygon(shapely.get_parts(parts).tolist()))


def medial(shape: shapely.MultiPolygon) -> Medial:
    """Return the medial axis of a region.

    Parameters
    ----------
    shape : shapely MultiPolygon
        As `on_grid` returns it [mm], not empty.

    Raises
    ------
    KernelError
        The diagram came out without edges inside the region.
    """
    corners, segments, rings = _boundary(shape)
    vertices, halves = _diagram(corners, segments)
    vertices, halves = _on_corners(corners, vertices, halves)
    inside = _inside(corners, segments, vertices=vertices, halves=halves)
    first = (halves.twin > np.arange(len(halves.twin))) & inside
    if not first.any():
        raise KernelError("the relief's medial axis", "no edge lies inside the artwork")
    edges = np.column_stack([halves.start, halves.end])[first]
    sites = np.column_stack([halves.site, halves.site[halves.twin]])[first]
    used, edges = np.unique(edges, return_inverse=True)
    used, edges = _corners_first(used, edges.reshape(-1, 2), len(corners))
    axis = vertices[used]
    distances = np.zeros(len(axis))
    for side in (0, 1):
        for end in (0, 1):
            distances[edges[:, end]] = distance_to_site(
                corners, segments, points=axis[edges[:, end]], sites=sites[:, side]
            )
    distances[: len(corners)] = 0.0
    return Medial(
        corners=corners * GRID_MM,
        segments=segments,
        rings=rings,
        vertices=axis * GRID_MM,
        distances=distances * GRID_MM,
        edges=edges,
        sites=sites,
    )


def distance_to_site(
    corners: Points, segments: Indices, *, points: Points, sites: Indices
) -> Floats:
    """Return the distance of each point to its site: to a segment's line, or to a corner.

    Parameters
    ----------
    corners, points : ndarray, shapes (c, 2) and (n, 2)
        In one unit.
    segments : ndarray of int64, shape (s, 2)
        Corner pairs.
    sites : ndarray of int64, shape (n,)
        As in `Medial`.
    """
    is_corner = sites < 0
    pair = segments[np.where(is_corner, 0, sites)]
    a, b = corners[pair[:, 0]], corners[pair[:, 1]]
    to_corner = np.linalg.norm(points - corners[np.where(is_corner, -1 - sites, 0)], axis=1)
    return np.where(is_corner, to_corner, np.abs(_height_over(a, b, points)))


@dataclass(frozen=True, slots=True, eq=False)
class _Halves:
    """Half-edges of the diagram that are finite and primary; the site is on the left."""

    start: Indices
    end: Indices
    site: Indices
    twin: Indices


def _boundary(shape: shapely.MultiPolygon) -> tuple[Points, Indices, Indices]:
    """Return corners in grid units, segments with the region on the left, and their rings."""
    coords, ring_of = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(shape)), return_index=True
    )
    whole = np.rint(coords / GRID_MM)
    keep = ring_of[1:] == ring_of[:-1]
    corners, ids = np.unique(whole, axis=0, return_inverse=True)
    segments = np.column_stack([ids[:-1], ids[1:]])[keep].astype(np.int64)
    return corners, segments, ring_of[:-1][keep].astype(np.int64)


def _diagram(corners: Points, segments: Indices) -> tuple[Points, _Halves]:
    """Run the library and read its objects into arrays."""
    machine = Pyvoronoi(1)
    ends = corners.astype(np.int64).tolist()
    for a, b in segments.tolist():
        machine.AddSegment([ends[a], ends[b]])
    machine.Construct()
    vertices = np.array([(v.X, v.Y) for _, v in machine.EnumerateVertices()]).reshape(-1, 2)
    cells = np.array(
        [(c.contains_segment, c.site, c.source_category) for _, c in machine.EnumerateCells()],
        dtype=np.int64,
    )
    raw = np.array(
        [(e.start, e.end, e.cell, e.twin, e.is_primary) for _, e in machine.EnumerateEdges()],
        dtype=np.int64,
    )
    return vertices, _finite_primary(raw, _sites(cells, segments))


def _sites(cells: Indices, segments: Indices) -> Indices:
    """Return each cell's site: its segment, or its corner as -1 - corner."""
    is_segment, segment, category = cells.T
    # Boost's source category: 1 is a segment's start, 2 its end; no single points are given.
    corner = np.where(category == 1, segments[segment, 0], segments[segment, 1])
    site: Indices = np.where(is_segment == 1, segment, -1 - corner)
    return site


def _finite_primary(raw: Indices, site_of_cell: Indices) -> _Halves:
    start, end, cell, twin, primary = raw.T
    keep = (primary == 1) & (start >= 0) & (end >= 0)
    renumbered = np.cumsum(keep) - 1
    return _Halves(start[keep], end[keep], site_of_cell[cell[keep]], renumbered[twin[keep]])


def _on_corners(corners: Points, vertices: Points, halves: _Halves) -> tuple[Points, _Halves]:
    """Put the corners before the diagram's vertices and use them where they coincide."""
    whole = np.rint(vertices)
    at = np.full(len(vertices), -1, dtype=np.int64)
    close = np.flatnonzero(np.abs(vertices - whole).max(axis=1) < 1e-2)  # noqa: PLR2004 (of a grid step)
    if len(close):
        order = np.lexsort((corners[:, 1], corners[:, 0]))
        keys = _keys(corners[order])
        found = np.minimum(np.searchsorted(keys, _keys(whole[close])), len(keys) - 1)
        hit = keys[found] == _keys(whole[close])
        at[close[hit]] = order[found[hit]]
    number = np.where(at >= 0, at, np.arange(len(vertices)) + len(corners))
    moved = _Halves(number[halves.start], number[halves.end], halves.site, halves.twin)
    return np.concatenate([corners, vertices]), moved


def _keys(whole: Points) -> Indices:
    """Return one sortable number for each pair of grid coordinates (32 bits each)."""
    keys: Indices = whole[:, 0].astype(np.int64) * 2**32 + whole[:, 1].astype(np.int64)
    return keys


def _inside(
    corners: Points, segments: Indices, *, vertices: Points, halves: _Halves
) -> NDArray[np.bool_]:
    """Return which half-edges lie inside the region: left of the segments they are nearest to."""
    side = np.zeros(len(vertices), dtype=np.int8)
    on_segment = np.flatnonzero(halves.site >= 0)
    pair = segments[halves.site[on_segment]]
    a, b = corners[pair[:, 0]], corners[pair[:, 1]]
    for end in (halves.start[on_segment], halves.end[on_segment]):
        side[end] = np.sign(_height_over(a, b, vertices[end]))
    side[: len(corners)] = 0
    # Between two corners no segment tells the side: it is that of the neighbours on the axis.
    unknown = -1
    while (open_ends := int((side[halves.start] == 0).sum())) != unknown:
        unknown = open_ends
        blank = (side[halves.start] == 0) & (halves.start >= len(corners))
        side[halves.start[blank]] = side[halves.end[blank]]
    return (side[halves.start] > 0) | (side[halves.end] > 0)


def _corners_first(used: Indices, edges: Indices, count: int) -> tuple[Indices, Indices]:
    """Return the used vertices with every corner before them, and the edges renumbered."""
    others = used[used >= count]
    number = np.concatenate([used[used < count], count + np.arange(len(others))])
    return np.concatenate([np.arange(count), others]), number[edges]


def _height_over(a: Points, b: Points, points: Points) -> Floats:
    """Return the signed distance of points to the lines a-b, positive on the left."""
    along, to = b - a, points - a
    cross = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
    height: Floats = cross / np.linalg.norm(along, axis=1)
    return height
