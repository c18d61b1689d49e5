"""The relief seen from above, with strokes and gaps too thin to print or to fill ringed."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from moulddesign.check.strokes import least_widths_mm
from moulddesign.export.picture import png_bytes
from moulddesign.pastry.marking import (
    CAPTION_PX,
    DOUGH,
    RAISED,
    SIDE_PX,
    SUNK,
    Drawn,
    Mark,
    marked_picture,
    thin_marks,
)
from moulddesign.pastry.pastry import Pastry

CAPTION: Final = CAPTION_PX / (SIDE_PX + CAPTION_PX)
"""Share of the picture's height that is its caption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefPlan:
    """A picture of the relief, and what its caption says.

    Parameters
    ----------
    png : bytes
        The picture with its caption below.
    said : tuple of str
        The lines of the caption.
    """

    png: bytes
    said: tuple[str, ...]


def relief_plan(pastry: Pastry, *, line_mm: float) -> ReliefPlan:
    """Return the relief's regions from above as a picture, thin places ringed.

    Parameters
    ----------
    pastry : Pastry
        What is raised is drawn dark, what is sunk light.
    line_mm : float
        Width of one printed line: it sets how thin strokes and gaps may be [mm].

    Returns
    -------
    ReliefPlan
        The same bytes for the same pastry.
    """
    drawn = [Drawn(shape=pastry.outline.shape, colour=DOUGH)]
    marks: list[Mark] = []
    said: list[str] = []
    for shape, depth_mm in pastry.artwork:
        raised = depth_mm > 0.0
        stroke_mm, gap_mm = least_widths_mm(line_mm=line_mm, raised=raised)
        drawn.append(Drawn(shape=shape, colour=RAISED if raised else SUNK))
        marks += thin_marks(shape, least_stroke_mm=stroke_mm, least_gap_mm=gap_mm)
        sense = "Raised" if raised else "Sunk"
        said.append(f"{sense}: stroke at least {stroke_mm:g} mm, gap {gap_mm:g} mm")
    said.append("Thinner ones are ringed" if marks else "None is thinner")
    lines = tuple(said) if pastry.artwork else ("No relief",)
    picture = marked_picture(drawn, tuple(marks), "\n".join(lines))
    return ReliefPlan(png=png_bytes(np.asarray(picture), picture.size), said=lines)
