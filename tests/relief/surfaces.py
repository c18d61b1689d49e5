"""What must be true of any roof, measured by shapely and by counting, not by the roof itself."""

import numpy as np
import shapely

from moulddesign.design import Profile
from moulddesign.geometry import Mesh
from moulddesign.relief.medial_axis import medial_axis
from moulddesign.relief.profile import height_profile
from moulddesign.relief.roof import roof, roof_from_axis, triangulated_loops
from moulddesign.relief.voronoi import snapped_to_grid


def roofed(shape, profile, *, depth_mm=1.5, draft_deg=15.0):
    """Return region on the grid, section and roof, as the relief makes them."""
    region = snapped_to_grid(shape)
    if profile is Profile.FLAT:
        wall = height_profile(profile, depth_mm=depth_mm, draft_deg=draft_deg, widest_mm=np.inf)
        return region, wall, roof(region, wall)
    axis = medial_axis(region)
    widest_mm = float(axis.distances.max())
    wall = height_profile(profile, depth_mm=depth_mm, draft_deg=draft_deg, widest_mm=widest_mm)
    return region, wall, roof_from_axis(axis, wall)


def closed(made):
    """Return the roof with its floor at z = 0."""
    floor = triangulated_loops(made.vertices, made.eaves)[:, ::-1]
    return Mesh(made.vertices, np.concatenate([made.surface.triangles, floor]))


def plan_areas(mesh):
    """Return the area of each facet seen from above, negative where it is folded over."""
    ab, ac = (mesh.corners[:, i, :2] - mesh.corners[:, 0, :2] for i in (1, 2))
    return (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]) / 2.0


def directed_edges(triangles):
    """Return a number for each edge as it is wound, and for the same edge wound back."""
    assert triangles.min() >= 0
    start, end = triangles.T.ravel(), np.roll(triangles, -1, axis=1).T.ravel()
    size = 1 + int(triangles.max())
    return start * size + end, end * size + start


def points_inside(region, count, seed=0):
    """Return random points in a region, shape (count, 2), as many in each part as its area asks."""
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(region))
    areas = shapely.area(triangles)
    rng = np.random.default_rng(seed)
    which = rng.choice(len(triangles), count, p=areas / areas.sum())
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[which]
    u, v = rng.uniform(size=(2, count))
    u, v = np.where(u + v > 1.0, 1.0 - u, u), np.where(u + v > 1.0, 1.0 - v, v)
    return (
        corners[:, 0]
        + u[:, None] * (corners[:, 1] - corners[:, 0])
        + v[:, None] * (corners[:, 2] - corners[:, 0])
    )


def heights_at(surface, points):
    """Return the height of a surface over points, found by shapely's tree and by its planes."""
    corners = surface.corners
    whole = np.abs(plan_areas(surface)) > 1e-12
    facets = shapely.polygons(corners[whole][:, [0, 1, 2, 0], :2])
    which, facet = shapely.STRtree(facets).query(shapely.points(points), predicate="intersects")
    a, b, c = np.moveaxis(corners[whole][facet], 1, 0)
    normal = np.cross(b - a, c - a)
    away = points[which] - a[:, :2]
    height = a[:, 2] - np.einsum("ij,ij->i", normal[:, :2], away) / normal[:, 2]
    found = np.full(len(points), np.nan)
    found[which] = height
    return found
