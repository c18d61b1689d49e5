"""Water of the piece from mixing to the finished piece, and the loss that goes with it.

Crust and paste begin with the water of their recipes and end with what is usual of their kind,
until it is measured; a loss that a trial weighed moves both, by how unsure each is.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import fsum, hypot
from typing import Final

from moulddesign.core import Message, SpecError, halved, require_ratio, say
from moulddesign.design import UNNAMED_CRUST, Dough, Finish, PortionTable
from moulddesign.kitchen.recipe import WATER_READING_SD, Recipe, food_of_centre, known_water
from moulddesign.portion import Drying, Loss, LossSource, known_centres, loss_of_parts, portion

PUBLISHED: Final = (0.167, 0.188)
"""Water of baked pieces with a syrup crust; Applied Food Research 2025, 100722."""


class WaterSource(StrEnum):
    """Where the finished water of a part comes from."""

    MEASURED = "measured"
    USUAL = "usual of its kind"
    TRIAL = "trial"
    MIXED = "as mixed"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWater:
    """Crust or paste: its share of the raw mass, and its water as shares of its own mass."""

    name: str
    share: float
    before: float
    before_sd: float
    after: float
    after_sd: float
    source: WaterSource
    falls: bool = False
    """Whether what is usual is a fall from the water before, whose scatter then stays in it."""

    @property
    def finished_share(self) -> float:
        """Mass that is left of it, as a share of the raw piece."""
        return self.share * (1.0 - self.before) / (1.0 - self.after)

    @property
    def finished_sd(self) -> float:
        """Standard uncertainty of its finished water."""
        return hypot(self.after_sd, self.before_sd if self.falls else 0.0)

    @property
    def loss_sd(self) -> float:
        """What it leaves unsure of the piece's loss."""
        mixed = 0.0 if self.falls else self.before_sd * self.share / (1.0 - self.after)
        return hypot(mixed, self.finished_share / (1.0 - self.after) * self.after_sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWater:
    """Water of a piece through baking and resting."""

    parts: tuple[PartWater, ...]
    loss: Loss
    """Share of the raw mass."""
    raw: float
    """Water of the raw piece with its centres, as a share of its mass."""
    finished: float
    finished_sd: float
    is_syrup_piece: bool
    """Whether the published range is that of its kind."""


def piece_water(
    recipe: Recipe, table: PortionTable, measured: Mapping[str, float] | None = None
) -> PieceWater:
    """Return the water of a piece before and after baking, and the loss that follows.

    Parameters
    ----------
    recipe : Recipe
        Its water when crust and filling are mixed and cooked.
    table : PortionTable
        Ratio, centres, named doughs. A loss that it gives was weighed, and comes before usual
        figures.
    measured : mapping of str to float or None
        Finished water of `crust` and `filling` that was measured, as a share of the part.

    Returns
    -------
    PieceWater
        By the balance of dry matter; centres are taken to keep their water. Uncertainties to first
        order.

    Raises
    ------
    SpecError
        Water of an ingredient or centre is unknown, a part ends wetter than it was mixed, or no
        finished water of these parts gives the loss that was weighed.
    """
    made = portion(table)
    doughs = {
        "crust": (made.crust_g, table.usual_crust),
        "filling": (made.paste_g, table.usual_filling),
    }
    if recipe.filling is None and table.is_filled:
        raise SpecError("filling", "not given", say("kitchen.filling-missing"))
    named = recipe.parts if table.is_filled else {"crust": recipe.crust}
    parts = []
    for name, part in named.items():
        mass_g, dough = doughs[name]
        before, before_sd = known_water(name, part)
        parts.append(
            _part(
                PartWater(
                    name=name, share=mass_g / made.raw_g, before=before, before_sd=before_sd,
                    after=before, after_sd=0.0, source=WaterSource.MIXED, falls=True,
                ),
                dough if table.finish is Finish.BAKED else None,
                (measured or {}).get(name),
            )
        )  # fmt: skip
    loss = loss_of_parts(map(_drying, parts))
    loss = replace(loss, uncertainty=hypot(*(part.loss_sd for part in parts)))
    if table.loss is not None:
        loss = Loss(ratio=table.loss, uncertainty=table.loss_uncertainty, source=LossSource.GIVEN)
        parts = _dried_to(parts, table.loss)
    centres = [(each.total_g / made.raw_g, food_of_centre(each)) for each in known_centres(table)]
    raw = fsum(part.share * part.before for part in parts)
    raw += fsum(share * (item.water or 0.0) for share, item in centres)
    left = 1.0 - loss.ratio
    finished = 1.0 - (1.0 - raw) / left
    # Of the finished water w = sum(m w_i) / sum(m) with m = share (1 - w0) / (1 - w_i):
    # dw / dw_i = m (1 - w) / ((1 - w_i) sum(m)).
    slopes = [(1.0 - finished) * part.finished_share / (1.0 - part.after) / left for part in parts]
    terms = [slope * part.finished_sd for slope, part in zip(slopes, parts, strict=True)]
    if table.loss is not None:
        terms = [part.share * part.before_sd / left for part in parts]
        terms.append((1.0 - raw) / left**2 * loss.uncertainty)
    terms += [share * item.water_sd / left for share, item in centres]
    return PieceWater(
        parts=tuple(parts),
        loss=loss,
        raw=raw,
        finished=finished,
        finished_sd=hypot(*terms),
        is_syrup_piece=table.is_filled
        and table.finish is Finish.BAKED
        and table.crust_dough in {None, UNNAMED_CRUST},
    )


def _drying(part: PartWater) -> Drying:
    return Drying(
        mass_share=part.share, water_before=part.before, water_after=part.after,
        water_after_sd=part.after_sd,
    )  # fmt: skip


def _part(mixed: PartWater, dough: Dough | None, measured: float | None) -> PartWater:
    """Return a part with its finished water: as measured, usual of its kind, or as mixed."""
    if measured is not None:
        after, sd = require_ratio(f"{mixed.name}_water", measured), WATER_READING_SD
        source, falls = WaterSource.MEASURED, False
    elif dough is None:
        return mixed
    else:
        falls = mixed.name == "filling"
        after = (
            mixed.before - dough.water_before + dough.water_after if falls else dough.water_after
        )
        sd, source = dough.water_after_sd, WaterSource.USUAL
    if not 0.0 < after <= mixed.before:
        need = say("kitchen.part-dries-up", before=100.0 * mixed.before)
        raise SpecError(f"{mixed.name}_water", f"{after:.3g}", need)
    return replace(mixed, after=after, after_sd=sd, source=source, falls=falls)


def _dried_to(parts: Sequence[PartWater], loss: float) -> list[PartWater]:
    """Return parts that lose what a trial weighed: each moves by how unsure its usual water is.

    None ends wetter than it was mixed, or with less than no water.
    """
    pulls = [
        part.finished_share / (1.0 - part.after) * part.after_sd**2
        if part.source is WaterSource.USUAL
        else 0.0
        for part in parts
    ]
    unsure = [(part, pull) for part, pull in zip(parts, pulls, strict=True) if pull > 0.0]
    if not unsure:
        return list(parts)

    def moved(by: float) -> list[PartWater]:
        return [
            replace(
                part, after=min(max(part.after - by * pull, 0.0), part.before),
                source=WaterSource.TRIAL,
            )
            if pull > 0.0
            else part
            for part, pull in zip(parts, pulls, strict=True)
        ]  # fmt: skip

    def lost(by: float) -> float:
        return loss_of_parts(map(_drying, moved(by))).ratio

    low = min((part.after - part.before) / pull for part, pull in unsure)
    high = max(part.after / pull for part, pull in unsure)
    least, most = lost(low), lost(high)
    if not least <= loss <= most:
        need = say("kitchen.loss-not-of-recipe", least=100.0 * least, most=100.0 * most)
        raise SpecError("portion.loss", loss, need)
    return moved(halved(lambda by: lost(by) >= loss, low, high))


def piece_water_sentences(water: PieceWater) -> Iterator[Message]:
    """Yield what the water of a piece says, with how sure it is and what to measure."""
    lost, lost_sd = 100.0 * water.loss.ratio, 100.0 * water.loss.uncertainty
    if water.loss.source is LossSource.GIVEN:
        yield say("kitchen.water-loss-weighed", loss=lost, sd=lost_sd)
    else:
        yield say("kitchen.water-loss", loss=lost, sd=lost_sd)
    now, sd, low, high = (100.0 * each for each in (water.finished, water.finished_sd, *PUBLISHED))
    if not water.is_syrup_piece:
        yield say("kitchen.water-finished", water=now, sd=sd)
    elif now - 2.0 * sd <= high and now + 2.0 * sd >= low:
        yield say("kitchen.water-as-published", water=now, sd=sd, low=low, high=high)
    else:
        yield say("kitchen.water-not-as-published", water=now, sd=sd, low=low, high=high)
    yield say("kitchen.water-measure")


def told_loss(recipe: Recipe, table: PortionTable) -> tuple[Message, ...]:
    """Return what a batch says of the loss by its recipe's water, beside the one it counts on.

    Nothing where a loss was weighed, or where the recipe has no figures for it.
    """
    if table.loss is not None:
        return ()
    try:
        loss = piece_water(recipe, table).loss
    except SpecError:
        return ()
    return (
        say(
            "kitchen.batch-loss", loss=100.0 * loss.ratio, sd=100.0 * loss.uncertainty,
            counted=100.0 * portion(table).loss,
        ),
    )  # fmt: skip
