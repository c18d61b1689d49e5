"""A cavity known by its sizes: its volume, and how much of it lies deeper than a crust."""

from dataclasses import dataclass
from math import cos, radians, sqrt, tan
from typing import Final

import numpy as np
import shapely

from moulddesign.errors import SpecError
from moulddesign.mesh import Points
from moulddesign.pastry.outline import ROUND_QUARTER, Outline
from moulddesign.pastry.pastry import shoulder_drop_mm

NODES: Final = np.polynomial.legendre.leggauss(16)
"""Abscissas and weights of Gauss and Legendre between -1 and 1."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cup:
    """A cavity as its sizes describe it, the mouth down on the table z = 0, the floor up.

    Parameters
    ----------
    outline : Outline
        Of the mouth; with draft, its widest section.
    height_mm : float
        Mouth to the flat floor, which makes the pastry's flat top [mm].
    draft_deg : float
        How far the side leans in from the pull direction, 0 for an upright one [deg].
    shoulder_radius_mm : float
        Radius of the rounded edge of the floor, an arc from the flat down to 45 deg at the side;
        0 is sharp [mm].
    relief_depth_mm : float
        How far the relief stands out of the pastry's top; negative where it is sunk [mm].
    relief_cover : float
        Share of the flat top that it covers, counted at full depth.

    Raises
    ------
    SpecError
        The side or the shoulder leaves no flat top, or the relief is deeper than the cavity.
    """

    outline: Outline
    height_mm: float
    draft_deg: float = 0.0
    shoulder_radius_mm: float = 0.0
    relief_depth_mm: float = 0.0
    relief_cover: float = 0.0

    def __post_init__(self) -> None:
        if shoulder_drop_mm(self.shoulder_radius_mm) >= self.height_mm:
            raise SpecError(
                "shoulder_radius_mm",
                self.shoulder_radius_mm,
                f"is deeper than the cavity of {self.height_mm:g} mm; measure again",
            )
        if self.top_mm2 <= 0.0:
            field = "draft_deg" if self.draft_deg > 0.0 else "shoulder_radius_mm"
            raise SpecError(field, getattr(self, field), "leaves no flat top; measure again")
        if -self.relief_depth_mm >= self.height_mm:
            raise SpecError(
                "relief_depth_mm",
                -self.relief_depth_mm,
                f"cuts through the cavity of {self.height_mm:g} mm; measure again",
            )

    @property
    def volume_mm3(self) -> float:
        """Volume with its relief [mm^3]."""
        return self.inside_mm3(0.0) + self.relief_mm3

    @property
    def relief_mm3(self) -> float:
        """Volume of the relief: depth times the area that it covers, negative where sunk [mm^3]."""
        return self.relief_depth_mm * self.relief_cover * self.top_mm2

    @property
    def top_mm2(self) -> float:
        """Area of the flat top, inside side and shoulder [mm^2]."""
        return float(self._areas_mm2(np.array([self._shoulder_inset_mm]))[0])

    @property
    def width_mm(self) -> float:
        """Least extent across, half-way up [mm]."""
        lean = tan(radians(self.draft_deg)) * self.height_mm
        return min(self.outline.width_mm, self.outline.depth_mm) - lean

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness under side, floor and mouth.

        Parameters
        ----------
        thickness_mm : float
            0 for the whole; the relief is not regarded [mm].

        Returns
        -------
        float
            Integral of the sections' areas, each an inset of the outline [mm^3]. For a convex
            outline it is exact but for round-off and the chords of the outline's arcs.
        """
        low, high = thickness_mm, self.height_mm - thickness_mm
        if high <= low:
            return 0.0
        bends = [z for z in self._bends_mm(thickness_mm) if low < z < high]
        ends = np.array([low, *sorted(bends), high])
        z, weights = _nodes(ends[:-1], ends[1:])
        return float(weights @ self._areas_mm2(self._insets_mm(z, thickness_mm)))

    @property
    def _lean(self) -> float:
        return tan(radians(self.draft_deg))

    @property
    def _shoulder_inset_mm(self) -> float:
        """Where the flat top begins, and the shoulder's arc has its centre [mm]."""
        edge_mm = self.height_mm - shoulder_drop_mm(self.shoulder_radius_mm)
        return edge_mm * self._lean + self.shoulder_radius_mm * sqrt(0.5)

    def _insets_mm(self, z: Points, thickness_mm: float) -> Points:
        """Return how far the sections at some heights lie inside the outline of the mouth."""
        side = z * self._lean + thickness_mm / cos(radians(self.draft_deg))
        if self.shoulder_radius_mm == 0.0:
            return side
        # Moved in by t the arc keeps its centre and has the radius r - t; beyond its 45 deg end,
        # and where t has used it up, the plane that touched it there bounds the rest.
        radius = self.shoulder_radius_mm - thickness_mm
        rise = z - (self.height_mm - self.shoulder_radius_mm)
        arc = np.sqrt(np.maximum(radius**2 - rise**2, 0.0))
        plane = sqrt(2.0) * radius - rise
        out = np.where((radius > 0.0) & (rise >= radius * sqrt(0.5)), arc, plane)
        return np.maximum(side, self._shoulder_inset_mm - out)

    def _bends_mm(self, thickness_mm: float) -> tuple[float, float]:
        """Return the heights at which the side meets the shoulder, and its plane the arc."""
        radius = self.shoulder_radius_mm - thickness_mm
        centre = self.height_mm - self.shoulder_radius_mm
        wall = thickness_mm / cos(radians(self.draft_deg))
        meet = wall - self._shoulder_inset_mm + sqrt(2.0) * radius + centre
        return meet / (1.0 - self._lean), centre + max(radius, 0.0) * sqrt(0.5)

    def _areas_mm2(self, insets_mm: Points) -> Points:
        distinct, rows = np.unique(insets_mm, return_inverse=True)
        inside = shapely.buffer(self.outline.shape, -distinct, quad_segs=ROUND_QUARTER)
        areas: Points = shapely.area(inside)[rows]
        return areas


def _nodes(low: Points, high: Points) -> tuple[Points, Points]:
    """Return points and weights that integrate over spans, in which a root may end upright.

    With z = high - (high - low) (1 - s)^2 a square root at the upper end is smooth in s.
    """
    s, weights = (NODES[0] + 1.0) / 2.0, NODES[1] / 2.0
    span = (high - low)[:, None]
    z = high[:, None] - span * (1.0 - s) ** 2
    return z.reshape(-1), (span * 2.0 * (1.0 - s) * weights).reshape(-1)
