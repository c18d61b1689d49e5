"""`density`: how dense a dough or a paste is."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Final

import typer

from moulddesign.cli.console import out, print_json, table
from moulddesign.cli.options import (
    AsJson,
    design_with,
)
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.design import ScaleTable
from moulddesign.kitchen import Recipe, part_density, part_water, recipe_loss
from moulddesign.kitchen.recipe import WATER_READING_SD
from moulddesign.portion import (
    PACKING_VOIDS,
    ROOM_C,
    Composition,
    Density,
    NutritionLabel,
    density_from_composition,
    density_from_cup,
    density_from_displacement,
    density_from_label,
    foods,
)

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
