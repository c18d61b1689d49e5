"""The nutrition declaration of a piece, in the form of Regulation (EU) 1169/2011.

A nutrient is declared only where every ingredient's figure is published or typed from its packet.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from math import fsum
from typing import Final

from moulddesign.core import SpecError, say
from moulddesign.kitchen.ingredient_list import UsedFood, UsedFoods
from moulddesign.portion import Nutrient, food_of

PACKET: Final = "the packet"
"""Source of a figure that somebody typed."""

KJ_PER_G: Final[Mapping[Nutrient, float]] = {
    Nutrient.FAT: 37.0,
    Nutrient.CARBOHYDRATE: 17.0,
    Nutrient.FIBRE: 8.0,
    Nutrient.PROTEIN: 17.0,
}
"""Annex XIV [kJ/g]."""

KCAL_PER_G: Final[Mapping[Nutrient, float]] = {
    Nutrient.FAT: 9.0,
    Nutrient.CARBOHYDRATE: 4.0,
    Nutrient.FIBRE: 2.0,
    Nutrient.PROTEIN: 4.0,
}
"""Annex XIV; from memory but for fibre [kcal/g]."""

PER_G: Final = 100.0
"""The declaration is for so much [g]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """One nutrient of a declaration."""

    nutrient: Nutrient
    per_100_g: float | None
    """Grams in 100 g of the finished piece; None where a figure is missing."""
    missing: tuple[str, ...]
    """Ingredients of which nobody published or typed it."""
    sources: tuple[str, ...]
    """Ingredient and source of each figure in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nutrition:
    """The nutrition declaration of a piece."""

    declared: tuple[Declared, ...]
    """In the order of Annex XV."""
    portion_g: float
    """What one piece weighs on the label."""

    @property
    def energy_per_100_g(self) -> tuple[float, float] | None:
        """Energy in kJ and kcal; None where what gives it is not all known."""
        known = {each.nutrient: each.per_100_g for each in self.declared}
        grams = [(known[each], kj, KCAL_PER_G[each]) for each, kj in KJ_PER_G.items()]
        if any(g is None for g, _, _ in grams):
            return None
        return (
            fsum((g or 0.0) * kj for g, kj, _ in grams),
            fsum((g or 0.0) * kcal for g, _, kcal in grams),
        )

    @property
    def missing(self) -> Mapping[str, tuple[Nutrient, ...]]:
        """Which figures nobody published or typed, by ingredient."""
        names = dict.fromkeys(name for each in self.declared for name in each.missing)
        return {
            name: tuple(each.nutrient for each in self.declared if name in each.missing)
            for name in names
        }


def nutrition(used: UsedFoods, portion_g: float) -> Nutrition:
    """Return the nutrition declaration of a piece.

    Parameters
    ----------
    used : UsedFoods
        What goes into it, and what it weighs in the end: nothing but water is taken to leave.
    portion_g : float
        What one piece weighs on the label [g].

    Raises
    ------
    SpecError
        Less is left than the dry matter that went in: the loss is too large.
    """
    declared = []
    figures = [(each, nutrients_of(each)) for each in used.every]
    for nutrient in Nutrient:
        missing = tuple(dict.fromkeys(e.name for e, known in figures if nutrient not in known))
        grams = fsum(e.used_g * known[nutrient][0] for e, known in figures if nutrient in known)
        sources = {f"{e.name}: {known[nutrient][1]}" for e, known in figures if nutrient in known}
        declared.append(
            Declared(
                nutrient=nutrient,
                per_100_g=None if missing else PER_G * grams / used.finished_g,
                missing=missing,
                sources=tuple(sorted(sources)),
            )
        )
    made = Nutrition(declared=tuple(declared), portion_g=portion_g)
    dry_g = fsum(each.per_100_g or 0.0 for each in made.declared if each.nutrient in KJ_PER_G)
    if dry_g > PER_G:
        raise SpecError("portion.loss", f"{dry_g:.0f} g", say("kitchen.more-dry-than-finished"))
    return made


def nutrients_of(used: UsedFood) -> Mapping[Nutrient, tuple[float, str]]:
    """Return what is known of an ingredient for a label: share of its mass, and who says so.

    Figures of the line come first. Where it gives parts, they are all of it, so what it leaves out
    is none; saturates are part of the fat, and sugars of the carbohydrate.
    """
    found: dict[Nutrient, tuple[float, str]] = {}
    line = used.line
    typed = {} if line is None else {n: getattr(line, n.value) for n in Nutrient}
    if line is not None and line.composition is not None:
        for nutrient in KJ_PER_G:
            found[nutrient] = (getattr(line.composition, nutrient.value), PACKET)
    elif (known := food_of(used.name)) is not None:
        found = {n: (share, known.nutrient_source) for n, share in known.nutrients.items()}
    for nutrient in (Nutrient.SATURATES, Nutrient.SUGARS, Nutrient.SALT):
        if typed.get(nutrient) is not None:
            found[nutrient] = (typed[nutrient] / PER_G, PACKET)
    for part, whole in (
        (Nutrient.SATURATES, Nutrient.FAT),
        (Nutrient.SUGARS, Nutrient.CARBOHYDRATE),
    ):
        if part not in found and whole in found and found[whole][0] == 0.0:
            found[part] = found[whole]
    return found


COARSE_G: Final = 10.0
"""From so much on, grams are whole [g]."""

NEGLIGIBLE_G: Final[Mapping[Nutrient, float]] = {
    Nutrient.SATURATES: 0.1,
    Nutrient.SALT: 0.0125,
}
"""At most so much is none; 0.5 g of the others [g]."""


def shown_grams(nutrient: Nutrient, grams: float) -> str:
    """Return an amount as a declaration shows it.

    Rounding of the Commission's guidance on tolerances, December 2012, section 6: fat,
    carbohydrate, sugars, fibre and protein to 1 g from 10 g on, else to 0.1 g, none up to 0.5 g;
    saturates the same, none up to 0.1 g; salt to 0.1 g from 1 g on, else to 0.01 g, none up to
    0.0125 g.

    Examples
    --------
    >>> [shown_grams(Nutrient.FAT, grams) for grams in (12.5, 3.14, 0.4)]
    ['13', '3.1', '0']
    >>> shown_grams(Nutrient.SALT, 0.126), shown_grams(Nutrient.SALT, 1.26)
    ('0.13', '1.3')
    """
    if grams <= NEGLIGIBLE_G.get(nutrient, 0.5):
        return "0"
    if nutrient is Nutrient.SALT:
        step = "0.1" if grams >= 1.0 else "0.01"
    else:
        step = "1" if grams >= COARSE_G else "0.1"
    rounded = Decimal(repr(grams)).quantize(Decimal(step), rounding=ROUND_HALF_UP)
    if nutrient is not Nutrient.SALT and rounded == COARSE_G:
        return "10"
    return str(rounded)


def whole(value: float) -> int:
    """Return an energy in whole kilojoules or kilocalories, halves upwards."""
    return int(Decimal(repr(value)).quantize(Decimal(1), rounding=ROUND_HALF_UP))
