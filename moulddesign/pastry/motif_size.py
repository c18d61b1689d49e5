"""What a motif is made to: a count and two widths."""

from dataclasses import dataclass
from math import isfinite
from typing import Final

from moulddesign.errors import SpecError

MOST_PARTS: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class MotifSize:
    """What a motif is made to.

    Parameters
    ----------
    count : int
        Parts around the centre or along the edge; rings; lines of a lattice from edge to edge.
    stroke_mm : float
        Width of its strokes, or of the gaps between its parts [mm].
    band_mm : float
        Width of a border, from the outline inwards; radius that a field leaves free at its
        middle [mm].
    """

    count: int
    stroke_mm: float
    band_mm: float

    def __post_init__(self) -> None:
        if not 1 <= self.count <= MOST_PARTS:
            raise SpecError("count", self.count, f"must be from 1 to {MOST_PARTS}")
        for name in ("stroke_mm", "band_mm"):
            value = getattr(self, name)
            if not (isfinite(value) and value > 0.0):
                raise SpecError(name, value, "must be finite and above 0 mm")
