"""Water activity of a dough or a paste, estimated from what it is mixed of.

The water of a mixture is shared by a solution of its sugars and by starch, protein and fibre. In
equilibrium both have the same activity a: the solution holds w(a) grams of water, a gram of the dry
matter X(a), and together they are the water that there is. What this misses is known from measured
pieces, so an estimate is a range, `BELOW` and `ABOVE`, and its top is what counts.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import pairwise
from math import exp, fsum, log, sqrt
from typing import Final

from moulddesign.core import SpecError, halved, require_not_negative, say
from moulddesign.kitchen.recipe import Ingredient, RecipePart
from moulddesign.kitchen.syrup import (
    HEXOSE_G_PER_MOL,
    SUCROSE_G_PER_MOL,
    SUCROSE_PER_WATER,
    WATER_G_PER_MOL,
)
from moulddesign.portion import Composition, Food
from moulddesign.portion.density import PER_100_G
from moulddesign.portion.foods import Nutrient, Sugar, named_food

BELOW: Final = 0.03
ABOVE: Final = 0.06
"""How far the truth may lie below and above an estimate: baked pieces with a syrup crust were
measured at 0.77 to 0.82 where this reads 0.73 to 0.80 (Applied Food Research 2025, 100722)."""

LEAST_SHOWN: Final = 0.70
"""Under it the formulas miss, and no figure is given."""

LOWEST: Final = 0.30
HIGHEST: Final = 0.9999
"""Between which a mixture's activity is sought; the lower end stands for all below."""

LITTLE: Final = 0.01
"""Carbohydrate of one food, as a share of the part, that nobody needs to ask about; our choice."""

ROOM_AT_C: Final = 25.0
"""Temperature of the constants and of the isotherm [deg C]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solute:
    """What dissolves: its molar mass [g/mol] and the constant of its Norrish equation."""

    name: str
    molar_g: float
    norrish_k: float


SOLUTES: Final = {
    name: Solute(name=name, molar_g=molar_g, norrish_k=norrish_k)
    for name, molar_g, norrish_k in (
        # Baeza et al. 2010, Food Bioprocess Technol. 3:87, published
        ("glycerol", 92.09, 1.16),
        ("sorbitol", 182.17, 1.65),
        ("xylitol", 152.15, 1.66),
        ("erythritol", 122.12, 1.34),
        ("mannitol", 182.17, 0.906),
        ("fructose", HEXOSE_G_PER_MOL, 2.15),  # published, printed by a library
        # From memory; sucrose agrees with measured solutions to 0.001.
        ("sucrose", SUCROSE_G_PER_MOL, 6.47),
        ("glucose", HEXOSE_G_PER_MOL, 2.25),
        ("maltose", SUCROSE_G_PER_MOL, 4.54),
        # Taken as the disaccharides above; our choice.
        ("lactose", SUCROSE_G_PER_MOL, 4.54),
        ("trehalose", SUCROSE_G_PER_MOL, 6.47),
    )
}
"""Sugars and polyols by name, with their constants for 25 deg C."""

SALT: Final = Solute(name="salt", molar_g=58.44, norrish_k=0.0)
SALT_FACTORS: Final = (
    (0.0, 1.0), (0.5, 0.9835), (1.0, 0.9669), (2.0, 0.9317), (3.0, 0.8932), (4.0, 0.8511),
    (6.0, 0.7598),
)  # fmt: skip
"""Molality of common salt [mol/kg] and the activity of its water at 25 deg C; published."""


@cache
def glucose_syrup(dextrose_equivalent: float) -> Solute:
    """Return the solids of a starch syrup, by their mean molar mass; from memory.

    Examples
    --------
    >>> round(glucose_syrup(42.0).molar_g)
    429
    """
    molar_g = 18016.0 / dextrose_equivalent
    return Solute(name="glucose syrup", molar_g=molar_g, norrish_k=2.25 * molar_g / 180.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterMix:
    """What takes part in the water of a mixture, in grams of each in any amount of it.

    Raises
    ------
    SpecError
        A mass is negative or not a number, or there is no water.
    """

    water_g: float
    solutes_g: Mapping[Solute, float]
    dry_g: float = 0.0
    """Starch, protein and fibre, without their water."""
    unknown: tuple[str, ...] = ()
    """Ingredients whose kinds of carbohydrate nobody said."""

    def __post_init__(self) -> None:
        for name, mass_g in (
            ("dry_g", self.dry_g),
            *((s.name, g) for s, g in self.solutes_g.items()),
        ):
            require_not_negative(name, mass_g, "g")
        if not self.water_g > 0.0:
            raise SpecError("water", self.water_g, say("kitchen.no-water"))

    def with_more(self, solute: Solute, mass_g: float) -> "WaterMix":
        """Return it with some grams more of a solute."""
        more = {solute: self.solutes_g.get(solute, 0.0) + mass_g}
        return replace(self, solutes_g={**self.solutes_g, **more})


def solution_activity(water_g: float, solutes_g: Mapping[Solute, float]) -> float:
    """Return the water activity of a solution of sugars, polyols and salt.

    Parameters
    ----------
    water_g : float
        Water that it is in [g].
    solutes_g : mapping of Solute to float
        What is dissolved in it [g]; of sucrose at most 2.04 g a gram of water.

    Returns
    -------
    float
        The higher of two: Ross's product [1]_ of what each would have alone in that water, and
        Norrish's [2]_ x_w exp(-(sum sqrt(K) x)^2) of the mixture; each times salt's factor.

    References
    ----------
    .. [1] K. D. Ross, Food Technology 29(3) (1975) 26-34.
    .. [2] R. S. Norrish, J. Food Technology 1 (1966) 25-39.

    Examples
    --------
    >>> round(solution_activity(1000.0, {SOLUTES["sucrose"]: 342.30}), 3)
    0.98
    """
    water = water_g / WATER_G_PER_MOL
    moles = [
        (_dissolved_g(solute, mass_g, water_g) / solute.molar_g, sqrt(solute.norrish_k))
        for solute, mass_g in solutes_g.items()
        if solute is not SALT
    ]
    ross = exp(fsum(_norrish(water, [each]) for each in moles))
    mixed = exp(_norrish(water, moles))
    return max(ross, mixed) * _salt_factor(
        1000.0 * solutes_g.get(SALT, 0.0) / SALT.molar_g / water_g
    )


def _norrish(water: float, moles: Sequence[tuple[float, float]]) -> float:
    """Return the logarithm of the activity; of each solute its moles and sqrt(K)."""
    total = water + fsum(n for n, _ in moles)
    return log(water / total) - fsum(root * n / total for n, root in moles) ** 2


def _dissolved_g(solute: Solute, mass_g: float, water_g: float) -> float:
    if solute is SOLUTES["sucrose"]:
        return min(mass_g, SUCROSE_PER_WATER * water_g)
    return mass_g


def _salt_factor(molality: float) -> float:
    """Return the factor of common salt, straight between the published ones, up to 6 mol/kg."""
    for (low, above), (high, below) in pairwise(SALT_FACTORS):
        if molality <= high:
            return above + (below - above) * (molality - low) / (high - low)
    return SALT_FACTORS[-1][1]


def wheat_water(activity: float, at_c: float = ROOM_AT_C) -> float:
    """Return the water that a gram of dry wheat holds, by Chung and Pfost's isotherm [g].

    -ln(-ln a (T + 93.213) / 610.34) / 15.526, T in deg C; 0 where that is negative. It stands for
    all starch, protein and fibre.
    """
    return max(0.0, -log(-log(activity) * (at_c + 93.213) / 610.34) / 15.526)


def held_water_g(mix: WaterMix, activity: float) -> float:
    """Return the water that a mixture holds in equilibrium with a water activity [g]."""
    held = mix.dry_g * wheat_water(activity)
    solids_g = fsum(mix.solutes_g.values())
    if solids_g == 0.0:
        return held
    # At `LOWEST` solutes hold more than 0.001 of their mass, at `HIGHEST` less than 1e4 times it.
    in_solution = partial(solution_activity, solutes_g=mix.solutes_g)
    return held + _where(in_solution, activity, low=1e-3 * solids_g, high=1e4 * solids_g)


def water_activity(mix: WaterMix) -> float:
    """Return the water activity of a mixture at 25 deg C.

    Returns
    -------
    float
        Where solution and dry matter together hold the water that there is; 0.3 where it is lower.
    """
    solids_g = fsum(mix.solutes_g.values())

    def in_solution(water_g: float) -> float:
        activity = solution_activity(water_g, mix.solutes_g)
        return min(max(activity, LOWEST), HIGHEST)

    def total_g(water_g: float) -> float:
        return water_g + mix.dry_g * wheat_water(in_solution(water_g))

    # The ends of `held_water_g`, but one search in the place of one within another.
    low, high = 1e-3 * solids_g, 1e4 * solids_g
    if solids_g == 0.0 or not total_g(low) < mix.water_g < total_g(high):
        return common_activity([mix])  # there is no solution, or what is dry takes its water
    return in_solution(_where(total_g, mix.water_g, low=low, high=high))


def common_activity(mixes: Iterable[WaterMix]) -> float:
    """Return the water activity of mixtures between which water, and nothing else, has moved.

    The total of what they hold is the water that there is in all of them.
    """
    each = tuple(mixes)
    water_g = fsum(mix.water_g for mix in each)
    return _where(
        lambda activity: fsum(held_water_g(mix, activity) for mix in each), water_g,
        low=LOWEST, high=HIGHEST,
    )  # fmt: skip


def _where(value: Callable[[float], float], wanted: float, *, low: float, high: float) -> float:
    """Return where a function that rises, or jumps up, reaches a value; else the nearer end."""
    # The logarithm of the ends' ratio, at most 1e7, comes down to 1e-9.
    return exp(halved(lambda x: value(exp(x)) > wanted, log(low), log(high), steps=34))


def part_mix(
    part: RecipePart, *, mass_g: float, water: float, unknown_as: Solute | None = None
) -> WaterMix:
    """Return what takes part in the water of a part of the piece.

    Sugars that a packet gives without their kinds count as sucrose, which holds the least water.

    Parameters
    ----------
    part : RecipePart
        What it is mixed of; cooking and baking change its water alone.
    mass_g : float
        How much there is of it [g].
    water : float
        Water in it, as a share of that mass.
    unknown_as : Solute or None
        What carbohydrate counts as of whose kind nothing is known; as starch where it is None.

    Raises
    ------
    SpecError
        An ingredient's composition is unknown, or there is no water.
    """
    solutes: dict[Solute, float] = {}
    dry_g = inert = 0.0
    unknown = []
    for share, line in zip(part.shares, part.ingredients, strict=True):
        known = line.known
        if known.composition is None:
            raise SpecError(line.food, "without composition", say("kitchen.composition-missing"))
        listed = named_food(line.food) or known
        parts = known.composition
        kinds = _kinds(line, listed, parts)
        is_unknown = line.sugars is None and not listed.sugar_kinds and listed.starch is None
        if is_unknown and share * parts.carbohydrate > LITTLE:
            unknown.append(line.food)
            if unknown_as is not None:
                kinds[unknown_as] = parts.carbohydrate
        for solute, each in kinds.items():
            solutes[solute] = solutes.get(solute, 0.0) + share * each
        sugar = fsum(each for solute, each in kinds.items() if solute is not SALT)
        starch = max(0.0, parts.carbohydrate - sugar)
        dry_g += share * (starch + parts.protein + parts.fibre)
        inert += share * (1.0 - parts.water)
    scale = mass_g * (1.0 - water) / inert if inert else 0.0
    return WaterMix(
        water_g=mass_g * water,
        solutes_g={solute: scale * each for solute, each in solutes.items()},
        dry_g=scale * dry_g,
        unknown=tuple(dict.fromkeys(unknown)),
    )


def _kinds(line: Ingredient, listed: Food, own: Composition) -> dict[Solute, float]:
    """Return what dissolves of a gram of a line: the packet's amounts, in the table's kinds."""
    kinds = {
        _solute(kind, listed.dextrose_equivalent): each for kind, each in listed.sugar_kinds.items()
    }
    total = fsum(kinds.values())
    if line.sugars is not None:
        wanted = line.sugars / PER_100_G
        kinds = kinds or {SOLUTES["sucrose"]: 1.0}
        total = fsum(kinds.values())
    elif listed.composition is None or not listed.composition.carbohydrate:
        wanted = total
    else:
        wanted = total * own.carbohydrate / listed.composition.carbohydrate
    kinds = {solute: each * wanted / total for solute, each in kinds.items()}
    salt = listed.nutrients.get(Nutrient.SALT, 0.0) if line.salt is None else line.salt / PER_100_G
    return kinds | ({SALT: salt} if salt else {})


def _solute(kind: Sugar, dextrose_equivalent: float | None) -> Solute:
    if kind is Sugar.GLUCOSE_SYRUP:
        assert dextrose_equivalent is not None  # noqa: S101 (the table of foods gives it)
        return glucose_syrup(dextrose_equivalent)
    return SOLUTES[kind.value]
