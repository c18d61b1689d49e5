"""How firm a dough is, and the force that presses it: perfect plasticity between rough plates.

A dough gives way where its shear stress reaches the yield stress k. Pressed between two plates
that it does not slip on, a disc of radius R and height h needs the mean pressure

    p = sqrt(3) k (1 + 2 R / (3 sqrt(3) h)):

the first part shears the dough itself, the second drags it outwards along the plates, which
matters the more the flatter the disc is. A ball of known volume under a known load comes to rest
at the height where that pressure is the load's, so the height tells k.
"""

from dataclasses import dataclass
from math import pi, sqrt
from typing import Final

from moulddesign.core import require_positive

G0_M_PER_S2: Final = 9.80665
"""Standard acceleration of free fall, ISO 80000-3 [m/s^2]."""

UNCERTAINTY_RATIO: Final = 0.4
"""How far the plate test may be off: rough plates, 60 s and room temperature as a kitchen has them;
Meeten, Rheologica Acta 43:6 and 49:45, for the method; the share is our estimate."""

LEAST_KPA: Final = 1.4
MOST_KPA: Final = 4.0
"""Range where nothing was measured. Manohar and Rao, Cereal Chemistry 69:619 (1992), abstract: a
dough 22 mm wide and 10 mm high gives way by 32 to 50 % under 410 g, which by the formula above is
1.4 to 2.4 kPa. The metal disc's own size is not told there and the weight is a test load, so it is
an order of magnitude. 4 leaves room for firmer doughs, from memory, measure your own [kPa]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldStress:
    """Shear stress at which a dough gives way, with the range in which it lies [kPa]."""

    kpa: float
    least_kpa: float
    most_kpa: float
    measured: bool
    """Whether it comes from one's own dough."""


UNMEASURED: Final = YieldStress(
    kpa=sqrt(LEAST_KPA * MOST_KPA), least_kpa=LEAST_KPA, most_kpa=MOST_KPA, measured=False
)
"""What is taken for a dough that nobody has tested."""


def dough_yield(kpa: float | None) -> YieldStress:
    """Return the yield stress of a dough that was tested, or the range of one that was not.

    Parameters
    ----------
    kpa : float or None
        As `yield_stress` found it [kPa].
    """
    if kpa is None:
        return UNMEASURED
    return YieldStress(
        kpa=kpa,
        least_kpa=(1.0 - UNCERTAINTY_RATIO) * kpa,
        most_kpa=(1.0 + UNCERTAINTY_RATIO) * kpa,
        measured=True,
    )


def yield_stress(*, dough_ml: float, load_g: float, height_mm: float) -> YieldStress:
    """Return the yield stress of a dough from a ball pressed flat between two rough plates.

    Parameters
    ----------
    dough_ml : float
        Volume of the ball [mL].
    load_g : float
        Mass that rests on the upper plate for 60 s, with the plate's own [g].
    height_mm : float
        Height of the dough under the load [mm].

    Returns
    -------
    YieldStress
        k = F / (pi R^2) / (sqrt(3) (1 + 2 R / (3 sqrt(3) h))) with R = sqrt(V / (pi h)).

    Raises
    ------
    SpecError
        A figure is not finite and above 0.

    Examples
    --------
    >>> round(yield_stress(dough_ml=20.0, load_g=1000.0, height_mm=10.0).kpa, 2)
    1.44
    """
    volume_mm3 = 1000.0 * require_positive("dough_ml", dough_ml, "mL")
    load_n = require_positive("load_g", load_g, "g") / 1000.0 * G0_M_PER_S2
    radius_mm = sqrt(volume_mm3 / (pi * require_positive("height_mm", height_mm, "mm")))
    # N/mm^2 are MPa; a thousand times that is kPa.
    kpa = 1000.0 * load_n / (pi * radius_mm**2) / _pressure_factor(radius_mm, height_mm)
    return dough_yield(kpa)


def squash_force_n(*, radius_mm: float, height_mm: float, yield_kpa: float) -> float:
    """Return the force that presses a disc of dough flatter.

    Parameters
    ----------
    radius_mm, height_mm : float
        The disc; another outline as the circle of its area [mm].
    yield_kpa : float
        Yield stress [kPa].

    Returns
    -------
    float
        pi R^2 sqrt(3) k (1 + 2 R / (3 sqrt(3) h)) [N].
    """
    pressure_mpa = yield_kpa / 1000.0 * _pressure_factor(radius_mm, height_mm)
    return pi * radius_mm**2 * pressure_mpa


def fill_force_n(*, area_mm2: float, depth_mm: float, width_mm: float, yield_kpa: float) -> float:
    """Return the force that presses dough to the bottom of grooves all over a face.

    Parameters
    ----------
    area_mm2 : float
        Area of the face [mm^2].
    depth_mm, width_mm : float
        Depth and width of the grooves [mm].
    yield_kpa : float
        Yield stress [kPa].

    Returns
    -------
    float
        A k (2 + pi + 2 d / w): the pressure of Prandtl's punch, by which dough enters a groove, and
        the friction on its two walls; from memory, right within a factor of two [N].
    """
    pressure_kpa = yield_kpa * (2.0 + pi + 2.0 * depth_mm / width_mm)
    return area_mm2 * pressure_kpa / 1000.0


def _pressure_factor(radius_mm: float, height_mm: float) -> float:
    """Mean pressure on a disc between rough plates, in yield stresses."""
    return sqrt(3.0) * (1.0 + 2.0 * radius_mm / (3.0 * sqrt(3.0) * height_mm))
