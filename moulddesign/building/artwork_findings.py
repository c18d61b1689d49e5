"""What becomes of each layer of artwork on the piece: nothing of it is changed or lost unsaid."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from math import atan, degrees, floor, radians, tan
from operator import itemgetter
from pathlib import Path
from typing import Final, TypeAlias

import shapely

from moulddesign.artwork.layers import LayerRegion
from moulddesign.artwork.legibility import ThinPlace, least_gap_mm, least_stroke_mm
from moulddesign.artwork.motifs import whole_repeats
from moulddesign.artwork.patterns import picture_greys
from moulddesign.building.remedies import RIBS_DEG
from moulddesign.core import Finding, Message, say
from moulddesign.design import Design, Layer
from moulddesign.face.medallions import HELD
from moulddesign.pastry.pastry import Pastry
from moulddesign.relief.roof import APART_MM, ReliefRegion
from moulddesign.verify import legible
from moulddesign.verify.piece_checks import least_widths_mm, width_finding
from moulddesign.verify.pull import LETS_GO_DEG

TOUCHING_MM: Final = 2.0 * APART_MM
"""Regions closer than this touched before they were set apart [mm]."""
LEAST_GROOVE_MM: Final = 1.0
"""Shorter grooves do not show; our choice [mm]."""
LEAST_GREYS: Final = 0.05
"""Share of a picture's area whose greys go unsaid; our choice."""
LEAST_DEPTH_MM: Final = 0.6
"""No flatter relief is offered: three layers of 0.2 mm; our choice [mm]."""
HEAVIEST_PIECE_G: Final = 1000.0
"""No heavier piece is offered for the sake of its artwork; our choice [g]."""

Drawn: TypeAlias = list[tuple[ReliefRegion, LayerRegion]]
"""What is drawn of one layer, each part with the region of the relief that it became part of."""


def artwork_findings(design: Design, pastry: Pastry) -> tuple[Finding, ...]:
    """Judge the artwork of a piece: each layer in their order, then strokes and gaps of the whole.

    `design` has the relief of this piece, so for a further stamp that stamp's.
    """
    thin = tuple(_thin_widths(pastry, design))
    found: list[Finding] = []
    for place, layer, name in _laid(design):
        drawn = [
            (region, part)
            for region in pastry.relief
            for part in region.parts
            if part.place == place
        ]
        ratio = max([1.0, *(each.ratio for each in thin if each.is_of(place))])
        found += _layer_findings(design, pastry, layer, drawn=drawn, ratio=ratio, name=name)
    grooves = _grooves(pastry, design)
    depths = _depth_findings(pastry, design)
    return (*found, *grooves, *depths, *(_width_finding(design, each) for each in thin))


def _laid(design: Design) -> Iterator[tuple[int, Layer, str]]:
    """Yield the place, the layer and the name of all artwork, a medallion's first."""
    medallion = None if design.face is None else design.face.whole().medallion
    if medallion is not None and medallion.holds is not None:
        yield HELD, medallion.holds.layer, "medallion"
    for place, layer in enumerate(design.relief.layers):
        yield place, layer, f"layer-{place + 1}"


RAISED_WIDTHS: Final = say("building.thinnest-raised-stroke"), say("building.thinnest-raised-gap")
SUNK_WIDTHS: Final = say("building.thinnest-sunk-stroke"), say("building.thinnest-sunk-gap")
"""What is found of the strokes and of the gaps of a relief."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Width:
    """The thinnest stroke or gap of all that is raised, or of all that is sunk."""

    what: Message
    limit_mm: float
    thin: ThinPlace | None
    """Where it is thinner than its limit; None where all are wide enough."""
    owners: tuple[LayerRegion, ...] = ()
    """What it belongs to: what lies beside it, the nearest first."""

    @property
    def is_stroke(self) -> bool:
        """Whether it is a stroke, not a gap."""
        return self.what in {RAISED_WIDTHS[0], SUNK_WIDTHS[0]}

    @property
    def ratio(self) -> float:
        """How many times larger it has to be."""
        return 1.0 if self.thin is None else self.limit_mm / self.thin.width_mm

    @property
    def is_between(self) -> bool:
        """Whether it lies between two layers."""
        return len({owner.place for owner in self.owners}) > 1

    def is_of(self, place: int) -> bool:
        """Return whether it belongs to one layer alone, and to this one."""
        return not self.is_between and any(owner.place == place for owner in self.owners)


def _thin_widths(pastry: Pastry, design: Design) -> Iterator[_Width]:
    """Yield the thinnest strokes and gaps, with the layers that they belong to."""
    parts = [part for region in pastry.relief for part in region.parts]
    for shape, depth_mm in pastry.artwork:
        raised = depth_mm > 0.0
        for what, search, limit_mm in zip(
            RAISED_WIDTHS if raised else SUNK_WIDTHS,
            (least_stroke_mm, least_gap_mm),
            least_widths_mm(
                line_mm=design.printer.line_width_mm,
                raised=raised,
                read_mm=design.dough.read_widths_mm,
            ),
            strict=True,
        ):
            thin = search(shape, below_mm=limit_mm)
            owners = () if thin is None else _beside(thin, parts)
            yield _Width(what=what, limit_mm=limit_mm, thin=thin, owners=owners)


def _beside(thin: ThinPlace, parts: Iterable[LayerRegion]) -> tuple[LayerRegion, ...]:
    """Return the parts that touch a thin place, the nearest first."""
    at = shapely.Point(thin.x_mm, thin.y_mm)
    far = sorted(((part.shape.distance(at), part) for part in parts), key=itemgetter(0))
    return tuple(part for distance, part in far if distance <= thin.width_mm)


def _width_finding(design: Design, found: _Width) -> Finding:
    """Return whether strokes, or gaps, print and fill, and the size at which they can."""
    thin = found.thin
    place = None if thin is None else (thin.width_mm, thin.x_mm, thin.y_mm)
    made = width_finding(
        found.what,
        thinnest=place,
        limit_mm=found.limit_mm,
        is_own=found.limit_mm in design.dough.read_widths_mm,
    )
    if thin is None or not found.owners or thin.width_mm <= TOUCHING_MM:
        return made  # a groove between heights that touch has a finding of its own
    if found.is_between:
        later = 1 + max(owner.place for owner in found.owners)
        remedy = say("building.gap-of-layers", gap_mm=found.limit_mm, layer=later)
        return replace(made, remedy=remedy)
    larger = _larger_artwork(design, found.owners[0], found.ratio)
    if found.is_stroke and found.owners[0].place != HELD:  # --thicken is for layers
        number, thick_mm = found.owners[0].place + 1, found.limit_mm
        remedy = say("building.or-thicken", larger=larger, stroke_mm=thick_mm, layer=number)
        return replace(made, remedy=remedy)
    if found.is_stroke:
        return replace(made, remedy=larger)
    return replace(made, remedy=say("building.or-wider-gaps", larger=larger))


def _layer_findings(
    design: Design,
    pastry: Pastry,
    layer: Layer,
    *,
    drawn: Drawn,
    ratio: float,
    name: str,
) -> Iterator[Finding]:
    """Yield what is found of a layer; by the ratio it has to be larger for its strokes to hold."""
    shown_mm2 = sum(part.shape.area for _, part in drawn)
    shown = shown_mm2 / drawn[0][1].layer_mm2 if drawn else 0.0
    if shown < legible.LEAST_SHOWN_RATIO:
        yield legible.hidden_finding(share=shown, part=name, remedy=say("building.uncover-layer"))
    else:
        yield _legible(design, drawn, ratio=ratio, name=name)
    if layer.motif is not None and layer.count is not None:
        step = whole_repeats(layer.motif, pastry.outline.shape)
        if layer.count % step:
            yield legible.repeats_finding(count=layer.count, step=step, part=name)
    if layer.pattern is None or not drawn:
        return
    deepest = max(part.depth_share for _, part in drawn)
    if deepest < 1.0:
        yield legible.shallow_finding(share=deepest, part=name)
    # Who gives a threshold knows of it.
    greys = picture_greys(layer.pattern, Path()) if layer.threshold is None else 0.0
    if greys > LEAST_GREYS:
        yield legible.greys_finding(share=greys, part=name)


def _legible(design: Design, drawn: Drawn, *, ratio: float, name: str) -> Finding:
    """Return whether a layer can be read, with the size at which it could."""
    reached = [
        legible.reached_mm2(region.shape, part.shape, run_mm=_run_mm(region))
        for region, part in drawn
    ]
    share = min(sum(reached) / sum(part.shape.area for _, part in drawn), 1.0)
    if share >= legible.LEAST_LEGIBLE_RATIO:
        return legible.legible_finding(share=share, part=name)
    region, part = max(drawn, key=lambda one: one[1].shape.area)
    steep = _run_mm(region) / legible.legible_run_mm(part.shape)
    remedy = _larger_artwork(design, part, max(ratio, steep))
    flatter_mm = abs(region.depth_mm) / steep
    if ratio == 1.0 and flatter_mm >= LEAST_DEPTH_MM:  # strokes are wide enough but for the depth
        remedy = say("building.flatter-artwork", larger=remedy, depth_mm=flatter_mm)
    draft_deg = floor(degrees(atan(tan(radians(region.draft_deg)) / steep)))
    if draft_deg >= (LETS_GO_DEG if design.face is None else RIBS_DEG):
        keys = (_draft_key(part),)
        remedy = say("building.less-draft", keys=keys, draft_deg=draft_deg, other=remedy)
    return replace(legible.legible_finding(share=share, part=name), remedy=remedy)


def _draft_key(part: LayerRegion) -> str:
    """Return the key of the draft that a layer's walls have."""
    is_own = part.layer.draft_deg is not None and part.place != HELD
    return f"relief.layers.{part.place + 1}.draft_deg" if is_own else "relief.draft_deg"


def _run_mm(region: ReliefRegion) -> float:
    """Return how far a wall runs until it is at its depth [mm]."""
    return abs(region.depth_mm) * tan(radians(region.draft_deg))


def _larger_artwork(design: Design, part: LayerRegion, ratio: float) -> Message:
    """Return how large a layer, or how heavy the piece, has to be for its strokes and gaps to hold.

    A piece of the same proportions grows with the cube root of its weight, and artwork that is as
    large as the top takes grows with it.
    """
    layer = part.layer
    left, low, right, high = part.shape.bounds
    size_mm = ratio * (max(right - left, high - low) if layer.size_mm is None else layer.size_mm)
    weight_g = design.portion.finished_weight_g * ratio**3
    if layer.size_mm is not None:
        return say("building.larger-artwork", size_mm=size_mm, layer=part.place + 1)
    # A heavier piece out of a kept bore is no wider.
    if weight_g > HEAVIEST_PIECE_G or design.kept is not None:
        return say("building.bolder-artwork", size_mm=size_mm)
    return say("building.heavier-piece", size_mm=size_mm, weight_g=weight_g)


def _depth_findings(pastry: Pastry, design: Design) -> Iterator[Finding]:
    """Yield whether the dough's own row knows a relief as deep as this one to come out whole."""
    most_mm = design.dough.most_depth_mm
    if most_mm is None or not pastry.relief:
        return
    region = max(pastry.relief, key=lambda one: abs(one.depth_mm))
    part = max(region.parts, key=lambda one: one.depth_share)
    layers_mm = design.printer.whole_layers_mm(most_mm)
    remedy = say("building.shallower-relief", depth_mm=layers_mm)
    is_own = part.layer.depth_mm is not None and part.place != HELD
    if is_own:
        own_mm = round(layers_mm / part.depth_share, 6)
        remedy = say("building.shallower-layer", depth_mm=own_mm, layer=part.place + 1)
    yield legible.deep_finding(
        depth_mm=abs(region.depth_mm),
        most_mm=most_mm,
        part=f"layer-{part.place + 1}" if is_own else "",
        remedy=remedy,
    )


def _grooves(pastry: Pastry, design: Design) -> Iterator[Finding]:
    """Yield whether reliefs of unlike height touch, so that a groove is cut between them."""
    length_mm = 0.0
    for one, other in combinations(pastry.relief, 2):
        if one.depth_mm * other.depth_mm > 0.0 and one.depth_mm != other.depth_mm:
            near = one.shape.buffer(TOUCHING_MM, quad_segs=2)
            length_mm += float(other.shape.boundary.intersection(near).length)
    if length_mm >= LEAST_GROOVE_MM:
        _, gap_mm = least_widths_mm(
            line_mm=design.printer.line_width_mm,
            raised=pastry.relief[0].depth_mm > 0.0,
            read_mm=design.dough.read_widths_mm,
        )
        yield legible.grooves_finding(length_mm=length_mm, gap_mm=gap_mm)
