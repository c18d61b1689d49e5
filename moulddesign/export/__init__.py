"""Everything that leaves the tool: formats, drawing, card, pictures, and the folder they go into.

- `formats`: STL, 3MF, GLB and STEP, and the parts side by side on the printer's bed.
- `ink`: what a drawing is made of: strokes, circles, areas, lettering and dimensions on layers
  by meaning.
- `views`: views of a drawing: sections and plans of meshes, the sizes found in them, and their
  dimensions.
- `assembly_view`: the mould pressed to its nominal height with the pastry in it: section, and
  plan below.
- `drawing`: the drawing: views on the smallest sheet that takes them, its frame and title
  block, and its SVG.
- `dxf`: DXF of a drawing: R2010, millimetres, layers by meaning, dimensions that a CAD program
  measures anew.
- `glyphs`: which characters card and drawing can print, what stands in the place of others, and
  where long words break.
- `card`: the bench card: a PDF for the baker, the printer and the wall, and its pages as
  pictures.
- `pictures`: PNG pictures without a screen: what each shows, and who draws it.
- `vtk_scene`: A program of its own: draws scenes off-screen with VTK, in a process that may
  crash.
- `options`: what a build is written as: formats, paper, and the recipe that its card knows of.
- `contents`: which files a build is written as, and how each is made.
- `folder`: A build's folder: written beside, checked, then put in place, so that a kill at any
  moment loses nothing.
- `coupons`: coupons in a folder of their own: printed before a mould, to find out what it
  needs.
"""

from moulddesign.export.folder import (
    REPORT,
    beside,
    in_use,
    publish,
    publish_failing,
    put,
    recover,
    refuse_to_replace,
    staged,
)
from moulddesign.export.options import Format, Paper, Wanted, formats, paper

__all__ = [
    "REPORT",
    "Format",
    "Paper",
    "Wanted",
    "beside",
    "formats",
    "in_use",
    "paper",
    "publish",
    "publish_failing",
    "put",
    "recover",
    "refuse_to_replace",
    "staged",
]
