"""Meshes and what is computed from them: booleans, rays, rasters, topology, reading and repair.

- `mesh`: the Mesh value: its measures and moves, and what each of its facets measures.
- `welding`: corners that are one: equal ones, near ones, and the triangles that vanish when they
  meet.
- `topology`: how the triangles of a mesh are joined: open, crowded and clashing edges, and shells.
- `crossings`: facets that pass through each other.
- `mending`: mending a mesh where that is asked for, so that it bounds a solid.
- `float32`: meshes in the precision of their files: float32 corners, and still one closed
  surface.
- `booleans`: booleans, sections and shadows of closed meshes (manifold3d, shapely).
- `rays`: what straight lines meet on a triangle mesh, all lines at once, in double precision.
- `raster`: a mesh seen from above, as heights at the centres of square pixels.
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
    joined,
    normals_and_areas,
    sides_and_heights_mm,
    spread_points,
)
from moulddesign.geometry.welding import first_near, unfolded, welded_within

__all__ = [
    "Indices",
    "Mesh",
    "Points",
    "bodies",
    "box",
    "difference",
    "filled",
    "first_near",
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
    "silhouette",
    "solid_of_revolution",
    "spread_points",
    "triangulated",
    "unfolded",
    "union",
    "upright_section",
    "welded_within",
]
