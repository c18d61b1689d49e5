"""What lies inside a pastry: a crust of one thickness, the filling, and the centres in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import acos, asin, cos, hypot, inf, pi, radians, sin, sqrt, tan
from typing import Final

import numpy as np
import shapely
from scipy.ndimage import uniform_filter
from scipy.optimize import brentq

from moulddesign.artwork.outline import QUARTER_CHORDS
from moulddesign.core import SpecError, ml_from_mm3, mm3_from_ml, say
from moulddesign.design import Design
from moulddesign.geometry import Mesh, Points, joined, upright_section
from moulddesign.pastry.carved_top import SmoothTop
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.top_surface import FAN_RAD, TopSurface, edge_loop, top_surface
from moulddesign.portion import Portion, known_centres
from moulddesign.relief.carved_surface import coarse_surface
from moulddesign.relief.field import EdgeDistance, FieldValues, piece_of
from moulddesign.relief.profile import HEIGHT_ERROR_MM, HeightProfile, arc_angles
from moulddesign.relief.roof import Roof, roof
from moulddesign.relief.voronoi import snapped_to_grid

SPANS: Final = 4
"""Parts of the filling's height that are integrated one by one: its level sections change their
law where the arc of a corner is used up."""

NODES: Final = np.polynomial.legendre.leggauss(3)
"""Abscissas and weights of Gauss and Legendre between -1 and 1, exact for the area of any inset
that only shrinks, which is a square function of its distance."""

FREE_DEG: Final = 0.5
"""Draft of a surface that leaves no mould: as good as none [deg]."""
FILLING_STEP_MM: Final = 0.7
"""Spacing of the points of the filling's top under a carved face, half of the blur between them: a
hand wraps no better [mm]."""
LEAST_FILLING_MM: Final = 0.01
"""A filling that the ground presses to nothing is drawn so thick [mm]."""

TEAR_MM: Final = 1.0
"""Side of the square in which a thin crust counts; our choice [mm]."""

SAME_MM: Final = 1e-6
"""Distances from the outline that differ by less are one [mm]."""

CORNERS: Final = 48
"""Corners of a ball's equator."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """A centre, as a ball of its mass and density."""

    name: str
    diameter_mm: float
    at_mm: tuple[float, float, float]
    """Its middle; the pastry stands on z = 0 around the z axis."""
    rigid: bool = False
    """Whether it is known to keep its shape in pressing."""

    @property
    def radius_mm(self) -> float:
        """Half the diameter [mm]."""
        return self.diameter_mm / 2.0

    @property
    def mesh(self) -> Mesh:
        """Its surface: rows of corners between two poles."""
        rows = CORNERS // 2
        tilts, turns = pi * np.arange(1, rows) / rows, 2.0 * pi * np.arange(CORNERS) / CORNERS
        x = np.outer(np.sin(tilts), np.cos(turns)).ravel()
        y = np.outer(np.sin(tilts), np.sin(turns)).ravel()
        z = np.repeat(np.cos(tilts), CORNERS)
        corners = np.concatenate([np.column_stack([x, y, z]), [[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]])
        top, low = len(corners) - 2, len(corners) - 1
        here, there = np.arange(CORNERS), np.roll(np.arange(CORNERS), -1)
        facets = [np.column_stack([here, there, np.full(CORNERS, top)])]
        for row in range(rows - 2):
            up, down = row * CORNERS, (row + 1) * CORNERS
            facets.append(np.column_stack([here + up, here + down, there + down]))
            facets.append(np.column_stack([here + up, there + down, there + up]))
        last = (rows - 2) * CORNERS
        facets.append(np.column_stack([there + last, here + last, np.full(CORNERS, low)]))
        return Mesh(self.radius_mm * corners, np.concatenate(facets)).moved(self.at_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interior:
    """Crust, filling and centres of a pressed piece.

    The filling is what lies deeper than the crust's thickness t in the plain piece, the pastry
    without its relief; under a carved face its top follows the ground, which is what the face is
    without what is finer than the crust. Beside the side, with d the distance from the outline at
    the table, a the lean of the side, h the height and r the shoulder's radius, it is seen like
    this:

        z               _________________   flat top, z = h
        ^           . '  _______________    ceiling, z = h - t
        |         .    .'                   arc of the radius r - t around the shoulder's centre
        |        .    /                     side, d = t / cos a + z tan a
        |       .    /_________________     floor, z = t
        +------+------------------> d
    """

    pastry: Pastry
    crust_mm: float
    """Thickness of the crust, the same under side, shoulder, flat top and table; half the height
    where there is no filling."""
    centres: tuple[Ball, ...] = ()

    @property
    def is_filled(self) -> bool:
        """Whether there is a filling."""
        return self.ceiling_mm > self.floor_mm

    @property
    def floor_mm(self) -> float:
        """Height of the filling's level floor above the table [mm]."""
        return self.crust_mm

    @property
    def ceiling_mm(self) -> float:
        """Height of the filling's level top above the table, a carved ground not included [mm]."""
        return self.pastry.height_mm - self.crust_mm

    @property
    def filling_mm3(self) -> float:
        """Volume inside the crust, centres included: the integral of its level sections [mm^3]."""
        if not self.is_filled:
            return 0.0
        insets, heights = self._profile()
        # The volume is the integral of the level areas A(z). An inset of a region shrinks as a
        # square function of its distance, and the distance is linear in z between two corners of
        # the profile: three nodes of Gauss are exact there.
        evenly = np.linspace(self.floor_mm, self.ceiling_mm, SPANS + 1)
        ends = np.union1d(heights, evenly)
        rise = np.diff(ends)[:, None]
        z = ends[:-1, None] + rise * (NODES[0] + 1.0) / 2.0
        weights = rise * NODES[1] / 2.0
        level_mm3 = float(np.sum(weights * self._areas_mm2(np.interp(z, heights, insets))))
        return level_mm3 + self._over_level_mm3

    @property
    def _over_level_mm3(self) -> float:
        """Volume that the ground of a carved face adds to the filling's top, or takes [mm^3]."""
        if self.pastry.carved is None:
            return 0.0
        ground = self.pastry.carved.ground
        level = self._level_tops(ground.from_edge)
        lifted = np.maximum(level + ground.heights[ground.inside], self.floor_mm)
        inside = np.isfinite(level)
        return float((lifted - level)[inside].sum()) * ground.grid.pixel_mm**2

    def _level_tops(self, from_edge: Points) -> Points:
        """Return the height of the filling's top at distances from the edge, no ground included.

        Minus infinity beside the filling.
        """
        insets, heights = self._profile()
        return np.where(from_edge >= insets[0], np.interp(from_edge, insets, heights), -np.inf)

    @property
    def least_crust_mm(self) -> float:
        """Least crust between a carved face and the filling, wherever that is [mm].

        Measured upright, times the cosine of the filling's slope there, as the mean of a square
        millimetre: dough bridges what is narrower.
        """
        carved = self.pastry.carved
        if carved is None or not self.is_filled:
            return self.crust_mm
        ground = carved.ground
        level = np.full(ground.grid.shape, -np.inf)
        level[ground.inside] = self._level_tops(ground.from_edge)
        face = self.pastry.height_mm + carved.heights_over(ground.grid)
        known = np.isfinite(level) & np.isfinite(face)
        filling = np.maximum(level + ground.heights, self.floor_mm)
        left = np.where(known, (face - filling) / np.sqrt(1.0 + ground.slope**2), 0.0)
        side = round(TEAR_MM / ground.grid.pixel_mm)
        share = uniform_filter(known.astype(np.float64), side)
        mean = uniform_filter(left, side) / np.maximum(share, 1e-9)
        return min(float(mean[known].min()), self.crust_mm)

    @property
    def filling(self) -> Mesh:
        """The boundary of the filling; one closed surface a piece where it falls apart."""
        insets, heights = self._profile()
        if insets[1] == insets[0]:  # an upright side: the solid below the roof has it
            insets, heights = insets[1:], heights[1:]
        base = snapped_to_grid(
            self.pastry.outline.shape.buffer(-insets[0], quad_segs=QUARTER_CHORDS)
        )
        profile = HeightProfile(
            distances=insets - insets[0], heights=heights - heights[0], fan_rad=FAN_RAD
        )
        parts = shapely.get_parts(base)
        if self.pastry.carved is not None:
            return joined(self._under_ground(part, self.pastry.carved.ground) for part in parts)
        return joined(
            top_surface(_roof(part, profile), ()).solid(self.ceiling_mm, self.floor_mm)
            for part in parts
        )

    def _under_ground(self, part: shapely.Polygon, ground: SmoothTop) -> Mesh:
        """Return one piece of the filling under a carved face."""
        from_edge = EdgeDistance(self.pastry.outline.shape)
        start = self._profile()[0][0]

        def tops(points: Points) -> FieldValues:
            away = np.maximum(from_edge(points), start)
            height = np.maximum(
                self._level_tops(away) + ground(points), self.floor_mm + LEAST_FILLING_MM
            )
            return piece_of(height - self.ceiling_mm, 0)

        made = coarse_surface(
            part, tops, (), inset_mm=0.0, draft_deg=FREE_DEG, spacing_mm=FILLING_STEP_MM
        )
        top = TopSurface(vertices=made.vertices, triangles=made.triangles, rim=made.rim)
        return top.solid(self.ceiling_mm, self.floor_mm)

    @property
    def filling_section(self) -> shapely.Geometry:
        """The filling in the plane y = 0, x to the right and z up [mm]."""
        return upright_section(self.filling)

    @property
    def least_paste_mm(self) -> float:
        """Least distance from a centre to the crust, below 0 where it reaches into it [mm].

        Infinite without centres.
        """
        return min((self._paste_mm(ball) for ball in self.centres), default=inf)

    @property
    def least_rigid_mm(self) -> float:
        """The same from a centre that keeps its shape; infinite without one [mm]."""
        return min((self._paste_mm(ball) for ball in self.centres if ball.rigid), default=inf)

    @property
    def _arc_middle_mm(self) -> tuple[float, float]:
        """Middle of the shoulder's arc: distance from the outline, height above the table [mm]."""
        radius, height = self.pastry.shoulder_radius_mm, self.pastry.height_mm
        edge = height - radius * (1.0 - sqrt(0.5))  # where the side ends at 45 deg
        lean = tan(radians(self.pastry.side_draft_deg))
        return edge * lean + radius * sqrt(0.5), height - radius

    def _profile(self) -> tuple[Points, Points]:
        """Return distances from the outline and heights, from the floor's edge to the ceiling's.

        The arc comes in chords, as the pastry's shoulder does.
        """
        if self._banded_section is not None:
            return self._profile_within(self._banded_section)
        draft, floor, ceiling = (
            radians(self.pastry.side_draft_deg), self.floor_mm, self.ceiling_mm
        )  # fmt: skip
        # Measured level, the crust beside the leaning side is thicker by 1 / cos a.
        slant = self.crust_mm / cos(draft)
        insets = np.array([floor, ceiling]) * tan(draft) + slant
        middle, centre = self._arc_middle_mm
        radius = self.pastry.shoulder_radius_mm - self.crust_mm
        if radius <= 0.0 or insets[1] >= middle:
            return insets, np.array([floor, ceiling])
        # The arc's point at the angle f from its top, (middle - q sin f, centre + q cos f) with
        # q its radius, lies on the side where q sin(f + a) = (middle - centre tan a) cos a - t;
        # in a flat piece with a large shoulder it comes to the floor before that.
        beyond = middle * cos(draft) - centre * sin(draft) - self.crust_mm
        on_side = asin(beyond / radius) - draft
        on_floor = acos(max((floor - centre) / radius, -1.0))
        angles = arc_angles(min(on_side, on_floor), radius)
        distances, heights = middle - radius * np.sin(angles), centre + radius * np.cos(angles)
        heights[-1] = ceiling  # exactly: the top is one level, and the arc begins where it should
        if on_floor < on_side:
            heights[0] = floor
            return distances, heights
        distances[0] = heights[0] * tan(draft) + slant
        return np.append(insets[0], distances), np.append(floor, heights)

    @property
    def _banded_section(self) -> shapely.Polygon | None:
        """What is below side and top in the plane of distance and height; None without bands.

        It reaches so far inwards that its other end is of no account.
        """
        side = self.pastry.side
        if side is None or not side.bands:
            return None
        profile = side.profile(self.pastry.height_mm)
        far = float(profile.distances[-1]) + self.pastry.height_mm
        ends = [(far, float(profile.heights[-1])), (far, 0.0)]
        return shapely.Polygon([*zip(profile.distances, profile.heights, strict=True), *ends])

    def _profile_within(self, section: shapely.Polygon) -> tuple[Points, Points]:
        """Return the profile of a section moved in by the crust all round.

        As the section never widens upwards, neither does the profile.
        """
        # As near as the bands' own chords are: arcs around their corners would be hundreds.
        inner = section.buffer(-self.crust_mm, quad_segs=QUARTER_CHORDS).simplify(HEIGHT_ERROR_MM)
        inside = shapely.get_coordinates(inner)
        far = section.bounds[2] - self.crust_mm
        beside = np.unique(inside[inside[:, 0] < far - SAME_MM], axis=0)
        insets = beside[np.diff(beside[:, 0], prepend=-inf) > SAME_MM]
        heights = np.maximum.accumulate(insets[:, 1])
        heights[0], heights[-1] = self.floor_mm, self.ceiling_mm  # exactly: both are level
        return insets[:, 0], heights

    def _areas_mm2(self, insets: Points) -> Points:
        # Not `Outline.inset`: near the middle the inset vanishes or falls apart, here it may.
        each, rows = np.unique(insets, return_inverse=True)
        inside = shapely.buffer(self.pastry.outline.shape, -each, quad_segs=QUARTER_CHORDS)
        areas: Points = shapely.area(inside)[rows].reshape(insets.shape)
        return areas

    def _ground_over_mm(self, ball: Ball) -> float:
        """Return how far the ground over a ball is above the face's plane, at its lowest [mm]."""
        if self.pastry.carved is None:
            return 0.0
        x, y, _ = ball.at_mm
        ground = self.pastry.carved.ground
        across, along = np.meshgrid(*ground.grid.centres_mm)
        under = np.hypot(across - x, along - y) <= ball.radius_mm
        return float(ground.heights[under].min())

    def _paste_mm(self, ball: Ball) -> float:
        """Return the distance from a ball to the nearest of floor, top, side and arc."""
        x, y, z = ball.at_mm
        outline, draft = self.pastry.outline.shape, radians(self.pastry.side_draft_deg)
        middle = shapely.Point(x, y)
        away = float(outline.exterior.distance(middle))
        inset = away if outline.contains(middle) else -away
        # Distances to the planes of floor and ceiling, and to the leaning side along its normal.
        rooms = [z - self.floor_mm, self.ceiling_mm + self._ground_over_mm(ball) - z]
        if self._banded_section is not None:
            at = shapely.Point(inset, z)
            left = self._banded_section.exterior.distance(at) - self.crust_mm
            return min(*rooms, left if self._banded_section.contains(at) else -inf) - ball.radius_mm
        rooms.append(inset * cos(draft) - z * sin(draft) - self.crust_mm)
        along, up = self._arc_middle_mm
        radius = self.pastry.shoulder_radius_mm - self.crust_mm
        if radius > 0.0 and inset < along and z > up:
            rooms.append(radius - hypot(along - inset, z - up))
        return min(rooms) - ball.radius_mm


def interior(design: Design, made: Pastry, piece: Portion) -> Interior:
    """Return crust, filling and centres of a pressed piece; one without a filling is all crust.

    Raises
    ------
    SpecError
        The filling needs more room than there is without any crust.
    """
    if not design.portion.is_filled:
        return Interior(pastry=made, crust_mm=made.height_mm / 2.0)
    thick_mm = crust_thickness_mm(made, mm3_from_ml(piece.volume_ml - piece.crust_ml))
    centres = [centre for centre in known_centres(design.portion) for _ in range(centre.count)]
    diameters_mm = [centre.diameter_mm for centre in centres]
    return Interior(
        pastry=made,
        crust_mm=thick_mm,
        centres=tuple(
            Ball(
                name=centre.name,
                diameter_mm=size,
                at_mm=(x, y, made.height_mm / 2.0),
                rigid=centre.rigid is True,
            )
            for centre, size, (x, y) in zip(
                centres, diameters_mm, ring_mm(diameters_mm), strict=True
            )
        ),
    )


def crust_thickness_mm(made: Pastry, filled_mm3: float) -> float:
    """Return the thickness of a crust that is the same all round.

    It is the t at which what lies deeper than t holds the volume inside the crust. Where the side
    is upright and the edge sharp, that is A(outline inset by t) (h - 2 t). The relief is not
    regarded.
    """
    plain = Interior(pastry=made, crust_mm=0.0)

    def left_mm3(thickness_mm: float) -> float:
        return replace(plain, crust_mm=thickness_mm).filling_mm3 - filled_mm3

    room_mm3 = plain.filling_mm3
    if filled_mm3 >= room_mm3:
        raise SpecError(
            "portion.ratio",
            f"{ml_from_mm3(filled_mm3):.4g} mL of filling",
            say("pastry.no-crust", room_ml=ml_from_mm3(room_mm3)),
        )
    return float(brentq(left_mm3, 0.0, made.height_mm / 2.0, xtol=1e-9))


def ring_mm(diameters_mm: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Return where balls of some diameters lie, seen from above: one in the middle, more in a ring.

    Examples
    --------
    >>> ring_mm([12.0, 8.0])
    ((4.0, 0.0), (-6.0, 0.0))
    """
    if len(diameters_mm) < 2:  # noqa: PLR2004 (a ring begins with two)
        return ((0.0, 0.0),) * len(diameters_mm)
    radii = np.array(diameters_mm) / 2.0
    # The circle grows until all balls fit around it without a gap; the turn that they need falls as
    # it grows, so the root is bracketed.
    least = float(np.sort(radii)[-2:].sum())  # the two largest lie opposite each other
    around = least
    if _turns(radii, around)[1] > 2.0 * pi:
        most = 2.0 * float(radii.sum())
        around = float(brentq(lambda size: _turns(radii, size)[1] - 2.0 * pi, least, most))
    turns, _ = _turns(radii, around)
    return tuple(
        (round(reach * cos(turn), 9), round(reach * sin(turn), 9))
        for reach, turn in zip((around - radii).tolist(), turns.tolist(), strict=True)
    )


def ring_reach_mm(diameters_mm: Sequence[float]) -> float:
    """Return how far balls in a ring reach from its middle, 0 without any [mm]."""
    return max(
        (
            hypot(*middle) + size / 2.0
            for middle, size in zip(ring_mm(diameters_mm), diameters_mm, strict=True)
        ),
        default=0.0,
    )


def _turns(radii: Points, around: float) -> tuple[Points, float]:
    """Return directions of balls that touch a circle from inside, and the whole turn they need.

    Each comes as near after the ones before it as it can. Two balls of the radii p and q that
    touch each other and the circle of the radius R lie (R - p), (R - q) from the middle and
    p + q from each other: the law of cosines gives the angle between them.
    """
    reach = around - radii
    p, q = np.meshgrid(reach, reach)
    cosines = (p**2 + q**2 - (radii + radii[:, None]) ** 2) / (2.0 * p * q)
    apart = np.arccos(cosines.clip(-1.0, 1.0))
    turns = np.zeros(len(radii))
    whole = 0.0
    for row in range(1, len(radii)):
        turns[row] = float((turns[:row] + apart[:row, row]).max())
        whole = max(whole, float((turns[row] - turns[:row] + apart[:row, row]).max()))
    return turns, whole


def _roof(part: shapely.Polygon, profile: HeightProfile) -> Roof:
    """Return the filling's surface over one piece of its base, the level top at z = 0."""
    if len(profile.distances) == 1:
        return edge_loop(shapely.get_coordinates(part.exterior)[:-1])
    made = roof(shapely.MultiPolygon([part]), profile)
    down = np.array([0.0, 0.0, float(profile.heights[-1])])
    return replace(made, vertices=made.vertices - down)
