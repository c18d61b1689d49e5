"""The medial axis of a region: who is nearest where, exactly.

The Voronoi diagram of the region's boundary segments and corners (Boost's, exact predicates on
an integer grid) cuts the region into cells, one a segment or reflex corner. Inside a cell the
distance to the boundary is the distance to its own segment or corner, so every edge of the
diagram, seen from the cell on its left, spans one strip between boundary and medial axis.

A section that is level beyond some distance asks for the axis no further than that; where the
walls stand clear of each other that near, it needs no diagram.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.errors import KernelError
from moulddesign.mesh import Indices, Points
from moulddesign.pastry.boundary import GRID_MM, Boundary, Floats, boundary
from moulddesign.pastry.diagram import Diagram, diagram

NOBODY: Final = int(np.iinfo(np.int64).min)
"""Stands for a site on the side of an edge that has no strip."""

Sides = NDArray[np.bool_]


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
        What is nearest on the left and right of each edge: a segment s, or a corner as -1 - c; or
        `NOBODY`, on one side of edges that lie beyond the distance asked for.
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
    return medial_of(boundary(shape))


def medial_of(edge: Boundary) -> Medial:
    """Return the medial axis inside a boundary; as `medial`."""
    found = diagram(edge.corners, edge.segments)
    return axis_of(edge, found, inside(edge, found) & ~found.square[:, None])


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
        As in `Medial`, none of them `NOBODY`.
    """
    is_corner = sites < 0
    pair = segments[np.where(is_corner, 0, sites)]
    a, b = corners[pair[:, 0]], corners[pair[:, 1]]
    to_corner = np.linalg.norm(points - corners[np.where(is_corner, -1 - sites, 0)], axis=1)
    return np.where(is_corner, to_corner, np.abs(height_over(a, b, points)))


def axis_of(edge: Boundary, found: Diagram, kept: Sides) -> Medial:
    """Return the sides of a diagram's edges that are kept, as an axis."""
    some = kept.any(axis=1)
    if not some.any():
        raise KernelError("the relief's medial axis", "no edge lies inside the artwork")
    sites = np.where(kept, found.sites, NOBODY)[some]
    count = len(edge.corners)
    used = np.zeros(len(found.vertices), dtype=bool)
    used[:count] = used[found.ends[some]] = True
    edges = (np.cumsum(used) - 1)[found.ends[some]]
    axis = found.vertices[used]
    distances = np.zeros(len(axis))
    for side in (0, 1):
        rows = np.flatnonzero(sites[:, side] != NOBODY)
        for end in (0, 1):
            at = edges[rows, end]
            distances[at] = distance_to_site(
                edge.corners, edge.segments, points=axis[at], sites=sites[rows, side]
            )
    distances[:count] = 0.0
    return Medial(
        corners=edge.corners * GRID_MM,
        segments=edge.segments,
        rings=edge.rings,
        vertices=axis * GRID_MM,
        distances=distances * GRID_MM,
        edges=edges,
        sites=sites,
    )


def inside(edge: Boundary, found: Diagram) -> Sides:
    """Return which sides of the edges lie inside the region, shape (e, 2).

    That is left of the segment that is nearest there, or around a reflex corner. A corner between
    two segments in one line has a cell that rounding alone opens, on either side of that line.
    """
    site = found.sites
    corner = np.where((site < 0) & (site != NOBODY), -1 - site, 0)
    within = edge.reflex[corner]
    beside = np.where(site < 0, edge.straight[corner], site)
    row, side = np.nonzero(beside >= 0)
    pair = edge.segments[beside[row, side]]
    a, b = edge.corners[pair[:, 0]], edge.corners[pair[:, 1]]
    first, last = (height_over(a, b, found.vertices[found.ends[row, end]]) for end in (0, 1))
    within[row, side] = first + last > 0.0
    within[site == NOBODY] = False
    return within


def height_over(a: Points, b: Points, points: Points) -> Floats:
    """Return the signed distance of points to the lines a-b, positive on the left."""
    along, to = b - a, points - a
    cross = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
    height: Floats = cross / np.linalg.norm(along, axis=1)
    return height
