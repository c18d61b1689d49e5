"""Meshes and what is computed from them: booleans, rays, rasters, topology, reading and repair.

- `mesh`: the Mesh value: its measures and moves, and what each of its facets measures.
- `topology`: how triangles are joined: corners that are one, open, crowded and clashing edges,
  shells, and facets that pass through each other.
- `mending`: meshes made to bound a solid: in the float32 corners of their files, and mended
  where that is asked for.
- `booleans`: booleans, sections and shadows of closed meshes (manifold3d, shapely).
- `sampling`: a mesh sampled: what straight lines meet on it, and its heights on square pixels.
- `mesh_files`: reading mesh files of other programs (STL, OBJ, PLY, 3MF): bounded, checked,
  in millimetres.
- `fill_volume`: how much a mould holds: the catchments of its surface from above, and the air
  that does not run out.
"""

from moulddesign.geometry.booleans import (
    bodies,
    box,
    difference,
    filled,
    forget_bodies,
    hole,
    intersection,
    manifold_of,
    overlaps_mm3,
    pieces_of_air,
    section,
    section_region,
    shadow,
    triangulated,
    union,
    upright_section,
)
from moulddesign.geometry.mesh import (
    Indices,
    Mesh,
    Points,
    joined,
    normals_and_areas,
    sides_and_heights_mm,
    spread_points,
    volume_over_plane_mm3,
)
from moulddesign.geometry.topology import first_near, unfolded

__all__ = [
    "Indices",
    "Mesh",
    "Points",
    "bodies",
    "box",
    "difference",
    "filled",
    "first_near",
    "forget_bodies",
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
    "sides_and_heights_mm",
    "spread_points",
    "triangulated",
    "unfolded",
    "union",
    "upright_section",
    "volume_over_plane_mm3",
]
