"""The list of ingredients of a label: in descending weight as used, with allergens and QUID.

Rules of Regulation (EU) 1169/2011, Articles 18, 21, 22 and Annexes II, VII, VIII; for the US the
order and its nine allergens only. Local law decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from math import fsum
from typing import Final

from moulddesign.core import SpecError, require_positive, say
from moulddesign.design import Design
from moulddesign.kitchen.recipe import Ingredient, Recipe, RecipePart, cooked_off
from moulddesign.portion import (
    AllergenList,
    Portion,
    allergen_list,
    allergens_in,
    allergens_of_food,
    known_allergens,
    known_centres,
)
from moulddesign.portion.foods import named_food

LEAST_WATER_RATIO: Final = 0.05
"""Added water that is no more of the finished food is not listed: Annex VII, part A, 1; from
memory."""

COMMON_WORDS: Final = frozenset(
    {"and", "baked", "brown", "cake", "cooked", "dried", "filled", "flour", "ground", "of", "oil",
     "paste", "powder", "salted", "sugar", "sweet", "syrup", "water", "white", "whole", "with"}
)  # fmt: skip
"""Words that a food's name shares with others: they name no ingredient."""

FILLING: Final = "filling"
"""Name of the filling in a list."""


class Law(StrEnum):
    """Whose rules a label follows."""

    EU = "eu"
    US = "us"


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedFood:
    """An ingredient with the mass of it that goes into one piece."""

    name: str
    used_g: float
    """Before anything cooks off or bakes out."""
    line: Ingredient | None = None
    """What the recipe says of it; None for a centre, which the design names."""

    @property
    def is_water(self) -> bool:
        """Whether it is added water, which partly leaves again."""
        known = named_food(self.name)
        return known is not None and known.name == "water"


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedFoods:
    """What goes into one piece.

    Raises
    ------
    SpecError
        The finished mass is not above 0.
    """

    finished_g: float
    """Mean mass of the finished piece."""
    crust: tuple[UsedFood, ...]
    """Of the one dough or mass, where there is no filling."""
    filling: tuple[UsedFood, ...] = ()
    """Of the paste as it is mixed, and the centres."""
    filling_g: float = 0.0
    """Paste as it is wrapped, and the centres."""

    def __post_init__(self) -> None:
        require_positive("finished_g", self.finished_g, "g")

    @property
    def every(self) -> tuple[UsedFood, ...]:
        """All of them."""
        return (*self.crust, *self.filling)


def used_foods(design: Design, recipe: Recipe, made: Portion) -> UsedFoods:
    """Return what goes into one piece.

    Raises
    ------
    SpecError
        The piece has a filling and the recipe none, or more cooks off than there is water.
    """
    crust = _used(recipe.crust, made.crust_g, 0.0)
    if not design.portion.is_filled:
        return UsedFoods(finished_g=made.finished_g, crust=crust)
    if recipe.filling is None:
        raise SpecError("filling", "not given", say("kitchen.filling-missing"))
    paste = _used(recipe.filling, made.paste_g, design.batch.cooking_loss)
    centres = (
        UsedFood(name=each.food or each.name, used_g=each.total_g)
        for each in known_centres(design.portion)
    )
    return UsedFoods(
        finished_g=made.finished_g,
        crust=crust,
        filling=(*paste, *centres),
        filling_g=made.paste_g + made.centre_g,
    )


def _used(part: RecipePart, made_g: float, cooking_loss: float) -> tuple[UsedFood, ...]:
    mixed_g = made_g / (1.0 - cooked_off(part, cooking_loss))
    return tuple(
        UsedFood(name=line.food, used_g=share * mixed_g, line=line)
        for share, line in zip(part.shares, part.ingredients, strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedIngredient:
    """An ingredient as a list shows it."""

    name: str
    used_g: float
    """Mass that orders it: as used, of one piece; water as it is left in the finished piece."""
    allergens: tuple[str, ...] = ()
    """Of its own; those of what it consists of stand there."""
    quid_ratio: float | None = None
    """Mass as used over finished mass, where the label owes it; above 1 where much dries."""
    contains: "tuple[ListedIngredient, ...]" = ()
    """What it consists of, in descending weight."""

    @property
    def every_allergen(self) -> tuple[str, ...]:
        """Its allergens and those of what it consists of, in the order of the table."""
        found = {*self.allergens, *(each for part in self.contains for each in part.every_allergen)}
        return tuple(name for name in known_allergens() if name in found)


def ingredient_list(
    used: UsedFoods, law: Law, named: Iterable[str] = ()
) -> tuple[ListedIngredient, ...]:
    """Return what a label lists.

    Parameters
    ----------
    used : UsedFoods
        What goes into one piece. The filling becomes one ingredient with a list of its own; where
        it is one bought paste, it is that paste.
    law : Law
        Whose allergens count. The EU lists added water by what is left of it in the finished
        piece, and asks for the share of the filling and of what is named.
    named : iterable of str
        Words by which the label names, pictures or characterises ingredients.

    Returns
    -------
    tuple of ListedIngredient
        In descending mass; of equal ones the recipe's order stays.

    Examples
    --------
    >>> paste = UsedFood(name="chestnut paste", used_g=70.0)
    >>> crust = UsedFood(name="wheat flour", used_g=35.0)
    >>> made = UsedFoods(finished_g=98.0, crust=(crust,), filling=(paste,), filling_g=70.0)
    >>> first, second = ingredient_list(made, Law.EU)
    >>> first.name, round(100 * first.quid_ratio), second.allergens
    ('chestnut paste', 71, ('wheat',))
    """
    owed = _stems(" ".join(named)) if law is Law.EU else frozenset()
    crust, inside = (
        _listed(_as_left(part, used, law), used.finished_g, law, owed)
        for part in (used.crust, used.filling)
    )
    if not inside:
        return crust
    quid = used.filling_g / used.finished_g if law is Law.EU else None
    if len(inside) == 1:
        filling = replace(inside[0], used_g=used.filling_g, quid_ratio=quid)
    else:
        filling = ListedIngredient(
            name=FILLING, used_g=used.filling_g, quid_ratio=quid, contains=inside
        )
    return _by_mass((filling, *crust))


def _as_left(part: Iterable[UsedFood], used: UsedFoods, law: Law) -> tuple[UsedFood, ...]:
    """Return a part of a piece with its added water as it is left; not at all where it is little.

    What is left of all the added water is the finished mass less everything else as used. Crust and
    filling keep it in proportion.
    """
    if law is Law.US:
        return tuple(part)
    added_g = fsum(each.used_g for each in used.every if each.is_water)
    left_g = used.finished_g - fsum(each.used_g for each in used.every if not each.is_water)
    if left_g <= LEAST_WATER_RATIO * used.finished_g:
        return tuple(each for each in part if not each.is_water)
    return tuple(
        replace(each, used_g=each.used_g * left_g / added_g) if each.is_water else each
        for each in part
    )


def _listed(
    part: Iterable[UsedFood], finished_g: float, law: Law, owed: frozenset[str]
) -> tuple[ListedIngredient, ...]:
    """Return the ingredients of a part, each food once, in descending mass."""
    found: dict[str, ListedIngredient] = {}
    for each in part:
        key = each.name.lower()
        before_g = found[key].used_g if key in found else 0.0
        found[key] = ListedIngredient(
            name=each.name,
            used_g=before_g + each.used_g,
            allergens=_under(law, allergens_of_line(each.name, each.line)),
            contains=tuple(
                ListedIngredient(name=name, used_g=0.0, allergens=_under(law, allergens_in(name)))
                for name in (() if each.line is None else each.line.contains)
            ),
        )
    return _by_mass(
        replace(one, quid_ratio=one.used_g / finished_g) if owed & _stems(one.name) else one
        for one in found.values()
    )


def allergens_of_line(name: str, line: Ingredient | None) -> tuple[str, ...]:
    """Return the allergens of an ingredient: as its line says, else of its food, else by words."""
    if line is not None and line.allergens is not None:
        return line.allergens
    return allergens_of_food(name)


def recipe_allergens(recipe: Recipe | None, centres: Iterable[str]) -> AllergenList:
    """Return the allergens of a recipe, where there is one, and of centres.

    What a line types, or lists of a bought ingredient, tells more than its name.
    """
    lines = () if recipe is None else recipe.lines
    silent = [line.food for line in lines if line.allergens is None and not line.contains]
    told = {each for line in lines for each in allergens_of_line(line.food, line)}
    told |= {each for line in lines for name in line.contains for each in allergens_in(name)}
    return allergen_list([*silent, *centres], told)


def _under(law: Law, names: Iterable[str]) -> tuple[str, ...]:
    """Return the allergens that a law asks for."""
    known = known_allergens()
    return tuple(name for name in names if getattr(known[name], law.value))


def _by_mass(ingredients: Iterable[ListedIngredient]) -> tuple[ListedIngredient, ...]:
    return tuple(sorted(ingredients, key=lambda each: -each.used_g))


def _stems(text: str) -> frozenset[str]:
    """Return the words of a text that can name an ingredient, without a plural's s."""
    words = {word.strip(".,:;()").removesuffix("s") for word in text.lower().split()}
    return frozenset(words - COMMON_WORDS - {""})
