"""Meshes and what is computed from them: booleans, rays, rasters, topology, reading and repair.

- `mesh`: the Mesh value, its measures and moves, and its facets as numbers.
- `booleans`: booleans, sections and shadows of closed meshes (manifold3d, shapely).
- `float32`: meshes in the precision of their files: float32 corners, and still one closed
  surface.
- `rays`: what straight lines meet on a triangle mesh, all lines at once, in double precision.
- `raster`: A mesh seen from above, as heights at the centres of square pixels.
- `topology`: how the triangles of a mesh are joined, facets that run through each other, and
  mending where it is asked for.
- `mesh_files`: reading a mesh that somebody else wrote (STL, OBJ, PLY, 3MF): bounded, checked,
  in millimetres.
- `fill_volume`: how much a mould holds: the catchments of its surface from above, and the air
  that does not run out.
"""

from moulddesign.geometry.booleans import (
    bodies,
    box,
    difference,
    filled,
    hole,
    intersection,
    manifold_of,
    overlaps_mm3,
    pieces_of_air,
    section,
    section_region,
    shadow,
    silhouette,
    solid_of_revolution,
    triangulated,
    union,
    upright_section,
)
from moulddesign.geometry.mesh import (
    Indices,
    Mesh,
    Points,
    drafts_deg,
    joined,
    normals_and_areas,
    spread_points,
    unfolded,
)

__all__ = [
    "Indices",
    "Mesh",
    "Points",
    "bodies",
    "box",
    "difference",
    "drafts_deg",
    "filled",
    "hole",
    "intersection",
    "joined",
    "manifold_of",
    "normals_and_areas",
    "overlaps_mm3",
    "pieces_of_air",
    "section",
    "section_region",
    "shadow",
    "silhouette",
    "solid_of_revolution",
    "spread_points",
    "triangulated",
    "unfolded",
    "union",
    "upright_section",
]
