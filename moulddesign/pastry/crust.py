"""How thick the crust is all round, and whether the centres fit inside."""

from scipy.optimize import brentq

from moulddesign.errors import SpecError
from moulddesign.pastry.outline import ROUND_QUARTER, Outline


def crust_thickness_mm(outline: Outline, height_mm: float, filled_mm3: float) -> float:
    """Return the thickness of a crust that is the same all round.

    Parameters
    ----------
    outline : Outline
        Of the pastry.
    height_mm : float
        Table to flat top [mm].
    filled_mm3 : float
        Volume inside the crust [mm^3].

    Returns
    -------
    float
        t of A(outline inset by t) (h - 2 t) = filled volume; the relief is not regarded [mm].

    Raises
    ------
    SpecError
        The filling needs more room than there is without any crust.
    """
    room_mm3 = outline.area_mm2 * height_mm
    if filled_mm3 >= room_mm3:
        raise SpecError(
            "portion.ratio",
            f"{filled_mm3 / 1000.0:.4g} mL of filling",
            f"leaves no crust in a pastry of {room_mm3 / 1000.0:.4g} mL without its relief; take "
            "more crust or a flatter relief",
        )
    shape = outline.shape

    def left_mm3(thickness_mm: float) -> float:
        # Not `Outline.inset`: near the middle the inset vanishes or falls apart, here it may.
        inside_mm2 = shape.buffer(-thickness_mm, quad_segs=ROUND_QUARTER).area
        return float(inside_mm2) * (height_mm - 2.0 * thickness_mm) - filled_mm3

    return float(brentq(left_mm3, 0.0, height_mm / 2.0, xtol=1e-9))
