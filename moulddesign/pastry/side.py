"""The drafted side of a pastry that is knocked out of a block: widest where it leaves."""

from dataclasses import dataclass
from math import asin, radians, sqrt, tan
from typing import Final

import numpy as np
from scipy.optimize import brentq

from moulddesign.errors import SpecError
from moulddesign.pastry.medial import Medial, medial, on_grid
from moulddesign.pastry.outline import Outline
from moulddesign.pastry.profile import Section, shoulder_section
from moulddesign.pastry.roof import Roof, roof_over
from moulddesign.pastry.top import joined

FAN_RAD: Final = asin(0.25)
"""Largest angle of one facet around a corner, as the shoulder has it [rad]."""

EXACT_MM: Final = 1e-10
"""How near the height is found; a hundredth of a cubic millimetre would already do [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """An outline at the table and a side that leans inwards from there.

    Parameters
    ----------
    outline : Outline
        At the table.
    axis : Medial
        Its medial axis, known once for every height.
    draft_deg : float
        Lean from upright [deg].
    radius_mm : float
        Of the rounded shoulder above it; 0 where the edge is sharp [mm].
    """

    outline: Outline
    axis: Medial
    draft_deg: float
    radius_mm: float

    def run_mm(self, height_mm: float) -> float:
        """Return how far inside the table's outline the flat top begins [mm]."""
        drop_mm = self.radius_mm * (1.0 - sqrt(0.5))
        return (height_mm - drop_mm) * tan(radians(self.draft_deg)) + self.radius_mm * sqrt(0.5)

    def roof(self, height_mm: float) -> Roof:
        """Return side and shoulder, the flat top at z = 0 and the table below it [mm]."""
        wall = self._section(height_mm)
        made = roof_over(self.axis, wall)
        drop = np.array([0.0, 0.0, height_mm])
        vertices = made.vertices - drop
        return Roof(vertices=vertices, walls=made.walls, eaves=made.eaves, rims=made.rims)

    def volume_mm3(self, height_mm: float) -> float:
        """Return the volume between table, side and flat top, no relief included [mm^3]."""
        return self.outline.area_mm2 * height_mm + joined(self.roof(height_mm), ()).volume_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height at which it holds a volume, relief not included [mm].

        Raises
        ------
        SpecError
            The sides meet before they hold so much.
        """
        least = volume_mm3 / self.outline.area_mm2
        most = self._most_mm()
        if least >= most or self.volume_mm3(most) <= volume_mm3:
            raise SpecError(
                "mould.side_draft_deg",
                self.draft_deg,
                f"makes the sides meet before the pastry holds {volume_mm3 / 1000.0:.4g} mL; take "
                "a smaller draft or a wider piece",
            )
        return float(
            brentq(
                lambda h: self.volume_mm3(h) - volume_mm3, least, most, xtol=EXACT_MM, rtol=1e-13
            )
        )

    def _most_mm(self) -> float:
        """Return the height at which next to no flat top is left [mm]."""
        room = 0.98 * float(self.axis.distances.max()) - self.radius_mm * sqrt(0.5)
        return room / tan(radians(self.draft_deg)) + self.radius_mm * (1.0 - sqrt(0.5))

    def _section(self, height_mm: float) -> Section:
        drop_mm = self.radius_mm * (1.0 - sqrt(0.5))
        rise = height_mm - drop_mm
        run = rise * tan(radians(self.draft_deg))
        distances, heights = np.array([0.0, run]), np.array([0.0, rise])
        if self.radius_mm > 0.0:
            over = shoulder_section(self.radius_mm, 0.0)
            distances = np.concatenate([distances, run + over.distances[1:]])
            heights = np.concatenate([heights, rise + over.heights[1:]])
        heights[-1] = height_mm  # exactly: the flat top is one level
        return Section(distances=distances, heights=heights, fan_rad=FAN_RAD)


def side_of(outline: Outline, *, draft_deg: float, radius_mm: float) -> Side:
    """Return the side of an outline at the table.

    Parameters
    ----------
    outline : Outline
        At the table.
    draft_deg : float
        Lean from upright, above 0 [deg].
    radius_mm : float
        Of the rounded shoulder; 0 where the edge is sharp [mm].

    Raises
    ------
    KernelError
        The outline's medial axis could not be computed.
    """
    axis = medial(on_grid(outline.shape))
    return Side(outline=outline, axis=axis, draft_deg=draft_deg, radius_mm=radius_mm)
