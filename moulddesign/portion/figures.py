"""All figures of one piece in one value, for whoever prints them."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from statistics import NormalDist
from typing import Any, Final

from moulddesign.core import Message, mm3_from_ml, say, word
from moulddesign.design import (
    CentresWeighed,
    Design,
    Finish,
    Kind,
    PartDensity,
    PieceComposition,
    PortionTable,
    Purpose,
)
from moulddesign.design.schema import MEMORY
from moulddesign.portion.centres import (
    UNKNOWN_G_PER_ML,
    UNKNOWN_SD_G_PER_ML,
    KnownCentre,
    allergen_list,
    known_centres,
)
from moulddesign.portion.label import LabelTarget, label_target
from moulddesign.portion.loss import Loss, loss_of
from moulddesign.portion.portion import Portion, Split, portion, split_on_scale
from moulddesign.portion.shaping import Balls, balls
from moulddesign.portion.spread import Spread, spread

TAIL_SD: Final = NormalDist().inv_cdf(0.95)
"""Standard deviations from the mean beyond which 5 of 100 pieces lie, on either side."""

SHOWN_ROUNDING: Final = 0.005
"""Grams and millimetres below which rounding is not worth a sentence: they are printed as 0."""


FINISH_CAUTIONS: Final = {
    Finish.UNBAKED: say("portion.caution-unbaked"),
    Finish.FROZEN: say("portion.caution-frozen"),
    Finish.SET: say("portion.caution-set"),
}
"""What can hurt someone where a piece is not baked."""


def cautions_of(table: PortionTable) -> tuple[Message, ...]:
    """Return what can hurt someone where a piece is not baked, or is no food."""
    found = [FINISH_CAUTIONS.get(table.finish)]
    if table.purpose is Purpose.NOT_FOOD:
        found = [say("portion.caution-not-food")]
    return tuple(caution for caution in found if caution is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a baker needs to know of one piece, without any geometry: one set of weights."""

    asked_g: float
    """Finished weight that was asked for; a label may need more."""
    piece: Portion
    """Exact: of the weight asked for, or of the label's target where that is more."""
    split: Split
    """What to set on the scale, never below the label's target."""
    loss: Loss
    """Of the piece, with its uncertainty and where it comes from."""
    spread: Spread
    label: LabelTarget | None
    """What the packers' rules ask for; None where no label weight is given."""
    crust_density: PartDensity
    filling_density: PartDensity
    balls: Balls
    """Diameters before pressing."""
    centres: tuple[KnownCentre, ...]
    centres_weighed: CentresWeighed
    composition: PieceComposition

    @property
    def is_filled(self) -> bool:
        """Whether there is a filling inside a crust."""
        return self.composition is PieceComposition.WRAPPED

    @property
    def together(self) -> bool:
        """Whether centres and paste are weighed as one number."""
        return bool(self.centres) and self.centres_weighed is CentresWeighed.WITH_PASTE

    @property
    def weighed_g(self) -> float:
        """What is set on the scale beside the crust: the filling, or its paste alone [g]."""
        return self.split.filling_g if self.together else self.split.paste_g

    @property
    def remarks(self) -> tuple[Message, ...]:
        """How the centres are weighed, and what their names tell: one sentence each."""
        return tuple(self._remarks()) if self.centres else ()

    def _remarks(self) -> Iterator[Message]:
        names = tuple(
            word(c.name)
            if c.count == 1
            else say("portion.centre-times", count=c.count, name=word(c.name))
            for c in self.centres
        )
        low_g, high_g = self.split.paste_range_g
        if self.together:
            yield say(
                "portion.weigh-together",
                centres=names, filling_g=self.split.filling_g, low_g=low_g, high_g=high_g,
            )  # fmt: skip
        else:
            yield say("portion.count-centres", centres=names)
        guessed = {c.name for c in self.centres if c.density_source == MEMORY}
        if guessed:
            yield say(
                "portion.centre-unknown",
                names=tuple(map(word, sorted(guessed))),
                density=UNKNOWN_G_PER_ML, sd=UNKNOWN_SD_G_PER_ML,
            )  # fmt: skip
        named = allergen_list(centre.name for centre in self.centres)
        silent = tuple(name for name in named.unknown if name not in guessed)
        if silent:
            yield say("portion.centre-silent", names=tuple(map(word, silent)))
        if named.found:
            yield say("portion.centres-point-to", allergens=tuple(map(word, named.found)))

    def rounding_mm(self, area_mm2: float) -> float:
        """Return by how much rounding to the scale moves the pressed height [mm]."""
        return mm3_from_ml(self.split.rounding_ml) / area_mm2

    def stop_low_mm(self, area_mm2: float) -> float:
        """Return how much lower than the nominal height a press has to stop the stamp [mm].

        Then the relief is full on 95 of 100 pieces as they are weighed out; below 0 where what
        rounding adds is more than the spread.
        """
        return self._tail_mm(area_mm2) - self.rounding_mm(area_mm2)

    def heavy_gap_mm(self, area_mm2: float, low_mm: float) -> float:
        """Return how far the disc stays off a stop over 5 of 100 pieces, the heavy ones [mm].

        The stop lets the stamp go lower than the nominal height by `low_mm`.
        """
        return max(self._tail_mm(area_mm2) + self.rounding_mm(area_mm2) + low_mm, 0.0)

    def _tail_mm(self, area_mm2: float) -> float:
        """Return how far off the mean height 5 of 100 pieces lie on either side [mm]."""
        return TAIL_SD * mm3_from_ml(self.spread.all_volume_ml) / area_mm2

    def rounding(self, kind: Kind, area_mm2: float) -> Message | None:
        """Return what rounding does to a piece of an outline's area; None where it rounds nothing.

        A press presses it higher or lower; in a block or a silicone mould it stands over the rim or
        stays below it.
        """
        rounding_g, mm = abs(self.split.rounding_g), abs(self.rounding_mm(area_mm2))
        more, pressed = self.split.rounding_ml > 0.0, kind is Kind.PRESS
        if min(rounding_g, mm) < SHOWN_ROUNDING:
            return None
        match more, pressed:
            case True, True:
                return say("portion.presses-higher", rounding_g=rounding_g, mm=mm)
            case False, True:
                return say("portion.presses-lower", rounding_g=rounding_g, mm=mm)
            case True, False:
                return say("portion.stands-over-rim", rounding_g=rounding_g, mm=mm)
            case _:
                return say("portion.stays-below-rim", rounding_g=rounding_g, mm=mm)

    def report(self) -> dict[str, Any]:
        """Return the portion as a report holds it: masses, volumes, scale, spread, label target."""
        return asdict(self.piece) | {
            "asked_g": self.asked_g,
            "loss_uncertainty": self.loss.uncertainty,
            "loss_source": self.loss.source.value,
            "crust_density": asdict(self.crust_density),
            "filling_density": asdict(self.filling_density),
            "raw_g_sd": self.spread.raw_g,
            "label_target_raw_g": None if self.label is None else self.label.raw_g,
            "scale": asdict(self.split),
            "balls": asdict(self.balls),
            "centres": [asdict(centre) for centre in self.centres],
            "spread": self.spread.report(),
            "remarks": [str(remark) for remark in self.remarks],
            "label": None if self.label is None else asdict(self.label),
        }


def figures(design: Design) -> Figures:
    """Return all figures of one piece.

    Raises
    ------
    SpecError
        The centres are too heavy, the scale too coarse, or no label can be kept.
    """
    asked = portion(design.portion)
    target = label_target(design, asked, spread(design, asked))
    raised = target is not None and target.finished_g > asked.finished_g
    piece = portion(design.portion, target.finished_g) if target and raised else asked
    least_g = 0.0 if target is None else target.raw_g
    return Figures(
        asked_g=asked.finished_g,
        piece=piece,
        split=split_on_scale(piece, design.portion, design.scale.resolution_g, least_g),
        loss=loss_of(
            design.portion, raw_g=piece.raw_g, crust_g=piece.crust_g, paste_g=piece.paste_g
        ),
        crust_density=design.portion.crust_density,
        filling_density=design.portion.filling_density,
        spread=spread(design, piece),
        label=target,
        balls=balls(piece),
        centres=known_centres(design.portion),
        centres_weighed=design.portion.centres_weighed,
        composition=design.portion.composition,
    )
