"""`firmness` of a dough, `syrup`: a pot of it, `water`: of a piece, and its water activity."""

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import out, print_json, table
from moulddesign.cli.options import AsJson, design_with
from moulddesign.core import SpecError, say, word
from moulddesign.design import Design, DoughFigure, PieceComposition, crusts, fillings
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.firmness import LEAST_KPA, MOST_KPA, UNCERTAINTY_RATIO, yield_stress
from moulddesign.kitchen.piece_activity import (
    PieceActivity,
    activity_range,
    activity_sentences,
    piece_activity,
    shown_activity,
)
from moulddesign.kitchen.piece_water import PieceWater, piece_water, piece_water_sentences
from moulddesign.kitchen.syrup import SyrupPot, pot_solids, syrup, syrup_sentences
from moulddesign.kitchen.water_activity import LEAST_SHOWN


def run_firmness(
    *,
    dough_ml: Annotated[
        float, typer.Option(metavar="ML", help="Volume of the ball: its mass over its density.")
    ],
    load: Annotated[
        float, typer.Option(metavar="G", help="What rests on it, with the upper plate.")
    ],
    height: Annotated[float, typer.Option(metavar="MM", help="Its height after 60 s of load.")],
    keep_as: Annotated[
        str | None,
        typer.Option(
            "--remember", metavar="NAME", help="Add it to this dough of the dough book (`doughs`)."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """How firm a dough is: press a ball flat between two plates; says what force a mould takes.

    Face two flat plates with baking paper or fine abrasive, lay a ball of the dough between them,
    set a weight on it for 60 s, and read the height of the dough while the weight still rests.

    Example: moulddesign firmness --dough-ml 20 --load 1000 --height 7
    """
    found = yield_stress(dough_ml=dough_ml, load_g=load, height_mm=height)
    if keep_as is not None:
        from moulddesign.cli.dough_command import (  # noqa: PLC0415 (what goes into the book alone)
            keep_in_book,
            measured_figure,
        )

        kpa = round(found.kpa, 3)
        keep_in_book(keep_as, [measured_figure(DoughFigure.YIELD, kpa)], Design())
    if as_json:
        least, most = found.least_kpa, found.most_kpa
        print_json({"yield_kpa": found.kpa, "least_kpa": least, "most_kpa": most})
        return
    out().print(
        f"Yield stress: {found.kpa:.2f} kPa, {found.least_kpa:.2f} to {found.most_kpa:.2f} "
        f"(give or take {100 * UNCERTAINTY_RATIO:.0f} %)."
    )
    out().print(
        f"For the design: --crust-yield {found.kpa:.2f}, or crust_yield_kpa = {found.kpa:.2f} in "
        "[portion]. `make` then says what force presses the piece and fills its relief.",
        markup=False,
    )
    out().print(f"Doughs that nobody tested are taken as {LEAST_KPA:g} to {MOST_KPA:g} kPa.")


def run_syrup(
    *,
    sugar: Annotated[float, typer.Option(metavar="G", help="Sugar that goes into the pot.")],
    solids: Annotated[
        float,
        typer.Option(
            metavar="X", help="Share of the syrup that is not water when it is done: 0.78, 78 %."
        ),
    ],
    inverted: Annotated[
        float | None,
        typer.Option(
            metavar="X",
            help="Share of the sugar that acid has split, 0 to 1; with acid and without this any.",
        ),
    ] = None,
    acid: Annotated[
        float,
        typer.Option(
            metavar="G", help="Dry acid, such as citric; of lemon juice about 8 g in 100 g."
        ),
    ] = 0.0,
    altitude: Annotated[
        float, typer.Option(metavar="M", help="Height of the kitchen above the sea, m.")
    ] = 0.0,
    boiling: Annotated[
        float | None,
        typer.Option(
            metavar="C", help="Where water boils there by this thermometer, deg C: better."
        ),
    ] = None,
    pot: Annotated[
        float | None,
        typer.Option(metavar="G", help="What is in the pot now, without the pot: its solids."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Net weight and thermometer reading of a pot of syrup when it is done.

    Weigh the empty pot first: the balance tells the solids to 1.5 points, the thermometer to 3.

    Example: moulddesign syrup --sugar 500 --solids 0.78 --inverted 0.75 --altitude 600
    """
    found = syrup(
        SyrupPot(
            sugar_g=sugar, solids=solids, inverted=inverted, acid_g=acid, altitude_m=altitude,
            boiling_c=boiling,
        )
    )  # fmt: skip
    sentences = tuple(syrup_sentences(found, pot))
    if not as_json:
        for sentence in sentences:
            out().print(str(sentence), markup=False)
        return
    plain = {key: value for key, value in asdict(found).items() if key != "pot"}
    if pot is not None:
        solids, *limits = pot_solids(found.pot, pot)
        plain |= {"pot_solids": solids, "pot_solids_range": limits}
    print_json(plain | {"remarks": sentences})


def run_water(
    file: Annotated[Path, typer.Argument(metavar="RECIPE", help="Recipe of crust and filling.")],
    *,
    design_file: Annotated[
        Path | None,
        typer.Option(
            "--design", metavar="FILE", help="Its ratio, doughs, centres, and loss if weighed."
        ),
    ] = None,
    ratio: Annotated[
        str | None, typer.Option(metavar="C:F", help="Crust to filling by mass, such as 3:7.")
    ] = None,
    crust_dough: Annotated[
        str | None,
        typer.Option(metavar="NAME", help=f"Kind of crust, else syrup: {', '.join(crusts())}."),
    ] = None,
    filling_paste: Annotated[
        str | None, typer.Option(metavar="NAME", help=f"Kind of paste: {', '.join(fillings())}.")
    ] = None,
    loss: Annotated[
        float | None, typer.Option(metavar="X", help="Share of raw mass lost, weighed by a trial.")
    ] = None,
    crust_water: Annotated[
        float | None, typer.Option(metavar="X", help="Water of the baked crust, measured: 0.07.")
    ] = None,
    filling_water: Annotated[
        float | None, typer.Option(metavar="X", help="Water of the finished paste, measured.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Water of crust, paste and piece, the loss to expect, and water activity; all estimated.

    It is no statement on safety or shelf life: what it says can be measured, and it says how.

    Example: moulddesign water recipe.toml --ratio 3:7 --crust-dough syrup
    """
    recipe = Recipe.read(file)
    asked = {
        "portion.ratio": ratio, "portion.crust_dough": crust_dough,
        "portion.filling_paste": filling_paste, "portion.loss": loss,
    }  # fmt: skip
    if design_file is None and recipe.filling is None:
        asked["portion.composition"] = PieceComposition.SOLID.value
    piece = design_with(design_file, asked, bare=Design).portion
    given = {"crust": crust_water, "filling": filling_water}
    measured = {name: value for name, value in given.items() if value is not None}
    if "filling" in measured and not piece.is_filled:
        need = say("design.no-filling", composition=word(piece.composition))
        raise SpecError("filling_water", filling_water, need)
    water = piece_water(recipe, piece, measured)
    activity = piece_activity(recipe, water)
    sentences = (*piece_water_sentences(water), *activity_sentences(activity))
    if as_json:
        print_json(_plain_water(water, activity) | {"remarks": sentences})
        return
    heads = ("part", "mixed %", "finished %", "+- %", "from", "a_w")
    out().print(table(recipe.name, heads, list(_water_rows(water, activity))))
    for sentence in sentences:
        out().print(str(sentence), markup=False)


def _water_rows(water: PieceWater, activity: PieceActivity) -> Iterator[tuple[str, ...]]:
    for part in water.parts:
        shares = (part.before, part.after, part.finished_sd)
        range_of = str(shown_activity(activity.parts[part.name]))
        yield part.name, *(f"{100.0 * each:.1f}" for each in shares), part.source, range_of
    shares = (water.raw, water.finished, water.finished_sd)
    common = "" if activity.common is None else str(shown_activity(activity.common))
    yield "piece", *(f"{100.0 * each:.1f}" for each in shares), "balance", common


def _plain_water(water: PieceWater, activity: PieceActivity) -> dict[str, Any]:
    """Return water and water activity as JSON holds them; no figure of activity under 0.70."""
    parts = {
        part.name: {
            "water_before": part.before,
            "water_after": part.after,
            "water_after_sd": part.finished_sd,
            "source": part.source.value,
            "water_activity": _plain_activity(activity.parts[part.name]),
            "common_water": activity.common_water.get(part.name),
        }
        for part in water.parts
    }
    common = None if activity.common is None else _plain_activity(activity.common)
    piece = {"water_before": water.raw, "water_after": water.finished}
    return {
        "parts": parts,
        "piece": piece | {"water_after_sd": water.finished_sd, "water_activity": common},
        "loss": water.loss.ratio,
        "loss_uncertainty": water.loss.uncertainty,
        "loss_source": water.loss.source.value,
    }


def _plain_activity(value: float) -> dict[str, float | None]:
    low, high = activity_range(value)
    values = {"estimate": value, "low": low, "high": high}
    return {key: each if each >= LEAST_SHOWN else None for key, each in values.items()}
