"""What is true of an artwork at a size: its strokes and gaps, and which of them are too thin."""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from moulddesign.artwork import legibility
from moulddesign.artwork.layers import LEAST_ADDED_MM2
from moulddesign.artwork.patterns import artwork
from moulddesign.core import SpecError, say

MOST_SIZE_MM: Final = 400.0
"""As large as a layer may be [mm]."""
GOOD_STROKE_MM: Final = 0.9
"""A relief's stroke: two lines of a 0.42 mm line width; common practice, no source [mm]."""
GOOD_GAP_MM: Final = 0.8
"""A gap that dough fills and a nozzle leaves open: two lines; common practice, no source [mm]."""
WIDEST_SEARCHED: Final = 4.0
"""How many times as wide as its limit the thinnest stroke is looked for; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArtworkCheck:
    """A piece of artwork at a size."""

    width_mm: float
    """Of what is drawn, where the frame's larger side has the size asked for."""
    height_mm: float
    regions: int
    """Connected parts."""
    points: int
    """Corners of all their outlines."""
    depth_shares: tuple[float, ...]
    """Shares of the depth that occur, deepest first."""
    covered: float
    """Share of the frame's square that is drawn."""
    thin_stroke: legibility.ThinPlace | None
    """Thinnest stroke below `GOOD_STROKE_MM`; None where all are wider."""
    thin_gap: legibility.ThinPlace | None
    """Thinnest gap below `GOOD_GAP_MM`; None where all are wider."""
    least_size_mm: float
    """Size of the frame from which all strokes and gaps are as wide as these limits."""
    shape: MultiPolygon
    """All that is drawn, at that size [mm]."""
    added: MultiPolygon
    """What thickening its strokes added; empty where they stay as drawn."""

    @property
    def reads(self) -> bool:
        """Whether no stroke and no gap is too thin."""
        return self.thin_stroke is None and self.thin_gap is None


def check_artwork(
    name_or_path: str, folder: Path, *, size_mm: float, thicken_mm: float | None = None
) -> ArtworkCheck:
    """Return what is true of a pattern or a file at a size.

    Parameters
    ----------
    folder : Path
        What a relative path starts from.
    size_mm : float
        Larger side of the drawing's frame [mm].
    thicken_mm : float, optional
        Thinner strokes are thickened to this [mm].

    Raises
    ------
    SpecError
        The size is not above 0 and at most 400 mm, or the name is unknown.
    FileError
        The file cannot become relief.
    """
    if not (isfinite(size_mm) and 0.0 < size_mm <= MOST_SIZE_MM):
        raise SpecError("size", size_mm, say("artwork.check-size", most_mm=MOST_SIZE_MM))
    found = artwork(name_or_path, folder)
    united = shapely.union_all([region.shape for region in found])
    parts = [part for part in shapely.get_parts(united) if part.area > 0.0]
    drawn = shapely.transform(MultiPolygon(parts), lambda points: points * size_mm)
    whole = drawn if thicken_mm is None else legibility.thickened(drawn, thicken_mm)
    added = [part for part in shapely.get_parts(whole - drawn) if isinstance(part, Polygon)]
    stroke = legibility.least_stroke_mm(whole, below_mm=WIDEST_SEARCHED * GOOD_STROKE_MM)
    gap = legibility.least_gap_mm(whole, below_mm=WIDEST_SEARCHED * GOOD_GAP_MM)
    needed = ((stroke, GOOD_STROKE_MM), (gap, GOOD_GAP_MM))
    width, height = np.ptp(np.reshape(whole.bounds, (2, 2)), axis=0)
    return ArtworkCheck(
        width_mm=float(width),
        height_mm=float(height),
        regions=len(shapely.get_parts(whole)),
        points=sum(len(shapely.get_coordinates(region.shape)) for region in found),
        depth_shares=tuple(region.depth_share for region in found),
        covered=sum(region.shape.area for region in found),
        thin_stroke=stroke if stroke and stroke.width_mm < GOOD_STROKE_MM else None,
        thin_gap=gap if gap and gap.width_mm < GOOD_GAP_MM else None,
        least_size_mm=size_mm
        * max(
            1.0 / WIDEST_SEARCHED if place is None else good_mm / place.width_mm
            for place, good_mm in needed
        ),
        shape=whole,
        added=MultiPolygon([part for part in added if part.area > LEAST_ADDED_MM2]),
    )


class ThinKind(StrEnum):
    """What is thin."""

    STROKE = "stroke"
    GAP = "gap"


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinMark:
    """A thin place to be ringed."""

    kind: ThinKind
    place: legibility.ThinPlace


def thin_marks(
    shape: Polygon | MultiPolygon, *, least_stroke_mm: float, least_gap_mm: float
) -> tuple[ThinMark, ...]:
    """Return every stroke and every gap of a region [mm] that is thinner than its limit."""
    strokes = legibility.thin_strokes(shape, below_mm=least_stroke_mm)
    gaps = legibility.thin_gaps(shape, below_mm=least_gap_mm)
    return (
        *(ThinMark(kind=ThinKind.STROKE, place=place) for place in strokes),
        *(ThinMark(kind=ThinKind.GAP, place=place) for place in gaps),
    )
