"""Sections and plans of meshes as flat shapes, and the lines that hatch them."""

from functools import reduce
from typing import Final

import numpy as np
import shapely

from moulddesign.mesh import Mesh, Points, box, difference
from moulddesign.probing import section

SHARP_DEG: Final = 20.0
"""Edges that turn by more are drawn [deg]."""

UP: Final = 0.05
"""z of a facet's normal above which it is seen from above."""

SHORTEST_MM: Final = 0.2
"""Shorter pieces of hatching are left out [mm]."""

SAME_MM: Final = 0.005
"""A hundredth of a line's width: what is nearer is one on paper [mm]."""

LIFT_MM: Final = 0.05
"""How far above an edge another facet has to lie to hide it [mm]."""


def upright_section(mesh: Mesh, step: str) -> shapely.Geometry:
    """Return the shape in which the plane y = 0 cuts a closed mesh: x to the right, z up.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].
    step : str
        Names it in a `KernelError`.
    """
    x, y, z = mesh.vertices.T
    laid = Mesh(np.column_stack([x, z, -y]), mesh.triangles)
    loops = [shapely.Polygon(loop) for loop in section(laid, 0.0, step) if len(loop) > 2]  # noqa: PLR2004
    return reduce(shapely.symmetric_difference, map(shapely.make_valid, loops), shapely.Polygon())


def edges_behind(mesh: Mesh, step: str) -> tuple[Points, ...]:
    """Return the sharp edges that are seen behind the plane y = 0 of a cut mesh: x and z.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].
    step : str
        Names it in a `KernelError`.
    """
    low, high = mesh.bounds
    if high[1] <= 0.0:
        return ()
    front = box(low - 1.0, (high[0] + 1.0, 0.0, high[2] + 1.0))
    half = difference(mesh, [front], step)
    x, y, z = half.vertices.T
    laid = Mesh(np.column_stack([x, z, -y]), half.triangles)
    return edges_from_above(laid, below_mm=-LIFT_MM)


def edges_from_above(mesh: Mesh, below_mm: float = np.inf) -> tuple[Points, ...]:
    """Return the sharp edges of a closed mesh that are seen from above, as lines.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].
    below_mm : float
        Only edges that begin and end lower than this are wanted [mm].

    Returns
    -------
    tuple of ndarray, shape (n_i, 2)
        x and y along each line [mm].
    """
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    rows, facets = _edges(mesh)
    a, b = normals[facets[:, 0]], normals[facets[:, 1]]
    sharp = (a * b).sum(axis=1) < np.cos(np.radians(SHARP_DEG))
    seen = np.maximum(a[:, 2], b[:, 2]) > UP
    ends = mesh.vertices[rows[sharp & seen]]
    ends = ends[ends[:, :, 2].max(axis=1) < below_mm]
    ends = ends[~_hidden(ends.mean(axis=1), corners[normals[:, 2] > UP])]
    # Edges that stand upright are points from above; edges one below the other are one line.
    flat = shapely.linestrings(ends[:, :, :2])
    lines = shapely.line_merge(shapely.union_all(flat[shapely.length(flat) > SAME_MM]))
    thinned = shapely.simplify(lines, SAME_MM)
    return tuple(shapely.get_coordinates(line) for line in shapely.get_parts(thinned))


def hatching(shape: shapely.Geometry, *, angle_deg: float, spacing_mm: float) -> list[Points]:
    """Return parallel lines that fill a shape.

    Parameters
    ----------
    shape : shapely geometry
        Polygons [mm].
    angle_deg : float
        Direction of the lines against x [deg].
    spacing_mm : float
        Between lines [mm].

    Returns
    -------
    list of ndarray, shape (2, 2)
        Ends of each line [mm].
    """
    if shape.is_empty:
        return []
    x0, y0, x1, y1 = shape.bounds
    turn = np.radians(angle_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    box = np.array([[x0, y0], [x1, y0], [x0, y1], [x1, y1]])
    reach = [(box @ along).min() - 1.0, (box @ along).max() + 1.0]
    first, last = np.ceil((box @ across).min() / spacing_mm), (box @ across).max() / spacing_mm
    offsets = spacing_mm * np.arange(first, last)
    ends = offsets[:, None, None] * across + np.array(reach)[None, :, None] * along
    lines = shapely.intersection(shapely.linestrings(ends), shape)
    pieces = shapely.get_parts(shapely.get_parts(lines))
    return [shapely.get_coordinates(p) for p in pieces if p.length > SHORTEST_MM]


def _edges(mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    """Return corners and the two facets of each edge."""
    count = len(mesh.triangles)
    ends = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    facet = np.repeat(np.arange(count), 3)
    order = np.lexsort(np.sort(ends, axis=1).T)
    pairs = np.sort(ends, axis=1)[order].reshape(-1, 2, 2)[:, 0]
    return pairs, facet[order].reshape(-1, 2)


def _hidden(points: Points, facets: Points) -> np.ndarray:
    """Return which points lie under a facet that is seen from above."""
    tree = shapely.STRtree(shapely.polygons(facets[:, :, :2]))
    point, facet = tree.query(shapely.points(points[:, :2]), predicate="within")
    a, b, c = np.moveaxis(facets[facet], 1, 0)
    normal = np.cross(b - a, c - a)
    rise = ((a - points[point]) * normal).sum(axis=1) / normal[:, 2]
    hidden = np.zeros(len(points), dtype=bool)
    hidden[point[rise > LIFT_MM]] = True
    return hidden
