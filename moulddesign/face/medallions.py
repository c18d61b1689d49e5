"""The disc in the middle: sunk or raised, plain or lobed, with a ring and beads around it.

It takes the place of what is under it: the surface is cut down to its floor, and filled up to it.
Its ring stands over both sides.
"""

from dataclasses import dataclass, replace
from math import pi
from pathlib import Path
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.layers import layer_regions
from moulddesign.artwork.outline import scalloped_outline
from moulddesign.core import SpecError
from moulddesign.design import Sense
from moulddesign.design.face_tables import HeldTable, MedallionTable
from moulddesign.face.grounds import cap_height
from moulddesign.face.surface import (
    LEAST_FOOT_MM,
    Scale,
    Surface,
    foot_mm,
    half_round,
    higher_of,
    lower_of,
)
from moulddesign.geometry import Indices
from moulddesign.relief.field import EdgeDistance, Heights
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import snapped_to_grid

LOBE_SHARE: Final = 0.16
"""Depth of the valleys between a medallion's lobes as a share of its radius; our choice."""
LEAST_RING_MM: Final = 1.0
HELD_MARGIN_MM: Final = 0.6
"""Ground left free between the ring and what the medallion holds."""
HELD: Final = -1
"""Place of what a medallion holds among the layers of a relief, which come after it."""
NEAR_MM: Final = 3.0
"""Beyond this distance from its edge only the sign of a distance counts."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Medallion:
    """A medallion where it lies."""

    table: MedallionTable
    radius_mm: float
    floor_mm: float
    """Height of its edge."""
    dome_mm: float
    ring_mm: float
    """Width of the ring; 0 is none."""
    ring_height_mm: float
    outside_mm: float
    """Height of the ground around it."""
    wall: float
    """Slope of walls, its floor's and the ground's taken off."""
    first_piece: int
    edge: EdgeDistance | None
    """None for a circle."""

    @property
    def shape(self) -> shapely.Polygon:
        """Its edge, the middle of its ring."""
        return _shape(self.radius_mm, self.table.lobes)

    @property
    def floor(self) -> shapely.Polygon:
        """What lies inside its ring."""
        return self.shape.buffer(-self.ring_mm / 2.0, quad_segs=48)

    @property
    def steepest_floor(self) -> float:
        """Steepest slope of its floor."""
        return 2.0 * self.dome_mm / self.radius_mm if self.dome_mm else 0.0

    def floor_height(self, radius: Heights) -> Heights:
        """Return the height of its floor at distances from the middle [mm]."""
        if not self.dome_mm:
            return np.full(len(radius), self.floor_mm)
        cap = cap_height(radius, base_mm=self.radius_mm, rise_mm=self.dome_mm)
        return self.floor_mm + np.maximum(cap, 0.0)

    def __call__(self, surface: Surface) -> None:
        """Cut and fill the disc, then raise its ring."""
        spots = surface.spots
        rows = np.flatnonzero(spots.radius < self.radius_mm + NEAR_MM)
        if not len(rows):
            return
        inside = self._inside(surface, rows)
        floor = self.floor_height(spots.radius[rows])
        first = self.first_piece
        surface.cut_to(rows, *higher_of(floor, floor - self.wall * inside, first))
        filled, piece = lower_of(floor, floor + self.wall * inside, first)
        # Cut down or filled up to, the floor is one piece.
        surface.raise_to(rows, filled, np.where(piece == first, first, first + 2))
        surface.floor = surface.ground.copy()
        surface.floor[rows] = floor
        if self.ring_mm:
            self._raise_ring(surface, rows, inside)
        if self.table.beads:
            self._raise_beads(surface)

    def _inside(self, surface: Surface, rows: Indices) -> Heights:
        radius = surface.spots.radius[rows]
        if self.edge is None:
            return self.radius_mm - radius
        inside = np.full(len(rows), self.radius_mm)
        near = radius > self.radius_mm * (1.0 - 2.0 * LOBE_SHARE) - NEAR_MM
        inside[near] = self.edge(surface.spots.points[rows[near]])
        return inside

    def _raise_ring(self, surface: Surface, rows: Indices, inside: Heights) -> None:
        half = self.ring_mm / 2.0
        base = min(self.floor_mm, self.outside_mm)
        tall = self.outside_mm + self.ring_height_mm - base
        # A ridge that stands on the lower of both sides, round where it is above the higher one.
        share = max(tall - self.ring_height_mm, 0.0)
        near = np.flatnonzero(np.abs(inside) < half + share / self.wall + LEAST_FOOT_MM)
        rows, inside = rows[near], inside[near]
        top = base + share + half_round(inside, half, self.ring_height_mm)
        wall = base + share + self.wall * (half - np.abs(inside))
        number = self.first_piece + 4 + 2 * (inside > 0.0)
        surface.raise_to(rows, *lower_of(top, wall, number))

    def _raise_beads(self, surface: Surface) -> None:
        """Raise beads around a circle outside of the ring."""
        count = self.table.beads
        at = self.radius_mm * (1.0 + (0.02 if not self.table.lobes else 0.0)) + self.ring_mm / 2.0
        size = max(min(0.42 * 2.0 * pi * at / count, 1.1), 0.45)
        ring = at + size
        spots = surface.spots
        rows = np.flatnonzero(np.abs(spots.radius - ring) < size + foot_mm(self.wall))
        step = 2.0 * pi / count
        place = np.round(spots.angle[rows] / step)
        off = spots.angle[rows] - place * step
        radius = spots.radius[rows]
        apart = np.sqrt(np.maximum(radius**2 + ring**2 - 2.0 * radius * ring * np.cos(off), 0.0))
        ground = surface.ground[rows]
        top = ground + half_round(apart, size, 1.15 * size) + 0.2 * self.ring_height_mm
        wall = ground + 0.2 * self.ring_height_mm + self.wall * (size - apart)
        number = self.first_piece + 16 + 2 * np.mod(place.astype(np.int64), count)
        surface.raise_to(rows, *lower_of(top, wall, number))


def _shape(radius_mm: float, lobes: int) -> shapely.Polygon:
    if not lobes:
        return shapely.Point(0.0, 0.0).buffer(radius_mm, quad_segs=90)
    return scalloped_outline(2.0 * radius_mm, max(lobes, 3), LOBE_SHARE * radius_mm).shape


def medallion_of(
    table: MedallionTable,
    *,
    inner_mm: float,
    scale: Scale,
    ground_mm: float,
    wall: float,
    first_piece: int,
) -> Medallion:
    """Return a medallion.

    Parameters
    ----------
    inner_mm : float
        Largest circle in the room that it has [mm].
    scale : Scale
        Of its heights and of the width of its ring.
    ground_mm : float
        Height of the ground in the middle [mm].
    wall : float
        Slope that walls may have on the ground.
    first_piece : int
        Its first piece number.
    """
    radius_mm = table.radius_ratio * inner_mm
    sign = 1.0 if table.ground is Sense.RAISED else -1.0
    dome_mm = table.dome_mm * scale.heights
    ring_mm = (
        max(table.ring_width_mm * scale.lengths, LEAST_RING_MM) if table.ring_width_mm else 0.0
    )
    return Medallion(
        table=table,
        radius_mm=radius_mm,
        floor_mm=ground_mm + sign * table.height_mm * scale.heights,
        dome_mm=dome_mm,
        ring_mm=ring_mm,
        ring_height_mm=table.ring_height_mm * scale.heights,
        outside_mm=ground_mm,
        wall=wall - (2.0 * dome_mm / radius_mm),
        first_piece=first_piece,
        edge=EdgeDistance(_shape(radius_mm, table.lobes)) if table.lobes else None,
    )


def held_regions(
    table: HeldTable, room: shapely.Polygon, *, scale: float, draft_deg: float
) -> tuple[ReliefRegion, ...]:
    """Return the drawing or lettering that a medallion holds, for the engine to lift.

    Parameters
    ----------
    room : shapely Polygon
        Inside of its ring [mm].
    scale : float
        Factor of heights.
    draft_deg : float
        Least draft of its walls [deg].

    Raises
    ------
    SpecError
        It cannot be drawn.
    FileError
        The drawing, picture or font cannot be read.
    """
    free = room.buffer(-HELD_MARGIN_MM)
    small = shapely.transform(free, lambda points: points * table.size_ratio)
    depth_mm = table.depth_mm * scale * (1.0 if table.sense is Sense.RAISED else -1.0)
    try:
        drawn = layer_regions((table.layer,), small, Path())
    except SpecError as error:
        field = f"face.medallion.holds.{error.field.rpartition('.')[2]}"
        raise SpecError(field, error.value, error.need) from error
    return tuple(
        ReliefRegion(
            shape=snapped_to_grid(part.shape),
            depth_mm=depth_mm * part.depth_share,
            profile=table.profile,
            draft_deg=draft_deg,
            parts=(replace(part, place=HELD),),
        )
        for part in drawn
    )
