"""The section of a stroke: height over the distance to its edge."""

from dataclasses import dataclass
from math import acos, asin, cos, radians, sin, tan
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.design import Profile

HEIGHT_ERROR_MM: Final = 0.01
"""Largest height error of a section's facets, half of what the whole relief may have [mm]."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HeightProfile:
    """Height as straight pieces between distances to the edge, level beyond the last.

    Parameters
    ----------
    distances, heights : ndarray, shape (k,)
        Both rise from (0, 0); heights may be negative throughout [mm].
    fan_rad : float
        Largest angle that one facet may span around a corner [rad].
    """

    distances: Floats
    heights: Floats
    fan_rad: float

    def height(self, distance_mm: Floats) -> Floats:
        """Return the height at distances to the edge [mm]."""
        return np.interp(distance_mm, self.distances, self.heights)

    def times(self, factor: float) -> "HeightProfile":
        """Return the section with its heights multiplied: -1 turns raised into sunk."""
        return HeightProfile(
            distances=self.distances, heights=self.heights * factor, fan_rad=self.fan_rad
        )


def height_profile(
    profile: Profile, *, depth_mm: float, draft_deg: float, widest_mm: float
) -> HeightProfile:
    """Return the section of a profile.

    Parameters
    ----------
    profile : Profile
        `flat` rises at the draft angle to a plateau, `bevel` is straight to the ridge of the
        widest stroke, `pillow` is an arc of a circle to that ridge.
    depth_mm : float
        Height of the plateau, or of the widest stroke's ridge [mm].
    draft_deg : float
        Least angle between any facet and the pull direction [deg].
    widest_mm : float
        Largest distance to the edge in the region [mm]; `flat` does not use it.

    Returns
    -------
    Section
        Where the widest stroke is too narrow for the depth at this draft, `bevel` and `pillow`
        stay lower: the draft is kept.

    Notes
    -----
    Around a corner a facet spans up to `fan_rad` = f, so it is steeper than the profile by
    1 / cos(f / 2); the profile is laid flatter by that much, so that every facet keeps the draft.
    """
    fan = 2.0 * acos(max(1.0 - HEIGHT_ERROR_MM / depth_mm, cos(radians(15.0))))
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

    With b its angle, run = r sin b, rise = r (1 - cos b) and the slope at the edge is tan b.
    """
    angle = min(2.0 * np.arctan2(rise_mm, run_mm), float(np.arctan(steepest)))
    radius = run_mm / sin(angle)
    angles = arc_angles(angle, radius)
    distances = run_mm - radius * np.sin(angles)
    heights = radius * (np.cos(angles) - np.cos(angle))
    distances[0] = heights[0] = 0.0  # exactly: the edge is where the distance is 0
    return HeightProfile(distances=distances, heights=heights, fan_rad=fan_rad)


def arc_angles(angle: float, radius_mm: float) -> Floats:
    """Return angles from one down to 0 whose chords stay within the height error of the arc."""
    step = 2.0 * acos(1.0 - min(HEIGHT_ERROR_MM / radius_mm, 0.5))
    return np.linspace(angle, 0.0, max(2, int(np.ceil(angle / step)) + 1))


def shoulder_profile(radius_mm: float, inset_mm: float) -> HeightProfile:
    """Return the rounded top edge: from 45 deg at the outline up to the flat top.

    Parameters
    ----------
    radius_mm : float
        Radius of the arc [mm].
    inset_mm : float
        How far inside the outline the section starts: 0 for the pastry, the clearance for a
        stamp. Heights are those at the distance from the outline, minus the first [mm].

    Returns
    -------
    Section
        Over the distance to the inset outline.
    """
    angles = arc_angles(np.pi / 4, radius_mm)
    run = radius_mm * sin(np.pi / 4)
    distances = run - radius_mm * np.sin(angles)
    heights = radius_mm * np.cos(angles)
    keep = distances > inset_mm
    start = np.interp(inset_mm, distances, heights)
    return HeightProfile(
        distances=np.concatenate([[0.0], distances[keep] - inset_mm]),
        heights=np.concatenate([[0.0], heights[keep] - start]),
        fan_rad=asin(0.25),
    )
