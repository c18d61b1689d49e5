"""The size of a pastry that holds another volume, from one that was made, without making it.

A change of the weight alone scales a piece from above and lifts its top; its relief keeps its
depth. So a picture of the piece can follow at once, and the true one replaces it.
"""

from dataclasses import dataclass
from math import sqrt

from moulddesign.artwork.outline import outline_of_width, width_for_area_mm
from moulddesign.core import mm3_from_ml
from moulddesign.design import Design, PressTable
from moulddesign.pastry.pastry import first_width_mm, in_whole_layers_mm, outline_table


@dataclass(frozen=True, slots=True, kw_only=True)
class PastrySize:
    """How large a pastry is, and how its volume comes about."""

    width_mm: float
    height_mm: float
    """To the flat top, or to the ground of a carved face [mm]."""
    area_mm2: float
    """Within its outline at the table [mm^2]."""
    volume_mm3: float
    relief_mm3: float
    """Of the relief above the flat top, less what is sunk below it [mm^3]."""


def resized(made: PastrySize, design: Design, volume_ml: float) -> PastrySize:
    """Return how large a pastry of another volume is, near enough to show it until it is made.

    Parameters
    ----------
    made : PastrySize
        A pastry that differs from the design's in its volume alone.
    volume_ml : float
        Volume of the pressed piece [mL].

    Notes
    -----
    With A the area and r the mean height of the relief, both as `pastry` takes them, the volume is
    A (h + r + c h^2): what a leaning side takes from the prism goes with the girth, so c is
    inverse to the width. A rounded shoulder, which is small, counts as such a side.
    """
    table, volume_mm3 = outline_table(design), mm3_from_ml(volume_ml)
    relief_mm = made.relief_mm3 / made.area_mm2
    lost = made.volume_mm3 / made.area_mm2 - relief_mm - made.height_mm
    bend = lost * made.width_mm / made.height_mm**2

    def height_mm(width_mm: float, area_mm2: float) -> float:
        # The root of c h^2 + h - p, p the height of the prism without the relief; p where c is 0.
        prism = volume_mm3 / area_mm2 - relief_mm
        return 2.0 * prism / (1.0 + sqrt(max(1.0 + 4.0 * bend / width_mm * prism, 0.0)))

    if table.height_mm is None:
        width_mm = first_width_mm(design, volume_mm3)
        outline = outline_of_width(table, width_mm)
        if table.width_mm is None and isinstance(design.mould, PressTable):
            high_mm = height_mm(width_mm, outline.area_mm2)
            width_mm = in_whole_layers_mm(design, volume_mm3, outline, high_mm)
    else:
        left = table.height_mm + relief_mm + bend / made.width_mm * table.height_mm**2
        width_mm = width_for_area_mm(table, volume_mm3 / left)
    area_mm2 = outline_of_width(table, width_mm).area_mm2
    return PastrySize(
        width_mm=width_mm,
        height_mm=height_mm(width_mm, area_mm2),
        area_mm2=area_mm2,
        volume_mm3=volume_mm3,
        relief_mm3=relief_mm * area_mm2,
    )
