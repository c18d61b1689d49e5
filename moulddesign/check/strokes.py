"""Whether the relief's strokes and gaps are wide enough to print and to fill, and deep enough."""

from typing import Final

import numpy as np

from moulddesign.check.facets import normals_and_areas
from moulddesign.finding import Finding, Verdict, judged
from moulddesign.mesh import Mesh

LEAST_STROKE_MM: Final = 0.6
"""Narrowest stroke that dough fills; common practice, no source [mm]."""
WALL_LINES: Final = 2.0
"""Lines of plastic that a wall between two engravings needs; common practice, no source."""
FULL_MM: Final = 0.05
"""A stroke is at its full depth where it comes this close to it [mm]."""
LEAST_FULL_RATIO: Final = 0.25
"""Share of the relief that should reach its full depth; from memory, press the sampler."""


def least_widths_mm(*, line_mm: float, raised: bool) -> tuple[float, float]:
    """Return the narrowest stroke and the narrowest gap of a relief.

    What stands out of the pastry is a groove in the stamp and needs one printed line and dough
    that fills it; what lies between two such grooves is a wall in the stamp and needs two lines.
    Sunk relief is the other way round.

    Parameters
    ----------
    line_mm : float
        Width of one printed line [mm].
    raised : bool
        Whether the relief stands out of the pastry.

    Returns
    -------
    tuple of float
        Stroke and gap [mm].

    Examples
    --------
    >>> least_widths_mm(line_mm=0.42, raised=True)
    (0.6, 0.84)
    """
    groove_mm, wall_mm = max(LEAST_STROKE_MM, line_mm), WALL_LINES * line_mm
    return (groove_mm, wall_mm) if raised else (wall_mm, groove_mm)


def width_finding(
    *, name: str, thinnest: tuple[float, float, float] | None, limit_mm: float
) -> Finding:
    """Return whether the thinnest stroke or gap is wide enough.

    Parameters
    ----------
    name : str
        "thinnest stroke of the raised relief" or the like.
    thinnest : tuple of float or None
        Its width and its place x, y on the pastry; None where all are wide enough [mm].
    limit_mm : float
        Least width [mm].
    """
    where = "" if thinnest is None else f"; at x {thinnest[1]:.1f}, y {thinnest[2]:.1f} mm"
    return Finding(
        name=name,
        measured="wide enough" if thinnest is None else thinnest[0],
        limit=f"at least {limit_mm:g}{where}",
        unit="" if thinnest is None else "mm",
        source="strokes that dough fills and a nozzle draws; common practice, no source",
        verdict=judged(good=thinnest is None, otherwise=Verdict.WARN),
    )


def full_depth_finding(
    pastry: Mesh, *, flat_mm: float, depth_mm: float, artwork_mm2: float
) -> Finding:
    """Return which share of a flat relief reaches its full depth.

    Parameters
    ----------
    pastry : Mesh
        Standing on z = 0, relief up [mm].
    flat_mm : float
        z of the flat top [mm].
    depth_mm : float
        Height of the plateaus above it, negative where sunk [mm].
    artwork_mm2 : float
        Area of the artwork that has this depth [mm^2].
    """
    normals, areas_mm2 = normals_and_areas(pastry)
    heights_mm = pastry.corners[:, :, 2]
    full = np.abs(heights_mm - flat_mm - depth_mm).max(axis=1) <= FULL_MM
    share = float((areas_mm2 * normals[:, 2])[full].sum() / artwork_mm2)
    return Finding(
        name=f"share of the relief at its full {abs(depth_mm):g} mm",
        measured=share,
        limit=f"at least {LEAST_FULL_RATIO:g}; narrow strokes stay lower",
        unit="",
        source="from memory, press the sampler to find your own",
        verdict=judged(good=share >= LEAST_FULL_RATIO, otherwise=Verdict.WARN),
    )
