"""What every source of artwork gives: regions, each with its share of the relief's depth."""

from dataclasses import dataclass
from math import isfinite

from shapely import MultiPolygon

from moulddesign.errors import SpecError
from moulddesign.pastry.area import Area, multipolygon, stacked


@dataclass(frozen=True, slots=True)
class Region:
    """A part of the artwork that takes one depth.

    Parameters
    ----------
    shape : MultiPolygon
        Valid polygons, x to the right and y up as the eater reads them. Artwork with a square
        frame lies in the unit square around the origin; lettering and motifs are in [mm].
    depth_share : float
        Share of the relief's depth, above 0 and at most 1.
    """

    shape: MultiPolygon
    depth_share: float

    def __post_init__(self) -> None:
        if not (isfinite(self.depth_share) and 0.0 < self.depth_share <= 1.0):
            raise SpecError("depth_share", self.depth_share, "must be above 0 and at most 1")


def regions(paints: list[tuple[Area, float]], step: str) -> tuple[Region, ...]:
    """Return the regions that paint leaves visible, deepest first, without overlap.

    Parameters
    ----------
    paints : list of (Area, float)
        First laid first; a share of 0 erases what lies below.
    step : str
        Names the drawing in an error.
    """
    found = [Region(multipolygon(area, step), share) for area, share in stacked(paints)]
    return tuple(region for region in found if not region.shape.is_empty)
