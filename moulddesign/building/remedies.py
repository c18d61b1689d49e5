"""The smallest change of a design that mends what was found of its piece.

Room for centres is sought in steps on the plain piece, which has no relief and is made in a moment.
What the relief takes from it now is added to what is asked of the plain piece, and a change is
offered only where the whole piece then passes.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import Any, Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline
from moulddesign.building.sizes import interior_or_none, without_relief
from moulddesign.core import Message, MouldError, ml_from_mm3, say
from moulddesign.design import BlockTable, Design
from moulddesign.design.face_tables import FaceEdge
from moulddesign.face.carved_face import LAND_TIP_MM, face_scale
from moulddesign.pastry.carved_top import stamp_rim_of
from moulddesign.pastry.interior import Interior
from moulddesign.pastry.pastry import Pastry, in_whole_layers_mm
from moulddesign.portion import Figures, Portion
from moulddesign.relief.stamp_rim import StampRim
from moulddesign.verify.face_checks import NARROW_SHARE, RimFigures
from moulddesign.verify.piece_checks import CUT_RATIO, LEAST_CRUST_MM, LEAST_PASTE_MM
from moulddesign.verify.pull import LETS_GO_DEG
from moulddesign.verify.walls import PARALLEL_DEG

STEP: Final = 0.01
"""Step of a crust's share and of a height to width; our choice."""
MOST_SHARE: Final = 0.9
"""Largest crust's share that is offered; our choice."""
CRUST_MARGIN_MM: Final = 0.01
"""What a crust is made thicker than it has to be, for what is left out of the sum [mm]."""
MOST_PROPORTION: Final = 1.0
"""Largest height to width that is offered; our choice."""
RIBS_DEG: Final = floor(PARALLEL_DEG / 2.0) + 1
"""Draft from which ribs are wedges and no thin walls: where two parts of a face meet, the mould has
a rib whose sides lean by twice the draft [deg]."""
NEXT: Final = 3
"""Steps that are tried with the relief, from the one that the plain piece asks for."""


def thicker_crust(design: Design, inside: Interior, piece: Portion) -> Message | None:
    """Return the least share of crust that makes it thick enough, as a ratio.

    A crust of the least thickness leaves the filling some room; the rest of the piece has to be
    crust. That the other ratio moves the piece's volume by a few thousandths is left out.
    """
    held_mm = design.dough.least_crust_mm
    least_mm = LEAST_CRUST_MM if held_mm is None else held_mm
    thick = replace(inside, crust_mm=least_mm + CRUST_MARGIN_MM)
    return _as_ratio(design, thick, piece)


def crust_for_face(design: Design, inside: Interior, piece: Portion) -> Message | None:
    """Return the least share of crust of which a carved face leaves half everywhere, as a ratio."""
    most_mm = inside.pastry.height_mm / 2.0
    for tenth in range(ceil(10.0 * inside.crust_mm), ceil(10.0 * most_mm)):
        thick = replace(inside, crust_mm=tenth / 10.0)
        if thick.is_filled and thick.least_crust_mm >= CUT_RATIO * thick.crust_mm:
            return _as_ratio(design, thick, piece)
    return None


def _as_ratio(design: Design, thick: Interior, piece: Portion) -> Message | None:
    """Return the ratio that gives a crust."""
    needed_ml = piece.volume_ml - ml_from_mm3(thick.filling_mm3)
    hundredths = ceil(design.portion.crust_share * needed_ml / piece.crust_ml / STEP)
    if hundredths * STEP > MOST_SHARE:
        return None
    crust = hundredths / 10.0
    return say("building.more-crust", ratio=f"{crust:.1f}:{10.0 - crust:.1f}".replace(".0", ""))


def room_for_centres(design: Design, inside: Interior) -> Message | None:
    """Return a higher piece that has room for the centres, or else the heaviest that fit."""
    hundredths = floor(inside.pastry.height_mm / inside.pastry.outline.width_mm / STEP)
    measure = Measure(of=lambda made: made.least_paste_mm, limit=LEAST_PASTE_MM)

    def higher(step: int) -> Design:
        return design.with_values({"pastry.height_to_width": (hundredths + step) / 100.0})

    most = round(MOST_PROPORTION / STEP) if design.kept is None else hundredths
    steps = range(1, most - hundredths + 1)
    found = _least_change(design, inside, higher, steps, measure=measure)
    if found is not None:
        return say(
            "building.higher-piece",
            height_mm=found[1].pastry.height_mm,
            proportion=found[0].pastry.height_to_width,
        )
    if len(design.portion.centres) != 1:
        return None
    steps = range(1, floor(10.0 * design.portion.centres[0].mass_g))
    found = _least_change(
        design, inside, lambda step: _lighter(design, step), steps, measure=measure
    )
    return None if found is None else say("building.lighter-centre", centre=as_typed(found[0]))


def lighter_centre(design: Design, made: Figures) -> Message | None:
    """Return the heaviest centre beside which even a heavy one of its kind leaves paste."""
    if len(made.centres) != 1:
        return None
    (centre,) = made.centres
    low_g, _ = made.split.paste_range_g
    heaviest_g = (made.split.filling_g - low_g) / centre.total_g  # of a gram of the nominal mass
    steps = floor(10.0 * (centre.mass_g - made.split.filling_g / heaviest_g / centre.count)) + 1
    if steps / 10.0 >= centre.mass_g:
        return None
    return say("building.lighter-centre", centre=as_typed(_lighter(design, steps)))


def shallower_relief(design: Design, inside: Interior) -> Message | None:
    """Return the deepest relief that leaves half of the crust; None where a layer has its own."""
    if any(layer.depth_mm is not None for layer in design.layers):
        return None
    # A flatter relief moves the crust a little, so the next layer may be the one.
    layer_mm = design.printer.height_step_mm
    layers = floor(CUT_RATIO * inside.crust_mm / layer_mm)
    for depth_mm in (round(layers * layer_mm, 6), round((layers - 1) * layer_mm, 6)):
        made = (
            interior_or_none(design.with_values({"relief.depth_mm": depth_mm}))
            if depth_mm > 0.0
            else None
        )
        if made is not None and made.pastry.deepest_sunk_mm <= CUT_RATIO * made.crust_mm:
            return say("building.shallower-relief", depth_mm=depth_mm)
    return None


def width_for_stop(design: Design, made: Pastry) -> Message | None:
    """Return the nearest width at which a stop of whole layers ends the press right.

    None where the bore is kept.
    """
    if design.kept is not None:
        return None
    width_mm = in_whole_layers_mm(design, made.volume_mm3, made.outline, made.height_mm)
    return say("building.width-for-stop", width_mm=width_mm)


def rim_figures(rim: StampRim) -> RimFigures:
    """Return a stamp's rim in figures, its worst `NARROW_SHARE` left out."""
    spare = rim.tip_mm - rim.needed_mm
    row = int(np.argsort(spare, kind="stable")[int(NARROW_SHARE * len(spare))])
    x, y = rim.places[row].tolist()
    return RimFigures(
        tip_mm=float(rim.tip_mm[row]),
        needed_mm=float(rim.needed_mm[row]),
        at_mm=(x, y),
        lost_mm=float(np.quantile(rim.lost_mm, 1.0 - NARROW_SHARE)),
    )


def wider_land(design: Design, outline: Outline, stamp: shapely.Polygon) -> Message | None:
    """Return the land with which a face's stamp prints whole at its rim.

    A face that runs over the edge without a band has none; there it is one that ends at a land.
    """
    assert design.face is not None  # noqa: S101 (its pastry has a face)
    table = design.face.whole()
    scale = face_scale(table, outline).lengths
    bare = table.edge is FaceEdge.RUN_OVER and not table.bands
    edge = FaceEdge.LAND if bare else table.edge
    # Up to a hundredth: a width that is told has to do.
    land_mm = ceil(100.0 * (design.stamp_inset_mm + LAND_TIP_MM) / scale) / 100.0
    values: dict[str, Any] = {
        "face.land_mm": land_mm,
        "face.edge": edge.value,
        "further_stamps": [],
    }
    try:
        rim = stamp_rim_of(design.with_values(values), outline, stamp)
    except MouldError:
        return None
    if not rim_figures(rim).is_good:
        return None
    if bare:
        return say("building.face-ends-at-land", land_mm=land_mm)
    return say("building.wider-land", land_mm=land_mm)


def more_draft(design: Design) -> Message | None:
    """Return the drafts that have to grow for a piece to let go; None where each is enough."""
    relief = design.relief
    asked_deg = {
        f"relief.layers.{number}.draft_deg": layer.draft_deg
        for number, layer in enumerate(relief.layers, 1)
        if layer.draft_deg is not None
    }
    if design.face is not None or len(asked_deg) < len(relief.layers):
        asked_deg["relief.draft_deg"] = relief.draft_deg
    if isinstance(design.mould, BlockTable):
        asked_deg["mould.side_draft_deg"] = design.mould.side_lean_deg
    low = tuple(key for key, draft_deg in asked_deg.items() if draft_deg < LETS_GO_DEG)
    return say("building.more-draft", keys=low, draft_deg=LETS_GO_DEG) if low else None


def as_typed(design: Design) -> str:
    """Return a design's first centre as `--centre` takes it."""
    centre = design.portion.centres[0]
    density = "" if centre.density_g_per_ml is None else f":{centre.density_g_per_ml:g}"
    return f"{centre.name}:{centre.mass_g:g}{density}"


def _lighter(design: Design, tenths: int) -> Design:
    """Return a design whose only centre is lighter by some tenths of a gram."""
    (centre,) = design.plain()["portion"]["centres"]
    mass_g = (floor(10.0 * centre["mass_g"] + 1e-6) - tenths) / 10.0
    return design.with_values({"portion.centres": [centre | {"mass_g": mass_g}]})


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What is measured of an interior, and what it has to reach."""

    of: Callable[[Interior], float]
    limit: float


def _least_change(
    design: Design,
    inside: Interior,
    changed: Callable[[int], Design],
    steps: range,
    *,
    measure: Measure,
) -> tuple[Design, Interior] | None:
    """Return the design after the fewest steps at which a measure is enough, and its interior.

    It rises with the steps, at least until it is enough.
    """
    plain = interior_or_none(without_relief(design))
    if plain is None or not steps:
        return None
    lost = measure.of(plain) - measure.of(inside)

    def enough(step: int) -> bool:
        made = interior_or_none(without_relief(changed(step)))
        return made is not None and measure.of(made) - lost >= measure.limit

    low, high = 0, 1  # doubled until it is enough, then halved in on
    while not enough(high):
        if high == steps[-1]:
            return None
        low, high = high, min(2 * high, steps[-1])
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    for step in range(high, min(high + NEXT, steps.stop)):
        candidate = changed(step)
        made = interior_or_none(candidate)
        if made is not None and measure.of(made) >= measure.limit:
            return candidate, made
    return None
