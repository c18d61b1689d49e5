"""Motifs by rule, for a maker without a drawing: each fills or follows any outline."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, TypeAlias

import shapely
from shapely import MultiPolygon, Polygon

from moulddesign.design.layer import Motif
from moulddesign.errors import SpecError
from moulddesign.pastry.motif_border import GRID_MM, beads, braid, leaf_ring, rope, scallops
from moulddesign.pastry.motif_field import lattice, petals, rays, rings, scales
from moulddesign.pastry.motif_size import MotifSize
from moulddesign.pastry.region import Region

Rule: TypeAlias = Callable[[Polygon, MotifSize], MultiPolygon]

RULES: Final[Mapping[Motif, Rule]] = MappingProxyType(
    {
        Motif.PETALS: petals,
        Motif.RAYS: rays,
        Motif.RINGS: rings,
        Motif.LATTICE: lattice,
        Motif.SCALES: scales,
        Motif.SCALLOPS: scallops,
        Motif.LEAF_RING: leaf_ring,
        Motif.BRAID: braid,
        Motif.ROPE: rope,
        Motif.BEADS: beads,
    }
)
USUAL: Final[Mapping[Motif, MotifSize]] = MappingProxyType(
    {
        Motif.PETALS: MotifSize(count=8, stroke_mm=1.2, band_mm=3.0),
        Motif.RAYS: MotifSize(count=24, stroke_mm=1.2, band_mm=9.0),
        Motif.RINGS: MotifSize(count=5, stroke_mm=1.6, band_mm=2.0),
        Motif.LATTICE: MotifSize(count=9, stroke_mm=1.4, band_mm=1.0),
        Motif.SCALES: MotifSize(count=6, stroke_mm=1.2, band_mm=1.0),
        Motif.SCALLOPS: MotifSize(count=20, stroke_mm=1.1, band_mm=4.6),
        Motif.LEAF_RING: MotifSize(count=20, stroke_mm=1.2, band_mm=7.0),
        Motif.BRAID: MotifSize(count=20, stroke_mm=1.6, band_mm=6.0),
        Motif.ROPE: MotifSize(count=36, stroke_mm=1.0, band_mm=4.5),
        Motif.BEADS: MotifSize(count=32, stroke_mm=1.0, band_mm=4.0),
    }
)
"""Sizes that look well on a top of 60 mm, our choice."""


def motif(kind: Motif, outline: Polygon, size: MotifSize) -> tuple[Region, ...]:
    """Return a motif that fits an outline.

    Parameters
    ----------
    kind : Motif
        Which one.
    outline : Polygon
        Where it may lie, such as the flat top less its margin, around the origin [mm].
    size : MotifSize
        Count and widths.

    Returns
    -------
    tuple of Region
        One region of full depth inside the outline [mm].

    Raises
    ------
    SpecError
        With these widths and this count nothing fits.

    Examples
    --------
    >>> disc = shapely.Point(0, 0).buffer(25.0)
    >>> (region,) = motif(Motif.BEADS, disc, USUAL[Motif.BEADS])
    >>> len(region.shape.geoms)
    32
    """
    drawn = RULES[kind](outline, size)
    inside = shapely.intersection(drawn, outline, grid_size=GRID_MM)
    parts = [
        part for part in shapely.get_parts(inside) if isinstance(part, Polygon) and part.area > 0.0
    ]
    if not parts:
        need = "leaves no room for its parts: take another count, or narrower strokes"
        raise SpecError("motif", kind.value, need)
    return (Region(MultiPolygon(parts), 1.0),)
