"""The weighing figures of one piece, as tables and sentences."""

from collections.abc import Iterator
from typing import Final

from rich.table import Table

from moulddesign.cli.console import table
from moulddesign.cli.options import Override
from moulddesign.design import Design
from moulddesign.portion import Figures, LabelTarget, roll_for

WEIGHING: Final = (
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
    Override("--hand-error", "scale.hand_error_g", float, "G", "How far a hand misses, sd."),
    Override("--label-weight", "label.weight_g", float, "G", "Weight on the label."),
)
"""Options of the verbs that weigh."""


def weight_table(name: str, made: Figures) -> Table:
    """Return the table of masses, on the scale and exact, volumes and balls."""
    piece, split, balls = made.piece, made.split, made.balls
    rows = [
        ("crust", split.crust_g, piece.crust_g, piece.crust_ml, balls.crust_mm),
        ("paste", split.paste_g, piece.paste_g, piece.paste_ml, ""),
        ("centres", split.centre_g, piece.centre_g, piece.centre_ml, ""),
        ("paste with centres", "", "", piece.filled_ml, balls.filling_mm),
        ("raw piece", split.raw_g, piece.raw_g, piece.volume_ml, balls.wrapped_mm),
        ("finished", "", piece.finished_g, "", ""),
    ]
    heads = ("part", "on the scale g", "exact g", "mL", "ball mm")
    return table(f"{name}: one piece", heads, rows)


def spread_table(made: Figures) -> Table:
    """Return the table of standard deviations by cause."""
    rows = [(c.name, c.raw_g, c.finished_g, c.volume_ml) for c in made.spread.causes]
    total = made.spread
    rows.append(("all together", total.raw_g, total.finished_g, total.volume_ml))
    return table("How far pieces scatter (sd)", ("cause", "raw g", "finished g", "mL"), rows)


def weight_sentences(design: Design, made: Figures, bore_mm: float | None) -> Iterator[str]:
    """Yield what does not fit the tables: ratio, disc, roll for a bore that is known, label."""
    split, balls = made.split, made.balls
    yield (
        f"On the scale the ratio is {split.ratio} and the raw piece {split.raw_g:g} g, "
        f"{split.off_g:+.2f} g from exact."
    )
    yield (
        f"A disc of all the crust, {balls.shell_mm:.1f} mm thick, wraps the filling: "
        f"{balls.disc_mm:.0f} mm across."
    )
    if bore_mm is not None:
        roll = roll_for(design, made.piece, bore_mm)
        if roll is None:
            yield "The wrapped ball enters the bore as it is."
        else:
            yield (
                f"To enter the bore, roll it to {roll.across_mm:.0f} mm across and "
                f"{roll.length_mm:.0f} mm high."
            )
    if made.label is not None:
        yield _label(made.label)


def _label(target: LabelTarget) -> str:
    return (
        f"Label {target.label_g:g} g: weigh at least {target.raw_g:.1f} g raw "
        f"({target.scaled_g:g} g on the scale); what binds is that {target.binding} "
        f"(tolerable deficiency {target.deficiency_g:g} g). Guidance only; local law decides."
    )
