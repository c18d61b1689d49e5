"""Hand force, and stress and bow of the sleeve's wall, by published formulas."""

from dataclasses import dataclass
from typing import Final

from moulddesign.finding import Finding, Verdict, judged

FLOW_MPA: Final = 0.0106
"""Pressure at which biscuit dough flows: 410 g on a 22 mm disc (Manohar and Rao 1992) [MPa]."""
PUSH_N: Final = 113.0
"""Mean push of a hand on a 51-58 mm knob (Human Factors 2008, 50:227) [N]."""
PUSH_SD_N: Final = 19.0
"""Standard deviation of that push over six men [N]."""
LEAST_SAFETY: Final = 2.0
"""Least strength across the layers by stress."""
DOUGH_SOURCE: Final = "Manohar and Rao 1992, Cereal Chem. 69:619; Human Factors 2008, 50:227"
PLATE_SOURCE: Final = "Mechanical Engineer's Data Handbook 1.10"


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a wall bears and how far it gives way.

    Parameters
    ----------
    stress_mpa : float
        Largest stress [MPa].
    bow_mm : float
        Largest movement outwards [mm].
    """

    stress_mpa: float
    bow_mm: float


def hand_force_n(area_mm2: float) -> float:
    """Return the force that makes dough flow under a stamp.

    Parameters
    ----------
    area_mm2 : float
        Area of the pastry seen from above [mm^2].

    Returns
    -------
    float
        Pressure at which dough flows times the area [N].

    Examples
    --------
    >>> round(hand_force_n(3117.245))  # a round of 63 mm
    33
    """
    return FLOW_MPA * area_mm2


def pressing_pressure_mpa(area_mm2: float) -> float:
    """Return the pressure that a wall has to bear: the dough's, or a whole push if that is more.

    Parameters
    ----------
    area_mm2 : float
        Area of the pastry seen from above [mm^2].

    Returns
    -------
    float
        The larger of both [MPa].
    """
    return max(FLOW_MPA, PUSH_N / area_mm2)


def thin_cylinder(
    *, pressure_mpa: float, radius_mm: float, wall_mm: float, modulus_mpa: float
) -> Load:
    """Return the load of a thin round wall under pressure from inside.

    Parameters
    ----------
    pressure_mpa : float
        Pressure p [MPa].
    radius_mm : float
        Radius r of the bore [mm].
    wall_mm : float
        Thickness t [mm].
    modulus_mpa : float
        Modulus E [MPa].

    Returns
    -------
    Load
        Hoop stress p r / t and growth of the radius p r^2 / (E t).

    References
    ----------
    .. [1] Mechanical Engineer's Data Handbook, thin cylinders.

    Examples
    --------
    >>> thin_cylinder(pressure_mpa=2, radius_mm=500, wall_mm=10, modulus_mpa=2e5).stress_mpa
    100.0
    """
    stress_mpa = pressure_mpa * radius_mm / wall_mm
    return Load(stress_mpa=stress_mpa, bow_mm=stress_mpa * radius_mm / modulus_mpa)


def clamped_rectangle(
    *, pressure_mpa: float, sides_mm: tuple[float, float], wall_mm: float, modulus_mpa: float
) -> Load:
    """Return the load of a rectangular plate clamped at its four edges.

    Parameters
    ----------
    pressure_mpa : float
        Pressure p [MPa].
    sides_mm : tuple of float
        Sides of the plate in either order; a is the shorter, b the longer [mm].
    wall_mm : float
        Thickness t [mm].
    modulus_mpa : float
        Modulus E [MPa].

    Returns
    -------
    Load
        0.5 p a^2 / (t^2 (0.623 (a/b)^6 + 1)) and 0.0284 p a^4 / (E t^3 (1.056 (a/b)^5 + 1)) [1]_.

    References
    ----------
    .. [1] Mechanical Engineer's Data Handbook, 1.10.
    """
    a, b = sorted(sides_mm)
    bent = 0.5 * pressure_mpa * (a / wall_mm) ** 2 / (0.623 * (a / b) ** 6 + 1.0)
    stiff = modulus_mpa * wall_mm**3 * (1.056 * (a / b) ** 5 + 1.0)
    return Load(stress_mpa=bent, bow_mm=0.0284 * pressure_mpa * a**4 / stiff)


def force_finding(*, area_mm2: float) -> Finding:
    """Return whether a hand can press the pastry.

    Parameters
    ----------
    area_mm2 : float
        Area of the pastry seen from above [mm^2].
    """
    force_n = hand_force_n(area_mm2)
    limit_n = PUSH_N - PUSH_SD_N
    return Finding(
        name="hand force",
        measured=force_n,
        limit=f"at most {limit_n:g}: a hand's mean push less one standard deviation",
        unit="N",
        source=DOUGH_SOURCE,
        verdict=judged(good=force_n <= limit_n, otherwise=Verdict.WARN),
    )


def wall_strength_findings(
    load: Load, *, strength_mpa: float, clearance_mm: float
) -> tuple[Finding, Finding]:
    """Return whether the sleeve's wall holds across its layers and stays clear of the stamp's fit.

    Parameters
    ----------
    load : Load
        Of the wall, by `thin_cylinder` or `clamped_rectangle` under `pressing_pressure_mpa`.
    strength_mpa : float
        Tensile strength of the material across its layers [MPa].
    clearance_mm : float
        Gap between stamp and bore, each side [mm].
    """
    safety = strength_mpa / load.stress_mpa
    return (
        Finding(
            name="sleeve: strength across the layers by stress",
            measured=safety,
            limit=f"at least {LEAST_SAFETY:g}",
            unit="",
            source=PLATE_SOURCE,
            verdict=judged(good=safety >= LEAST_SAFETY),
        ),
        Finding(
            name="sleeve: bow of the wall",
            measured=load.bow_mm,
            limit=f"below {clearance_mm / 2.0:g}: half the clearance",
            unit="mm",
            source=PLATE_SOURCE,
            verdict=judged(good=load.bow_mm < clearance_mm / 2.0),
        ),
    )
