"""A mould that exists: what it holds, the weights that fit it, and which of several to take."""

from moulddesign.fit.fitting import Fit, fit
from moulddesign.fit.ranking import Ranked, ranked
from moulddesign.fit.rows import RATIOS, Row
from moulddesign.fit.window import Pressing, Window, pressings

__all__ = ["RATIOS", "Fit", "Pressing", "Ranked", "Row", "Window", "fit", "pressings", "ranked"]
