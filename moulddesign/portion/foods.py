"""Common ingredients: what they consist of, densities, nutrients and allergens, with sources."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from math import hypot
from types import MappingProxyType
from typing import Any, Final

from moulddesign.core import SpecError, bundled_toml, require_between, require_not_negative, say
from moulddesign.portion.density import (
    EQUATIONS_SPREAD,
    LEAST_G_PER_ML,
    MOST_G_PER_ML,
    PER_100_G,
    Component,
    Composition,
    component_density_g_per_ml,
)

WATER_SD: Final = 0.02
"""Natural scatter of a food's water, as a share of its mass; from memory, measure your own."""

TABLE: Final = "USDA National Nutrient Database for Standard Reference"
"""Whose rows the published figures are."""

SALT_OF_SODIUM: Final = 2.5
"""Salt that a label declares for sodium; Regulation (EU) 1169/2011, Annex I."""


class Nutrient(StrEnum):
    """What a nutrition declaration tells, in the order of Regulation (EU) 1169/2011, Annex XV."""

    FAT = "fat"
    SATURATES = "saturates"
    CARBOHYDRATE = "carbohydrate"
    SUGARS = "sugars"
    FIBRE = "fibre"
    PROTEIN = "protein"
    SALT = "salt"


class Sugar(StrEnum):
    """What dissolves in the water of a dough or a paste."""

    SUCROSE = "sucrose"
    GLUCOSE = "glucose"
    FRUCTOSE = "fructose"
    MALTOSE = "maltose"
    LACTOSE = "lactose"
    TREHALOSE = "trehalose"
    GLUCOSE_SYRUP = "glucose_syrup"
    """All solids of a starch syrup, whose molecules its dextrose equivalent tells."""


NOTHING: Final[Mapping[Any, float]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Food:
    """An ingredient.

    Raises
    ------
    SpecError
        Neither composition nor density is known, or the density is not one of food.
    """

    name: str
    composition: Composition | None
    density_g_per_ml: float | None
    """Measured, and used before the composition's; None where there is none."""
    density_sd_g_per_ml: float
    """Standard uncertainty of the measured density."""
    flour: bool
    """Whether it counts as the 100 % of baker's percentages."""
    source: str
    """Where the figures come from, with their status."""
    rigid: bool = False
    """Whether a whole one keeps its shape in the pressing of a piece; from memory."""
    nutrients: Mapping[Nutrient, float] = field(default_factory=lambda: NOTHING)
    """Published shares of the mass; one that no table gives is left out."""
    nutrient_source: str = ""
    """Table and row of these; nothing where there are none."""
    sugar_kinds: Mapping[Sugar, float] = field(default_factory=lambda: NOTHING)
    """Shares of the mass, from memory: for water activity, never for a label."""
    dextrose_equivalent: float | None = None
    """Of the glucose syrup among its sugars; from memory."""
    starch: float | None = None
    """Share of the mass, from memory; None where nobody said."""
    allergens: tuple[str, ...] = ()
    """By name, as `known_allergens` has them."""
    read_packet: bool = False
    """Whether brands differ in allergens, so that only the packet tells; from memory."""

    def __post_init__(self) -> None:
        if self.composition is None and self.density_g_per_ml is None:
            raise SpecError("food", self.name, say("portion.food-without-figures"))
        if self.density_g_per_ml is not None:
            require_between(
                f"{self.name} density_g_per_ml",
                self.density_g_per_ml,
                least=LEAST_G_PER_ML,
                most=MOST_G_PER_ML,
                need=say("portion.density-outside-food", least=LEAST_G_PER_ML, most=MOST_G_PER_ML),
            )
        require_not_negative(f"{self.name} density_sd_g_per_ml", self.density_sd_g_per_ml, "g/mL")

    def specific_volume_ml_per_g(self, at_c: float) -> float:
        """Return the volume of one gram; a measured density holds at any temperature."""
        if self.density_g_per_ml is not None:
            return 1.0 / self.density_g_per_ml
        return self._composition().specific_volume_ml_per_g(at_c)

    def own_spread(self, at_c: float) -> float:
        """Return the relative uncertainty of its density that no other food shares."""
        if self.density_g_per_ml is not None:
            return self.density_sd_g_per_ml / self.density_g_per_ml
        water = self._composition().water
        if not 0.0 < water < 1.0:
            return 0.0
        # Foods differ most in their water. With the rest of the composition unchanged the volume
        # of one gram is w v_wet + (1 - w) v_dry, so its slope with the water is v_wet - v_dry.
        whole = self.specific_volume_ml_per_g(at_c)
        wet = 1.0 / component_density_g_per_ml(Component.WATER, at_c)
        dry = (whole - water * wet) / (1.0 - water)
        return self.water_sd * abs(wet - dry) / whole

    @property
    def shared_spread(self) -> float:
        """Relative uncertainty that all foods share whose density the equations give."""
        return EQUATIONS_SPREAD if self.density_g_per_ml is None else 0.0

    @property
    def status(self) -> str:
        """Whether the figures that give its volume were published."""
        return "published" if self.source.startswith("published") else "from memory"

    @property
    def water(self) -> float | None:
        """Water as a share of the mass; None where the composition is unknown."""
        return None if self.composition is None else self.composition.water

    @property
    def water_sd(self) -> float:
        """Natural scatter of its water, as a share of its mass; 0 where that is unknown."""
        water = self.water or 0.0
        return min(WATER_SD, water, 1.0 - water)

    def spread(self, at_c: float) -> float:
        """Return the relative uncertainty of its density."""
        return hypot(self.own_spread(at_c), self.shared_spread)

    def _composition(self) -> Composition:
        assert self.composition is not None  # noqa: S101 (held by __post_init__)
        return self.composition


@cache
def foods() -> Mapping[str, Food]:
    """Return the ingredients that come with the package, by each of their names."""
    data = bundled_toml("data", "foods.toml")
    found: dict[str, Food] = {}
    for name, row in data["foods"].items():
        made = _food(name, row, data["composition_source"])
        found |= dict.fromkeys((name, *row.get("also", ())), made)
    return found


def _food(name: str, row: Mapping[str, Any], from_memory: str) -> Food:
    """Return the ingredient of a row of the table."""
    rows = f"{TABLE}, NDB {row['ndb']}" if "ndb" in row else ""
    published = rows or (f"by its formula, {row['pure']}" if "pure" in row else "")
    starch = row.get("starch")
    return Food(
        name=name,
        composition=Composition.of({c: float(row["parts"].get(c, 0.0)) for c in Component}),
        density_g_per_ml=row.get("density_g_per_ml"),
        density_sd_g_per_ml=row.get("density_sd_g_per_ml", 0.0),
        flour=row.get("flour", False),
        rigid=row.get("rigid", False),
        source=row.get("density_source", f"published: {published}" if published else from_memory),
        nutrients=_nutrients(row) if published else NOTHING,
        nutrient_source=published,
        sugar_kinds={Sugar(k): g / PER_100_G for k, g in row.get("sugar_kinds", {}).items()},
        dextrose_equivalent=row.get("dextrose_equivalent"),
        starch=None if starch is None else starch / PER_100_G,
        allergens=tuple(row.get("allergens", ())),
        read_packet=row.get("read_packet", False),
    )


def _nutrients(row: Mapping[str, Any]) -> Mapping[Nutrient, float]:
    """Return what the table prints of a food, less what it leaves out."""
    macros = (Nutrient.FAT, Nutrient.CARBOHYDRATE, Nutrient.FIBRE, Nutrient.PROTEIN)
    guessed = row.get("guessed", ())
    grams = {n: row["parts"].get(n, 0.0) for n in macros if n not in guessed}
    grams |= {n: row[n] for n in (Nutrient.SUGARS, Nutrient.SATURATES) if n in row}
    if "sodium" in row:
        grams[Nutrient.SALT] = SALT_OF_SODIUM * row["sodium"]
    return {n: grams[n] / PER_100_G for n in Nutrient if n in grams}


def plain_name(name: str) -> str:
    """Return a name as the table has it: small letters, and single spaces between words."""
    return " ".join(name.lower().split())


def named_food(name: str) -> Food | None:
    """Return the ingredient of a name, or of another name for it; None where there is none."""
    return foods().get(plain_name(name))


def food(name: str) -> Food:
    """Return the ingredient of a name, or of another name for it; capitals do not matter.

    Raises
    ------
    SpecError
        There is none of that name; the nearest names are offered.

    Examples
    --------
    >>> food("Caster sugar").name
    'white sugar'
    """
    found = named_food(name)
    if found is not None:
        return found
    near = nearest(plain_name(name))
    need = say("portion.food-unknown-near", near=near) if near else say("portion.food-unknown")
    raise SpecError("food", name, need)


def nearest(name: str) -> tuple[str, ...]:
    """Return up to three known names that are like a name, or share a word with it.

    Examples
    --------
    >>> nearest("wheet flour")[0]
    'wheat flour'
    """
    names = list(foods())
    alike = get_close_matches(name, names, n=3, cutoff=0.6)
    words = set(name.split())
    sharing = [other for other in names if words & set(other.split())]
    return tuple(dict.fromkeys((*alike, *sharing)))[:3]
