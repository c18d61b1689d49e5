"""`label`: what the label of a pack says, as text and as a sheet to print."""

from pathlib import Path
from typing import Annotated, Any, Final

import typer

from moulddesign.cli.console import (
    Overwrite,
    ends_at_once,
    err,
    out,
    print_json,
    refuse_to_replace,
    save_bytes,
)
from moulddesign.cli.options import RECIPE, SHEETS, WEIGHING, WEIGHTS, AsJson, with_design
from moulddesign.core import SpecError, read_number, require_between, say
from moulddesign.design import Design, parse_paper
from moulddesign.kitchen import recipe_of
from moulddesign.kitchen.food_label import (
    FoodLabel,
    food_label,
    label_lines,
    list_runs,
    net_quantity,
    nutrition_rows,
    plain,
)
from moulddesign.kitchen.ingredient_list import Law, ListedIngredient
from moulddesign.kitchen.nutrition import Nutrition

USUAL_SIZE: Final = "96x66"
"""Two labels beside each other on A4 and on letter; our choice [mm]."""
LEAST_MM: Final = 20.0
MOST_MM: Final = 400.0


@with_design(*WEIGHTS, *WEIGHING, *SHEETS, RECIPE, bare=Design)
def run_label(
    design: Design,
    *,
    context: typer.Context,
    law: Annotated[
        Law, typer.Option(help="Whose rules: the EU's, or the order and allergens of the US.")
    ] = Law.EU,
    title: Annotated[
        str, typer.Option(metavar="TEXT", help="Name of the food; else the recipe's name.")
    ] = "",
    quid: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="What the label pictures or stresses, to tell its share; repeatable.",
        ),
    ] = None,
    save_as: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.pdf", help="Write a sheet of labels to print."),
    ] = None,
    size: Annotated[
        str, typer.Option(metavar="WxH", help="Width and height of a label, mm.")
    ] = USUAL_SIZE,
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="Paper of the sheet.")] = "a4",
    small_pack: Annotated[
        bool,
        typer.Option(
            "--small-pack",
            help="The pack's largest side is under 80 cm2: letters may be smaller in the EU.",
        ),
    ] = False,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Label of a pack: ingredients, allergens, share of the filling, net weight, nutrition.

    A nutrient is printed only where each ingredient's figure is published or typed in the recipe
    as its packet says. What local law asks for beyond that stays an empty field.

    Example: moulddesign label cakes.toml --recipe recipe.toml --label-weight 50 --out labels.pdf
    """
    spoken = design.sheet_language
    recipe = recipe_of(design, context.params.get("design_file"))
    if recipe is None:
        raise SpecError("--recipe", "not given", say("cli.label-needs-recipe"))
    label = food_label(design, recipe, law, title=title, named=quid or ())
    if save_as is not None:
        refuse_to_replace(save_as, overwrite=overwrite)
        save_bytes(
            save_as,
            _sheet(design, label, size, paper, small_pack=small_pack),
            overwrite=overwrite,
        )
        err().print(f"Written to {save_as}", soft_wrap=True)
    if as_json:
        print_json(plain_label(label, spoken))
        return
    for line in label_lines(label, spoken):
        out().print(line, markup=False, soft_wrap=True)
    for remark in label.remarks:
        err().print(remark.text(spoken), markup=False, soft_wrap=True)


def _sheet(design: Design, label: FoodLabel, size: str, paper: str, *, small_pack: bool) -> bytes:
    """Return the sheet of labels."""
    size_mm = read_size(size)
    if small_pack and label.law is not Law.EU:
        raise SpecError("--small-pack", label.law.value, say("cli.small-pack-of-the-eu"))
    with ends_at_once():
        from moulddesign.export.label_sheet import SMALL_PACK_X_HEIGHT_MM, label_sheet  # noqa: PLC0415 (light verbs load no geometry)

    return label_sheet(
        design, label, size_mm, paper=parse_paper(paper),
        x_height_mm=SMALL_PACK_X_HEIGHT_MM if small_pack else None,
    )  # fmt: skip


def read_size(text: str) -> tuple[float, float]:
    """Return the width and height that `--size` gives [mm].

    Raises
    ------
    SpecError
        They are not two lengths of 20 to 400 mm.

    Examples
    --------
    >>> read_size("96x66"), read_size("9,6 cm x 2.5 in")
    ((96.0, 66.0), (96.0, 63.5))
    """
    need = say("cli.label-size", least=LEAST_MM, most=MOST_MM)
    parts = text.lower().replace("\N{MULTIPLICATION SIGN}", "x").split("x")
    if len(parts) != len(("width", "height")):
        raise SpecError("--size", text, need)
    width_mm, height_mm = (read_number("--size", part, "mm") for part in parts)
    for value in (width_mm, height_mm):
        require_between("--size", value, least=LEAST_MM, most=MOST_MM, need=need)
    return width_mm, height_mm


def plain_label(label: FoodLabel, language: str) -> dict[str, Any]:
    """Return a label as JSON holds it."""
    target = label.target
    return {
        "law": label.law.value,
        "language": language,
        "title": label.title,
        "text": "\n".join(label_lines(label, language)),
        "ingredients": [_plain_ingredient(each) for each in label.ingredients],
        "ingredient_list": plain(list_runs(label.ingredients, language)),
        "allergens": list(label.allergens),
        "net": None
        if target is None
        else {
            "text": net_quantity(label, language),
            "pack_g": target.pack_g,
            "pieces": target.pieces_per_pack,
            "piece_g": target.label_g,
            "tolerable_deficiency_g": target.deficiency_g,
            "target_raw_g": target.raw_g,
        },
        "nutrition": None
        if label.nutrition is None
        else _plain_nutrition(label.nutrition, language),
        "empty_fields": [blank.text(language) for blank in label.blanks],
        "remarks": [remark.text(language) for remark in label.remarks],
    }


def _plain_ingredient(each: ListedIngredient) -> dict[str, Any]:
    ratio = each.quid_ratio
    return {
        "name": each.name,
        "used_g": each.used_g,
        "allergens": list(each.allergens),
        "quid_ratio": ratio,
        "contains": [_plain_ingredient(part) for part in each.contains],
    }


def _plain_nutrition(made: Nutrition, language: str) -> dict[str, Any]:
    energy = made.energy_per_100_g
    return {
        "piece_g": made.portion_g,
        "energy_kj_per_100_g": None if energy is None else energy[0],
        "energy_kcal_per_100_g": None if energy is None else energy[1],
        "nutrients": [
            {
                "name": each.nutrient.value,
                "g_per_100_g": each.per_100_g,
                "missing": list(each.missing),
                "sources": list(each.sources),
            }
            for each in made.declared
        ],
        "shown": nutrition_rows(made, language),
    }
