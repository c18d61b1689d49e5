"""Facets that hang over nothing when a part is printed, and the bridges among them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.check.facets import drafts_deg, normals_and_areas
from moulddesign.check.soundness import least_heights_mm
from moulddesign.check.topology import shells
from moulddesign.mesh import Indices, Mesh, Points

SLIVER_MM: Final = 0.002
"""A facet narrower than this has no angle of its own: float32 steps turn it by 0.1 deg [mm]."""
LEVEL_DEG: Final = 85.0
"""From this overhang on a ceiling can be bridged: the lines of a layer lie in one level [deg]."""
DIRECTIONS: Final = 24
"""Directions in which a bridge is tried: its span comes out at most 0.9 % too long."""
WALLS: Final = 8
"""Walls straight off which a bridge is tried too, the longest first."""
POINTS: Final = 150
"""Points of a ceiling that have to be bridged, about."""
ROUND_OFF: Final = 1e-9
"""Error of a sum of areas, as a share; facets that overlap by more are united with care."""
GRID_MM: Final = 1e-4
"""Places that far apart are told apart where facets overlap [mm]."""
Border = tuple[Points, NDArray[np.bool_]]
"""Edges around a patch, shape (e, 2, 2) [mm], and which of them stand on a wall."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ceiling:
    """A patch of surface that hangs over more than is allowed without a bridge.

    Parameters
    ----------
    steepest_deg : float
        Largest angle of its facets from the upright: 90 is level [deg].
    area_mm2 : float
        Seen from below [mm^2].
    span_mm : float
        Longest way that a line has to bridge; infinite where it cannot [mm].
    """

    steepest_deg: float
    area_mm2: float
    span_mm: float


def overhangs_deg(mesh: Mesh) -> Points:
    """Return how far each facet hangs over, shape (m,): 0 upright, 90 a level ceiling [deg]."""
    return drafts_deg(normals_and_areas(mesh)[0], (0.0, 0.0, 1.0))


def hanging(mesh: Mesh, *, over_deg: float, layer_mm: float) -> tuple[Indices, Points]:
    """Return the facets off the bed that hang over by more than an angle, slivers left out.

    Parameters
    ----------
    mesh : Mesh
        In print pose [mm].
    over_deg : float
        From the upright [deg].
    layer_mm : float
        Height of a layer [mm].

    Returns
    -------
    facets : ndarray of int64, shape (n,)
        Rows of `mesh.triangles`.
    angles : ndarray, shape (n,)
        How far each hangs over [deg].
    """
    angles = overhangs_deg(mesh)
    rows = np.flatnonzero(angles > over_deg)
    # Most facets of most meshes hang over nothing: what takes longer is asked of the others.
    some = Mesh(mesh.vertices, mesh.triangles[rows])
    above = some.corners[:, :, 2].max(axis=1) > mesh.bounds[0, 2] + layer_mm / 2.0
    rows = rows[above & (least_heights_mm(some) > SLIVER_MM)]
    return rows, angles[rows]


def ceilings(
    mesh: Mesh, *, limit_deg: float, line_mm: float, layer_mm: float
) -> tuple[Ceiling, ...]:
    """Return the patches that hang over more than a limit.

    What lies on the bed is left out, and so is what is narrower than one line: the line below
    carries it.

    Parameters
    ----------
    mesh : Mesh
        Welded, closed, in print pose on z = 0 [mm].
    limit_deg : float
        Largest overhang that prints without support, from the upright [deg].
    line_mm, layer_mm : float
        Width of a line and height of a layer [mm].
    """
    over, _ = hanging(mesh, over_deg=limit_deg, layer_mm=layer_mm)
    if not len(over):
        return ()
    borders = _Borders(mesh)
    made = (_ceiling(facets, borders, line_mm) for facets in _patches(mesh, over, line_mm))
    return tuple(ceiling for ceiling in made if ceiling is not None)


def _patches(mesh: Mesh, over: Indices, line_mm: float) -> list[Indices]:
    """Return the facets of each patch that is larger than a line is wide, seen from below."""
    patch = shells(mesh.triangles[over])
    normals, areas_mm2 = normals_and_areas(Mesh(mesh.vertices, mesh.triangles[over]))
    plan_mm2 = np.bincount(patch, -normals[:, 2] * areas_mm2)
    order = np.argsort(patch, kind="stable")
    parts = np.split(over[order], np.flatnonzero(np.diff(patch[order])) + 1)
    return [part for part, mm2 in zip(parts, plan_mm2, strict=True) if mm2 > line_mm**2]


def _ceiling(facets: Indices, borders: "_Borders", line_mm: float) -> Ceiling | None:
    mesh = borders.mesh
    plan = _union(shapely.polygons(mesh.corners[facets][:, :, :2]))
    inner = plan.buffer(-line_mm / 2.0)
    if inner.is_empty:
        return None
    angles = overhangs_deg(Mesh(mesh.vertices, mesh.triangles[facets]))
    level = angles.min() >= LEVEL_DEG
    return Ceiling(
        steepest_deg=float(angles.max()),
        area_mm2=float(plan.area),
        span_mm=_span_mm(inner, borders.around(facets)) if level else np.inf,
    )


def _union(facets: NDArray[np.object_]) -> BaseGeometry:
    """Return what facets cover, in a fiftieth of the time where none lies over another."""
    area_mm2 = float(shapely.area(facets).sum())
    try:
        side_by_side = shapely.coverage_union_all(facets)
    except shapely.GEOSException:
        side_by_side = shapely.Polygon()
    if side_by_side.is_valid and abs(side_by_side.area - area_mm2) <= ROUND_OFF * area_mm2:
        return side_by_side
    return shapely.union_all(facets, grid_size=GRID_MM)


class _Borders:
    """The edges around patches of facets, and whether a wall stands below each."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.normals = normals_and_areas(mesh)[0]
        self.across = _across(mesh.triangles)

    def around(self, facets: Indices) -> Border:
        """Return the edges of a patch, shape (e, 2, 2) [mm], and which of them stand on a wall."""
        inside = np.zeros(len(self.mesh.triangles), dtype=bool)
        inside[facets] = True
        neighbours = self.across[facets]
        row, side = np.nonzero(~inside[neighbours])
        owner, other = facets[row], neighbours[row, side]
        ends = self.mesh.vertices[
            np.stack(
                [self.mesh.triangles[owner, side], self.mesh.triangles[owner, (side + 1) % 3]], 1
            )
        ]
        # A wall that goes down lies on the side that the ceiling faces: a hollow edge.
        rise = self.mesh.corners[other] - ends[:, :1]
        reach = np.einsum("ekj,ej->ek", rise, self.normals[owner])
        return ends[:, :, :2], reach.max(axis=1) > -reach.min(axis=1)


def _across(triangles: Indices) -> Indices:
    """Return the facet across each side, shape (m, 3); the facet itself where there is none."""
    count = len(triangles)
    tails, heads = triangles.reshape(-1), np.roll(triangles, -1, axis=1).reshape(-1)
    names = np.minimum(tails, heads) * (triangles.max() + 1) + np.maximum(tails, heads)
    order = np.argsort(names, kind="stable")
    pairs = np.flatnonzero(names[order][1:] == names[order][:-1])
    across = np.repeat(np.arange(count), 3)
    one, two = order[pairs], order[pairs + 1]
    across[one], across[two] = two // 3, one // 3
    return across.reshape(-1, 3)


def _span_mm(inner: BaseGeometry, border: Border) -> float:
    """Return the longest of the shortest lines over a ceiling that have a wall at both ends."""
    points = _points_in(inner)
    best = np.full(len(points), np.inf)
    for way in _ways(border):
        best = np.minimum(best, _line_mm(points, way, border))
    return float(best.max())


def _ways(border: Border) -> Points:
    """Return directions all around, and those straight off the longest walls."""
    turns = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    around = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    walls = np.diff(border[0][border[1]], axis=1)[:, 0]
    lengths = np.linalg.norm(walls, axis=1)
    longest = np.argsort(-lengths, kind="stable")[:WALLS]
    across = walls[longest][:, ::-1] * (1.0, -1.0) / lengths[longest, None]
    return np.vstack([around, across])


def _line_mm(points: Points, way: Points, border: Border) -> Points:
    """Return how long a line through each point is from wall to wall, infinite without walls."""
    edges, stands = border
    along, aside = edges @ way, edges @ np.array([-way[1], way[0]])
    at, off = points @ way, points @ np.array([-way[1], way[0]])
    rise = aside[:, 1] - aside[:, 0]
    share = (off[:, None] - aside[:, 0]) / np.where(rise == 0.0, 1.0, rise)
    crossed = (rise != 0.0) & (share >= 0.0) & (share <= 1.0)
    reach = along[:, 0] + share * (along[:, 1] - along[:, 0]) - at[:, None]
    ahead, behind = (np.where(crossed & (side > 0.0), side, np.inf) for side in (reach, -reach))
    walled = stands[ahead.argmin(axis=1)] & stands[behind.argmin(axis=1)]
    length: Points = np.where(walled, ahead.min(axis=1) + behind.min(axis=1), np.inf)
    return length


def _points_in(area: BaseGeometry) -> Points:
    """Return points of a lattice in an area, and one in each of its pieces."""
    low_x, low_y, high_x, high_y = area.bounds
    step = np.sqrt(area.area / POINTS)
    lattice = np.meshgrid(np.arange(low_x, high_x, step), np.arange(low_y, high_y, step))
    x, y = (axis.reshape(-1) for axis in lattice)
    kept = shapely.contains_xy(area, x, y)
    one = shapely.get_coordinates(shapely.point_on_surface(shapely.get_parts(area)))
    return np.vstack([np.stack([x[kept], y[kept]], axis=1), one])
