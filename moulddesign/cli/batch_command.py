"""`batch`: totals for many pieces of one or several designs: recipe, cost, price, days, hours."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from moulddesign.cli.console import (
    Overwrite,
    PrintedUnits,
    ounces,
    out,
    print_json,
    save_text,
    systems,
    table,
)
from moulddesign.cli.options import WEIGHING, WEIGHTS, AsJson, Override, design_path, with_designs
from moulddesign.core import SpecError, say
from moulddesign.design import CentresWeighed, Design, Units
from moulddesign.kitchen import (
    Batch,
    BatchOrder,
    BatchPart,
    Cost,
    Day,
    DayPlan,
    JointBatch,
    OnHand,
    Packs,
    Price,
    Recipe,
    RecipeLine,
    batch,
    joint_batch,
)
from moulddesign.kitchen.piece_water import told_loss
from moulddesign.portion import AllergenList

RECIPE = Override("--recipe", "batch.recipe", str, "FILE", "Recipe file (TOML).")
BATCH_OWN = (
    *WEIGHING,
    RECIPE,
    Override("--serving-date", "batch.serving_date", str, "YYYY-MM-DD", "Day of serving."),
    Override("--hands", "bake_day.hands", int, "N", "People who work on the bake day."),
    Override("--moulds", "bake_day.moulds", int, "N", "Moulds that press at the same time."),
    Override("--wage", "price.wage_per_hour", float, "X", "Wage an hour: gives the price."),
)


@with_designs(*WEIGHTS, *BATCH_OWN)
def run_batch(
    designs: tuple[tuple[Path | None, Design], ...],
    *,
    pieces: Annotated[
        int | None, typer.Option(metavar="N", help="Number of pieces, of each design.")
    ] = None,
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
    units: PrintedUnits = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Totals for N pieces, or for as many as what is on hand makes; of one or several designs.

    Example: moulddesign batch cakes.toml --pieces 48 --recipe recipe.toml --csv batch.csv

    Example: moulddesign batch exports/ --pieces 24 --serving-date 2026-11-14
    """
    on_hand = OnHand(crust_g=crust_on_hand, filling_g=filling_on_hand, centres=centres)
    recipes = [recipe_of(design, file) for file, design in designs]
    if pieces is not None:  # its limits are the design's
        designs = tuple((file, d.with_values({"batch.pieces": pieces})) for file, d in designs)
    first = designs[0][1]
    currency = first.batch.currency
    if len(designs) > 1:
        if csv_file is not None:
            raise SpecError("--csv", str(csv_file), say("cli.of-one-design"))
        orders = [
            BatchOrder(design=design, recipe=recipe)
            for (_, design), recipe in zip(designs, recipes, strict=True)
        ]
        joint = joint_batch(orders, on_hand)
        if as_json:
            print_json(plain_joint(joint, currency))
        else:
            _print_joint(joint, currency, units)
            for sentence in _unmeasured([design for _, design in designs]):
                out().print(sentence, markup=False)
        return
    made = batch(first, recipes[0], on_hand, pieces)
    if csv_file is not None:
        save_text(csv_file, csv_text(made), overwrite=overwrite)
    if as_json:
        print_json(plain_batch(made, currency))
    else:
        _print_batch(first, made, recipes[0], units)


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
    beside = path if design_file is None else design_path(Path(design_file)).parent / path
    return Recipe.read(beside if beside.exists() else path)


def plain_batch(made: Batch, currency: str) -> dict[str, Any]:
    """Return the batch as JSON holds it."""
    centres = [{"name": name, "count": count} for name, count in made.centres]
    return (
        asdict(made)
        | {"centres": centres, "currency": currency}
        | _plain_times(made.days, made.plan)
    )


def plain_joint(made: JointBatch, currency: str) -> dict[str, Any]:
    """Return several designs' batch as JSON holds it."""
    designs = [{"name": name} | plain_batch(each, currency) for name, each in made.batches]
    plain = {key: value for key, value in asdict(made).items() if key != "batches"}
    return plain | {"designs": designs, "currency": currency} | _plain_times(made.days, made.plan)


def _plain_times(days: Sequence[Day], plan: DayPlan | None) -> dict[str, Any]:
    """Return calendar and hours with their sentences."""
    calendar = [
        {"date": day.date.isoformat(), "step": day.step.value, "what": str(day.what)}
        for day in days
    ]
    if plan is None:
        return {"days": calendar, "plan": None}
    hours = [{"at": at, "what": str(what)} for at, what in plan.hours]
    remarks = [str(remark) for remark in plan.remarks]
    return {"days": calendar, "plan": asdict(plan) | {"hours": hours, "remarks": remarks}}


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
    found = (("crust", made.crust), ("filling", made.filling))
    return tuple((name, part) for name, part in found if part.pieces_g > 0.0)


def _print_batch(design: Design, made: Batch, recipe: Recipe | None, units: Units | None) -> None:
    console = out()
    split = made.split
    pieces = {"crust": split.crust_g, "filling": split.paste_g}
    what = ("one piece", "all pieces", "have ready", "mix")
    for system in systems(units):
        rows = [
            (name, *map(system.of_grams, (pieces[name], part.pieces_g, part.ready_g, part.mixed_g)))
            for name, part in _parts(made)
        ]
        heads = ("part", *(f"{each} {system.mass}" for each in what))
        console.print(table(f"{design.name}: {made.pieces} pieces", heads, rows))
    for name, part in _parts(made):
        _print_mix(f"Mix for the {name}", part.lines, units)
    coin = design.batch.currency
    if design.portion.centres and design.portion.centres_weighed is CentresWeighed.WITH_PASTE:
        each = _weight(split.filling_g, units)
        console.print(f"On the scale, paste and centre together: {each} a piece.")
    for sentence in (*_sentences(made, coin, units), *_unmeasured([design])):
        console.print(sentence, markup=False)
    for said in () if recipe is None else told_loss(recipe, design.portion):
        console.print(str(said), markup=False)
    _print_prices([("", each) for each in made.prices], coin, made.cost)
    _print_times(made.days, made.plan)


def _print_joint(made: JointBatch, coin: str, units: Units | None) -> None:
    console = out()
    for system in systems(units):
        rows = [
            (
                name, each.pieces, system.of_grams(each.split.crust_g),
                system.of_grams(each.split.paste_g), each.trays.count,
            )
            for name, each in made.batches
        ]  # fmt: skip
        heads = ("design", "pieces", f"crust {system.mass}", f"paste {system.mass}", "trays")
        title = f"{len(made.batches)} designs, {made.pieces} pieces; weights of one"
        console.print(table(title, heads, rows))
    for dough in made.doughs:
        mixed = _weight(dough.mixed_g, units)
        title = f"Mix {mixed} for the {dough.part} of {', '.join(dough.designs)}"
        if dough.lines:
            _print_mix(title, dough.lines, units)
        else:
            console.print(f"{title}.", markup=False)
    for name, each in made.batches:
        for sentence in (*_centres(each), *_carried(each, units)):
            console.print(f"{name}: {sentence[:1].lower()}{sentence[1:]}", markup=False)
    console.print(_allergens(made.allergens), markup=False)
    if made.cost is not None:
        console.print(_cost(made.cost, coin), markup=False)
    prices = [(name, price) for name, each in made.batches for price in each.prices]
    _print_prices(prices, coin, made.cost)
    _print_times(made.days, made.plan)


def _weight(mass_g: float, units: Units | None) -> str:
    """Return a mass as a sentence says it."""
    whole = f"{mass_g:.1f}".removesuffix(".0") + " g"
    return f"{whole} ({ounces(mass_g)} oz)" if units is Units.US else whole


def _print_mix(title: str, lines: Sequence[RecipeLine], units: Units | None) -> None:
    if not lines:
        return
    us = units is Units.US
    rows = [
        (
            line.food, line.percent, line.scaled_g, *([ounces(line.scaled_g)] if us else []),
            "-" if line.price is None else f"{line.price:.2f}",
        )
        for line in lines
    ]  # fmt: skip
    heads = ("ingredient", "%", "g", *(["oz"] if us else []), "price")
    out().print(table(title, heads, rows))
    for line in lines:
        if line.wants_finer_scale:
            out().print(
                f"Weigh {line.exact_g:.3g} g of {line.food} on a finer scale.", markup=False
            )


def _sentences(made: Batch, coin: str, units: Units | None) -> Iterator[str]:
    """Yield what does not fit a table."""
    yield from _centres(made)
    if made.runs_short is not None:
        yield f"What runs short first is the {made.runs_short}; left over: {_left_over(made)}."
    elif made.left_over:
        yield f"Left over: {_left_over(made)}."
    yield from _carried(made, units)
    yield _allergens(made.allergens)
    if made.cost is not None:
        yield _cost(made.cost, coin)


def _centres(made: Batch) -> Iterator[str]:
    for name, count in made.centres:
        yield f"Centres: {count} of {name}."


def _carried(made: Batch, units: Units | None) -> Iterator[str]:
    for name, state, packed in (("Trays", "raw", made.trays), ("Boxes", "finished", made.boxes)):
        last = "" if packed.last == packed.each else f", {packed.last} on the last"
        full = _weight(round(packed.mass_g), units)
        yield f"{name}: {packed.count} of {packed.each}{last}; {full} {state} each."
    if made.packs is not None:
        yield _label(made.packs)


def _unmeasured(designs: Sequence[Design]) -> Iterator[str]:
    """Yield which finished weights rest on a loss that nobody measured."""
    names = [design.name for design in designs if design.portion.is_loss_unmeasured]
    if names:
        yield (
            f"Finished weights of {', '.join(names)} follow from a loss that nobody measured: "
            "--loss gives yours, --crust-dough one of a named dough."
        )


def _label(packs: Packs) -> str:
    over = f" {packs.over} left over, not to be sold under this label." if packs.over else ""
    return (
        f"Label: {packs.count} packs of {packs.label_g:g} g, {packs.mean_g:.1f} g on average; few "
        f"may lie under {packs.few_below_g:g} g, none under {packs.none_below_g:g} g.{over}"
    )


def _left_over(made: Batch) -> str:
    return ", ".join(
        f"{value:g} centres" if name == "centres" else f"{value:.0f} g {name}"
        for name, value in made.left_over.items()
    )


def _allergens(found: AllergenList) -> str:
    named = ", ".join(found.found) or "none that the names point to"
    unknown = f" Nothing is said about {', '.join(found.unknown)}." if found.unknown else ""
    return f"Allergens: {named}.{unknown} Check every packet; local law decides."


def _cost(cost: Cost, currency: str) -> str:
    coin = f" {currency}".rstrip()
    without = f", without {', '.join(cost.unpriced)}" if cost.unpriced else ""
    return f"Cost: {cost.total:.2f}{coin}, {cost.each:.2f}{coin} a piece{without}."


def _print_prices(prices: Sequence[tuple[str, Price]], coin: str, cost: Cost | None) -> None:
    if not prices:
        return
    keys = ("ingredients", "work", "energy", "mould", "cost_sold", "shelf_price")
    rows = [
        (
            f"{name} {each.pieces:g} pieces".strip(),
            *(f"{getattr(each, key):.2f}" for key in keys),
        )
        for name, each in prices
    ]
    heads = ("at once", "food", "work", "energy", "mould", "sold", "price")
    out().print(table(f"Price of a piece {coin}".rstrip(), heads, rows))
    out().print("food: with box. sold: cost with what stays unsold. price: with fee, margin, tax.")
    if cost is None or cost.unpriced:
        what = "any ingredient" if cost is None else ", ".join(cost.unpriced)
        out().print(f"The price is without {what}.", markup=False)


def _print_times(days: Sequence[Day], plan: DayPlan | None) -> None:
    console = out()
    if days:
        rows = [(f"{day.date:%a %d %b %Y}", day.step.value, str(day.what)) for day in days]
        console.print(_of_words("Calendar", ("day", "step", "what"), rows))
    if plan is None:
        console.print("More oven loads than a day has room for: no plan of hours.")
        return
    hours = [(at, str(what)) for at, what in plan.hours]
    console.print(_of_words("Bake day", ("at", "what"), hours))
    console.print(f"Trays in use at once: {plan.trays}. Work: {plan.work_min / 60.0:.1f} hours.")
    for remark in plan.remarks:
        console.print(str(remark))


def _of_words(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table whose columns are all words."""
    made = table(title, heads, rows)
    for column in made.columns:
        column.justify = "left"
    return made
