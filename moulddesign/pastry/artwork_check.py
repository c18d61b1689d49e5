"""What is true of a piece of artwork at a size: its regions, points, depths, strokes and gaps."""

from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from PIL import Image
from shapely import MultiPolygon

from moulddesign.errors import SpecError
from moulddesign.pastry.artwork import artwork
from moulddesign.pastry.legibility import Thin, least_gap_mm, least_stroke_mm
from moulddesign.pastry.marking import RAISED, Drawn, marked_picture, thin_marks

GOOD_STROKE_MM: Final = 0.9
"""A relief's stroke: two lines of a 0.42 mm line width; common practice, no source [mm]."""
GOOD_GAP_MM: Final = 0.8
"""A gap that dough fills and a nozzle leaves open: two lines; common practice, no source [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArtworkCheck:
    """A piece of artwork at a size.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of what is drawn, where the frame's larger side has the size asked for [mm].
    regions : int
        Connected parts.
    points : int
        Corners of all their outlines.
    depth_shares : tuple of float
        Shares of the depth that occur, deepest first.
    covered : float
        Share of the frame's square that is drawn.
    thin_stroke, thin_gap : Thin or None
        Thinnest stroke and gap below `GOOD_STROKE_MM` and `GOOD_GAP_MM`; None where all are wider.
    shape : MultiPolygon
        All that is drawn, at that size [mm].
    """

    width_mm: float
    height_mm: float
    regions: int
    points: int
    depth_shares: tuple[float, ...]
    covered: float
    thin_stroke: Thin | None
    thin_gap: Thin | None
    shape: MultiPolygon

    @property
    def reads(self) -> bool:
        """Whether no stroke and no gap is too thin."""
        return self.thin_stroke is None and self.thin_gap is None


def check_artwork(name_or_path: str, folder: Path, *, size_mm: float) -> ArtworkCheck:
    """Return what is true of a pattern or a file at a size.

    Parameters
    ----------
    name_or_path : str
        A bundled pattern's name, or a path to an SVG, PNG or JPEG file.
    folder : Path
        What a relative path starts from.
    size_mm : float
        Larger side of the drawing's frame [mm].

    Raises
    ------
    SpecError
        The size is not above 0 and at most 400 mm, or the name is unknown.
    FileError
        The file cannot become relief.
    """
    if not (isfinite(size_mm) and 0.0 < size_mm <= 400.0):  # noqa: PLR2004 (a layer's limit)
        raise SpecError("size", size_mm, "must be above 0 mm and at most 400 mm")
    found = artwork(name_or_path, folder)
    united = shapely.union_all([region.shape for region in found])
    parts = [part for part in shapely.get_parts(united) if part.area > 0.0]
    whole = shapely.transform(MultiPolygon(parts), lambda points: points * size_mm)
    width, height = np.ptp(np.reshape(whole.bounds, (2, 2)), axis=0)
    return ArtworkCheck(
        width_mm=float(width),
        height_mm=float(height),
        regions=len(parts),
        points=sum(len(shapely.get_coordinates(region.shape)) for region in found),
        depth_shares=tuple(region.depth_share for region in found),
        covered=sum(region.shape.area for region in found),
        thin_stroke=least_stroke_mm(whole, below_mm=GOOD_STROKE_MM),
        thin_gap=least_gap_mm(whole, below_mm=GOOD_GAP_MM),
        shape=whole,
    )


def check_picture(found: ArtworkCheck) -> Image.Image:
    """Return the artwork as a picture on which every thin stroke and gap is ringed.

    Parameters
    ----------
    found : ArtworkCheck
        What was found of it.
    """
    marks = thin_marks(found.shape, least_stroke_mm=GOOD_STROKE_MM, least_gap_mm=GOOD_GAP_MM)
    outcome = "Thinner ones are ringed" if marks else "None is thinner"
    caption = f"Stroke at least {GOOD_STROKE_MM:g} mm, gap {GOOD_GAP_MM:g} mm\n{outcome}"
    return marked_picture([Drawn(shape=found.shape, colour=RAISED)], marks, caption)
