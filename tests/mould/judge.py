"""What trimesh says of a mesh, and the CAD kernel of a body: none of it is our own measuring."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import shapely
import trimesh

from moulddesign.core import say

FLAT = 1e-6


def body(mesh):
    """Return trimesh's view of a mesh, asserting that it bounds one solid."""
    seen = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    assert seen.is_watertight
    assert seen.is_winding_consistent
    assert seen.body_count == 1
    assert seen.volume > 0.0
    return seen


def shared_mm3(a, b):
    """Return the volume that two bodies share."""
    both = trimesh.boolean.intersection([body(a), body(b)], engine="manifold")
    # trimesh divides by the volume on its way to it; faces that only touch share none.
    a, b, c = np.moveaxis(both.triangles.reshape(-1, 3, 3), 1, 0)
    return np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0


def winding(seen, point):
    """Return how often a closed mesh winds round a point: the solid angle of its facets / 4 pi."""
    a, b, c = np.moveaxis(seen.triangles - point, 1, 0)
    la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    dots = [np.einsum("ij,ij->i", *pair) for pair in ((b, c), (c, a), (a, b))]
    angle = np.arctan2(volume, la * lb * lc + dots[0] * la + dots[1] * lb + dots[2] * lc)
    return angle.sum() / (2.0 * np.pi)


def cross_section(mesh, z_mm):
    """Return the material of a body at a height, as polygons with holes."""
    seen = body(mesh)
    lines = trimesh.intersections.mesh_plane(seen, (0.0, 0.0, 1.0), (0.0, 0.0, z_mm))[:, :, :2]
    lines = np.round(lines, 7)  # both facets at an edge cut it at the same point but for round-off
    faces = shapely.polygonize(shapely.linestrings(lines)).geoms
    inner = [face.representative_point().coords[0] for face in faces]
    solid = [winding(seen, (*point, z_mm)) > 0.5 for point in inner]
    return [face for face, full in zip(faces, solid, strict=True) if full]


def ceiling_boxes_mm(mesh):
    """Return the extent along x and y of each level ceiling off the bed, shape (n, 2)."""
    seen = body(mesh)
    level = seen.face_normals[:, 2] < -1.0 + FLAT
    down = level & (seen.triangles[:, :, 2].min(axis=1) > 1e-4)
    pairs = seen.face_adjacency[down[seen.face_adjacency].all(axis=1)]
    groups = trimesh.graph.connected_components(pairs, nodes=np.flatnonzero(down))
    return [np.ptp(seen.triangles[group].reshape(-1, 3)[:, :2], axis=0) for group in groups]


def steepest_overhang_deg(mesh):
    """Return the largest overhang of a facet that is neither level nor on the bed.

    0 deg is an upright wall, 90 deg a ceiling.
    """
    seen = body(mesh)
    # Facets narrower than a micrometre have no direction after rounding to float32.
    wide = seen.area_faces > 1e-6 * np.ptp(seen.triangles, axis=1).max(axis=1)
    down = seen.face_normals[:, 2]
    sloped = wide & (down < 0.0) & (down > -1.0 + FLAT)
    return np.degrees(np.arcsin(-down[sloped])).max(initial=0.0)


def read_back(solid, folder):
    """Return the CAD kernel's shape of an exact body that was written as STEP into a folder."""
    from cadquery import importers  # noqa: PLC0415 (3 s, needed here alone)

    path = Path(folder) / "body.step"
    path.write_text(solid.step_text(say("mould.kernel-body")), encoding="ascii")
    return importers.importStep(str(path)).val()


def bounds_mm(made):
    """Return the least and the largest corner of a mesh or of an exact body, shape (2, 3) [mm]."""
    if hasattr(made, "vertices"):
        return made.bounds
    with TemporaryDirectory() as folder:
        box = read_back(made, folder).BoundingBox(1e-5)
    return np.array([[box.xmin, box.ymin, box.zmin], [box.xmax, box.ymax, box.zmax]])


def off_surface_mm(points, solid):
    """Return how far points lie off the surface of an exact body, shape (n,) [mm]."""
    from cadquery import Vertex  # noqa: PLC0415 (3 s, needed here alone)

    with TemporaryDirectory() as folder:
        (shell,) = read_back(solid, folder).Shells()
    return np.array([shell.distance(Vertex.makeVertex(*point)) for point in points.tolist()])
