"""Whether a part prints: bed, first layer, overhang, bridges, walls, layers of the relief."""

from typing import Final

import numpy as np
import shapely

from moulddesign.check.overhang import ceilings, hanging
from moulddesign.check.regions import section_region, shadow
from moulddesign.check.walls import thinnest_wall_mm
from moulddesign.finding import Finding, Verdict, judged
from moulddesign.mesh import Mesh

PRACTICE: Final = "common practice, no source"
OVERHANG_DEG: Final = 45.0
"""Largest overhang without support, from the upright; common practice, no source [deg]."""
ANGLE_DEG: Final = 0.5
"""Error of a facet's angle on small facets in float32 [deg]."""
BRIDGE_MM: Final = 10.0
"""Longest bridge; common practice, no source [mm]."""
LEAST_LAYERS: Final = 4
"""Fewest layers of a relief; our choice."""
LEAST_FOOT: Final = 0.1
"""Least area of the first layer by the part's shadow; common practice, no source."""
ON_BED_MM: Final = 0.01
"""How far from z = 0 the lowest corner may be [mm]."""


def printing_findings(
    mesh: Mesh, *, name: str, bed_mm: tuple[float, float, float], line_mm: float, layer_mm: float
) -> tuple[Finding, ...]:
    """Return whether a part in print pose can be printed without support.

    Parameters
    ----------
    mesh : Mesh
        Closed, in print pose: standing on z = 0 [mm].
    name : str
        The part, as the first word of each finding.
    bed_mm : tuple of float
        Build volume: x, y, z [mm].
    line_mm, layer_mm : float
        Width of a line and height of a layer [mm].

    Raises
    ------
    KernelError
        The mesh is not closed.
    """
    return (
        bed_finding(mesh, name=name, bed_mm=bed_mm),
        *_standing(mesh, name, layer_mm),
        *overhang_findings(mesh, name=name, line_mm=line_mm, layer_mm=layer_mm),
        wall_finding(mesh, name=name, line_mm=line_mm),
    )


def bed_finding(mesh: Mesh, *, name: str, bed_mm: tuple[float, float, float]) -> Finding:
    """Return whether a part fits the build volume, turned by a quarter if need be."""
    x, y, z = mesh.size_mm
    long, short = max(bed_mm[:2]), min(bed_mm[:2])
    good = max(x, y) <= long and min(x, y) <= short and z <= bed_mm[2]
    return Finding(
        name=f"{name}: fits the bed",
        measured=f"{x:.1f} x {y:.1f} x {z:.1f}",
        limit="at most " + " x ".join(f"{side:g}" for side in bed_mm),
        unit="mm",
        source="the printer in the design",
        verdict=judged(good=bool(good)),
    )


def overhang_findings(
    mesh: Mesh, *, name: str, line_mm: float, layer_mm: float
) -> tuple[Finding, Finding]:
    """Return the steepest overhang that nothing carries, and the longest bridge.

    A ceiling is a bridge where each of its points has, in some direction, a wall on both sides
    within 10 mm. What is narrower than one line is carried by the line below it.

    Parameters
    ----------
    mesh : Mesh
        Closed, in print pose [mm].
    name : str
        The part.
    line_mm, layer_mm : float
        Width of a line and height of a layer [mm].
    """
    found = ceilings(mesh, limit_deg=OVERHANG_DEG + ANGLE_DEG, line_mm=line_mm, layer_mm=layer_mm)
    hanging = [c.steepest_deg for c in found if not np.isfinite(c.span_mm)]
    spans_mm = [c.span_mm for c in found if np.isfinite(c.span_mm)]
    steepest_deg = max(hanging, default=_steepest_carried_deg(mesh, layer_mm))
    longest_mm = max(spans_mm, default=0.0)
    return (
        Finding(
            name=f"{name}: steepest overhang without support",
            measured=steepest_deg,
            limit=f"at most {OVERHANG_DEG:g} from the upright within {ANGLE_DEG:g}",
            unit="deg",
            source=PRACTICE,
            verdict=judged(good=not hanging),
        ),
        Finding(
            name=f"{name}: longest of {len(spans_mm)} bridges",
            measured=longest_mm,
            limit=f"at most {BRIDGE_MM:g}",
            unit="mm",
            source=PRACTICE,
            verdict=judged(good=longest_mm <= BRIDGE_MM),
        ),
    )


def wall_finding(mesh: Mesh, *, name: str, line_mm: float) -> Finding:
    """Return whether the thinnest wall takes two lines; below one line it is not printed at all."""
    measured_mm = thinnest_wall_mm(mesh)
    return Finding(
        name=f"{name}: thinnest wall",
        measured=measured_mm if np.isfinite(measured_mm) else "no two faces are parallel",
        limit=f"at least {2.0 * line_mm:g}: two lines",
        unit="mm" if np.isfinite(measured_mm) else "",
        source=PRACTICE,
        verdict=judged(
            good=measured_mm >= 2.0 * line_mm,
            otherwise=Verdict.WARN if measured_mm >= line_mm else Verdict.FAIL,
        ),
    )


def layers_finding(*, depth_mm: float, layer_mm: float) -> Finding:
    """Return whether a relief is deep enough to be drawn by the layers.

    Parameters
    ----------
    depth_mm, layer_mm : float
        Depth of the relief, height of a layer [mm].

    Examples
    --------
    >>> layers_finding(depth_mm=1.5, layer_mm=0.2).measured
    7.5
    """
    layers = round(depth_mm / layer_mm, 9)
    return Finding(
        name="layers in the relief's depth",
        measured=layers,
        limit=f"at least {LEAST_LAYERS}",
        unit="layers",
        source="our choice, change it freely",
        verdict=judged(
            good=layers >= LEAST_LAYERS,
            otherwise=Verdict.WARN if layers >= 1.0 else Verdict.FAIL,
        ),
    )


def _standing(mesh: Mesh, name: str, layer_mm: float) -> tuple[Finding, Finding]:
    """Return whether the part stands on the bed, and how much of its shadow the first layer is."""
    lowest_mm = float(mesh.bounds[0, 2])
    first = section_region(mesh, lowest_mm + layer_mm / 2.0, "the first layer")
    share = float(first.area / shadow(mesh, "the part's shadow").area)
    stands = bool(first.convex_hull.contains(shapely.Point(_middle_of_mass(mesh)[:2])))
    return (
        Finding(
            name=f"{name}: lowest point over the bed",
            measured=lowest_mm,
            limit=f"0 within {ON_BED_MM:g}",
            unit="mm",
            source="the design: print pose",
            verdict=judged(good=abs(lowest_mm) <= ON_BED_MM),
        ),
        Finding(
            name=f"{name}: first layer, share of the part seen from above",
            measured=share if stands else "it falls over",
            limit=f"at least {LEAST_FOOT:g}, under the middle of mass",
            unit="",
            source=PRACTICE,
            verdict=judged(good=share >= LEAST_FOOT, otherwise=Verdict.WARN)
            if stands
            else Verdict.FAIL,
        ),
    )


def _middle_of_mass(mesh: Mesh) -> np.ndarray:
    origin = mesh.bounds.mean(axis=0)
    a, b, c = np.moveaxis(mesh.corners - origin, 1, 0)
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c))
    middle = origin + volumes @ (a + b + c) / (4.0 * volumes.sum())
    return np.asarray(middle)


def _steepest_carried_deg(mesh: Mesh, layer_mm: float) -> float:
    """Return the steepest overhang within the limit, off the bed; 0 where nothing hangs over."""
    _, angles = hanging(mesh, over_deg=0.0, layer_mm=layer_mm)
    return float(angles[angles <= OVERHANG_DEG + ANGLE_DEG].max(initial=0.0))
