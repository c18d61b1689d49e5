"""Lettering in a band: along the outline, once or as often as its symmetry allows.

The letters are artwork, so the engine gives them a contour roof and lifts it onto the ground.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import shapely
from shapely import affinity

from moulddesign.artwork.outline import Outline, rotational_symmetry
from moulddesign.artwork.path_lettering import CAP_SHARE, DESCENDER_SHARE, outline_lettering
from moulddesign.core import SpecError, say
from moulddesign.design import Profile
from moulddesign.design.face_tables import BandSection, BandTable, Fill
from moulddesign.face.bands import Band
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import snapped_to_grid

OVERSHOOT_SHARE: Final = 0.1
"""What capitals reach below their line, a bent line's sag included, as a share of the em; our
choice."""
APART_MM: Final = 1.0
"""Least distance between two repeats of a text; our choice [mm]."""


def lettered_regions(
    bands: Iterable[Band], outline: Outline, *, draft_deg: float
) -> tuple[ReliefRegion, ...]:
    """Return the lettering of bands, raised, or sunk where the band's section is hollow.

    Letters and what hangs below their line are together as high as the band is wide.

    Parameters
    ----------
    draft_deg : float
        Least draft of its walls [deg].

    Raises
    ------
    SpecError
        A text is too long, its repeats do not match the outline, or a character has no glyph.
    FileError
        A font cannot be read.
    """
    return tuple(
        ReliefRegion(
            shape=snapped_to_grid(shape),
            depth_mm=band.height_mm * (-1.0 if band.table.section is BandSection.HOLLOW else 1.0),
            profile=Profile.FLAT,
            draft_deg=draft_deg,
        )
        for number, band in enumerate(bands)
        if band.table.fill is Fill.TEXT
        for shape in _lettered(band, outline, number)
    )


def _lettered(band: Band, outline: Outline, number: int) -> Iterator[shapely.MultiPolygon]:
    """Yield the lettering of a band with its repeats, as one shape."""
    table = band.table
    font = None if table.font is None else Path(table.font)
    text = str(table.text)
    below = OVERSHOOT_SHARE if text == text.upper() else DESCENDER_SHARE
    try:
        regions = outline_lettering(
            text,
            font,
            outline=outline.inset(band.outer_mm).shape,
            height_mm=band.width_mm / (CAP_SHARE + below),
        )
    except SpecError as error:
        if error.field != "relief.layers.size_mm":
            raise
        need = say("face.text-too-long")
        raise SpecError(f"face.bands.{number}.text", table.text, need) from error
    for region in regions:
        copies = _repeated(region.shape, table, outline, number)
        yield shapely.MultiPolygon([part for one in copies for part in shapely.get_parts(one)])


def _repeated(
    shape: shapely.MultiPolygon, table: BandTable, outline: Outline, number: int
) -> list[shapely.MultiPolygon]:
    count = 1 if table.count is None else table.count
    parts = rotational_symmetry(outline.shape)
    if outline.name != "round" and parts % count:
        raise SpecError(f"face.bands.{number}.count", count, say("face.text-repeats", parts=parts))
    copies = [
        affinity.rotate(shape, -360.0 * turn / count, origin=(0.0, 0.0)) for turn in range(count)
    ]
    if count > 1 and float(copies[0].distance(copies[1])) < APART_MM:
        raise SpecError(f"face.bands.{number}.count", count, say("face.text-repeats-overlap"))
    return copies
