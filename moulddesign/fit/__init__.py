"""A mould that exists: what it holds, the weights that fit it, and which of several to take.

- `cavities`: a cavity by its inner sizes or by the water that fills it: its volume, and what lies
  deeper in it than a crust.
- `mesh_cavities`: cavities from meshes: every hollow of a mould, or a press's sleeve and stamp.
- `pieces`: the pieces that fill a cavity, and the window of heights and weights of a press mould.
- `fitting`: from a mould's measures to the weights that fit it; several moulds ranked_moulds.
- `mouth_outline`: which outline the mouth of a scanned mould is.
- `scanned_mould`: the mesh of a scan levelled to its rim, scaled, mended and smoothed.
- `lit_photos`: relief from photos under a lamp that goes around: photometric stereo.
- `twin`: height maps and the design of an old mould's twin, from either.
- `plot`: the plot of a press mould: height over weight, with the window marked.
"""

from moulddesign.fit.cavities import ABOUT_CRUST, MeasuredCavity
from moulddesign.fit.fitting import (
    EQUAL_RATIO,
    Fit,
    RankedMould,
    design_in,
    fit,
    fit_of_own,
    fitted_design,
    nearest_mould,
    nearest_remark,
    ranked_moulds,
)
from moulddesign.fit.mesh_cavities import press_volume_mm3
from moulddesign.fit.pieces import FittingPiece, Pressing, Window, pressings
from moulddesign.fit.plot import Wording, window_png, window_svg

__all__ = [
    "ABOUT_CRUST",
    "EQUAL_RATIO",
    "Fit",
    "FittingPiece",
    "MeasuredCavity",
    "Pressing",
    "RankedMould",
    "Window",
    "Wording",
    "design_in",
    "fit",
    "fit_of_own",
    "fitted_design",
    "nearest_mould",
    "nearest_remark",
    "press_volume_mm3",
    "pressings",
    "ranked_moulds",
    "window_png",
    "window_svg",
]
