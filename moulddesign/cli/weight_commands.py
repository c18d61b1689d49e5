"""`portion` and `density`.

What to put on the scale for one piece, and how dense a dough or a paste is.
"""

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Final

import typer
from rich.table import Table

from moulddesign.cli.console import PrintedUnits, ounces, out, print_json, table
from moulddesign.cli.options import (
    WEIGHING,
    WEIGHTS,
    WIDTH,
    AsJson,
    design_with,
    with_design,
)
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.design import Design, Finish, PieceComposition, ScaleTable, Units
from moulddesign.kitchen import Recipe, part_density, part_water, recipe_loss
from moulddesign.kitchen.recipe import WATER_READING_SD
from moulddesign.portion import (
    PACKING_VOIDS,
    ROOM_C,
    Composition,
    Density,
    Figures,
    LabelTarget,
    LossSource,
    NutritionLabel,
    cautions_of,
    density_from_composition,
    density_from_cup,
    density_from_displacement,
    density_from_label,
    figures,
    foods,
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


density_app = typer.Typer(cls=VerbGroup, no_args_is_help=False, pretty_exceptions_enable=False)

AtC = Annotated[float, typer.Option("--at", metavar="C", help="Temperature, deg C.")]
Air = Annotated[
    float | None,
    typer.Option(
        "--air", metavar="X", help="Share of the volume that is air kneaded or beaten in."
    ),
]
Step = Annotated[
    float, typer.Option("--scale-step", metavar="G", help="Smallest step of the scale, g.")
]
SCALE_STEP_G = ScaleTable().resolution_g


@density_app.callback(invoke_without_command=True)
def choose(context: typer.Context) -> None:
    """Find how dense a dough or paste is: by a cup and a scale, its label, or its recipe.

    Example: moulddesign density cup --cup-empty 80 --cup-water 316 --cup-filled 385
    """
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@density_app.command("composition", cls=Verb)
def composition(
    *,
    water: Annotated[float, typer.Option(metavar="X", help="Water.")],
    protein: Annotated[float, typer.Option(metavar="X", help="Protein.")] = 0.0,
    fat: Annotated[float, typer.Option(metavar="X", help="Fat.")] = 0.0,
    carbohydrate: Annotated[
        float, typer.Option(metavar="X", help="Carbohydrate without fibre.")
    ] = 0.0,
    fibre: Annotated[float, typer.Option(metavar="X", help="Fibre.")] = 0.0,
    ash: Annotated[float, typer.Option(metavar="X", help="Ash: minerals, salt.")] = 0.0,
    air: Air = None,
    at_c: AtC = ROOM_C,
    as_json: AsJson = False,
) -> None:
    """Density from mass shares (sum 1) or grams in 100 g (sum 100).

    Example: moulddesign density composition --water 83 --protein 12 --carbohydrate 5 --at 22
    """
    parts = {
        "water": water,
        "protein": protein,
        "fat": fat,
        "carbohydrate": carbohydrate,
        "fibre": fibre,
        "ash": ash,
    }
    found = density_from_composition(Composition.of(parts), at_c=at_c, air=air or 0.0)
    _show(found, NO_AIR if air is None else "", as_json=as_json)


@density_app.command("label", cls=Verb)
def label(
    *,
    fat: Annotated[float, typer.Option(metavar="G", help="Fat in 100 g.")],
    carbohydrate: Annotated[
        float, typer.Option(metavar="G", help="Carbohydrate in 100 g; its sugars are in it.")
    ],
    protein: Annotated[float, typer.Option(metavar="G", help="Protein in 100 g.")],
    salt: Annotated[float, typer.Option(metavar="G", help="Salt in 100 g.")] = 0.0,
    fibre: Annotated[
        float,
        typer.Option(metavar="G", help="Fibre in 100 g; leave it out where carbohydrate has it."),
    ] = 0.0,
    air: Air = None,
    at_c: AtC = ROOM_C,
    as_json: AsJson = False,
) -> None:
    """Density from a packet's nutrition label for 100 g; what remains is water.

    Example: moulddesign density label --fat 4 --carbohydrate 55 --protein 4 --salt 0.1
    """
    packet = NutritionLabel(
        fat_g=fat, carbohydrate_g=carbohydrate, protein_g=protein, salt_g=salt, fibre_g=fibre
    )
    found = density_from_label(packet, at_c=at_c, air=air or 0.0)
    _show(found, NO_AIR if air is None else "", as_json=as_json)


@density_app.command("cup", cls=Verb)
def cup(
    *,
    cup_water: Annotated[float, typer.Option(metavar="G", help="Cup full of water, levelled.")],
    cup_filled: Annotated[float, typer.Option(metavar="G", help="Cup packed with dough.")],
    cup_empty: Annotated[
        float, typer.Option(metavar="G", help="Empty cup; 0 where the scale was set to zero.")
    ] = 0.0,
    at_c: AtC = ROOM_C,
    scale_step: Step = SCALE_STEP_G,
    as_json: AsJson = False,
) -> None:
    """Density from a cup weighed full of water and full of dough.

    Example: moulddesign density cup --cup-empty 80 --cup-water 316 --cup-filled 385
    """
    found = density_from_cup(
        water_g=cup_water,
        filled_g=cup_filled,
        empty_g=cup_empty,
        resolution_g=scale_step,
        at_c=at_c,
    )
    _show(found, VOIDS, as_json=as_json)


@density_app.command("displacement", cls=Verb)
def displacement(
    *,
    mass: Annotated[float, typer.Option(metavar="G", help="The piece, wrapped in thin film.")],
    displaced: Annotated[float, typer.Option(metavar="G", help="Water that it displaces.")],
    at_c: AtC = ROOM_C,
    scale_step: Step = SCALE_STEP_G,
    as_json: AsJson = False,
) -> None:
    """Density from the water that a wrapped piece displaces when it is held under.

    Example: moulddesign density displacement --mass 75 --displaced 60
    """
    found = density_from_displacement(
        mass_g=mass, displaced_g=displaced, resolution_g=scale_step, at_c=at_c
    )
    _show(found, WHOLE_PIECE, as_json=as_json)


@density_app.command("recipe", cls=Verb)
def recipe(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="Recipe of crust and filling.")],
    *,
    at_c: AtC = ROOM_C,
    finished_water: Annotated[
        float | None,
        typer.Option(metavar="X", help="Water share of the finished piece: gives the loss too."),
    ] = None,
    finished_water_sd: Annotated[
        float | None,
        typer.Option(metavar="X", help=f"Its standard uncertainty, else {WATER_READING_SD:g}."),
    ] = None,
    ratio: Annotated[
        str | None, typer.Option(metavar="C:F", help="Crust to filling by mass, for the loss.")
    ] = None,
    weight: Annotated[
        float | None, typer.Option(metavar="G", help="Finished weight, for a loss with centres.")
    ] = None,
    centre: Annotated[
        list[str] | None, typer.Option(metavar="NAME:G", help="A centre, for the loss.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Densities of crust and filling from what they are mixed of, less what cooks off.

    Example: moulddesign density recipe recipe.toml --finished-water 0.17
    """
    read = Recipe.read(file)
    parts = read.parts
    found = {name: part_density(part, at_c=at_c) for name, part in parts.items()}
    water = {name: part_water(part) for name, part in parts.items()}
    asked = {
        "portion.ratio": ratio, "portion.finished_weight_g": weight,
        "centres": tuple(centre or ()) or None,
    }  # fmt: skip
    loss = None
    if finished_water is not None:
        piece = design_with(None, {"portion.centres": (), **asked}).portion
        sd = WATER_READING_SD if finished_water_sd is None else finished_water_sd
        loss = recipe_loss(read, piece, finished_water=finished_water, finished_water_sd=sd)
    if as_json:
        both = {name: asdict(found[name]) | {"water": water[name]} for name in parts}
        sure = None if loss is None else loss.uncertainty
        print_json(both | {"loss": None if loss is None else loss.ratio, "loss_uncertainty": sure})
        return
    rows = [
        (
            name,
            found[name].density_g_per_ml,
            found[name].uncertainty_g_per_ml,
            "unknown" if water[name] is None else water[name],
        )
        for name in parts
    ]
    out().print(table(read.name, ("part", "g/mL", "+- g/mL", "water share"), rows))
    out().print(f"Method: {found['crust'].method}, at {at_c:g} deg C.")
    airless = [name for name, part in parts.items() if part.air is None]
    if airless:
        out().print(f"{NO_AIR.replace('--air', 'air')} Parts without: {', '.join(airless)}.")
    options = [_density_options(name, found[name]) for name in parts]
    if loss is not None:
        out().print(
            f"Loss by the dry-matter balance: {loss.ratio:.4f} +- {loss.uncertainty:.4f} of the "
            "raw mass."
        )
        options.append(f"--loss {loss.ratio:.4f} --loss-uncertainty {loss.uncertainty:.4f}")
    out().print(f"For the piece: {' '.join(options)}")


@density_app.command("foods", cls=Verb)
def known_foods(
    word: Annotated[str, typer.Argument(metavar="[WORD]", help="Only names that hold it.")] = "",
    *,
    at_c: AtC = ROOM_C,
    as_json: AsJson = False,
) -> None:
    """List the ingredients that recipes may name, with the source of their figures.

    Example: moulddesign density foods flour
    """
    every = {each.name: each for each in foods().values() if word.lower() in each.name}
    rows = [
        (each.name, 1.0 / each.specific_volume_ml_per_g(at_c), each.spread(at_c), each.status)
        for each in every.values()
    ]
    if as_json:
        keys = ("name", "density_g_per_ml", "relative_uncertainty", "status")
        listed = [dict(zip(keys, row, strict=True)) for row in rows]
        sources = [{"source": each.source} for each in every.values()]
        print_json({"foods": [a | b for a, b in zip(listed, sources, strict=True)]})
    else:
        out().print(table("Ingredients", ("name", "g/mL", "+- share", "figures"), rows))


NO_AIR: Final = (
    "No air is counted, for none is given; kneading and beating leave some, and it only lowers the "
    "density: --air 0.05 where a twentieth of the volume is air."
)
VOIDS: Final = (
    "Voids in the packing only lower it: once pressed, the dough is this dense or up to "
    f"{PACKING_VOIDS:.0%} denser."
)
WHOLE_PIECE: Final = (
    "Of a lump of crust dough or of paste it goes into the options below; of a whole piece it is "
    "to be compared with the raw grams over the mL that `portion` prints."
)


def _show(found: Density, note: str, *, as_json: bool) -> None:
    """Print a density, how it was found, what it leaves out, and the options that take it."""
    if as_json:
        print_json(asdict(found))
        return
    out().print(
        f"{found.density_g_per_ml:.3f} +- {found.uncertainty_g_per_ml:.3f} g/mL "
        f"at {found.at_c:g} deg C\n"
        f"Method: {found.method}.\n"
        "The figure after +- is the standard uncertainty: two times out of three the truth is "
        "within it."
    )
    if note:
        out().print(note)
    out().print(
        f"For the piece: {_density_options('crust', found)}\n"
        f"           or: {_density_options('filling', found)}"
    )


def _density_options(part: str, found: Density) -> str:
    """Return the options that hand a density over to the verbs that weigh."""
    return (
        f"--{part}-density {found.density_g_per_ml:.3f} "
        f"--{part}-density-sd {found.uncertainty_g_per_ml:.3f}"
    )
