"""`batch`: totals for many pieces, recipe, cost, days; `trial`: figures from a trial bake.

The corrected design.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import Overwrite, ends_at_once, out, print_json, save_text, table
from moulddesign.cli.options import PIECE, WEIGHTS, AsJson, Override, with_design
from moulddesign.design import Design
from moulddesign.kitchen import (
    Batch,
    BatchPart,
    Cost,
    Estimate,
    OnHand,
    Recipe,
    Trial,
    batch,
    read_weighings,
    trial,
    typed_weighings,
)
from moulddesign.kitchen.samples import FEWEST_TO_SPREAD
from moulddesign.portion import TrialMould, figures

BATCH_OWN = (
    Override("--recipe", "batch.recipe", str, "FILE", "Recipe file (TOML)."),
    Override("--serving-date", "batch.serving_date", str, "YYYY-MM-DD", "Day of serving."),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)


@with_design(*WEIGHTS, *BATCH_OWN)
def run_batch(
    design: Design,
    *,
    context: typer.Context,
    pieces: Annotated[int | None, typer.Option(metavar="N", help="Number of pieces.")] = None,
    crust_on_hand: Annotated[
        float | None, typer.Option(metavar="G", help="Crust dough that is ready.")
    ] = None,
    filling_on_hand: Annotated[
        float | None, typer.Option(metavar="G", help="Paste that is ready.")
    ] = None,
    centres: Annotated[
        int | None, typer.Option(metavar="N", help="Centres that are there, of each kind.")
    ] = None,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the table as CSV too.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Totals for N pieces, or for as many as what is on hand makes.

    Example: moulddesign batch cakes.toml --pieces 48 --recipe recipe.toml --csv batch.csv
    """
    on_hand = OnHand(crust_g=crust_on_hand, filling_g=filling_on_hand, centres=centres)
    if pieces is not None:
        design = design.with_values({"batch.pieces": pieces})
    made = batch(design, recipe_of(design, context.params.get("design_file")), on_hand)
    if csv_file is not None:
        save_text(csv_file, csv_text(made), overwrite=overwrite)
    if as_json:
        print_json(plain_batch(made, design.batch.currency))
    else:
        _print_batch(design, made)


def recipe_of(design: Design, design_file: Path | None) -> Recipe | None:
    """Return the design's recipe, sought beside the design file and then where we are.

    Parameters
    ----------
    design : Design
        Its table [batch] names the recipe's file.
    design_file : Path or None
        The file that the design was read from.

    Raises
    ------
    FileError
        The recipe cannot be read.
    SpecError
        It cannot be used.
    """
    if design.batch.recipe is None:
        return None
    path = Path(design.batch.recipe)
    beside = path if design_file is None else Path(design_file).parent / path
    return Recipe.read(beside if beside.exists() else path)


def plain_batch(made: Batch, currency: str) -> dict[str, Any]:
    """Return the batch as JSON holds it."""
    days = [{"date": day.isoformat(), "what": what} for day, what in made.days]
    centres = [{"name": name, "count": count} for name, count in made.centres]
    return asdict(made) | {"days": days, "centres": centres, "currency": currency}


def csv_text(made: Batch) -> str:
    """Return the batch as CSV: one line an ingredient or total, points for decimals."""
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(("part", "item", "count", "percent", "exact_g", "scaled_g", "price"))
    writer.writerow(("batch", "pieces", made.pieces, "", "", "", ""))
    for name, part in _parts(made):
        for item in ("pieces_g", "ready_g", "mixed_g"):
            exact = round(getattr(part, item), 3)
            writer.writerow((name, item.removesuffix("_g"), "", "", exact, "", ""))
        for line in part.lines:
            price = "" if line.price is None else round(line.price, 4)
            figures = (round(line.percent, 3), round(line.exact_g, 3), line.scaled_g, price)
            writer.writerow((name, line.food, "", *figures))
    for name, count in made.centres:
        writer.writerow(("centres", name, count, "", "", "", ""))
    for item, packed in (("trays", made.trays), ("boxes", made.boxes)):
        writer.writerow(("batch", item, packed.count, "", round(packed.mass_g, 3), "", ""))
    if made.cost is not None:
        writer.writerow(("batch", "cost", "", "", "", "", round(made.cost.total, 4)))
    return file.getvalue()


def _parts(made: Batch) -> tuple[tuple[str, BatchPart], ...]:
    return (("crust", made.crust), ("filling", made.filling))


def _print_batch(design: Design, made: Batch) -> None:
    console = out()
    split = made.split
    pieces = {"crust": split.crust_g, "filling": split.paste_g}
    rows = [
        (name, pieces[name], part.pieces_g, part.ready_g, part.mixed_g)
        for name, part in _parts(made)
    ]
    heads = ("part", "one piece g", "all pieces g", "have ready g", "mix g")
    console.print(table(f"{design.name}: {made.pieces} pieces", heads, rows))
    for name, part in _parts(made):
        if part.lines:
            lines = [
                (line.food, line.percent, line.scaled_g, "-" if line.price is None else line.price)
                for line in part.lines
            ]
            console.print(table(f"Mix for the {name}", ("ingredient", "%", "g", "price"), lines))
    for sentence in _sentences(design, made):
        console.print(sentence)


def _sentences(design: Design, made: Batch) -> Iterator[str]:
    """Yield what does not fit a table."""
    for name, count in made.centres:
        yield f"Centres: {count} of {name}."
    if made.runs_short is not None:
        yield f"What runs short first is the {made.runs_short}; left over: {_left_over(made)}."
    for name, state, packed in (("Trays", "raw", made.trays), ("Boxes", "finished", made.boxes)):
        last = "" if packed.last == packed.each else f", {packed.last} on the last"
        yield f"{name}: {packed.count} of {packed.each}{last}; {packed.mass_g:.0f} g {state} each."
    for line in (*made.crust.lines, *made.filling.lines):
        if line.wants_finer_scale:
            yield f"Weigh {line.exact_g:.3g} g of {line.food} on a finer scale."
    if made.cost is not None:
        yield _cost(made.cost, design.batch.currency)
    for day, what in made.days:
        yield f"{day:%a %d %b %Y}: {what}."


def _left_over(made: Batch) -> str:
    return ", ".join(
        f"{value:g} centres" if name == "centres" else f"{value:.0f} g {name}"
        for name, value in made.left_over.items()
    )


def _cost(cost: Cost, currency: str) -> str:
    coin = f" {currency}".rstrip()
    without = f", without {', '.join(cost.unpriced)}" if cost.unpriced else ""
    return f"Cost: {cost.total:.2f}{coin}, {cost.each:.2f}{coin} a piece{without}."


TRIAL_OWN = (
    *(override for override in PIECE if override.flag != "--height"),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)


class Keep(StrEnum):
    """What the design that is written keeps."""

    WEIGHT = "weight"
    MOULD = "mould"


@with_design(*TRIAL_OWN)
def run_trial(
    design: Design,
    *,
    raw: Annotated[
        list[float] | None, typer.Option(metavar="G", help="A piece before baking; repeatable.")
    ] = None,
    finished: Annotated[
        list[float] | None, typer.Option(metavar="G", help="The same piece when eaten.")
    ] = None,
    height: Annotated[
        list[float] | None,
        typer.Option(metavar="MM", help="Its height to the flat top, read under the stamp."),
    ] = None,
    released: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="The same when it lies free.")
    ] = None,
    weighings: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv", help="The same as CSV: raw_g, finished_g, height_mm, released_mm."
        ),
    ] = None,
    keep: Annotated[
        Keep, typer.Option(help="The design that is written keeps the mould, or its weight.")
    ] = Keep.MOULD,
    save_as: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the corrected design.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Loss and density from pieces weighed before and after, and the weights that follow.

    Example: moulddesign trial cakes.toml --raw 77 --finished 74 --raw 76 --finished 73.5
    """
    pieces = typed_weighings(raw or (), finished or (), height or (), released or ())
    if weighings is not None:
        pieces += read_weighings(weighings)
    measured = any(piece.height_mm is not None for piece in pieces)
    found = trial(design, pieces, _mould(design) if measured else None)
    written = found.corrected if keep is Keep.WEIGHT else found.same_mould
    if save_as is not None:
        save_text(save_as, written.toml(), overwrite=overwrite)
    if as_json:
        print_json(plain_trial(design, found))
    else:
        _print_trial(design, found)


def _mould(design: Design) -> TrialMould:
    """Return the mould that the design builds; only a measured height needs its geometry."""
    with ends_at_once():
        from moulddesign.pastry.pastry import trial_mould  # noqa: PLC0415 (loads geometry)

    return trial_mould(design)


def plain_trial(design: Design, found: Trial) -> dict[str, Any]:
    """Return the trial as JSON holds it."""
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    weights = {
        name: {"portion": asdict(made.piece), "split": asdict(made.split)}
        for name, made in ((name, figures(each)) for name, each in designs.items())
    }
    return {
        "loss": asdict(found.loss),
        "density_g_per_ml": _plain_estimate(found.density_g_per_ml),
        "springback_mm": _plain_estimate(found.springback_mm),
        "pressed_mm": found.pressed_mm,
        "corrected": found.corrected.plain(),
        "same_mould": found.same_mould.plain(),
        "weights": weights,
    }


def _plain_estimate(found: Estimate | None) -> dict[str, Any] | None:
    return None if found is None else asdict(found)


def _print_trial(design: Design, found: Trial) -> None:
    console = out()
    estimates = (
        ("loss", found.loss, 4),
        ("density g/mL", found.density_g_per_ml, 4),
        ("springback mm", found.springback_mm, 2),
    )
    rows = [(name, *_estimate(each, digits)) for name, each, digits in estimates if each]
    console.print(
        table("What the trial says", ("", "mean", "95 % of means", "sd of a piece"), rows)
    )
    for name, each, _ in estimates:
        if each is not None and each.outliers:
            numbers = ", ".join(map(str, each.outliers))
            console.print(
                f"Piece {numbers} stands apart in {name}: weigh again or look for the reason. "
                "It is in the mean all the same."
            )
    if found.pressed_mm is not None:
        console.print(
            f"The same weight in the same mould: press it to {found.pressed_mm:.1f} mm where the "
            "mould leaves room for that; else take the new weights for the same mould. A new mould "
            "comes last."
        )
    designs = (
        ("as it was", design),
        ("the same mould", found.same_mould),
        ("a new mould", found.corrected),
    )
    weights = [_weights(name, each) for name, each in designs]
    heads = ("weights for", "crust g", "paste g", "raw g", "finished g", "mL")
    console.print(table(f"{design.name}: one piece", heads, weights))


def _estimate(found: Estimate, digits: int) -> tuple[str, str, str]:
    """Return a mean, its interval and the spread of pieces, which one or two cannot show."""
    own = f"{found.sd:.{digits}f}" if found.count >= FEWEST_TO_SPREAD else "too few"
    interval = f"{found.low:.{digits}f} to {found.high:.{digits}f}"
    return f"{found.value:.{digits}f}", interval, own


def _weights(name: str, design: Design) -> tuple[object, ...]:
    made = figures(design)
    split, piece = made.split, made.piece
    return (name, split.crust_g, split.paste_g, split.raw_g, piece.finished_g, piece.volume_ml)
