r"""The stamp's rim under a carved face: how wide its ribs end, and what a print loses there.

Where the face falls towards the edge, the stamp rises to its rim. Where it falls by a wall, the
stamp has a rib there, which prints whole where its tip is wide. A rim that merely slopes, by 45 deg
at the most, is no rib and prints a little low::

    stamp, face up                    tip: up to where the wall begins
                                   |<-->|
       ______                     _______
      /      \                   /       |  rib: as high as the face falls
     /        \_________________/        |
    /                           wall     |  rim
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.geometry import Points
from moulddesign.relief.field import Field, Heights

SPACING_MM: Final = 0.2
"""Of the places along the rim [mm]."""
STEP_MM: Final = 0.02
"""Of the samples inwards [mm]."""
REACH_MM: Final = 1.6
"""How far inwards a rib is looked for: twice the widest tip that is asked for [mm]."""
ROUND_OFF_MM: Final = 1e-9
WALL_RISE_MM: Final = 0.1
"""What a wall rises over as much: half a usual layer, at more than 45 deg [mm]."""
TIP_MM: Final = 0.4
"""Least width of a rib's tip: one line of a usual nozzle [mm]."""
HIGH_RIB_MM: Final = 1.0
"""A rib from so high on has a tip of two lines [mm]."""
HIGH_TIP_MM: Final = 0.8
"""Least width of a high rib's tip [mm]."""
SLOPE_MM: Final = 0.2
"""Length over which the slope at the rim is taken [mm]."""
LOSS_MM: Final = 0.2
"""A print ends lower by so much times the slope: 0.16 to 0.2 mm in sliced stamps [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class StampRim:
    """What is measured at places along the stamp's rim."""

    places: Points
    """Shape (n, 2) [mm]."""
    tip_mm: Heights
    """Width from the rim to where a wall steeper than 45 deg begins, up to `REACH_MM`."""
    rib_mm: Heights
    """Height of the stamp's rib there: what the face rises within `REACH_MM`, at least 0."""
    slope: Heights
    """Of the face upwards from the rim, 1 at 45 deg; negative where it falls inwards."""

    @property
    def needed_mm(self) -> Heights:
        """Least width of a tip at each place, by the height of its rib."""
        return least_tip_mm(self.rib_mm)

    @property
    def lost_mm(self) -> Heights:
        """Height that a print loses at the rim, 0 where the rib ends in a level land."""
        lost: Heights = np.minimum(LOSS_MM * np.maximum(self.slope, 0.0), self.rib_mm)
        return lost


def least_tip_mm(rib_mm: Heights) -> Heights:
    """Return the least width of the tips of ribs of some heights [mm].

    Examples
    --------
    >>> least_tip_mm(np.array([0.6, 1.4])).tolist()
    [0.4, 0.8]
    """
    return np.where(rib_mm > HIGH_RIB_MM, HIGH_TIP_MM, TIP_MM)


def stamp_rim(stamp: shapely.Polygon, field: Field) -> StampRim:
    """Return the stamp's ribs where they end at its rim, measured on the field.

    Parameters
    ----------
    stamp : shapely Polygon
        The stamp's outline, without holes [mm].
    """
    ring = shapely.orient_polygons(stamp).exterior
    corners = shapely.get_coordinates(shapely.segmentize(ring, SPACING_MM))
    along = np.diff(corners, axis=0)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    places = (corners[1:] + corners[:-1]) / 2.0
    # The ring runs counter-clockwise, so inwards is left of it.
    inwards = along[:, ::-1] * (-1.0, 1.0) / length
    away = np.arange(0.0, REACH_MM + STEP_MM / 2.0, STEP_MM)
    at = places[:, None] + away[:, None] * inwards[:, None]
    height = field(at.reshape(-1, 2)).height.reshape(len(places), -1)
    rise = height - height[:, :1]
    wall = round(WALL_RISE_MM / STEP_MM)
    steep = np.diff(height[:, : 1 - wall], axis=1) > STEP_MM + ROUND_OFF_MM
    steep &= height[:, wall:] - height[:, :-wall] > WALL_RISE_MM + ROUND_OFF_MM
    tip = np.where(steep.any(axis=1), away[steep.argmax(axis=1)], REACH_MM)
    return StampRim(
        places=places,
        tip_mm=tip,
        rib_mm=np.maximum(rise.max(axis=1), 0.0),
        slope=rise[:, round(SLOPE_MM / STEP_MM)] / SLOPE_MM,
    )
