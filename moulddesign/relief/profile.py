"""The profile of a stroke: height over the distance to its edge."""

from dataclasses import dataclass, replace
from math import acos, asin, cos, radians, sin, tan
from typing import Final

import numpy as np

from moulddesign.design import Profile
from moulddesign.relief.voronoi import Floats

HEIGHT_ERROR_MM: Final = 0.01
"""Largest height error of a profile's facets, half of what the whole relief may have [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HeightProfile:
    """Height as straight pieces between distances to the edge, constant beyond the last."""

    distances: Floats
    """Rising from 0, shape (k,) [mm]."""
    heights: Floats
    """Rising from 0, or falling from 0 throughout, shape (k,) [mm]."""
    fan_rad: float
    """Largest angle that one facet may span around a corner."""

    def height(self, distance_mm: Floats) -> Floats:
        """Return the height at distances to the edge [mm]."""
        return np.interp(distance_mm, self.distances, self.heights)

    def times(self, factor: float) -> "HeightProfile":
        """Return the profile with its heights multiplied: -1 turns raised into sunk."""
        return replace(self, heights=self.heights * factor)


def height_profile(
    profile: Profile, *, depth_mm: float, draft_deg: float, widest_mm: float
) -> HeightProfile:
    """Return the height of a stroke over the distance to its edge.

    `flat` rises at the draft angle to a plateau, `bevel` is straight to the ridge of the widest
    stroke, and `pillow` is an arc of a circle to that ridge. Where the widest stroke is too narrow
    for the depth at this draft, `bevel` and `pillow` stay lower: the draft is kept.

    Notes
    -----
    Around a corner a facet spans up to `fan_rad` = f. Its edges lie on the cone that the profile
    sweeps, and its middle cuts the corner: seen from above it is nearer by cos(f / 2). So it is
    steeper than the profile by 1 / cos(f / 2); the profile is laid flatter by that much, so that
    every facet keeps the draft. At the plateau's edge the chord's middle is short by the share
    1 - cos(f / 2) of the distance, so of the height too: with cos(f / 2) = 1 - error / depth that
    is the error allowed.
    """
    # No fan wider than 30 deg, however shallow the relief.
    fan = 2.0 * acos(max(1.0 - HEIGHT_ERROR_MM / depth_mm, cos(radians(15.0))))
    # The slope that the draft allows, 1 / tan a, less what fans add to it.
    steepest = cos(fan / 2.0) / tan(radians(draft_deg))
    if profile is Profile.FLAT:
        return _straight(depth_mm / steepest, depth_mm, fan)
    end = widest_mm * (1.0 + 1e-9)  # a ridge stays a ridge: nothing is level beyond it
    if profile is Profile.BEVEL:
        return _straight(end, min(depth_mm, steepest * widest_mm), fan)
    return _arc(run_mm=end, rise_mm=depth_mm, steepest=steepest, fan_rad=fan)


def _straight(distance_mm: float, height_mm: float, fan_rad: float) -> HeightProfile:
    return HeightProfile(
        distances=np.array([0.0, distance_mm]), heights=np.array([0.0, height_mm]), fan_rad=fan_rad
    )


def _arc(*, run_mm: float, rise_mm: float, steepest: float, fan_rad: float) -> HeightProfile:
    """Return the arc of a circle that is level at the ridge and ends at the edge.

    With b its angle, run = r sin b, rise = r (1 - cos b) and the slope at the edge is tan b. So
    rise / run = tan(b / 2), and b is the smaller of 2 atan(rise / run) and the draft's own.
    """
    angle = min(2.0 * np.arctan2(rise_mm, run_mm), float(np.arctan(steepest)))
    radius = run_mm / sin(angle)
    angles = arc_angles(angle, radius)
    distances = run_mm - radius * np.sin(angles)
    heights = radius * (np.cos(angles) - np.cos(angle))
    distances[0] = heights[0] = 0.0  # exactly: the edge is where the distance is 0
    return HeightProfile(distances=distances, heights=heights, fan_rad=fan_rad)


def arc_angles(angle: float, radius_mm: float, error_mm: float = HEIGHT_ERROR_MM) -> Floats:
    """Return angles from one down to 0 whose chords stay within an error of the arc [mm].

    A chord over the angle s leaves its arc by r (1 - cos(s / 2)).
    """
    step = 2.0 * acos(1.0 - min(error_mm / radius_mm, 0.5))
    return np.linspace(angle, 0.0, max(2, int(np.ceil(angle / step)) + 1))


def shoulder_profile(radius_mm: float, inset_mm: float) -> HeightProfile:
    """Return the rounded top edge: from 45 deg at the outline up to the flat top.

    The profile starts `inset_mm` inside the outline: 0 for the pastry, the clearance for a stamp.
    Heights are those at the distance from the outline, minus the first.
    """
    angles = arc_angles(np.pi / 4, radius_mm)
    run = radius_mm * sin(np.pi / 4)
    distances = run - radius_mm * np.sin(angles)
    heights = radius_mm * np.cos(angles)
    # The arc is begun where the inset outline meets it.
    keep = distances > inset_mm
    start = np.interp(inset_mm, distances, heights)
    return HeightProfile(
        distances=np.concatenate([[0.0], distances[keep] - inset_mm]),
        heights=np.concatenate([[0.0], heights[keep] - start]),
        fan_rad=asin(0.25),
    )
