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


NEEDLE_MM = 0.002
"""Facets so narrow are not divided, for that makes steeper ones: a two-hundredth of a line."""


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


def grid_heights(surface, outline, step_mm):
    """Return points of a grid within an outline and the surface's heights over them.

    Each facet is drawn as a picture would be: its plane over the points that lie in it. Needles
    narrower than `NEEDLE_MM` are left out.
    """
    left, low, right, high = outline.bounds
    shape = int((high - low) / step_mm) + 2, int((right - left) / step_mm) + 2
    found = np.full(shape, np.nan)
    corners = surface.vertices[surface.triangles]
    plan = (corners[..., :2] - (left, low)) / step_mm
    first = np.ceil(plan.min(axis=1)).astype(int)
    last = np.floor(plan.max(axis=1)).astype(int)
    sides = np.linalg.norm((corners - np.roll(corners, 1, axis=1))[..., :2], axis=2)
    ab, ac = (corners[:, i, :2] - corners[:, 0, :2] for i in (1, 2))
    wide = np.abs(np.linalg.det(np.stack([ab, ac], axis=1))) > NEEDLE_MM * sides.max(axis=1)
    for number in np.flatnonzero(wide & (last >= first).all(axis=1)):
        (a, b, c), z = plan[number], corners[number, :, 2]
        x, y = np.meshgrid(
            *(np.arange(*pair) for pair in zip(first[number], last[number] + 1, strict=True))
        )
        size = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        second = ((x - a[0]) * (c[1] - a[1]) - (y - a[1]) * (c[0] - a[0])) / size
        third = ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) / size
        held = (second >= 0) & (third >= 0) & (second + third <= 1)
        found[y[held], x[held]] = (z[0] + second * (z[1] - z[0]) + third * (z[2] - z[0]))[held]
    y, x = np.nonzero(np.isfinite(found))
    return np.column_stack([x, y]) * step_mm + (left, low), found[y, x]


def errors_mm(surface, face, step_mm=0.03):
    """Return how far a surface is off its field on a grid, where no artwork stands."""
    points, heights = grid_heights(surface, face.outline, step_mm)
    for region in face.regions:
        bare = ~shapely.contains_xy(region.shape.buffer(0.03), *points.T)
        points, heights = points[bare], heights[bare]
    return np.abs(face.field(points).height - heights)


def steep_share(surface, draft_deg):
    """Return the share of the area that lies in facets below a draft."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1) / 2.0
    draft = np.degrees(np.arctan2(normal[:, 2], np.hypot(normal[:, 0], normal[:, 1])))
    return area[draft < draft_deg - 1e-3].sum() / area.sum()
