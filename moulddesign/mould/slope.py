"""How steep a face must be to be printed over air."""

from math import radians, tan
from typing import Final

OVERHANG_DEG: Final = 44.0
"""Lean from upright of every sloped underside [deg].

45 deg is common practice, no source; one degree is kept for the facets of a curved slope, some of
which lean more than the slope itself.
"""

RISE: Final = 1.0 / tan(radians(OVERHANG_DEG))
"""Height that such a slope gains for each millimetre that it reaches out."""
