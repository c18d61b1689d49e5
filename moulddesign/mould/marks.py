"""Marks that tell parts and places apart, as flat regions to sink or raise."""

import shapely
from shapely.affinity import scale, translate

from moulddesign.pastry.lettering import lettering


def mark(
    text: str, *, height_mm: float, at_mm: tuple[float, float] = (0.0, 0.0)
) -> shapely.Geometry:
    """Return lines of text of a height about a place, as they read from above.

    Parameters
    ----------
    text : str
        Lines are parted by line breaks.
    height_mm : float
        Of all lines together, from the lowest to the highest point [mm].
    at_mm : tuple of float
        Middle of the text's box [mm].

    Raises
    ------
    SpecError
        The font has no glyph for a character, or there is nothing to read.
    """
    shape = shapely.union_all([region.shape for region in lettering(text)])
    _, low, _, high = shape.bounds
    factor = height_mm / (high - low)
    grown = scale(shape, factor, factor, origin=(0.0, 0.0))
    x0, y0, x1, y1 = grown.bounds
    return translate(grown, at_mm[0] - (x0 + x1) / 2.0, at_mm[1] - (y0 + y1) / 2.0)
