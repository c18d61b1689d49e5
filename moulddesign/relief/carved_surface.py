"""The carved surface: a height field and the vectors on it as one mesh within an outline.

The ground is a labelled field (`field`), the vectors are regions with the contour roof (`roof`).
Both meet at loops, so that no boolean is needed, and the outline is the edge of the mesh: a solid
closes by itself, and its height stays linear in its volume.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import radians, tan
from typing import Final, NamedTuple

import numpy as np
import shapely
from scipy.spatial import cKDTree

from moulddesign.artwork.outline import ARC_CHORD_MM, QUARTER_CHORDS
from moulddesign.core import KernelError, SpecError, say
from moulddesign.core.concurrency import Submit, deferred
from moulddesign.geometry import Indices, Mesh, Points
from moulddesign.geometry.booleans import triangulated
from moulddesign.geometry.topology import compact
from moulddesign.relief.creases import coarse_creases, creases, crossing_tasks
from moulddesign.relief.draft_repair import with_draft, with_feet, without_steep_slivers
from moulddesign.relief.facet_samples import field_samples
from moulddesign.relief.facets import (
    NODE_GRID_MM,
    ON_RING_MM,
    OUTSIDE,
    Facets,
    divided,
    facets,
    network,
    rows_on,
    unrefined_facets,
)
from moulddesign.relief.field import Field, Heights
from moulddesign.relief.lifted_walls import LiftedWalls, lifted_walls, open_edges
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import snapped_to_grid

ERROR_MM: Final = 0.02
"""Largest height error: between samples of the field a little more in places [mm]."""
REFINED_SHARE: Final = 0.88
"""Of that error: where its samples find no more, a facet may be off by a half more."""
EDGE_SHARE: Final = 0.35
"""Of that error: what the edges of walls and creases may be off."""
CLEAR_MM: Final = 0.02
"""Creases end so far from a region's edges, as regions keep apart [mm]."""
FEET_ROUNDS: Final = 2
"""A sliver may share its side with another one, which then waits for the second round."""
MOST_MOVED_MM: Final = 0.012
"""What draft repair may move a height [mm]."""

COARSE_MM: Final = 0.5
"""Spacing of the points of a coarse surface: nineteen of twenty places on a bundled face are then
off by less than 0.1 mm, and walls by some tenths [mm]."""
COARSE_PLAN_MM: Final = 0.05
"""How far the edges of regions are simplified on a coarse surface [mm]."""
COARSE_EDGE_MM: Final = 0.1
"""What edges of walls may be off on a coarse surface [mm]."""
COARSE_CLEAR_RATIO: Final = 0.1
"""Its creases end so far from outlines and regions, as a share of the spacing."""
COARSE_APART_RATIO: Final = 0.6
"""Points of the grid that are nearer to a crease are left out, as a share of the spacing."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CarvedSurface:
    """A surface within an outline, heights over the field's own z = 0."""

    vertices: Points
    """Shape (n, 3) [mm]."""
    triangles: Indices
    """Counter-clockwise seen from above, shape (m, 3)."""
    rim: Indices
    """Rows of `vertices` along the outline, counter-clockwise."""
    stamp_triangles: Indices
    """Rows of `triangles` within the stamp's outline."""
    stamp_rim: Indices
    """Rows of `vertices` along the stamp's outline, counter-clockwise."""
    moved_mm: float
    """The most that draft repair moved a height."""


SurfaceMaker = Callable[..., CarvedSurface]
"""`carved_surface` or `coarse_surface`."""


def carved_surface(
    outline: shapely.Polygon,
    field: Field,
    regions: Sequence[ReliefRegion],
    *,
    inset_mm: float,
    draft_deg: float,
    submit: Submit = deferred,
) -> CarvedSurface:
    """Return the surface of a field within an outline, with regions of artwork on it.

    Parameters
    ----------
    outline : shapely Polygon
        Without holes [mm].
    field : Field
        Continuous, no steeper than the draft allows, known some 0.5 mm beyond the outline as well.
    regions : sequence of ReliefRegion
        Apart from each other, within the stamp's outline; they stand on the field.
    inset_mm : float
        Outline to stamp's outline; 0 where both are one [mm].
    draft_deg : float
        Least angle between a facet and the pull direction [deg].
    submit : callable
        Given half of the search for creases, and what samples the field meanwhile.

    Raises
    ------
    SpecError
        A region lies over a step of the ground, or beyond the stamp's outline.
    KernelError
        The triangulation failed.
    """
    outline = shapely.orient_polygons(outline)
    corners = shapely.get_coordinates(outline)[:-1]
    low, high = crossing_tasks(field, outline)
    sampling = partial(field_samples, corners[triangulated([corners])], field)
    high, samples = submit([high, sampling])
    stamp = _inset(outline, inset_mm)
    bound_mm, edge_mm = REFINED_SHARE * ERROR_MM, EDGE_SHARE * ERROR_MM
    walls = [
        lifted_walls(region, field, draft_deg=draft_deg, bound_mm=edge_mm) for region in regions
    ]
    _refuse_beyond(stamp, walls)
    pieces = creases([low, high], field, error_mm=ERROR_MM)
    rings = [outline.exterior] if inset_mm == 0.0 else [outline.exterior, stamp.exterior]
    net = network(_clear_of(pieces, outline, walls), rings)
    within, within_stamp = (shapely.Polygon(net.points[net.rings[at]]) for at in (0, -1))
    points, edges = divided(net.points, net.edges, field, bound_mm)
    ground = _Ground(points, edges).with_loops(walls)
    made = facets(
        ground.points,
        ground.edges,
        field,
        area_of=lambda at: _area(at, within, walls),
        samples=samples,
        bound_mm=bound_mm,
        steepest=1.0 / tan(radians(draft_deg)),
    )
    vertices, triangles = _joined(made, walls, len(points), field)
    above = np.full(len(triangles), np.nan)
    above[: len(made.area)] = _depths(walls)[made.area]

    def exact(rows: Indices, at: Points) -> Heights:
        heights: Heights = field(at).height + above[rows]
        return heights

    def without_slivers(vertices: Points, triangles: Indices) -> Indices:
        return without_steep_slivers(
            vertices,
            triangles,
            exact,
            fixed=fixed,
            draft_deg=draft_deg,
            error_mm=bound_mm,
        )

    fixed = _on_rings(vertices, within, within_stamp)
    # First the plan, where that is enough: moved heights make neighbours of a sliver steep.
    triangles = without_slivers(vertices, triangles)
    kept = triangles[:, 0] >= 0
    triangles, above = triangles[kept], above[kept]
    for _ in range(FEET_ROUNDS):
        vertices, triangles, source = with_feet(
            vertices, triangles, exact, fixed=fixed, draft_deg=draft_deg, error_mm=bound_mm
        )
        above = above[source]
    repaired = with_draft(vertices, triangles, draft_deg, MOST_MOVED_MM)
    triangles = without_slivers(repaired.vertices, triangles)
    mesh, _ = compact(repaired.vertices, triangles[triangles[:, 0] >= 0])
    return _with_stamp(mesh, within_stamp, moved_mm=repaired.moved_mm)


def coarse_surface(
    outline: shapely.Polygon,
    field: Field,
    regions: Sequence[ReliefRegion],
    *,
    inset_mm: float,
    draft_deg: float,
    spacing_mm: float = COARSE_MM,
) -> CarvedSurface:
    """Return what `carved_surface` returns, on points of a grid and of creases: to look at.

    It takes a tenth of the time. Facets are neither refined nor repaired, so they may be steeper
    than the draft, and what is narrower than the grid may be missed.

    Parameters
    ----------
    spacing_mm : float
        Of the grid [mm].
    """
    outline = shapely.orient_polygons(outline)
    stamp = _inset(outline, inset_mm)
    walls = [
        lifted_walls(plain, field, draft_deg=draft_deg, bound_mm=COARSE_EDGE_MM)
        for region in regions
        for plain in [replace(region, shape=snapped_to_grid(region.shape.simplify(COARSE_PLAN_MM)))]
    ]
    _refuse_beyond(stamp, walls)
    nodes, pieces = coarse_creases(field, outline, spacing_mm=spacing_mm)
    rings = [outline.exterior] if inset_mm == 0.0 else [outline.exterior, stamp.exterior]
    clear_mm = COARSE_CLEAR_RATIO * spacing_mm
    taken = shapely.union_all([*rings, *(wall.area for wall in walls)]).buffer(clear_mm)
    above = shapely.union_all([wall.plateaus for wall in walls]).buffer(-clear_mm)
    room = outline.difference(taken).union(above)
    shapely.prepare(
        [room, outline, *(part for wall in walls for part in (wall.area, wall.plateaus))]
    )
    pieces = pieces[shapely.contains_properly(room, shapely.linestrings(pieces))]
    around = [shapely.get_coordinates(ring) for ring in rings]
    segments = [np.stack([ring[:-1], ring[1:]], axis=1) for ring in around]
    segments.append(np.round(pieces / NODE_GRID_MM) * NODE_GRID_MM)
    places, row = np.unique(np.concatenate(segments).reshape(-1, 2), axis=0, return_inverse=True)
    edges = row.reshape(-1, 2)
    nodes = nodes[shapely.contains_xy(room, nodes[:, 0], nodes[:, 1])]
    away, _ = cKDTree(places).query(nodes)
    points = np.concatenate([places, nodes[away > COARSE_APART_RATIO * spacing_mm]])
    ground = _Ground(points, edges[edges[:, 0] != edges[:, 1]]).with_loops(walls)
    made = unrefined_facets(
        ground.points, ground.edges, field, area_of=lambda at: _area(at, outline, walls)
    )
    vertices, triangles = _joined(made, walls, len(points), field)
    return _with_stamp(Mesh(vertices, triangles), stamp, moved_mm=0.0)


def _with_stamp(mesh: Mesh, stamp: shapely.Polygon, *, moved_mm: float) -> CarvedSurface:
    """Return a mesh as a carved surface, with what of it lies within the stamp's outline."""
    middle = mesh.corners.mean(axis=1)
    shapely.prepare(stamp)
    inside = np.flatnonzero(shapely.contains_xy(stamp, middle[:, 0], middle[:, 1]))
    return CarvedSurface(
        vertices=mesh.vertices,
        triangles=mesh.triangles,
        rim=_edge_loop(mesh.triangles),
        stamp_triangles=inside,
        stamp_rim=_edge_loop(mesh.triangles[inside]),
        moved_mm=moved_mm,
    )


def _inset(outline: shapely.Polygon, inset_mm: float) -> shapely.Polygon:
    """Return the stamp's outline, in one piece and counter-clockwise."""
    if inset_mm == 0.0:
        return outline
    inner = outline.buffer(-inset_mm, quad_segs=QUARTER_CHORDS).simplify(ARC_CHORD_MM / 4.0)
    if inner.is_empty or inner.geom_type != "Polygon":
        raise SpecError("inset_mm", inset_mm, say("relief.no-stamp"))
    return shapely.orient_polygons(inner)


def _refuse_beyond(stamp: shapely.Polygon, walls: Sequence[LiftedWalls]) -> None:
    shapely.prepare(stamp)
    for wall in walls:
        if not stamp.contains_properly(wall.area):
            raise SpecError("relief.layers", round(wall.depth_mm, 3), say("relief.over-edge"))


def _clear_of(pieces: Points, outline: shapely.Polygon, walls: Sequence[LiftedWalls]) -> Points:
    """Return pieces of creases inside the outline, off the walls and their edges."""
    lines = shapely.intersection(shapely.multilinestrings(shapely.linestrings(pieces)), outline)
    if walls:
        taken = shapely.union_all([wall.area for wall in walls]).buffer(CLEAR_MM)
        above = shapely.union_all([wall.plateaus for wall in walls]).buffer(-CLEAR_MM)
        lines = shapely.union_all(
            [shapely.difference(lines, taken), shapely.intersection(lines, above)]
        )
    points, part = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    clear: Points = np.stack([points[:-1], points[1:]], axis=1)[part[:-1] == part[1:]]
    return clear


class _Ground(NamedTuple):
    """Points and constraint edges of the ground."""

    points: Points
    edges: Indices

    def with_loops(self, walls: Sequence[LiftedWalls]) -> "_Ground":
        """Return them with eaves and edges of plateaus after them, wall by wall."""
        points, edges, count = [self.points], [self.edges], len(self.points)
        for wall in walls:
            rows, at = np.unique(wall.edges, return_inverse=True)
            points.append(wall.vertices[rows, :2])
            edges.append(at.reshape(-1, 2) + count)
            count += len(rows)
        return _Ground(np.concatenate(points), np.concatenate(edges))


GROUND: Final = 0
"""Area of the ground; the plateaus of the regions are numbered from 1."""


def _area(at: Points, within: shapely.Polygon, walls: Sequence[LiftedWalls]) -> Indices:
    area = np.where(shapely.contains_xy(within, at[:, 0], at[:, 1]), GROUND, OUTSIDE)
    for number, wall in enumerate(walls):
        area[shapely.contains_xy(wall.area, at[:, 0], at[:, 1])] = OUTSIDE
        area[shapely.contains_xy(wall.plateaus, at[:, 0], at[:, 1])] = GROUND + 1 + number
    return area


def _on_rings(vertices: Points, *areas: shapely.Polygon) -> Indices:
    """Return the corners that lie on the edges of areas."""
    rows = [rows_on(area.exterior, vertices[:, :2], ON_RING_MM) for area in areas]
    return np.unique(np.concatenate(rows))


def _joined(
    made: Facets, walls: Sequence[LiftedWalls], count: int, field: Field
) -> tuple[Points, Indices]:
    """Return ground, plateaus and walls as one mesh; the loops begin at row `count`."""
    above = np.zeros(len(made.points))
    above[made.triangles.ravel()] = np.repeat(_depths(walls)[made.area], 3)
    vertices = [np.column_stack([made.points, made.heights + above])]
    triangles = [made.triangles]
    size = len(made.points)
    for wall in walls:
        number = np.full(len(wall.vertices), -1, dtype=np.int64)
        loops = np.unique(wall.edges)
        number[loops] = count + np.arange(len(loops))
        rest = np.flatnonzero(number < 0)
        number[rest] = size + np.arange(len(rest))
        ground = field(wall.vertices[rest, :2]).height
        vertices.append(wall.vertices[rest] + np.column_stack([np.zeros((len(rest), 2)), ground]))
        triangles.append(number[wall.triangles])
        count += len(loops)
        size += len(rest)
    mesh, _ = compact(np.concatenate(vertices), np.concatenate(triangles))
    return mesh.vertices, mesh.triangles


def _depths(walls: Sequence[LiftedWalls]) -> Points:
    """Return how high each area lies above the field."""
    return np.array([0.0, *(wall.depth_mm for wall in walls)])


def _edge_loop(triangles: Indices) -> Indices:
    """Return the edge of a surface as one loop; `KernelError` where it has more."""
    edges = open_edges(triangles)
    after = dict(edges.tolist())
    path = [int(edges[0, 0])]
    while len(path) <= len(after) and after[path[-1]] != path[0]:
        path.append(after[path[-1]])
    if len(path) < len(edges) or len(after) < len(edges):
        raise KernelError(say("relief.facets"), say("relief.open"))
    return np.array(path, dtype=np.int64)
