"""`portion`: what to put on the scale for one piece."""

from collections.abc import Iterator

from rich.table import Table

from moulddesign.cli.console import PrintedUnits, ounces, out, print_json, table
from moulddesign.cli.options import (
    WEIGHING,
    WEIGHTS,
    WIDTH,
    AsJson,
    with_design,
)
from moulddesign.design import Design, Finish, PieceComposition, Units
from moulddesign.portion import (
    Figures,
    LabelTarget,
    LossSource,
    cautions_of,
    figures,
    roll_for,
)


def weight_table(name: str, made: Figures, units: Units | None = None) -> Table:
    """Return the table of masses, on the scale and exact, volumes and balls."""
    piece, split, balls = made.piece, made.split, made.balls
    filling = (piece.paste_g + piece.centre_g, piece.filled_ml, balls.filling_mm)
    if made.together:
        inside = [
            ("paste with centres", split.filling_g, *filling),
            ("  of it paste", "", piece.paste_g, piece.paste_ml, ""),
            ("  of it centres", "", piece.centre_g, piece.centre_ml, ""),
        ]
    elif made.centres:
        inside = [
            ("paste", split.paste_g, piece.paste_g, piece.paste_ml, ""),
            ("centres", split.centre_g, piece.centre_g, piece.centre_ml, ""),
            ("paste with centres", "", *filling),
        ]
    else:
        inside = [("paste", split.paste_g, *filling)] if made.is_filled else []
    rows: list[tuple[object, ...]] = [
        (
            "crust" if made.is_filled else "dough",
            split.crust_g,
            piece.crust_g,
            piece.crust_ml,
            balls.crust_mm,
        ),
        *inside,
        ("raw piece", split.raw_g, piece.raw_g, piece.volume_ml, balls.wrapped_mm),
        ("finished", "", piece.finished_g, "", ""),
    ]
    heads = ["part", "on the scale g", "exact g", "mL", "ball mm"]
    if units is Units.US:
        heads.append("oz")
        weighed = ((*row, row[1] if isinstance(row[1], float) else row[2]) for row in rows)
        rows = [(*row, ounces(last) if isinstance(last, float) else "") for *row, last in weighed]
    unsure = ", by a loss that nobody measured" if made.loss.source is LossSource.UNMEASURED else ""
    return table(f"{name}: one piece{unsure}", heads, rows)


def spread_table(made: Figures) -> Table:
    """Return the table of standard deviations by cause."""
    total = made.spread
    rows = [(c.name, c.raw_g, c.finished_g, c.volume_ml) for c in total.pieces]
    rows.append(("from piece to piece", total.raw_g, total.finished_g, total.volume_ml))
    rows += [(c.name, c.raw_g, c.finished_g, c.volume_ml) for c in total.common]
    rows.append(("all pieces alike", 0.0, total.common_finished_g, total.common_volume_ml))
    return table("How far pieces scatter (sd)", ("cause", "raw g", "finished g", "mL"), rows)


def weight_sentences(design: Design, made: Figures, bore_mm: float | None) -> Iterator[str]:
    """Yield what does not fit the tables: ratio, disc, roll for a bore that is known, label."""
    split, balls = made.split, made.balls
    raw = f"the ratio is {split.ratio} and the raw piece" if made.is_filled else "the dough is"
    yield (f"On the scale {raw} {split.raw_g:g} g, {split.rounding_g:+.2f} g from exact.")
    yield from map(str, made.remarks)
    if balls.disc_mm is not None:
        yield (
            f"A disc of all the crust, {balls.shell_mm:.1f} mm thick, wraps the filling: "
            f"{balls.disc_mm:.0f} mm across."
        )
    if bore_mm is not None and made.composition is not PieceComposition.POURED:
        roll = roll_for(design, made.piece, bore_mm)
        if roll is None:
            yield "The ball enters the bore as it is."
        else:
            yield (
                f"To enter the bore, roll it to {roll.across_mm:.0f} mm across and "
                f"{roll.length_mm:.0f} mm high."
            )
    if made.label is not None:
        yield _label(made, made.label)
    yield _loss(made, design.portion.finish)
    yield from map(str, cautions_of(design.portion))


def _loss(made: Figures, finish: Finish) -> str:
    """Return how sure the loss is, and what that does to the pieces."""
    moved = f"all pieces may end {made.spread.common_finished_g:.1f} g lighter or heavier"
    known = f"{made.loss.ratio:.3g} +- {made.loss.uncertainty:.2g}"
    if made.loss.source is LossSource.GIVEN:
        if made.loss.uncertainty == 0.0:
            return (
                f"The loss of {made.loss.ratio:.3g} is taken as exact; --loss-uncertainty if not."
            )
        return f"The loss is {known} as given: {moved}."
    mend = "A trial bake finds yours."
    if made.loss.source is LossSource.DOUGHS:
        return f"The loss of {known} follows from the water of the named doughs: {moved}. {mend}"
    named = "Name the crust (--crust-dough). " if finish is Finish.BAKED else ""
    return f"The loss of {known} is unmeasured: {moved}. {named}{mend}"


def _label(made: Figures, target: LabelTarget) -> str:
    """Return how the weights above keep the label."""
    pack = f", {target.pieces_per_pack} to a pack of {target.pack_g:g} g"
    return (
        f"{made.piece.finished_g:.1f} g finished for a label of {target.label_g:g} g"
        f"{pack if target.pieces_per_pack > 1 else ''}: what binds is that {target.binding} "
        f"(tolerable deficiency {target.deficiency_g:g} g). Guidance only; local law decides."
    )


@with_design(*WEIGHTS, WIDTH, *WEIGHING)
def run_portion(design: Design, *, units: PrintedUnits = None, as_json: AsJson = False) -> None:
    """Say what to weigh for one piece: dough, filling, balls, their scatter, label weight.

    Example: moulddesign portion --weight 75 --ratio 3:7 --centre date:5
    """
    made = figures(design)
    if as_json:
        print_json({"design": design.report(), "portion": made.report()})
        return
    sentences = tuple(weight_sentences(design, made, design.pastry.width_mm))
    out().print(weight_table(design.name, made, units))
    out().print(spread_table(made))
    for sentence in sentences:
        out().print(sentence)
