"""The relief: artwork laid on the flat top, each region under its own roof."""

from dataclasses import dataclass
from math import ceil, log2
from pathlib import Path
from typing import Final

import numpy as np
import shapely

from moulddesign.design import Layer, Profile, ReliefTable, Sense
from moulddesign.errors import SpecError
from moulddesign.mesh import Points
from moulddesign.pastry.artwork import artwork
from moulddesign.pastry.medial import medial, on_grid
from moulddesign.pastry.profile import section
from moulddesign.pastry.roof import Roof, roof_over

SIMPLIFIED_MM: Final = 0.002
"""Corners of the artwork that move its edge by less are left out [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Placed:
    """A region of the artwork where it lies on the pastry.

    Parameters
    ----------
    shape : shapely MultiPolygon
        On the grid, x right and y up, the pastry's centre at the origin [mm].
    depth_mm : float
        Height above the flat top, negative where sunk [mm].
    profile : Profile
        Section of its strokes.
    draft_deg : float
        Least angle between its walls and the pull direction [deg].
    """

    shape: shapely.MultiPolygon
    depth_mm: float
    profile: Profile
    draft_deg: float

    def roof(self) -> Roof:
        """Return the surface over the region, from z = 0 at its edge."""
        axis = medial(self.shape)
        widest_mm = float(axis.distances.max())
        wall = section(
            self.profile,
            depth_mm=abs(self.depth_mm),
            draft_deg=self.draft_deg,
            widest_mm=widest_mm,
        )
        return roof_over(axis, wall.times(1.0 if self.depth_mm > 0.0 else -1.0))


def placed(table: ReliefTable, flat_top: shapely.Polygon) -> tuple[Placed, ...]:
    """Return the artwork's regions on the flat top.

    Parameters
    ----------
    table : ReliefTable
        Artwork, depth, profile, draft.
    flat_top : shapely Polygon
        The level part of the top [mm].

    Raises
    ------
    SpecError
        The artwork does not fit, or nothing is left of it.
    FileError
        The artwork cannot be read.
    """
    room = flat_top.buffer(-table.margin_mm)
    if room.is_empty:
        raise SpecError(
            "relief.margin_mm", table.margin_mm, "leaves no room on the top; take a smaller margin"
        )
    sign = 1.0 if table.sense is Sense.RAISED else -1.0
    made = []
    for layer in table.layers:
        for shape, share in _on_top(layer, room):
            made.append(
                Placed(
                    shape=shape,
                    depth_mm=sign * share * table.depth_mm,
                    profile=table.profile,
                    draft_deg=table.draft_deg,
                )
            )
    return tuple(made)


def _on_top(layer: Layer, room: shapely.Polygon) -> list[tuple[shapely.MultiPolygon, float]]:
    """Return a layer's regions in millimetres, with their shares of the depth."""
    regions = artwork(layer.pattern, Path())
    whole = shapely.convex_hull(shapely.union_all([region.shape for region in regions]))
    size_mm = layer.size_mm if layer.size_mm is not None else largest_mm(whole, room)
    made = []
    for region in regions:
        # Simplified before it is scaled, at a tolerance that steps with the size: the corners that
        # stay do not change with a small change of size, so neither does the volume jump.
        plain = shapely.simplify(region.shape, SIMPLIFIED_MM / 2.0 ** ceil(log2(size_mm)))
        shape = on_grid(shapely.transform(plain, lambda points: points * size_mm))
        if not room.buffer(5.0 * SIMPLIFIED_MM).covers(shape):
            raise SpecError(
                "relief.layers.size_mm",
                layer.size_mm,
                f"does not fit on the top; it takes {largest_mm(whole, room):.4g} mm at most",
            )
        made.append((shape, region.depth_share))
    return made


def largest_mm(shape: shapely.Geometry, room: shapely.Polygon) -> float:
    """Return the largest factor by which a shape fits a room, both around the origin.

    Parameters
    ----------
    shape : shapely geometry
        Artwork in the unit square.
    room : shapely Polygon
        Must hold the origin [mm].

    Returns
    -------
    float
        Factor [mm a unit], within a micrometre.
    """
    reach = float(np.abs(room.bounds).max())
    low, high = 0.0, 2.0 * reach / float(np.abs(shapely.get_coordinates(shape)).max())
    shapely.prepare(room)

    def scaled(points: Points, factor: float) -> Points:
        return points * factor

    while high - low > 1e-6:  # noqa: PLR2004 (mm)
        middle = (low + high) / 2.0
        if room.covers(shapely.transform(shape, lambda points, f=middle: scaled(points, f))):
            low = middle
        else:
            high = middle
    return low
