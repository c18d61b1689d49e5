"""Layers on the flat top: scaled, placed, copied, and cut where a later one lies."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import ceil, cos, log2, radians, sin
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from moulddesign.artwork import polygons
from moulddesign.artwork.font_files import font_of
from moulddesign.artwork.legibility import thickened
from moulddesign.artwork.lettering import column_lettering, lettering, seal_lettering
from moulddesign.artwork.motifs import MotifSize, fitted_size, motif
from moulddesign.artwork.path_lettering import (
    CAP_SHARE,
    DESCENDER_SHARE,
    lower_outline_lettering,
    lower_rim_lettering,
    outline_lettering,
    rim_lettering,
)
from moulddesign.artwork.patterns import artwork
from moulddesign.core import Message, SpecError, say
from moulddesign.design import Along, Layer, LetterSet, Motif

RIM_LETTERS_MM: Final = 6.0
SIMPLIFIED_MM: Final = 0.002
"""Points that move an edge by less are left out [mm]."""
CIRCLE_SEGMENTS: Final = 96
SIZE_STEP_MM: Final = 1e-6
LEAST_ADDED_MM2: Final = 0.005
"""Smaller pieces are what chords of curves differ by, not thickened strokes; our choice [mm^2]."""
OVERLAP_MM: Final = 0.01
"""How far artwork may reach over its place: what simplifying and the grid move it [mm]."""


@dataclass(frozen=True, slots=True)
class LayerRegion:
    """A part of the relief on the flat top."""

    shape: MultiPolygon
    """x right and y up, the pastry's middle at the origin [mm]."""
    depth_share: float
    """Share of its layer's depth."""
    layer: Layer
    """What it comes from."""
    place: int
    """Which layer that is, counted from 0."""
    layer_mm2: float
    """Area of the whole layer before later ones cover it [mm^2]."""
    added: shapely.Geometry
    """What thickening its strokes added; empty where they stay as drawn."""


def layer_regions(
    layers: Iterable[Layer], available: Polygon, folder: Path
) -> tuple[LayerRegion, ...]:
    """Return what layers draw on the flat top, without overlap: later ones win.

    Parameters
    ----------
    layers : iterable of Layer
        First laid first.
    available : Polygon
        Where they may lie: the flat top less its margin, around the origin [mm].
    folder : Path
        What relative paths start from: the design file's folder.

    Raises
    ------
    SpecError
        A layer does not fit there, or cannot be drawn.
    FileError
        A drawing, picture or font cannot be used.
    """
    result: list[LayerRegion] = []
    for place, layer in enumerate(layers):
        added = _placed_regions(layer, place, available, folder)
        cover = polygons.polygon_union([polygons.polygon_set(part.shape) for part in added])
        cover = (
            polygons.offset(cover, layer.gap_mm, CIRCLE_SEGMENTS) if layer.gap_mm > 0.0 else cover
        )
        # What lies below keeps a gap to the new layer, so that both can be printed.
        result = [kept for part in result for kept in _uncovered(part, cover)] + added
    return tuple(result)


def thickened_places(parts: Iterable[LayerRegion]) -> MultiPolygon:
    """Return what thickening added to strokes, as far as later layers leave it to be seen."""
    shown = [part.added.intersection(part.shape) for part in parts if not part.added.is_empty]
    pieces = shapely.get_parts(shapely.union_all(shown))
    return MultiPolygon(
        [one for one in pieces if isinstance(one, Polygon) and one.area > LEAST_ADDED_MM2]
    )


def largest_mm(shape: shapely.Geometry, available: Polygon) -> float:
    """Return the largest factor by which a shape fits a polygon that holds the origin.

    Found by bisection, so the polygon should be star-shaped about the origin, as tops are: then
    what fits at one size fits at every smaller one.
    """
    low = 0.0
    high = 2.0 * np.abs(available.bounds).max() / np.abs(shapely.get_coordinates(shape)).max()
    shapely.prepare(available)
    while high - low > SIZE_STEP_MM:
        middle = (low + high) / 2.0
        if available.covers(_scaled(shape, middle)):
            low = middle
        else:
            high = middle
    return float(low)


def _placed_regions(
    layer: Layer, place: int, available: Polygon, folder: Path
) -> list[LayerRegion]:
    """Return the parts of one layer, thickened, placed and copied."""
    drawn = _sized_regions(layer, available, folder)
    found, thick = drawn, layer.least_stroke_mm
    if thick is not None:
        found = [replace(part, shape=thickened(part.shape, thick)) for part in drawn]
    placed = [_with_copies(part.shape, layer) for part in found]
    reach = available.buffer(OVERLAP_MM)
    if not all(reach.covers(shape) for shape in placed):
        raise SpecError(
            "relief.layers.size_mm", layer.size_mm, _fitting_size(found, layer, available)
        )
    thin = placed if thick is None else [_with_copies(part.shape, layer) for part in drawn]
    area_mm2 = sum(shape.area for shape in placed)
    return [
        LayerRegion(
            shape=shape, depth_share=part.depth_share, layer=layer, place=place,
            layer_mm2=area_mm2,
            added=shapely.MultiPolygon() if thick is None else shape.difference(before),
        )
        for shape, before, part in zip(placed, thin, found, strict=True)
    ]  # fmt: skip


def _fitting_size(found: list[polygons.Region], layer: Layer, available: Polygon) -> Message:
    """Return what to do about a layer that does not fit, with the size that does."""
    around = _translated(MultiPolygon([available]), -layer.x_mm, -layer.y_mm)
    if layer.size_mm is None or not around.contains(shapely.Point(0.0, 0.0)):
        return say("artwork.layer-does-not-fit")
    whole = shapely.convex_hull(shapely.union_all([region.shape for region in found]))
    most_mm = layer.size_mm * _largest_size_mm(whole, around, layer)
    return say("artwork.layer-too-large", most_mm=most_mm)


def _sized_regions(layer: Layer, available: Polygon, folder: Path) -> list[polygons.Region]:
    """Return a layer's regions at their size, before they are moved [mm]."""
    if layer.motif is not None:
        outline = _motif_outline(layer, available)
        return list(motif(layer.motif, outline, _motif_size(layer, layer.motif, outline)))
    if layer.text is not None and layer.along not in (None, Along.STRAIGHT):
        return list(_regions_along(layer, layer.text, available, font=font_of(layer, folder)))
    if layer.text is not None:
        set_text = SETS[layer.set or LetterSet.ROW]
        return _scaled_to_size(set_text(layer.text, font_of(layer, folder)), layer, available)
    return _scaled_to_size(artwork(str(layer.pattern), folder, layer.threshold), layer, available)


def _scaled_to_size(
    found: tuple[polygons.Region, ...], layer: Layer, available: Polygon
) -> list[polygons.Region]:
    """Return regions in the unit square at their size [mm].

    They are simplified before they are scaled, at a tolerance that halves where the size doubles:
    so a small change of size leaves out the same corners, and the volume does not jump.
    """
    whole = shapely.convex_hull(shapely.union_all([region.shape for region in found]))
    around = _translated(MultiPolygon([available]), -layer.x_mm, -layer.y_mm)
    size_mm = layer.size_mm if layer.size_mm is not None else _largest_size_mm(whole, around, layer)
    fine = SIMPLIFIED_MM / 2.0 ** ceil(log2(size_mm))
    return [
        polygons.Region(
            _as_multipolygon(_scaled(shapely.simplify(part.shape, fine), size_mm)), part.depth_share
        )
        for part in found
    ]


def _largest_size_mm(whole: shapely.Geometry, around: shapely.Geometry, layer: Layer) -> float:
    """Return the size that fits; `around` has the middle of the layer at the origin."""
    if not around.contains(shapely.Point(0.0, 0.0)):
        raise SpecError("relief.layers.x_mm", layer.x_mm, say("artwork.layer-off-top"))
    return largest_mm(_rotated(whole, layer.turn_deg), around)


def _motif_outline(layer: Layer, available: Polygon) -> Polygon:
    if layer.size_mm is None:
        return available
    left, low, right, high = available.bounds
    return _scaled(available, layer.size_mm / max(right - left, high - low))


def _motif_size(layer: Layer, kind: Motif, outline: Polygon) -> MotifSize:
    given = {name: getattr(layer, name) for name in ("count", "stroke_mm", "band_mm")}
    said = {name: value for name, value in given.items() if value is not None}
    return replace(fitted_size(kind, outline), **said)


SETS: Final = MappingProxyType(
    {
        LetterSet.ROW: lettering,
        LetterSet.COLUMN: column_lettering,
        LetterSet.SEAL: seal_lettering,
    }
)


def _regions_along(
    layer: Layer, text: str, available: Polygon, *, font: Path | None
) -> tuple[polygons.Region, ...]:
    """Return text along a circle, or along the edge of where it may lie."""
    if layer.along in {Along.OUTLINE, Along.LOWER_OUTLINE}:
        lay = outline_lettering if layer.along is Along.OUTLINE else lower_outline_lettering
        return lay(text, font, outline=available, height_mm=layer.size_mm)
    height = layer.size_mm if layer.size_mm is not None else RIM_LETTERS_MM
    clear = float(available.exterior.distance(shapely.Point(0.0, 0.0)))
    upper = layer.along is Along.UPPER_RIM
    share = CAP_SHARE if upper else DESCENDER_SHARE
    radius = layer.radius_mm if layer.radius_mm is not None else clear - height * share
    lay_on_rim = rim_lettering if upper else lower_rim_lettering
    return lay_on_rim(text, font, radius_mm=radius, height_mm=height)


def _with_copies(shape: MultiPolygon, layer: Layer) -> MultiPolygon:
    """Return a shape rotated, moved, copied around the middle and mirrored, as one region."""
    first = _translated(_rotated(shape, layer.turn_deg), layer.x_mm, layer.y_mm)
    if layer.copies == 1 and not layer.mirrored:
        return _as_multipolygon(first)
    ring = [_rotated(first, 360.0 * index / layer.copies) for index in range(layer.copies)]
    if layer.mirrored:
        ring += [shapely.transform(part, lambda points: points * (-1.0, 1.0)) for part in ring]
    return polygons.multipolygon(
        polygons.polygon_union([polygons.polygon_set(part) for part in ring]),
        say("artwork.layer-copies"),
    )


def _uncovered(part: LayerRegion, cover: polygons.PolygonSet) -> list[LayerRegion]:
    left = polygons.polygon_set(part.shape) - cover
    if left.is_empty():
        return []
    shape = polygons.multipolygon(left, say("artwork.layer-rest"))
    return [replace(part, shape=shape)]


def _scaled(shape: shapely.Geometry, factor: float) -> shapely.Geometry:
    return shapely.transform(shape, lambda points: points * factor)


def _translated(shape: shapely.Geometry, x_mm: float, y_mm: float) -> shapely.Geometry:
    return shapely.transform(shape, lambda points: points + np.array((x_mm, y_mm)))


def _rotated(shape: shapely.Geometry, turn_deg: float) -> shapely.Geometry:
    if turn_deg == 0.0:
        return shape
    cosine, sine = cos(radians(turn_deg)), sin(radians(turn_deg))
    turn = np.array([[cosine, sine], [-sine, cosine]])
    return shapely.transform(shape, lambda points: points @ turn)


def _as_multipolygon(shape: shapely.Geometry) -> MultiPolygon:
    return shape if isinstance(shape, MultiPolygon) else MultiPolygon([shape])
