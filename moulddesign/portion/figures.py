"""All figures of one piece in one value, for whoever prints them."""

from dataclasses import asdict, dataclass
from typing import Any

from moulddesign.design import Design
from moulddesign.portion.label import LabelTarget, label_target
from moulddesign.portion.portion import Portion, Split, portion, split_on_scale
from moulddesign.portion.shaping import Balls, balls
from moulddesign.portion.spread import Spread, spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a baker needs to know of one piece, without any geometry: one set of weights."""

    asked_g: float
    """Finished weight that was asked for; a label may need more."""
    piece: Portion
    """Exact: of the weight asked for, or of the label's target where that is more."""
    split: Split
    """What to set on the scale, never below the label's target."""
    spread: Spread
    label: LabelTarget | None
    """What the packers' rules ask for; None where no label weight is given."""
    balls: Balls
    """Diameters before pressing."""

    @property
    def raised_by_label(self) -> bool:
        """Whether the label needs a heavier piece than was asked for."""
        return self.piece.finished_g > self.asked_g

    def report(self) -> dict[str, Any]:
        """Return the portion as a report holds it: masses, volumes, scale, spread, label target."""
        return asdict(self.piece) | {
            "asked_g": self.asked_g,
            "raw_g_sd": self.spread.raw_g,
            "label_target_raw_g": None if self.label is None else self.label.raw_g,
            "scale": asdict(self.split) | {"filling_g": self.split.paste_g + self.split.centre_g},
            "balls": asdict(self.balls),
            "spread": asdict(self.spread),
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
        spread=spread(design, piece),
        label=target,
        balls=balls(piece),
    )
