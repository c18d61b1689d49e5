"""Whether the relief on the pastry reads as the artwork does, from above."""

from typing import Final

import numpy as np
from shapely.geometry.base import BaseGeometry

from moulddesign.check.raster import grid_over, region_mask, top_heights_mm
from moulddesign.finding import Finding, judged
from moulddesign.mesh import Mesh

PIXEL_MM: Final = 0.1
"""Side of a pixel: a sixth of the thinnest stroke that prints [mm]."""
FOOT_MM: Final = 1e-4
"""Height above the flat top from which the relief counts: its walls stand on their feet [mm]."""
LEAST_OVERLAP: Final = 0.98
"""Least area that relief and artwork share, by the area that either covers."""


def reading_finding(
    pastry: Mesh, *, artwork: BaseGeometry, flat_mm: float, depth_mm: float
) -> Finding:
    """Return whether the pastry's top matches the artwork; where mirrored it does not.

    Parameters
    ----------
    pastry : Mesh
        Standing on z = 0, relief up, as the eater sees it [mm].
    artwork : shapely geometry
        What stands out or is sunk, in the pastry's x and y [mm].
    flat_mm : float
        z of the flat top [mm].
    depth_mm : float
        Height of the relief above the flat top; negative where it is sunk [mm].

    Returns
    -------
    Finding
        Intersection over union of the two, rasterised at 0.1 mm.
    """
    share = overlap_ratio(pastry, artwork=artwork, flat_mm=flat_mm, depth_mm=depth_mm)
    return Finding(
        name="relief matches the artwork, seen from above",
        measured=share,
        limit=f"at least {LEAST_OVERLAP:g} of the area shared",
        unit="",
        source="the design: both rasterised at 0.1 mm",
        verdict=judged(good=share >= LEAST_OVERLAP),
    )


def overlap_ratio(pastry: Mesh, *, artwork: BaseGeometry, flat_mm: float, depth_mm: float) -> float:
    """Return the area that relief and artwork share by the area that either covers.

    A sunk relief is looked for within the artwork's own box and 1 mm around it, so that a
    rounded shoulder at the pastry's edge is not taken for relief. 1 where both are empty.
    """
    low, high = pastry.bounds[:, :2]
    grid = grid_over(low, high, PIXEL_MM)
    rise = np.sign(depth_mm) * (top_heights_mm(_seen_from_above(pastry), grid) - flat_mm)
    asked = region_mask(artwork, grid)
    relief = (rise > FOOT_MM) & np.isfinite(rise)
    if depth_mm < 0.0:
        # A rounded shoulder lies lower than the flat top too; artwork never reaches it.
        relief &= region_mask(artwork.convex_hull, grid)
    either = np.sum(relief | asked)
    return float(np.sum(relief & asked) / either) if either else 1.0


def _seen_from_above(solid: Mesh) -> Mesh:
    """Return a closed mesh without the facets that look down: above each of them lies another."""
    a, b, c = np.moveaxis(solid.corners[:, :, :2], 1, 0)
    twice_mm2 = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return Mesh(solid.vertices, solid.triangles[twice_mm2 >= 0.0])
