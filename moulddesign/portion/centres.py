"""What is known of a centre: its figures, or those of the food that its name names."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum, hypot, pi, sqrt
from typing import Final

from moulddesign.core import mm3_from_ml
from moulddesign.design import Centre, CountsIn, PortionTable, Stiffness
from moulddesign.design.schema import MEMORY
from moulddesign.portion.allergens import allergen_groups, allergens_in
from moulddesign.portion.density import ROOM_C
from moulddesign.portion.foods import Food, foods, named_food

UNKNOWN_G_PER_ML: Final = 1.06
"""Density of a centre of which nothing is known: a yolk's; from memory [g/mL]."""
UNKNOWN_SD_G_PER_ML: Final = 0.12
"""Its standard uncertainty: whole centres are 0.9 to 1.4 g/mL, from a nut with air in it to a date;
from memory [g/mL]."""
GIVEN_SD_G_PER_ML: Final = 0.01
"""Standard uncertainty of a density that was given without one; our choice [g/mL]."""

UNMEANING: Final = frozenset(
    {"a", "an", "chopped", "half", "halved", "large", "of", "piece", "pieces", "pitted", "roasted",
     "small", "stoned", "the", "toasted", "whole"}
)  # fmt: skip
"""Words of a centre's name that do not change which food it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCentre:
    """A kind of centre with every figure that its weight and size need."""

    name: str
    count: int
    counts_in: CountsIn
    mass_g: float
    """Of one."""
    mass_sd_g: float
    """Standard deviation of the mass of one."""
    density_g_per_ml: float
    density_sd_g_per_ml: float
    density_source: str
    food: str | None
    """Name of the food that it is; None where the table has none."""
    rigid: bool | None
    """Whether it keeps its shape in pressing; None where that is not known."""

    @property
    def total_g(self) -> float:
        """Mass of all of them in a piece [g]."""
        return self.count * self.mass_g

    @property
    def total_sd_g(self) -> float:
        """Standard deviation of that mass: each has its own, so n scatter by sqrt(n) of one [g]."""
        return sqrt(self.count) * self.mass_sd_g

    @property
    def total_ml(self) -> float:
        """Volume of all of them [mL]."""
        return self.total_g / self.density_g_per_ml

    @property
    def diameter_mm(self) -> float:
        """Diameter of a ball of the mass and density of one [mm]."""
        volume_mm3 = mm3_from_ml(self.mass_g / self.density_g_per_ml)
        return float((6.0 * volume_mm3 / pi) ** (1 / 3))


def known_centre(centre: Centre) -> KnownCentre:
    """Return a centre with every figure: its own, then its food's, then a guess from memory.

    Examples
    --------
    >>> known_centre(Centre(name="piece of date", mass_g=5.0)).food
    'date'
    >>> known_centre(Centre(name="marble")).density_g_per_ml
    1.06
    """
    food = food_of(centre.name)
    if centre.density_g_per_ml is not None:
        density, sd, source = centre.density_g_per_ml, GIVEN_SD_G_PER_ML, "the design"
    elif food is not None:
        density = 1.0 / food.specific_volume_ml_per_g(ROOM_C)
        sd, source = density * food.spread(ROOM_C), f"{food.name}: {food.source}"
    else:
        density, sd, source = UNKNOWN_G_PER_ML, UNKNOWN_SD_G_PER_ML, MEMORY
    return KnownCentre(
        name=centre.name,
        count=centre.count,
        counts_in=centre.counts_in,
        mass_g=centre.mass_g,
        mass_sd_g=centre.mass_spread * centre.mass_g,
        density_g_per_ml=density,
        density_sd_g_per_ml=sd
        if centre.density_sd_g_per_ml is None
        else centre.density_sd_g_per_ml,
        density_source=source,
        food=None if food is None else food.name,
        rigid=_rigid(centre, food),
    )


def known_centres(table: PortionTable) -> tuple[KnownCentre, ...]:
    """Return the kinds of centres of a piece, with every figure."""
    return tuple(map(known_centre, table.centres))


def _rigid(centre: Centre, food: Food | None) -> bool | None:
    if centre.stiffness is not None:
        return centre.stiffness is Stiffness.RIGID
    return None if food is None else food.rigid


def food_of(name: str) -> Food | None:
    """Return the food that a centre's name names, None where the table has none.

    Capitals, a plural's s and words such as "piece of" do not matter.

    Examples
    --------
    >>> food_of("Half a salted yolk").name, food_of("walnuts").name, food_of("marble")
    ('salted egg yolk', 'walnut', None)
    """
    known = foods()
    words = [word for word in name.lower().replace("-", " ").split() if word not in UNMEANING]
    asked = " ".join(words)
    return named_food(name) or known.get(asked) or known.get(asked.removesuffix("s"))


def centres_g(centres: Iterable[KnownCentre], counts_in: CountsIn) -> float:
    """Return the mass of the centres that count in the filling, or of those that do not [g]."""
    return fsum(centre.total_g for centre in centres if centre.counts_in is counts_in)


def centres_sd_g(centres: Iterable[KnownCentre]) -> float:
    """Return the standard deviation of the mass of all centres of a piece [g]."""
    return hypot(*(centre.total_sd_g for centre in centres))


@dataclass(frozen=True, slots=True, kw_only=True)
class AllergenList:
    """Allergens that the names of ingredients and centres point to."""

    found: tuple[str, ...]
    unknown: tuple[str, ...]
    """Names about which nothing is said: look at their packets."""


def allergen_list(names: Iterable[str], told: Iterable[str] = ()) -> AllergenList:
    """Return what names tell of allergens, by their words and the foods that they name.

    Allergens that are known by name already are told too.

    Examples
    --------
    >>> allergen_list(["dates", "half a yolk", "sesame ball", "marble"])
    AllergenList(found=('egg', 'sesame'), unknown=('marble',))
    """
    each = tuple(dict.fromkeys(names))
    silent = tuple(name for name in each if _is_silent(name))
    named = {allergen for name in each for allergen in allergens_of_food(name)}
    found = allergen_groups({*named, *told})
    return AllergenList(found=found, unknown=silent)


def _is_silent(name: str) -> bool:
    """Return whether a name leaves allergens open: of no known food, or of one that varies."""
    known = food_of(name)
    return not allergens_in(name) if known is None else known.read_packet


def allergens_of_food(name: str) -> tuple[str, ...]:
    """Return the allergens of the food that a name names, or those that its words point to.

    Examples
    --------
    >>> allergens_of_food("almond flour"), allergens_of_food("half a yolk")
    (('almond',), ('egg',))
    """
    known = food_of(name)
    return allergens_in(name) if known is None else known.allergens
