"""Bodies for the checks, made by trimesh's primitives and manifold, not by our own rooms."""

import numpy as np
import trimesh
from manifold3d import Manifold, Mesh64

from moulddesign.geometry import Mesh


def mesh_of(body) -> Mesh:
    """Return our Mesh of a trimesh or a manifold body."""
    if isinstance(body, Manifold):
        raw = body.to_mesh64()
        return Mesh(np.array(raw.vert_properties)[:, :3], np.array(raw.tri_verts))
    return Mesh(np.array(body.vertices), np.array(body.faces))


def manifold_of(mesh: Mesh) -> Manifold:
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.triangles.astype(np.uint64)))


def cylinder(radius, low, high, sides=256) -> Manifold:
    return Manifold.cylinder(high - low, radius, radius, sides).translate([0.0, 0.0, low])


def cone(low_radius, high_radius, low, high, sides=256) -> Manifold:
    return Manifold.cylinder(high - low, low_radius, high_radius, sides).translate([0, 0, low])


def as_written(mesh: Mesh) -> Mesh:
    """Return a mesh as an STL holds it: float32."""
    return Mesh(mesh.vertices.astype(np.float32), mesh.triangles)


def primitive(name, **sizes) -> Mesh:
    return mesh_of(getattr(trimesh.creation, name)(**sizes))
