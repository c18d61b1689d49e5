"""A mould that exists: what it holds, the weights that fit it, and which of several to take.

- `cavities`: A cavity as it was measured, by its inner sizes or the water that fills it: its
  volume, and what lies deeper than a crust.
- `hollows`: cavities from meshes: every hollow of a mould, or a press mould's sleeve and stamp.
- `rows`: the weights that fill a cavity, and the window of heights and weights of a press
  mould.
- `fitting`: A mould that exists: its measures become weights that fit it, and several moulds
  are ranked.
- `plot`: the plot of a press mould: height over weight, with the window marked.
"""

from moulddesign.fit.cavities import Measured
from moulddesign.fit.fitting import Fit, Ranked, fit, ranked
from moulddesign.fit.hollows import press_volume_mm3
from moulddesign.fit.plot import Wording, window_png, window_svg
from moulddesign.fit.rows import Pressing, Row, Window, pressings

__all__ = [
    "Fit",
    "Measured",
    "Pressing",
    "Ranked",
    "Row",
    "Window",
    "Wording",
    "fit",
    "press_volume_mm3",
    "pressings",
    "ranked",
    "window_png",
    "window_svg",
]
