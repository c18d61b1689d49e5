"""The outline of a mould's mouth as a scan shows it, and which of the named outlines it is."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi, sqrt, tan
from typing import Any, Final

import numpy as np
import shapely
from shapely import affinity

from moulddesign.artwork.outline import POLYGON_SIDES, polygon_outline
from moulddesign.geometry import Points

SAME_RATIO: Final = 0.008
"""How far a mouth may leave a named outline and be taken for it, as a share of its width; our
choice: 0.5 mm in a cake of 60 mm."""
MOST_CORNER: Final = 0.9
"""Largest corner radius over half the width; our choice."""
SPACING_RATIO: Final = 0.005
"""Distance of the places that are compared, as a share of the width."""
SIMPLE_RATIO: Final = 0.0005
"""How far points may be left out of a drawn outline, as a share of its width."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mouth:
    """The mouth of a mould seen from above, in any unit of length."""

    name: str
    """`round`, `square`, `hexagon`, `octagon`, or `drawn` where it is none of these."""
    width: float
    """Least distance of two parallel jaws that close on it; of a circle the diameter of its
    area."""
    corner_radius: float
    """Of a regular polygon; else 0."""
    turn_rad: float
    """By how much it has to be turned, so that a flat ends the x axis; 0 where it is drawn."""
    middle: Points
    """Its centroid, shape (2,)."""
    shape: shapely.Polygon
    """It around the origin, not yet turned."""

    def values(self, scale: float) -> Mapping[str, Any]:
        """Return the keys of `[pastry]`, lengths times a factor; a drawn one's has no file yet."""
        width = self.width if self.name != "drawn" else float(np.ptp(self.shape.bounds[::2]))
        found: dict[str, Any] = {"outline": self.name, "width_mm": round(width * scale, 2)}
        if self.corner_radius:
            found["corner_radius_mm"] = round(self.corner_radius * scale, 2)
        return found


def mouth_of(shape: shapely.Polygon, slack: float = 0.0) -> Mouth:
    """Return which outline a region is.

    Parameters
    ----------
    shape : Polygon
        The region, in any unit.
    slack : float
        How far its edge may be off by the points of a scan, in that unit.

    Examples
    --------
    >>> made = mouth_of(affinity.rotate(shapely.box(0, 0, 40, 40), 20))
    >>> made.name, round(made.width, 6), round(np.degrees(made.turn_rad))
    ('square', 40.0, -20)
    >>> mouth_of(shapely.Point(3, 4).buffer(30, 99)).name
    'round'
    """
    middle = shapely.get_coordinates(shape.centroid)[0]
    around = affinity.translate(shape, *(-middle))
    radius = sqrt(shape.area / pi)
    places = shapely.segmentize(around.exterior, SPACING_RATIO * radius)
    off = np.abs(np.linalg.norm(shapely.get_coordinates(places), axis=1) - radius).max()
    if off <= SAME_RATIO * 2.0 * radius + slack:
        return Mouth(name="round", width=2.0 * radius, corner_radius=0.0, turn_rad=0.0,
                     middle=middle, shape=around)  # fmt: skip
    width, heading = least_width(around)
    found = [_as_polygon(name, around, width, heading) for name in POLYGON_SIDES]
    off, name, corner, turn = min(found)
    if off > SAME_RATIO * width + slack:
        name, corner, turn = "drawn", 0.0, 0.0
        around = around.simplify(SIMPLE_RATIO * width)
    return Mouth(name=name, width=width, corner_radius=corner, turn_rad=turn, middle=middle,
                 shape=around)  # fmt: skip


def _as_polygon(
    name: str, around: shapely.Polygon, width: float, heading: float
) -> tuple[float, str, float, float]:
    """Return how far a region is from a regular polygon, its name, corner radius and turn."""
    sides = POLYGON_SIDES[name]
    half, slope = pi / sides, tan(pi / sides)
    # The area of a polygon with rounded corners, see `width_for_area_mm`, solved for the radius.
    missing = sides * width**2 * slope / 4.0 - around.area
    corner = sqrt(max(missing, 0.0) / (sides * (slope - half)))
    turn = -((heading + half) % (2.0 * half) - half)
    if corner > MOST_CORNER * width / 2.0:  # that is nearly a circle
        return np.inf, name, 0.0, 0.0
    whole = polygon_outline(name, width, corner).shape
    turned = affinity.rotate(around, turn, origin=(0.0, 0.0), use_radians=True)
    edges = [shapely.segmentize(each.exterior, SPACING_RATIO * width) for each in (whole, turned)]
    return float(shapely.hausdorff_distance(*edges)), name, corner, turn


def least_width(shape: shapely.Polygon) -> tuple[float, float]:
    """Return the least distance of two parallel lines around a region, and the heading across them.

    Notes
    -----
    One of the two lies along an edge of the convex hull [1]_.

    References
    ----------
    .. [1] M. E. Houle, G. T. Toussaint, "Computing the width of a set", IEEE Transactions on
       Pattern Analysis and Machine Intelligence 10 (1988), 761-765 (from memory).
    """
    hull = shapely.get_coordinates(shape.convex_hull.exterior)[:-1]
    along = np.roll(hull, -1, axis=0) - hull
    across = np.column_stack([along[:, 1], -along[:, 0]])
    across /= np.linalg.norm(across, axis=1)[:, None]
    widths = np.ptp(hull @ across.T, axis=0)
    least = int(widths.argmin())
    return float(widths[least]), float(np.arctan2(across[least, 1], across[least, 0]))
