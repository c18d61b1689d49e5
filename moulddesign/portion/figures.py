"""All figures of one piece in one value, for whoever prints them."""

from dataclasses import asdict, dataclass

from moulddesign.design import Design
from moulddesign.portion.label import LEAST_LABEL_G, LabelTarget, label_target
from moulddesign.portion.portion import Portion, Split, portion, split_on_scale
from moulddesign.portion.shaping import Balls, balls
from moulddesign.portion.spread import Spread, spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a baker needs to know of one piece, without any geometry."""

    piece: Portion
    split: Split
    """What to set on the scale."""
    spread: Spread
    label: LabelTarget | None
    """What the packers' rules ask for; None where the piece is lighter than any label."""
    balls: Balls
    """Diameters before pressing."""

    def report(self) -> dict[str, float | None]:
        """Return the portion as a report holds it: masses, volumes, spread, label target."""
        return asdict(self.piece) | {
            "raw_g_sd": self.spread.raw_g,
            "label_target_raw_g": None if self.label is None else self.label.raw_g,
        }


def figures(design: Design) -> Figures:
    """Return all figures of one piece.

    Raises
    ------
    SpecError
        The centres are too heavy, the scale too coarse, or no label can be kept.
    """
    piece = portion(design.portion)
    scatter = spread(design, piece)
    unlabelled = design.label.weight_g is None and piece.finished_g < LEAST_LABEL_G
    return Figures(
        piece=piece,
        split=split_on_scale(piece, design.portion, design.scale.resolution_g),
        spread=scatter,
        label=None if unlabelled else label_target(design, piece, scatter),
        balls=balls(piece),
    )
