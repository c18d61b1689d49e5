"""Common ingredients: what they consist of, their densities and allergens, with sources."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from math import hypot
from typing import Final

from moulddesign.core import SpecError, bundled_toml, require_between, require_not_negative, say
from moulddesign.portion.density import (
    EQUATIONS_SPREAD,
    LEAST_G_PER_ML,
    MOST_G_PER_ML,
    Component,
    Composition,
    component_density_g_per_ml,
)

WATER_SD: Final = 0.02
"""Natural scatter of a food's water, as a share of its mass; from memory, measure your own."""


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
        food = Food(
            name=name,
            composition=Composition.of({c: float(row["parts"].get(c, 0.0)) for c in Component}),
            density_g_per_ml=row.get("density_g_per_ml"),
            density_sd_g_per_ml=row.get("density_sd_g_per_ml", 0.0),
            flour=row.get("flour", False),
            rigid=row.get("rigid", False),
            source=row.get("density_source", data["composition_source"]),
        )
        found |= dict.fromkeys((name, *row.get("also", ())), food)
    return found


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
    known = foods()
    key = " ".join(name.lower().split())
    if key in known:
        return known[key]
    near = nearest(key)
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


ALLERGEN_WORDS: Final = {
    "wheat or another cereal with gluten": (
        "wheat", "flour", "rye", "barley", "oat", "spelt", "semolina", "gluten",
    ),
    "egg": ("egg", "yolk", "mayonnaise"),
    "milk": ("milk", "butter", "cream", "cheese", "yoghurt", "whey", "casein"),
    "nuts": (
        "almond", "hazelnut", "walnut", "cashew", "pecan", "brazil nut", "pistachio", "macadamia",
        "nut paste", "marzipan", "praline",
    ),
    "peanut": ("peanut", "groundnut"),
    "sesame": ("sesame", "tahini"),
    "soya": ("soya", "soy", "tofu", "miso"),
    "fish or shellfish": ("fish", "shrimp", "prawn", "crab", "oyster", "squid", "anchovy"),
    "lupin": ("lupin",),
    "celery": ("celery",),
    "mustard": ("mustard",),
    "sulphites": ("sulphite", "sulfite"),
}  # fmt: skip
"""Words that point to an allergen: the groups of Regulation (EU) 1169/2011, Annex II. Groups and
words are from memory, so a label is checked against local law and the packets."""

OTHER_MEANINGS: Final = {
    "peanut butter": "peanut", "cocoa butter": "", "shea butter": "", "coconut milk": "",
    "coconut cream": "", "cream of tartar": "", "buckwheat": "", "rice flour": "",
    "chestnut flour": "", "corn flour": "", "maize flour": "", "potato flour": "",
    "tapioca flour": "", "chickpea flour": "",
}  # fmt: skip
"""Names in which a word above means something else, and what is left of them."""


def allergens(ingredients: Iterable[str]) -> tuple[str, ...]:
    """Return the allergens that names of ingredients point to, in a fixed order.

    Examples
    --------
    >>> allergens(["Wheat flour", "rice flour", "salted egg yolk"])
    ('wheat or another cereal with gluten', 'egg')
    >>> allergens(["peanut butter"])
    ('peanut',)
    """
    names = [_meant(name.lower()) for name in ingredients]
    return tuple(
        allergen
        for allergen, words in ALLERGEN_WORDS.items()
        if any(word in name for name in names for word in words)
    )


def _meant(name: str) -> str:
    for compound, meaning in OTHER_MEANINGS.items():
        name = name.replace(compound, meaning)
    return name
