"""`batch`: totals for many pieces of one or several designs: recipe, cost, price, days, hours."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import (
    Overwrite,
    PrintedUnits,
    ends_at_once,
    err,
    of_words,
    ounces,
    out,
    print_json,
    save_text,
    systems,
    table,
)
from moulddesign.cli.options import RECIPE, WEIGHING, WEIGHTS, AsJson, Override, with_designs
from moulddesign.core import SpecError, say, word
from moulddesign.design import (
    CentresWeighed,
    Design,
    MouldState,
    Units,
    find_mould,
    read_register,
    save_register,
    with_pressed,
)
from moulddesign.kitchen import Recipe, RecipeLine, recipe_of
from moulddesign.kitchen.batch import Batch, BatchPart, Cost, OnHand, Packs, batch
from moulddesign.kitchen.joint_batch import (
    BatchOrder,
    JointBatch,
    joint_batch,
    mark_remarks,
    pressed_at_once,
    rounds,
)
from moulddesign.kitchen.piece_water import told_loss
from moulddesign.kitchen.price import Price
from moulddesign.kitchen.schedule import Day, DayPlan
from moulddesign.portion import AllergenList

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
    mould: Annotated[
        list[str] | None,
        typer.Option(
            "--mould",
            metavar="ID",
            help="Bake the design in this mould of the register, full; repeatable.",
        ),
    ] = None,
    pressed: Annotated[
        bool, typer.Option("--pressed", help="Add the pieces to what the register counts.")
    ] = False,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the table as CSV too.")
    ] = None,
    units: PrintedUnits = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Totals for N pieces, or for as many as what is on hand makes; of one or several designs.

    Of several designs, or moulds, what is on hand decides how many there are of each.

    Example: moulddesign batch --mould A --mould C --crust-on-hand 1200 --filling-on-hand 2800

    Example: moulddesign batch cakes.toml --pieces 48 --recipe recipe.toml --csv batch.csv

    Example: moulddesign batch exports/ --pieces 24 --serving-date 2026-11-14
    """
    on_hand = OnHand(crust_g=crust_on_hand, filling_g=filling_on_hand, centres=centres)
    if mould:
        designs = _in_moulds(designs, mould)
    recipes = [recipe_of(design, file) for file, design in designs]
    if pieces is not None:  # its limits are the design's
        designs = tuple((file, d.with_values({"batch.pieces": pieces})) for file, d in designs)
    elif mould and on_hand.is_given:
        designs = tuple((file, d.with_values({"batch.pieces": None})) for file, d in designs)
    orders = [
        BatchOrder(design=design, recipe=recipe)
        for (_, design), recipe in zip(designs, recipes, strict=True)
    ]
    if len(orders) > 1:
        if csv_file is not None:
            raise SpecError("--csv", str(csv_file), say("cli.of-one-design"))
        made = _several(orders, on_hand, units, as_json=as_json)
    else:
        alone = batch(orders[0].design, recipes[0], on_hand, pieces)
        if csv_file is not None:
            save_text(csv_file, csv_text(alone), overwrite=overwrite)
        _one(orders[0], alone, units, as_json=as_json)
        made = (alone,)
    _say_marks(orders, made)
    if pressed:
        _count_pressed(orders, made)


def _one(order: BatchOrder, made: Batch, units: Units | None, *, as_json: bool) -> None:
    """Print the batch of one design."""
    design = order.design
    if as_json:
        often = {"rounds": rounds(design, made.pieces)}
        print_json(plain_batch(made, design.batch.currency) | often)
    else:
        _print_batch(design, made, order.recipe, units)


def _several(
    orders: Sequence[BatchOrder], on_hand: OnHand, units: Units | None, *, as_json: bool
) -> tuple[Batch, ...]:
    """Print the batch of several designs, and return that of each."""
    made = joint_batch(orders, on_hand)
    designs = [order.design for order in orders]
    currency = designs[0].batch.currency
    if as_json:
        print_json(plain_joint(made, currency))
    else:
        _print_joint(made, currency, units)
        for sentence in _unmeasured(designs):
            out().print(sentence, markup=False)
    return tuple(each for _, each in made.batches)


def _in_moulds(
    designs: Sequence[tuple[Path | None, Design]], ids: Sequence[str]
) -> tuple[tuple[Path | None, Design], ...]:
    """Return a design as each of some moulds of the register takes it."""
    if len(designs) > 1:
        raise SpecError("--mould", ids[0], say("cli.of-one-design"))
    with ends_at_once():
        from moulddesign.fit import design_in  # noqa: PLC0415 (no geometry for others)

    (file, base), moulds = designs[0], read_register()
    made = []
    for each in ids:
        mould = find_mould(moulds, each)
        if mould.state is not MouldState.IN_USE:
            said = say("kitchen.mould-not-in-use", mould=mould.name, state=word(mould.state.value))
            err().print(f"{said}.", soft_wrap=True, markup=False)
        made.append((file, design_in(base, mould)))
    return tuple(made)


def _say_marks(orders: Sequence[BatchOrder], made: Sequence[Batch]) -> None:
    """Warn on stderr where a mould is kept for another dough."""
    for order, each in zip(orders, made, strict=True):
        known = order.recipe is not None
        for said in mark_remarks(order.design, each.allergens, known=known):
            err().print(f"{said}.", soft_wrap=True, markup=False)


def _count_pressed(orders: Sequence[BatchOrder], made: Sequence[Batch]) -> None:
    """Add the pieces to what the register counts of their moulds."""
    moulds, more = read_register(), {}
    for order, each in zip(orders, made, strict=True):
        mould_id = getattr(order.design.mould, "id", None)
        if mould_id is None:
            raise SpecError("--pressed", order.design.name, say("cli.press-without-id"))
        more[str(find_mould(moulds, mould_id).id)] = each.pieces
    counted = with_pressed(moulds, more)
    save_register(counted)
    for mould in counted:
        if (now := more.get(str(mould.id))) is not None:
            said = say(
                "cli.mould-pressed", id=mould.id, name=mould.name, pressed=mould.pressed, more=now
            )
            err().print(f"{said}.", soft_wrap=True, markup=False)


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
    designs = [
        {"name": name, "rounds": rounds} | plain_batch(each, currency)
        for (name, each), rounds in zip(made.batches, made.rounds, strict=True)
    ]
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
    if (at_once := pressed_at_once(design)) > 1:
        console.print(f"The mould is filled {rounds(design, made.pieces)} times, {at_once} each.")
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
                system.of_grams(each.split.paste_g), each.trays.count, often,
            )
            for (name, each), often in zip(made.batches, made.rounds, strict=True)
        ]  # fmt: skip
        weights = (f"{part} {system.mass}" for part in ("crust", "paste"))
        heads = ("design", "pieces", *weights, "trays", "rounds")
        title = f"{len(made.batches)} designs, {made.pieces} pieces; weights of one"
        console.print(table(title, heads, rows))
    _print_doughs(made, units)
    for name, each in made.batches:
        for sentence in (*_centres(each), *_carried(each, units)):
            console.print(f"{name}: {sentence[:1].lower()}{sentence[1:]}", markup=False)
    console.print(_allergens(made.allergens), markup=False)
    if made.cost is not None:
        console.print(_cost(made.cost, coin), markup=False)
    prices = [(name, price) for name, each in made.batches for price in each.prices]
    _print_prices(prices, coin, made.cost)
    _print_times(made.days, made.plan)


def _print_doughs(made: JointBatch, units: Units | None) -> None:
    """Print how many of each what is on hand makes, and what is mixed once for several."""
    if made.left_over:
        counts = ", ".join(f"{each.pieces} of {name}" for name, each in made.batches)
        left = ", ".join(f"{grams:.0f} g {part}" for part, grams in made.left_over.items())
        out().print(f"What is on hand makes {counts}; left over: {left}.", markup=False)
    for dough in made.doughs:
        title = (
            f"Mix {_weight(dough.mixed_g, units)} for the {dough.part} of "
            f"{', '.join(dough.designs)}"
        )
        if dough.lines:
            _print_mix(title, dough.lines, units)
        elif dough.mixed_g > 0.0:
            out().print(f"{title}.", markup=False)


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
        console.print(of_words("Calendar", ("day", "step", "what"), rows))
    if plan is None:
        console.print("More oven loads than a day has room for: no plan of hours.")
        return
    hours = [(at, str(what)) for at, what in plan.hours]
    console.print(of_words("Bake day", ("at", "what"), hours))
    console.print(f"Trays in use at once: {plan.trays}. Work: {plan.work_min / 60.0:.1f} hours.")
    for remark in plan.remarks:
        console.print(str(remark))
