"""How thick the crust is all round, and whether the centres fit inside."""

from math import cos, radians, tan

from scipy.optimize import brentq

from moulddesign.errors import SpecError
from moulddesign.pastry.outline import ROUND_QUARTER, Outline


def crust_thickness_mm(
    outline: Outline, height_mm: float, filled_mm3: float, *, side_draft_deg: float = 0.0
) -> float:
    """Return the thickness of a crust that is the same all round.

    Parameters
    ----------
    outline : Outline
        Of the pastry, at the table.
    height_mm : float
        Table to flat top [mm].
    filled_mm3 : float
        Volume inside the crust [mm^3].
    side_draft_deg : float
        Lean of the side inwards from the table [deg].

    Returns
    -------
    float
        t at which the outline inset by t / cos a + z tan a, for z from t to h - t and the draft
        a, encloses the filled volume: A(inset by t) (h - 2 t) where the side is upright. The
        relief is not regarded [mm].

    Raises
    ------
    SpecError
        The filling needs more room than there is without any crust.
    """
    shape, lean = outline.shape, tan(radians(side_draft_deg))
    slant = cos(radians(side_draft_deg))

    def area_mm2(inset_mm: float) -> float:
        # Not `Outline.inset`: near the middle the inset vanishes or falls apart, here it may.
        return float(shape.buffer(-inset_mm, quad_segs=ROUND_QUARTER).area)

    def inside_mm3(thickness_mm: float) -> float:
        least = thickness_mm / slant
        levels = (thickness_mm, height_mm / 2.0, height_mm - thickness_mm)
        low, middle, high = (area_mm2(least + level * lean) for level in levels)
        # Simpson's rule: exact for areas that are square functions of the height.
        return (low + 4.0 * middle + high) / 6.0 * (height_mm - 2.0 * thickness_mm)

    room_mm3 = inside_mm3(0.0)
    if filled_mm3 >= room_mm3:
        raise SpecError(
            "portion.ratio",
            f"{filled_mm3 / 1000.0:.4g} mL of filling",
            f"leaves no crust in a pastry of {room_mm3 / 1000.0:.4g} mL without its relief; take "
            "more crust or a flatter relief",
        )
    return float(brentq(lambda t: inside_mm3(t) - filled_mm3, 0.0, height_mm / 2.0, xtol=1e-9))
