"""The label of a piece: list of ingredients, allergens, net weight, nutrition, and what is left.

In parts that are plain or emphasised, for a sheet and for text. What local law asks for beyond that
stands on it as an empty field; nothing here is legal advice.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from moulddesign.core import (
    LANGUAGES,
    Message,
    SpecError,
    list_comma,
    say,
    with_decimal_sign,
    word,
)
from moulddesign.design import Design, Purpose
from moulddesign.kitchen.batch import allergens_of
from moulddesign.kitchen.ingredient_list import (
    Law,
    ListedIngredient,
    ingredient_list,
    used_foods,
)
from moulddesign.kitchen.nutrition import Nutrition, nutrition, shown_grams, whole
from moulddesign.kitchen.recipe import Recipe
from moulddesign.portion import (
    Figures,
    LabelTarget,
    Nutrient,
    figures,
    foods,
    known_allergens,
)

G_PER_OZ: Final = 28.349523125
"""Grams in an avoirdupois ounce, exact."""

ROWS: Final = {
    Nutrient.FAT: say("kitchen.label-fat"),
    Nutrient.SATURATES: say("kitchen.label-saturates"),
    Nutrient.CARBOHYDRATE: say("kitchen.label-carbohydrate"),
    Nutrient.SUGARS: say("kitchen.label-sugars"),
    Nutrient.FIBRE: say("kitchen.label-fibre"),
    Nutrient.PROTEIN: say("kitchen.label-protein"),
    Nutrient.SALT: say("kitchen.label-salt"),
}
"""What a declaration calls its rows."""

BLANKS: Final = {
    Law.EU: (
        say("kitchen.label-best-before"),
        say("kitchen.label-storage"),
        say("kitchen.label-lot"),
        say("kitchen.label-business"),
    ),
    Law.US: (
        say("kitchen.label-facts"),
        say("kitchen.label-best-before"),
        say("kitchen.label-lot"),
        say("kitchen.label-business"),
    ),
}
"""What a label leaves to local law and its maker: empty fields on it."""

EMPTY: Final = "\N{EM DASH}"
"""Stands in a row whose figure is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A piece of text in one weight."""

    text: str
    is_emphasised: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodLabel:
    """What the label of a pack says."""

    title: str
    law: Law
    ingredients: tuple[ListedIngredient, ...]
    target: LabelTarget | None
    """Weight and number by the packers' rules; None where no weight is declared."""
    nutrition: Nutrition | None
    """None for the US, whose panel has a form of its own."""
    unknown: tuple[str, ...]
    """Ingredients of whose allergens nothing is known."""

    @property
    def allergens(self) -> tuple[str, ...]:
        """All that the law asks for, in the order of the table."""
        found = {name for each in self.ingredients for name in each.every_allergen}
        return tuple(name for name in known_allergens() if name in found)

    @property
    def blanks(self) -> tuple[Message, ...]:
        """What is left for its maker to fill in."""
        net = () if self.target is not None else (say("kitchen.label-net-weight"),)
        return (*net, *BLANKS[self.law])

    @property
    def remarks(self) -> Iterator[Message]:
        """What its maker should know; not printed on the label."""
        if self.unknown:
            yield say("kitchen.label-allergens-unknown", foods=self.unknown)
        if "nuts" in self.allergens:
            yield say("kitchen.label-which-nuts")
        if self.nutrition is not None and self.nutrition.missing:
            yield say("kitchen.label-figures-missing", foods=_missing(self.nutrition))
        if self.target is not None:
            yield say(
                "kitchen.label-deficiency",
                pack_g=self.target.pack_g,
                short_g=self.target.deficiency_g,
                raw_g=self.target.raw_g,
            )
        yield say("core.caution-allergens")
        yield say("kitchen.label-draft")


def food_label(
    design: Design, recipe: Recipe, law: Law, *, title: str = "", named: Sequence[str] = ()
) -> FoodLabel:
    """Return what the label of a pack says.

    Parameters
    ----------
    design : Design
        The piece, and what its label declares.
    recipe : Recipe
        What crust and filling are mixed from.
    law : Law
        Whose rules it follows.
    title : str
        Name of the food; the recipe's where it is left out.
    named : sequence of str
        Ingredients that the label pictures or that characterise the food, beside those that its
        name names.

    Raises
    ------
    SpecError
        The piece is no food, the recipe has no filling and the piece has one, or the loss is too
        large.
    """
    if design.portion.purpose is Purpose.NOT_FOOD:
        raise SpecError("portion.purpose", design.portion.purpose.value, say("kitchen.not-a-food"))
    made: Figures = figures(design)
    name = title or (recipe.name if "name" in recipe.model_fields_set else design.name)
    used = used_foods(design, recipe, made.piece)
    piece_g = made.piece.finished_g if made.label is None else made.label.label_g
    return FoodLabel(
        title=name,
        law=law,
        ingredients=ingredient_list(used, law, (name, *named)),
        target=made.label,
        nutrition=nutrition(used, piece_g) if law is Law.EU else None,
        unknown=allergens_of(design, recipe).unknown,
    )


def list_runs(ingredients: Iterable[ListedIngredient], language: str) -> tuple[Run, ...]:
    """Return a list of ingredients as text, with its allergens emphasised."""
    comma, (opens, closes) = list_comma(language), BRACKETS.get(language, (" (", ")"))
    runs: list[Run] = []
    for number, each in enumerate(ingredients):
        if number:
            runs.append(Run(text=comma))
        runs += _name_runs(each, language)
        if each.quid_ratio is not None:
            runs.append(Run(text=f" {_quid(each.quid_ratio).text(language)}"))
        if each.contains:
            runs += [Run(text=opens), *list_runs(each.contains, language), Run(text=closes)]
    return tuple(runs)


BRACKETS: Final = {"zh": ("\uff08", "\uff09")}
"""What encloses the ingredients of a list, where it is not a space and brackets."""


def _quid(ratio: float) -> Message:
    """Return a quantity: in per cent of the finished food; where much dries, as grams in 100 g."""
    percent = whole(100.0 * ratio)
    if percent > 100:  # noqa: PLR2004 (per cent; Annex VIII, 3)
        return say("kitchen.label-made-with", grams=percent)
    return say("kitchen.label-percent", percent=percent)


def _name_runs(each: ListedIngredient, language: str) -> Iterator[Run]:
    """Yield an ingredient's name; an allergen that it does not spell follows in brackets."""
    name = word(each.name.lower() if each.name.lower() in foods() else each.name).text(language)
    spelt: list[tuple[int, int]] = []
    others: list[str] = []
    for allergen in each.allergens:
        term = word(allergen).text(language)
        found = re.search(rf"\b{re.escape(term)}", name, re.IGNORECASE) or re.search(
            re.escape(term), name, re.IGNORECASE
        )
        if found is None:
            others.append(term)
        else:
            spelt.append(found.span())
    end = 0
    for first, last in sorted(spelt):
        if first < end:
            continue
        yield from (Run(text=name[end:first]),) if first > end else ()
        yield Run(text=name[first:last], is_emphasised=True)
        end = last
    if end < len(name):
        yield Run(text=name[end:])
    comma, (opens, closes) = list_comma(language), BRACKETS.get(language, (" (", ")"))
    for number, term in enumerate(others):
        yield Run(text=comma if number else opens)
        yield Run(text=term, is_emphasised=True)
    if others:
        yield Run(text=closes)


def plain(runs: Iterable[Run]) -> str:
    """Return runs as one text, what is emphasised in capitals, or between stars in other scripts.

    Examples
    --------
    >>> plain([Run(text="wheat", is_emphasised=True), Run(text=" flour")])
    'WHEAT flour'
    """
    return "".join(_raised(run.text) if run.is_emphasised else run.text for run in runs)


def _raised(text: str) -> str:
    return f"*{text}*" if text.upper() == text.lower() else text.upper()


def net_quantity(label: FoodLabel, language: str) -> str:
    """Return net weight and number of pieces; nothing where no weight is declared."""
    if label.target is None:
        return ""
    target, count = label.target, label.target.pieces_per_pack
    grams = with_decimal_sign(f"{target.pack_g:g}", language)
    each = with_decimal_sign(f"{target.label_g:g}", language)
    if label.law is Law.US:
        # Ounces down to a tenth: a label may say less than there is, never more.
        ounces = int(target.pack_g / G_PER_OZ * 10.0) / 10.0
        said = say(
            "kitchen.label-net-us", ounces=with_decimal_sign(f"{ounces:g}", language), grams=grams
        )
    else:
        said = say("kitchen.label-net", grams=grams)
    if count == 1:
        return said.text(language)
    return say("kitchen.label-pieces", net=said, count=count, each=each).text(language)


def nutrition_rows(made: Nutrition, language: str) -> list[list[str]]:
    """Return the rows of a declaration: name, in 100 g, in a piece; empty where one is missing."""
    piece = made.portion_g / 100.0
    energy = made.energy_per_100_g
    shown = (
        [EMPTY, EMPTY]
        if energy is None
        else [
            f"{whole(kj * share)} kJ / {whole(kcal * share)} kcal"
            for kj, kcal in (energy,)
            for share in (1.0, piece)
        ]
    )
    rows = [[say("kitchen.label-energy").text(language), *shown]]
    for each in made.declared:
        grams = each.per_100_g
        amounts = (
            [EMPTY, EMPTY]
            if grams is None
            else [
                f"{with_decimal_sign(shown_grams(each.nutrient, grams * share), language)} g"
                for share in (1.0, piece)
            ]
        )
        rows.append([ROWS[each.nutrient].text(language), *amounts])
    return rows


def nutrition_heads(made: Nutrition, language: str) -> list[str]:
    """Return the heads of a declaration's columns."""
    grams = with_decimal_sign(f"{round(made.portion_g, 1):g}", language)
    return [
        say("kitchen.label-nutrition").text(language),
        "100 g",
        say("kitchen.label-per-piece", grams=grams).text(language),
    ]


def label_lines(label: FoodLabel, language: str = LANGUAGES[0]) -> Iterator[str]:
    """Yield a label as lines of text."""
    yield label.title
    listed = plain(list_runs(label.ingredients, language))
    yield say("kitchen.label-ingredients", list=listed).text(language)
    if label.law is Law.US and label.allergens:
        yield contains_statement(label, language)
    if label.target is not None:
        yield net_quantity(label, language)
    if label.nutrition is not None:
        rows = [nutrition_heads(label.nutrition, language)]
        rows += nutrition_rows(label.nutrition, language)
        first, second = (max(len(row[column]) for row in rows) for column in (0, 1))
        for name, hundred, piece in rows:
            yield f"{name:<{first}}  {hundred:>{second}}  {piece}"
        if label.nutrition.missing:
            yield missing_figures(label.nutrition, language)
    for blank in label.blanks:
        yield f"{blank.text(language)}: {'_' * 20}"


def contains_statement(label: FoodLabel, language: str) -> str:
    """Return the statement of the US that names the allergens after the list."""
    return say("kitchen.label-contains", allergens=tuple(map(word, label.allergens))).text(language)


def missing_figures(made: Nutrition, language: str) -> str:
    """Return which figures a declaration misses, by ingredient."""
    return say("kitchen.label-missing", foods=_missing(made)).text(language)


def _missing(made: Nutrition) -> tuple[Message, ...]:
    """Return each ingredient with the figures that are missing; by its name alone where all are."""
    return tuple(
        word(name)
        if len(nutrients) == len(Nutrient)
        else say("kitchen.label-food-misses", food=word(name), figures=tuple(map(word, nutrients)))
        for name, nutrients in made.missing.items()
    )
