"""The relief: artwork laid on the flat top, each region under its own roof."""

from dataclasses import dataclass, replace
from math import inf
from pathlib import Path
from typing import Final

import shapely

from moulddesign.design import Profile, ReliefTable, Sense
from moulddesign.errors import SpecError
from moulddesign.pastry.layers import Laid, laid
from moulddesign.pastry.medial import medial, on_grid
from moulddesign.pastry.profile import Section, section
from moulddesign.pastry.roof import Roof, roof, roof_over

APART_MM: Final = 0.02
"""Least flat between regions of unlike height; a twentieth of a usual nozzle [mm]."""


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
        if self.profile is Profile.FLAT:  # level beyond its walls: the axis there is not needed
            return roof(self.shape, self._section(inf))
        axis = medial(self.shape)
        return roof_over(axis, self._section(float(axis.distances.max())))

    def _section(self, widest_mm: float) -> Section:
        wall = section(
            self.profile,
            depth_mm=abs(self.depth_mm),
            draft_deg=self.draft_deg,
            widest_mm=widest_mm,
        )
        return wall.times(1.0 if self.depth_mm > 0.0 else -1.0)


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
    return _apart([_placed(part, table) for part in laid(table.layers, room, Path())])


def _apart(parts: list[Placed]) -> tuple[Placed, ...]:
    """Return one region for each way of standing, and a hair's breadth of flat between them.

    Parts that stand alike become one, so that no groove parts them. Others must not share an
    edge: each roof divides its edge in its own places.
    """
    alike: dict[tuple[float, Profile, float], list[Placed]] = {}
    for part in parts:
        alike.setdefault((part.depth_mm, part.profile, part.draft_deg), []).append(part)
    made: list[Placed] = []
    taken = shapely.MultiPolygon()
    for group in reversed(alike.values()):
        shape = shapely.union_all([part.shape for part in group])
        if taken.distance(shape) < APART_MM:
            shape = shape.difference(taken.buffer(APART_MM))
        made.insert(0, replace(group[-1], shape=on_grid(shape)))
        taken = taken.union(shape)
    return tuple(part for part in made if not part.shape.is_empty)


def _placed(part: Laid, table: ReliefTable) -> Placed:
    """Return a laid part with its depth and section: the layer's own, or the whole relief's."""
    layer = part.layer
    sense = table.sense if layer.sense is None else layer.sense
    depth_mm = table.depth_mm if layer.depth_mm is None else layer.depth_mm
    sign = 1.0 if sense is Sense.RAISED else -1.0
    return Placed(
        shape=on_grid(part.shape),
        depth_mm=sign * part.depth_share * depth_mm,
        profile=table.profile if layer.profile is None else layer.profile,
        draft_deg=table.draft_deg if layer.draft_deg is None else layer.draft_deg,
    )
