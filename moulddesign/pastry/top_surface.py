"""A pastry's surface within its outline: flat top, relief, shoulder, drafted side."""

from dataclasses import dataclass, replace
from functools import cache
from math import asin, radians, sqrt, tan
from typing import Final

import numpy as np
from scipy.optimize import brentq

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, ml_from_mm3, say
from moulddesign.design import SideBandTable
from moulddesign.geometry import Indices, Mesh, Points, volume_over_plane_mm3
from moulddesign.geometry.mending import in_float32
from moulddesign.pastry.side_bands import PLAIN_MM, banded_section, depth_mm, reach_mm
from moulddesign.relief.carved_surface import CarvedSurface
from moulddesign.relief.medial_axis import MedialAxis, medial_axis
from moulddesign.relief.profile import HeightProfile, shoulder_profile
from moulddesign.relief.roof import Roof, roof, roof_from_axis, triangulated_loops
from moulddesign.relief.voronoi import snapped_to_grid

FAN_RAD: Final = asin(0.25)
"""Largest angle of one facet around a corner, as the shoulder has it [rad]."""

EXACT_MM: Final = 1e-10
"""How near the height is found: on 10,000 mm2 a millionth of a cubic millimetre [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DraftedSide:
    """An outline at the table and a side that leans inwards from there.

    With d the distance from the outline, a the draft and r the shoulder's radius:

        z             _______   flat top at z = h
        ^         . '           shoulder: an arc from 45 deg to level, r (1 - 1 / sqrt 2) high
        |       /
        |     /                 side: d = z tan a, as far as the shoulder's lower end
        |   /
        +-/-----------------> d

    Bands around the side add to d: see `side_bands`.
    """

    outline: Outline
    axis: MedialAxis
    """Its medial axis, known once for every height."""
    draft_deg: float
    radius_mm: float
    """Of the rounded shoulder above it; 0 where the edge is sharp [mm]."""
    bands: tuple[SideBandTable, ...] = ()
    """Bands around it, from the table upwards."""

    def run_mm(self, height_mm: float) -> float:
        """Return how far inside the table's outline the flat top begins [mm]."""
        return float(self.section(height_mm)[-1, 0]) + self.radius_mm * sqrt(0.5)

    def section(self, height_mm: float) -> Points:
        """Return the side's corners from the table to the shoulder, below a flat top's height [mm].

        Distance from the outline and height of each, shape (n, 2).
        """
        lean = tan(radians(self.draft_deg))
        rise = height_mm - self.radius_mm * (1.0 - sqrt(0.5))
        return banded_section(self.bands, lean=lean, height_mm=rise)

    @property
    def least_mm(self) -> float:
        """Height of a flat top from which on all bands have room below it, 0 without any [mm]."""
        drop_mm = self.radius_mm * (1.0 - sqrt(0.5))
        return reach_mm(self.bands) + PLAIN_MM + drop_mm if self.bands else 0.0

    def roof(self, height_mm: float) -> Roof:
        """Return side and shoulder, the flat top at z = 0 and the table below it [mm]."""
        made = roof_from_axis(self.axis, self.profile(height_mm))
        drop = np.array([0.0, 0.0, height_mm])
        return replace(made, vertices=made.vertices - drop)

    def volume_mm3(self, height_mm: float) -> float:
        """Return the volume between table, side and flat top, no relief included [mm^3]."""
        return self.outline.area_mm2 * height_mm + self.roof(height_mm).volume_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height at which it holds a volume, relief not included [mm]."""
        found = self.extended_height_mm(volume_mm3)
        if found < self.least_mm:
            self.refuse_low(replace(self, bands=()).height_mm(volume_mm3))
        return found

    def extended_height_mm(self, volume_mm3: float) -> float:
        """Return the height for a volume [mm].

        Where the bands have no room it falls on in proportion, for a search that passes there.
        """
        over_mm3 = cache(lambda height_mm: self.volume_mm3(height_mm) - volume_mm3)
        least = max(volume_mm3 / self.outline.area_mm2, self.least_mm)
        most = self._most_mm()
        if least >= most or over_mm3(most) <= 0.0:
            if self.bands:
                need = say("pastry.bands-too-deep", volume_ml=ml_from_mm3(volume_mm3))
                raise SpecError("pastry.side_bands", depth_mm(self.bands), need)
            need = say("pastry.sides-meet", volume_ml=ml_from_mm3(volume_mm3))
            raise SpecError("mould.side_draft_deg", self.draft_deg, need)
        if over_mm3(least) > 0.0:
            return least * volume_mm3 / (over_mm3(least) + volume_mm3)
        return float(brentq(over_mm3, least, most, xtol=EXACT_MM, rtol=1e-13))

    def refuse_low(self, height_mm: float) -> None:
        """Refuse a height of the flat top that leaves no room for the bands [mm]."""
        if height_mm < self.least_mm:
            need = say(
                "pastry.bands-too-high", less_mm=self.least_mm - height_mm, height_mm=height_mm
            )
            raise SpecError("pastry.side_bands", reach_mm(self.bands), need)

    def _most_mm(self) -> float:
        """Return the height at which only 2 % of the widest flat top is left [mm]."""
        room = 0.98 * float(self.axis.distances.max()) - self.radius_mm * sqrt(0.5)
        room -= depth_mm(self.bands)
        return room / tan(radians(self.draft_deg)) + self.radius_mm * (1.0 - sqrt(0.5))

    def profile(self, height_mm: float) -> HeightProfile:
        """Return the height over the table at distances from the outline, up to a flat top [mm]."""
        distances, heights = self.section(height_mm).T
        run, rise = float(distances[-1]), float(heights[-1])
        if self.radius_mm > 0.0:
            over = shoulder_profile(self.radius_mm, 0.0)
            distances = np.concatenate([distances, run + over.distances[1:]])
            heights = np.concatenate([heights, rise + over.heights[1:]])
        heights[-1] = height_mm  # exactly: the flat top is one level
        return HeightProfile(distances=distances, heights=heights, fan_rad=FAN_RAD)


def drafted_side(
    outline: Outline,
    *,
    draft_deg: float,
    radius_mm: float,
    bands: tuple[SideBandTable, ...] = (),
) -> DraftedSide:
    """Return the side of an outline at the table."""
    axis = medial_axis(snapped_to_grid(outline.shape))
    return DraftedSide(
        outline=outline, axis=axis, draft_deg=draft_deg, radius_mm=radius_mm, bands=bands
    )


SAME_MM: Final = 1e-9
"""Round-off of a height of some hundred millimetres [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TopSurface:
    """The pastry's top surface, the flat top at z = 0."""

    vertices: Points
    triangles: Indices
    """Counter-clockwise seen from above."""
    rim: Indices
    """The outer edge, counter-clockwise; rows of `vertices`."""

    @property
    def volume_mm3(self) -> float:
        """Volume between the surface and z = 0, negative below it [mm^3]."""
        return volume_over_plane_mm3(self.vertices[self.triangles])

    def solid(self, flat_mm: float, other_mm: float) -> Mesh:
        """Return what lies between the surface, with its flat at one height, and a level plane."""
        if np.all(np.abs(self.vertices[self.rim, 2] + flat_mm - other_mm) < SAME_MM):
            return self._closed(flat_mm)
        lift = np.array([0.0, 0.0, flat_mm])
        count = len(self.rim)
        end = self.vertices[self.rim].copy()
        end[:, 2] = other_mm
        low = len(self.vertices) + np.arange(count)
        high = self.rim
        side = np.concatenate(
            [
                np.column_stack([low, np.roll(low, -1), np.roll(high, -1)]),
                np.column_stack([low, np.roll(high, -1), high]),
            ]
        )
        vertices = np.concatenate([self.vertices + lift, end])
        floor = triangulated_loops(vertices, [low])[:, ::-1]
        made = Mesh(vertices, np.concatenate([self.triangles, side, floor]))
        return in_float32(made if other_mm < flat_mm else made.inside_out())

    def _closed(self, flat_mm: float) -> Mesh:
        """Return the solid whose floor is filled in the rim: a drafted side ends on the table."""
        vertices = self.vertices + np.array([0.0, 0.0, flat_mm])
        floor = triangulated_loops(vertices, [self.rim])[:, ::-1]
        return in_float32(Mesh(vertices, np.concatenate([self.triangles, floor])))


def relief_volume_mm3(roofs: tuple[Roof, ...]) -> float:
    """Return the volume of reliefs above z = 0, less what is below it [mm^3]."""
    return sum(made.volume_mm3 for made in roofs)


def top_surface(edge: Roof, roofs: tuple[Roof, ...]) -> TopSurface:
    """Return an edge, the flat within it and the reliefs on that as one surface.

    The edge is what lies round the flat, which is at z = 0: a shoulder, a side, or just a loop.
    Reliefs begin at z = 0, each at its own edge.
    """
    parts = [edge, *roofs]
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    vertices = np.concatenate([part.vertices for part in parts])
    inner = [loop + starts[0] for loop in edge.plateaus]
    holes = [
        loop[::-1] + start
        for part, start in zip(roofs, starts[1:], strict=False)
        for loop in part.eaves
    ]
    surfaces = [edge.walls] + [
        part.surface.triangles + start for part, start in zip(roofs, starts[1:], strict=False)
    ]
    flat = triangulated_loops(vertices, inner + holes)
    return TopSurface(
        vertices=vertices, triangles=np.concatenate([*surfaces, flat]), rim=edge.eaves[0]
    )


def stamp_surface(surface: CarvedSurface) -> TopSurface:
    """Return the part of a carved face that the stamp has."""
    return TopSurface(
        vertices=surface.vertices,
        triangles=surface.triangles[surface.stamp_triangles],
        rim=surface.stamp_rim,
    )


def shoulder_roof(outline: Outline, *, radius_mm: float, inset_mm: float) -> Roof:
    """Return the shoulder inside an outline, the flat at z = 0; without one, just its loop.

    The outline may lie inside the pastry's by an inset [mm], as a stamp's does: the shoulder then
    begins at that distance.
    """
    run_mm = radius_mm * sqrt(0.5)
    if run_mm <= inset_mm:
        return edge_loop(outline.points)
    wall = shoulder_profile(radius_mm, inset_mm)
    made = roof(snapped_to_grid(outline.shape), wall)
    drop = np.array([0.0, 0.0, float(wall.heights[-1])])
    return replace(made, vertices=made.vertices - drop)


def edge_loop(points: Points) -> Roof:
    """Return the edge of a flat without anything around it: a loop at z = 0, counter-clockwise."""
    loop = np.arange(len(points))
    return Roof(
        vertices=np.column_stack([points, np.zeros(len(loop))]),
        strips=np.empty((0, 3), dtype=np.int64),
        eaves=(loop,),
        plateaus=(loop,),
    )
