"""`moulddesign batch`: totals for many pieces, the recipe scaled, the cost and the days."""

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import out, print_json, table
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.cli.saving import Overwrite, save_text
from moulddesign.design import Design
from moulddesign.errors import SpecError
from moulddesign.portion import Batch, BatchPart, Cost, OnHand, Recipe, batch

OWN = (
    Override("--recipe", "batch.recipe", str, "FILE", "Recipe file (TOML)."),
    Override("--serving-date", "batch.serving_date", str, "YYYY-MM-DD", "Day of serving."),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)


@with_design(*PIECE, *OWN)
def show(
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
        if on_hand.is_given:
            raise SpecError("pieces", pieces, "must be left out where what is on hand decides")
        design = design.with_values({"batch.pieces": pieces})
    made = batch(design, recipe_of(design, context.params.get("design_file")), on_hand)
    if csv_file is not None:
        save_text(csv_file, csv_text(made), overwrite=overwrite)
    if as_json:
        print_json(plain(made, design.batch.currency))
    else:
        _print(design, made)


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


def plain(made: Batch, currency: str) -> dict[str, Any]:
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


def _print(design: Design, made: Batch) -> None:
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
