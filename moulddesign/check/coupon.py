"""Whether a clearance gauge has the gaps that it is marked with."""

from collections.abc import Sequence
from math import pi, sqrt
from typing import Final

import shapely

from moulddesign.check.regions import section_region
from moulddesign.finding import Finding, judged
from moulddesign.mesh import Mesh

GAP_MM: Final = 0.02
"""Largest deviation of a gap from its mark [mm]."""


def gap_findings(
    gauge: Mesh, peg: Mesh, *, gaps_mm: Sequence[tuple[float, float, float]]
) -> tuple[Finding, ...]:
    """Return whether each hole leaves the gap round the peg that stands beside it.

    Parameters
    ----------
    gauge, peg : Mesh
        In print pose, holes and peg upright [mm].
    gaps_mm : sequence of (float, float, float)
        Where each hole is, as x and y in the gauge's pose, and the gap that is marked [mm].

    Returns
    -------
    tuple of Finding
        Each gap is half the difference of the diameters of the circles that have the areas of
        hole and peg at half their heights.
    """
    holes = [
        shapely.Polygon(ring)
        for part in shapely.get_parts(_middle(gauge))
        for ring in part.interiors
    ]
    radius_mm = _radius_mm(_middle(peg))
    found = []
    for x, y, marked_mm in gaps_mm:
        here = [hole for hole in holes if hole.contains(shapely.Point(x, y))]
        gap_mm = _radius_mm(here[0]) - radius_mm if here else 0.0
        found.append(
            Finding(
                name=f"gauge: gap marked {marked_mm:.1f}",
                measured=gap_mm,
                limit=f"{marked_mm:g} within {GAP_MM:g}",
                unit="mm",
                source="the mark beside the hole",
                verdict=judged(good=abs(gap_mm - marked_mm) <= GAP_MM),
            )
        )
    return tuple(found)


def _middle(mesh: Mesh) -> shapely.Geometry:
    return section_region(mesh, float(mesh.bounds[:, 2].mean()), "the middle of a coupon")


def _radius_mm(shape: shapely.Geometry) -> float:
    return sqrt(shape.area / pi)
