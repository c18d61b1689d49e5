"""One design in several weights: what grows with the piece, and what printing and dough keep."""

from collections.abc import Callable, Mapping
from functools import cache
from math import cbrt
from typing import Any, Final

import shapely

from moulddesign.artwork.motifs import whole_repeats
from moulddesign.core import MouldError
from moulddesign.design import Design
from moulddesign.design.piece_tables import MEANT_FOR
from moulddesign.design.relief_tables import Motif
from moulddesign.pastry.interior import Interior, interior
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures, portion

PASTRY_LENGTHS: Final = ("width_mm", "height_mm", "shoulder_radius_mm")
LAYER_LENGTHS: Final = ("size_mm", "x_mm", "y_mm", "radius_mm", "band_mm")
"""Of a layer; its depth, strokes and gaps are what printing needs, and stay."""


def in_weight(design: Design, weight_g: float) -> Design:
    """Return a design for another finished weight, with the same proportions.

    Lengths grow with the cube root of the weight. Depth and draft of the relief, strokes, gaps and
    the mould stay, for they are what printing and dough need; a border of layers drops whole
    repeats, and so do the bands of a face. Centres keep their mass. The weight on a label, that of
    another piece, is left out. A given name gets the weight behind it.

    Parameters
    ----------
    weight_g : float
        Finished weight [g].

    Raises
    ------
    SpecError
        The weight, or a length that follows from it, is outside of its limits.
    """
    was_g = design.portion.finished_weight_g
    # The name that follows from a design has its weight already.
    name = {"name": f"{design.name}-{weight_g:g}g"} if "name" in design.model_fields_set else {}
    if weight_g == was_g:
        return design.with_values(name)
    ratio = cbrt(weight_g / was_g)
    tree = design.with_values(
        name | {"portion.finished_weight_g": weight_g, "label.weight_g": None}
    ).plain()
    of_outline = [key for key, names in MEANT_FOR.items() if design.pastry.outline in names]
    tree["pastry"] |= {
        key: ratio * value
        for key in (*PASTRY_LENGTHS, *of_outline)
        if isinstance(value := tree["pastry"].get(key), float)
    }
    tree["pastry"]["side_bands"] = [
        {key: ratio * value if isinstance(value, float) else value for key, value in band.items()}
        for band in tree["pastry"]["side_bands"]
    ]

    @cache  # solved for its height, which takes a while; most designs do not ask
    def outline() -> shapely.Polygon:
        return pastry(without_relief(design), figures(design).piece.volume_ml).outline.shape

    for relief in (tree["relief"], *tree.get("further_stamps", ())):
        relief["layers"] = [_layer(layer, ratio, outline) for layer in relief["layers"]]
    if design.face is not None and design.face.whole().drawn_for_mm is None:
        middle = shapely.Point(0.0, 0.0)
        tree["face"]["drawn_for_mm"] = 2.0 * float(outline().exterior.distance(middle))
    return Design.of(tree)


def without_relief(design: Design) -> Design:
    """Return a design whose piece is plain: it is made in a moment."""
    return design.with_values({"relief.layers": [], "face": None, "further_stamps": []})


def interior_or_none(design: Design) -> Interior | None:
    """Return the interior of a design's piece; None where there is no such piece."""
    try:
        piece = portion(design.portion)
        return interior(design, pastry(design, piece.volume_ml), piece)
    except MouldError:
        return None


def plain_crust_mm(
    plain: Design, weight_g: float, change: Callable[[Design, float], Design]
) -> float | None:
    """Return the crust's thickness in a plain piece [mm].

    It is None where the piece has no filling, or where there is no such piece.

    Parameters
    ----------
    weight_g : float
        Finished weight of the piece [g].
    change : callable
        What makes of the design one of that weight, and may refuse it.
    """
    try:
        inside = interior_or_none(change(plain, weight_g))
    except MouldError:
        return None
    return inside.crust_mm if inside is not None and inside.is_filled else None


def _layer(
    layer: Mapping[str, Any], ratio: float, outline: Callable[[], shapely.Polygon]
) -> dict[str, Any]:
    """Return a layer with its lengths in another size, and as many whole repeats as it has then."""
    made = dict(layer)
    for key in LAYER_LENGTHS:
        if made.get(key) is not None:
            made[key] = ratio * made[key]
    if made.get("motif") is not None and made.get("count") is not None:
        step = whole_repeats(Motif(made["motif"]), outline())
        made["count"] = max(round(made["count"] * ratio / step), 1) * step
    return made
