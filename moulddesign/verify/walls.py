"""Thickness of walls by rays, hand force.

Stress and bow of the sleeve's wall by published formulas.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from math import ceil, floor, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.core import PRACTICE, Finding, Message, Verdict, judged, say, tenths_up
from moulddesign.geometry import Mesh, Points, manifold_of, normals_and_areas, spread_points
from moulddesign.geometry.sampling import first_hits
from moulddesign.geometry.topology import topology

POINTS: Final = 6_000
"""Points over the surface; each stands for the same area."""
PARALLEL_DEG: Final = 20.0
"""Two faces are a wall where they lean this little against each other [deg].

A wedge, a chamfer and the edge of a drafted stroke are thin at their edge, and are no wall.
"""
LEFT_OUT_RATIO: Final = 0.0005
"""Share of the surface that may be thinner: the rays that graze an edge."""
FIRST_REACH_MM: Final = 4.0
"""How deep walls are looked for at first, a little over usual ones; then twice as deep [mm]."""
START_MM: Final = 1e-4
"""A ray starts this deep, so that it does not meet its own facet [mm]."""


def thinnest_wall_mm(mesh: Mesh) -> float:
    """Return the least distance between parallel faces of a solid, solid in between.

    Infinite where no two faces are parallel.

    From points spread over the surface a ray goes straight in; where it leaves through a face
    that is parallel within 20 deg, its length is the wall's thickness there. The result is the
    thickness that all but 0.05 % of the surface has at least, so a wall counts from that area on.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> round(thinnest_wall_mm(box((0, 0, 0), (20, 30, 1.5))), 3)
    1.5
    """
    if not topology(mesh).solid:  # quick, and often cached; the kernel takes time and memory
        manifold_of(mesh, say("verify.walls-thickness"))  # raises where there is no inside
    points, facets = spread_points(mesh, POINTS)
    inward = -normals_and_areas(mesh.corners[facets])[0]
    thicknesses_mm, left = np.full(POINTS, np.inf), np.arange(POINTS)
    thin = ceil(LEFT_OUT_RATIO * POINTS)
    for reach_mm in _reaches_mm(mesh):
        starts = points[left] + START_MM * inward[left]
        lines = np.stack([starts, starts + reach_mm * inward[left]], axis=1)
        thicknesses_mm[left], met = _wall_thicknesses_mm(mesh, lines, inward[left])
        left = left[~met]
        # What was not met yet is thicker than the reach: it does not change the thin ones' order.
        if np.isfinite(thicknesses_mm).sum() > thin:
            break
    return float(np.sort(thicknesses_mm)[thin])


SHEET_MM: Final = 2.0
"""Up to this thickness a part is a sheet, which has no upright wall; our choice [mm]."""


def ordered_wall_finding(mesh: Mesh, *, part: str, least_mm: float) -> Finding:
    """Return whether the thinnest wall of a part, or a whole sheet, is one that a service makes.

    `least_mm` is the process's least wall [mm].
    """
    thick_mm = float(mesh.size_mm[2])
    is_sheet = thick_mm <= SHEET_MM
    measured_mm = thick_mm if is_sheet else thinnest_wall_mm(mesh)
    good = measured_mm >= least_mm
    return Finding(
        what=say("verify.thinnest-wall"),
        part=part,
        measured=measured_mm if np.isfinite(measured_mm) else say("verify.nothing-parallel"),
        limit=say("verify.at-least-for-process", limit=least_mm),
        unit="mm" if np.isfinite(measured_mm) else "",
        source=PRACTICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=say("verify.cut-from-sheet", mm=thick_mm) if is_sheet and not good else None,
    )


def _reaches_mm(mesh: Mesh) -> Iterator[float]:
    """Yield how deep walls are looked for, up to once through the whole solid."""
    longest_mm = float(np.linalg.norm(mesh.size_mm)) + 1.0
    reach_mm = FIRST_REACH_MM
    while reach_mm < longest_mm:
        yield reach_mm
        reach_mm *= 2.0
    yield longest_mm


def _wall_thicknesses_mm(
    mesh: Mesh, lines: Points, inward: Points
) -> tuple[Points, NDArray[np.bool_]]:
    """Return the thickness along each line, infinite where it is no wall, and which met a face."""
    distances_mm, normals = first_hits(mesh, lines)
    facing = np.einsum("ij,ij->i", inward, normals)
    wall = facing >= np.cos(np.radians(PARALLEL_DEG))
    return np.where(wall, distances_mm + START_MM, np.inf), np.isfinite(distances_mm)


PUSH_N: Final = 113.0
"""Greatest push of six men along a gripped handle of 51.2 mm, mean (Human Factors 2008, 50:227). A
palm disc that is leant on was not measured there [N]."""
COMFORT_N: Final = 94.0
"""Push that all subjects preferred there, mean: a limit of comfort, no standard [N]."""
LEAST_SAFETY: Final = 2.0
"""Least strength across the layers by stress."""
PLATE_SOURCE: Final = "Mechanical Engineer's Data Handbook 1.10"


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a wall bears and how far it gives way."""

    stress_mpa: float
    bow_mm: float
    """Largest movement outwards [mm]."""


def pressing_pressure_mpa(area_mm2: float, force_n: float) -> float:
    """Return the pressure on a wall: of a whole push, or of the force that dough takes [MPa]."""
    return max(PUSH_N, force_n) / area_mm2


def thin_cylinder(
    *, pressure_mpa: float, radius_mm: float, wall_mm: float, modulus_mpa: float
) -> Load:
    """Return the load of a thin round wall under pressure from inside.

    Hoop stress p r / t and growth of the radius p r^2 / (E t) [1]_: pressure p, radius r of the
    bore, thickness t, modulus E.

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


def clamped_circle(
    *, pressure_mpa: float, radius_mm: float, wall_mm: float, modulus_mpa: float
) -> Load:
    """Return the load of a round plate clamped at its edge.

    Stress 0.75 p r^2 / t^2 and bow 0.171 p r^4 / (E t^3) [1]_: pressure p, radius r, thickness t,
    modulus E.

    References
    ----------
    .. [1] Mechanical Engineer's Data Handbook, 1.10.

    Examples
    --------
    >>> clamped_circle(pressure_mpa=1, radius_mm=10, wall_mm=1, modulus_mpa=1e3).stress_mpa
    75.0
    """
    bow_mm = 0.171 * pressure_mpa * radius_mm**4 / (modulus_mpa * wall_mm**3)
    return Load(stress_mpa=0.75 * pressure_mpa * (radius_mm / wall_mm) ** 2, bow_mm=bow_mm)


def clamped_rectangle(
    *, pressure_mpa: float, sides_mm: tuple[float, float], wall_mm: float, modulus_mpa: float
) -> Load:
    """Return the load of a rectangular plate clamped at its four edges.

    Stress 0.5 p a^2 / (t^2 (0.623 (a/b)^6 + 1)) and bow 0.0284 p a^4 / (E t^3 (1.056 (a/b)^5 + 1))
    [1]_: pressure p, sides a and b, a the shorter, thickness t, modulus E. The sides come in either
    order.

    References
    ----------
    .. [1] Mechanical Engineer's Data Handbook, 1.10.
    """
    a, b = sorted(sides_mm)
    bent = 0.5 * pressure_mpa * (a / wall_mm) ** 2 / (0.623 * (a / b) ** 6 + 1.0)
    stiff = modulus_mpa * wall_mm**3 * (1.056 * (a / b) ** 5 + 1.0)
    return Load(stress_mpa=bent, bow_mm=0.0284 * pressure_mpa * a**4 / stiff)


def force_finding(
    what: Message, *, force_n: float, range_n: tuple[float, float], tested: bool
) -> Finding:
    """Return whether a hand has the force that something takes.

    Parameters
    ----------
    what : Message
        What it takes the force for.
    force_n : float
        The likely force [N].
    range_n : tuple of float
        Least and most that it may be [N].
    tested : bool
        Whether the dough was tested.
    """
    least_n, most_n = range_n
    limit = say("verify.at-most-preferred-push", limit=COMFORT_N, least=least_n, most=most_n)
    good = force_n <= COMFORT_N
    test = None if tested else say("verify.test-the-dough")
    return Finding(
        what=what,
        measured=force_n,
        limit=limit,
        unit="N",
        source=say("verify.push-source"),
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else test or say("verify.softer-or-shallower"),
    )


def wall_strength_findings(
    load_of: Callable[[float], Load], *, wall_mm: float, strength_mpa: float, clearance_mm: float
) -> tuple[Finding, Finding]:
    """Return whether the sleeve's wall holds across its layers and stays clear of the stamp's fit.

    Parameters
    ----------
    load_of : callable
        Load of a wall of a thickness [mm]: that of `thin_cylinder` or `clamped_rectangle` under
        `pressing_pressure_mpa`.
    strength_mpa : float
        Across the layers [MPa].
    clearance_mm : float
        Gap on each side [mm].
    """

    def held(load: Load) -> tuple[bool, bool]:
        strong = strength_mpa / load.stress_mpa >= LEAST_SAFETY
        return strong, load.bow_mm < clearance_mm / 2.0

    load = load_of(wall_mm)
    strong, stiff = held(load)
    thicker = (tenths / 10.0 for tenths in count(floor(10.0 * wall_mm) + 1))
    remedy = (
        None
        if strong and stiff
        else say("verify.thicker-wall", wall_mm=next(t for t in thicker if all(held(load_of(t)))))
    )
    return (
        Finding(
            what=say("verify.strength-by-stress"),
            part="sleeve",
            measured=strength_mpa / load.stress_mpa,
            limit=say("core.at-least", limit=LEAST_SAFETY),
            unit="",
            source=PLATE_SOURCE,
            verdict=judged(good=strong),
            remedy=None if strong else remedy,
        ),
        Finding(
            what=say("verify.bow-of-wall"),
            part="sleeve",
            measured=load.bow_mm,
            limit=say("verify.below-half-clearance", limit=clearance_mm / 2.0),
            unit="mm",
            source=PLATE_SOURCE,
            verdict=judged(good=stiff),
            remedy=None if stiff else remedy,
        ),
    )


def thick_enough_mm(thick_mm: float, safety: float) -> float:
    """Return how thick a plate or a beam has to be, in whole tenths, to be as strong as it should.

    Its stress goes with one over its thickness squared.

    Examples
    --------
    >>> thick_enough_mm(2.0, safety=0.5)
    4.0
    """
    return tenths_up(thick_mm * sqrt(LEAST_SAFETY / safety))


def strength_finding(
    what: Message,
    part: str,
    safety: float,
    remedy: Message,
    *,
    source: Message | str = PLATE_SOURCE,
) -> Finding:
    """Return a part's strength by stress: below the least it warns, below 1 it breaks.

    `safety` is the strength of the plastic by the stress; `remedy` is said where it is not good.
    """
    return Finding(
        what=what,
        part=part,
        measured=safety,
        limit=say("verify.at-least-or-breaks", limit=LEAST_SAFETY),
        unit="",
        source=source,
        verdict=judged(
            good=safety >= LEAST_SAFETY,
            otherwise=Verdict.WARN if safety >= 1.0 else Verdict.FAIL,
        ),
        remedy=None if safety >= LEAST_SAFETY else remedy,
    )
