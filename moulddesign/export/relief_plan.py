"""The relief seen from above, with strokes and gaps too thin to print or to fill ringed."""

import numpy as np

from moulddesign.check.strokes import least_widths_mm
from moulddesign.export.picture import png_bytes
from moulddesign.pastry.marking import (
    DOUGH,
    RAISED,
    SUNK,
    Drawn,
    Mark,
    marked_picture,
    thin_marks,
)
from moulddesign.pastry.pastry import Pastry


def relief_png(pastry: Pastry, *, line_mm: float) -> bytes:
    """Return the relief's regions from above as a PNG file, thin places ringed.

    Parameters
    ----------
    pastry : Pastry
        What is raised is drawn dark, what is sunk light.
    line_mm : float
        Width of one printed line: it sets how thin strokes and gaps may be [mm].

    Returns
    -------
    bytes
        The same for the same pastry.
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
    caption = "\n".join(said) if pastry.artwork else "No relief"
    picture = marked_picture(drawn, tuple(marks), caption)
    return png_bytes(np.asarray(picture), picture.size)
