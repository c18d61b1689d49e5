"""GLB (glTF 2.0 in one file): the parts by name, as they stand when the pastry is pressed."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import trimesh
from trimesh.visual.material import PBRMaterial

from moulddesign.export.colour import colour_of
from moulddesign.mesh import Mesh

UPRIGHT: Final = np.array(
    [[1e-3, 0.0, 0.0, 0.0], [0.0, 0.0, 1e-3, 0.0], [0.0, -1e-3, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
)
"""From millimetres with z up to what glTF 2.0 asks for: metres with y up."""


def glb_bytes(meshes: Mapping[str, Mesh]) -> bytes:
    """Return meshes as one GLB file, each a node of its name.

    Parameters
    ----------
    meshes : mapping of str to Mesh
        In the assembly's coordinates, z up [mm]. The file holds metres, y up, as glTF 2.0 says.
        No normals are written, so a viewer shows the facets as they are.
    """
    scene = trimesh.Scene()
    for number, (name, mesh) in enumerate(meshes.items()):
        scene.add_geometry(_coloured(mesh, name, colour_of(name, number)), name, name)
    return bytes(scene.export(file_type="glb", include_normals=False))


def _coloured(mesh: Mesh, name: str, rgb: Sequence[float]) -> trimesh.Trimesh:
    made = trimesh.Trimesh(
        mesh.vertices @ UPRIGHT[:3, :3].T, mesh.triangles, process=False, validate=False
    )
    colour = [*(round(255 * share) for share in rgb), 255]
    made.visual = trimesh.visual.TextureVisuals(
        material=PBRMaterial(
            name=name, baseColorFactor=colour, metallicFactor=0.0, roughnessFactor=0.7
        )
    )
    return made
