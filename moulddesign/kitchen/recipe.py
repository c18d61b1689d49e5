"""A recipe: what crust and filling are mixed from; density, water, masses and days that follow."""

from dataclasses import dataclass
from math import fsum, hypot
from os import PathLike
from pathlib import Path
from typing import Final, Self

from pydantic import field_validator, model_validator

from moulddesign.core import (
    G_PER_KG,
    SpecError,
    require_not_negative,
    require_positive,
    require_ratio,
    say,
    word,
)
from moulddesign.design import (
    TRADE,
    CountsIn,
    Design,
    PortionTable,
    RefusedError,
    Table,
    design_path,
    given,
    read_tables,
)
from moulddesign.design.schema import as_one_line
from moulddesign.portion import (
    ROOM_C,
    Component,
    Composition,
    Density,
    Food,
    KnownCentre,
    Loss,
    centres_g,
    component_density_g_per_ml,
    food,
    known_allergens,
    known_centres,
    loss_from_water,
    mixed_water,
    rounded_keeping_total,
)

WATER_READING_SD: Final = 0.01
"""Standard uncertainty of a finished piece's water; from memory, of a piece dried in an oven."""

PERCENT_TOLERANCE: Final = 0.5
"""How far the flours of baker's percentages may be from 100 in sum, by rounding."""


class Ingredient(Table):
    """One line of a recipe: a food by name, or with its own figures."""

    food: str = given(..., "Name of the ingredient", min_length=1, max_length=80)
    mass_g: float | None = given(None, "Mass in the recipe", unit="g", gt=0, le=1e6)
    percent: float | None = given(
        None, "Baker's percentage: of the flour, in every line of the part", gt=0, le=1e5
    )
    density_g_per_ml: float | None = given(
        None, "Its own density, instead of the table's", unit="g/mL", ge=0.2, le=3
    )
    density_sd_g_per_ml: float = given(
        0.02, "Standard uncertainty of its own density", unit="g/mL", ge=0, le=1
    )
    water: float | None = given(None, "Water in 100 g", unit="g", ge=0, le=100)
    protein: float | None = given(None, "Protein in 100 g", unit="g", ge=0, le=100)
    fat: float | None = given(None, "Fat in 100 g", unit="g", ge=0, le=100)
    carbohydrate: float | None = given(
        None, "Carbohydrate without fibre in 100 g", unit="g", ge=0, le=100
    )
    fibre: float | None = given(None, "Fibre in 100 g", unit="g", ge=0, le=100)
    ash: float | None = given(None, "Ash (minerals, salt) in 100 g", unit="g", ge=0, le=100)
    saturates: float | None = given(
        None, "Saturates in 100 g, as the packet says", unit="g", ge=0, le=100
    )
    sugars: float | None = given(
        None, "Sugars in 100 g, as the packet says", unit="g", ge=0, le=100
    )
    salt: float | None = given(None, "Salt in 100 g, as the packet says", unit="g", ge=0, le=100)
    contains: tuple[str, ...] = given(
        (), "What a bought one consists of, in the packet's order, for the label", max_length=60
    )
    allergens: tuple[str, ...] | None = given(
        None, "Its allergens, where its name does not tell them; empty for none", max_length=30
    )
    flour: bool | None = given(None, "Whether it counts as flour in baker's percentages")
    price_per_kg: float | None = given(None, "Price of a kilogram", ge=0, le=1e6)

    _name_in_a_line = field_validator("food")(as_one_line)

    @model_validator(mode="after")
    def _one_amount(self) -> Self:
        if (self.mass_g is None) == (self.percent is None):
            raise RefusedError(say("kitchen.one-amount", food=self.food))
        return self

    @field_validator("contains")
    @classmethod
    def _names_in_lines(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(as_one_line, names))

    @field_validator("allergens")
    @classmethod
    def _allergens_known(cls, names: tuple[str, ...] | None) -> tuple[str, ...] | None:
        for name in names or ():
            if name not in known_allergens():
                raise RefusedError(say("kitchen.allergen-unknown", known=tuple(known_allergens())))
        return names

    @model_validator(mode="after")
    def _parts_fit(self) -> Self:
        for part, whole in (("saturates", "fat"), ("sugars", "carbohydrate")):
            given_whole = getattr(self, whole)
            if given_whole is not None and (getattr(self, part) or 0.0) > given_whole:
                raise RefusedError(
                    say("kitchen.part-above-whole", part=word(part), whole=word(whole))
                )
        return self

    @model_validator(mode="after")
    def _has_figures(self) -> Self:
        try:
            self.known  # noqa: B018 (looked up to be refused on the file's line, not when it is used)
        except SpecError as error:
            raise RefusedError.of(error) from error
        return self

    @property
    def amount(self) -> float:
        """Mass or percentage: only its relation to the other lines counts."""
        return float(self.percent if self.mass_g is None else self.mass_g)  # type: ignore[arg-type]

    @property
    def composition(self) -> Composition | None:
        """What the line itself says that it consists of; None where it does not.

        Raises
        ------
        SpecError
            Its parts do not sum.
        """
        parts = {str(c): getattr(self, c) for c in Component if getattr(self, c) is not None}
        return Composition.of(parts) if parts else None

    @property
    def known(self) -> Food:
        """The food with this line's own figures; without any, the table's.

        Raises
        ------
        SpecError
            The name is unknown and the line has no figures, or they do not sum.
        """
        composition = self.composition
        if composition is None and self.density_g_per_ml is None:
            return food(self.food)
        return Food(
            name=self.food,
            composition=composition,
            density_g_per_ml=self.density_g_per_ml,
            density_sd_g_per_ml=self.density_sd_g_per_ml,
            flour=bool(self.flour),
            source="the recipe",
        )

    @property
    def is_flour(self) -> bool:
        """Whether it counts as the 100 % of baker's percentages."""
        return self.known.flour if self.flour is None else self.flour


class RecipePart(Table):
    """The crust, or the filling's paste."""

    ingredients: tuple[Ingredient, ...] = given(..., "Lines of the recipe", min_length=1)
    cooking_loss: float | None = given(
        None, "Share of the mixed mass that cooks off as water", ge=0, le=0.9
    )
    air: float | None = given(
        None, "Share of the volume that is air beaten or kneaded in; none where it is left out",
        ge=0, le=0.5,
    )  # fmt: skip

    @model_validator(mode="after")
    def _one_kind_of_amount(self) -> Self:
        kinds = {line.mass_g is None for line in self.ingredients}
        if len(kinds) > 1:
            raise RefusedError(say("kitchen.one-kind-of-amount"))
        flour = fsum(line.amount for line in self.ingredients if line.is_flour)
        if kinds == {True} and flour and abs(flour - 100.0) > PERCENT_TOLERANCE:
            raise RefusedError(say("kitchen.flours-not-100", total=flour))
        return self

    @property
    def shares(self) -> tuple[float, ...]:
        """Each line's share of the mixed mass."""
        total = fsum(line.amount for line in self.ingredients)
        return tuple(line.amount / total for line in self.ingredients)


class Rest(Table):
    """A time of waiting, in the order in which they come."""

    what: str = given(..., "What rests", min_length=1, max_length=80)
    days: float = given(..., "How long", unit="days", ge=0, le=366)


class RestDays(Table):
    """How long things rest before the next step; 0 is the same day."""

    syrup: float | None = given(
        None, "Syrup, from boiling to mixing the dough; no syrup day where it is left out",
        unit="days", ge=0, le=366,
    )  # fmt: skip
    paste: float = given(
        1.0, "Paste, from cooking to the bake day", unit="days", source=TRADE, ge=0, le=60
    )
    dough: float = given(
        0.0, "Dough, from mixing to the bake day", unit="days", source=TRADE, ge=0, le=60
    )
    pieces: float = given(
        2.0, "Baked pieces, until the crust is soft", unit="days", source=TRADE, ge=0, le=366
    )


class Recipe(Table):
    """Crust, filling, and how long things rest before serving."""

    name: str = given("recipe", "Name of the recipe", min_length=1, max_length=80)
    crust: RecipePart
    """Of the whole piece, where it has no filling."""
    filling: RecipePart | None = None
    days: RestDays | None = None
    rests: tuple[Rest, ...] = given((), "Resting times one after the other, in place of days")

    @model_validator(mode="after")
    def _one_calendar(self) -> Self:
        if self.days is not None and self.rests:
            raise RefusedError(say("kitchen.days-and-rests"))
        return self

    @property
    def parts(self) -> dict[str, RecipePart]:
        """Crust and, where there is one, filling by name."""
        return {"crust": self.crust} | ({} if self.filling is None else {"filling": self.filling})

    @property
    def lines(self) -> tuple[Ingredient, ...]:
        """Every line of crust and filling."""
        return tuple(line for part in self.parts.values() for line in part.ingredients)

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the recipe in a TOML file.

        Raises
        ------
        FileError
            The file cannot be read or is not TOML.
        FileMistakesError
            Keys or ingredients are unknown, or values cannot be used.
        """
        return read_tables(path, cls, cls.of)


def recipe_of(design: Design, design_file: Path | None) -> Recipe | None:
    """Return the design's recipe, sought beside the design file and then where we are.

    Parameters
    ----------
    design : Design
        Its table [batch] names the recipe's file.
    design_file : Path or None
        The file that the design was read from.

    Raises
    ------
    FileError
        The recipe cannot be read.
    SpecError
        It cannot be used.
    """
    if design.batch.recipe is None:
        return None
    path = Path(design.batch.recipe)
    beside = path if design_file is None else design_path(Path(design_file)).parent / path
    return Recipe.read(beside if beside.exists() else path)


COARSE_RATIO: Final = 0.05
"""Change by rounding, as a share, above which an ingredient needs a finer scale; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLine:
    """One ingredient of a part that was scaled to a total."""

    food: str
    percent: float
    """Of the flour; of the whole where there is no flour."""
    exact_g: float
    scaled_g: float
    """In whole steps of the scale."""
    wants_finer_scale: bool
    """Whether rounding changes it by more than 5 %."""
    price: float | None
    """Of the rounded mass; None where the recipe has none."""


def part_density(part: RecipePart, *, at_c: float = ROOM_C, cooking_loss: float = 0.0) -> Density:
    """Return the density of what a part of a recipe makes.

    Parameters
    ----------
    part : RecipePart
        Its ingredients; its own cooking loss comes before the argument.
    at_c : float
        Temperature, 0 to 100 where there is water in it [deg C].
    cooking_loss : float
        Share of the mixed mass that cooks off, where the part gives none.

    Returns
    -------
    Density
        Volumes added up, less the water that cooks off; measured densities come before the
        equations'. Scatter of the foods is taken as independent, that of the equations as shared.

    Raises
    ------
    SpecError
        More water cooks off than there is, or the temperature is out of range.
    """
    # One gram of the mixture takes sum(x_i v_i). The share l that cooks off is water: it takes its
    # volume with it, and leaves the mass 1 - l, so v = (sum(x_i v_i) - l v_water) / (1 - l).
    lost = cooked_off(part, cooking_loss)
    known = [(x, line.known) for x, line in zip(part.shares, part.ingredients, strict=True)]
    volumes = [x * item.specific_volume_ml_per_g(at_c) for x, item in known]
    steam = lost / component_density_g_per_ml(Component.WATER, at_c)
    volume = (fsum(volumes) - steam) / (1.0 - lost)
    scatter = [v * item.own_spread(at_c) for v, (_, item) in zip(volumes, known, strict=True)]
    shared = fsum(v * item.shared_spread for v, (_, item) in zip(volumes, known, strict=True))
    density = (1.0 - (part.air or 0.0)) / volume
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * hypot(shared, *scatter) / (volume * (1.0 - lost)),
        at_c=at_c,
        method="recipe (volumes of the ingredients added up)",
    )


def part_water(part: RecipePart, *, cooking_loss: float = 0.0) -> float | None:
    """Return the share of water in a part when it is wrapped.

    Returns
    -------
    float or None
        As a share of the mass; None where an ingredient's composition is unknown.

    Raises
    ------
    SpecError
        More water cooks off than there is.
    """
    lost = cooked_off(part, cooking_loss)
    water = _mixed_water(part)
    return None if water is None else (water - lost) / (1.0 - lost)


def recipe_loss(
    recipe: Recipe, table: PortionTable, *, finished_water: float, finished_water_sd: float = 0.0
) -> Loss:
    """Return the loss that a recipe's dry matter gives, with the centres of the piece.

    Parameters
    ----------
    recipe : Recipe
        Crust and filling.
    table : PortionTable
        Finished weight, ratio and centres of the piece.
    finished_water : float
        Water in the finished piece with its centres, as a share of its mass, measured or from its
        makers.
    finished_water_sd : float
        Its standard uncertainty.

    Returns
    -------
    Loss
        1 - (1 - raw water) / (1 - finished water), exact where only water leaves; its uncertainty
        to first order, with the natural scatter of each food's water.

    Raises
    ------
    SpecError
        An ingredient's or a centre's water is unknown, the centres are as heavy as the filling, or
        there is more water afterwards than before.
    """
    crust, crust_sd = known_water("crust", recipe.crust)
    if recipe.filling is None:
        raise SpecError("filling", "not given", say("kitchen.filling-missing"))
    paste, paste_sd = known_water("filling", recipe.filling)
    centres = [(centre, food_of_centre(centre)) for centre in known_centres(table)]
    inside_g, apart_g = (
        centres_g((centre for centre, _ in centres), counts_in)
        for counts_in in (CountsIn.FILLING, CountsIn.APART)
    )
    # What is dry stays: with the centres a apart and i inside, the raw mass m solves
    # (m - a) (c d_c + (1 - c) d_p) - i d_p + sum(m_z d_z) = finished (1 - w1), d = 1 - water.
    share = table.crust_share
    dry = share * (1.0 - crust) + (1.0 - share) * (1.0 - paste)
    dry_g = table.finished_weight_g * (1.0 - require_ratio("finished_water", finished_water))
    dry_g += inside_g * (1.0 - paste)
    dry_g -= fsum(centre.total_g * (1.0 - (item.water or 0.0)) for centre, item in centres)
    mixed_g = dry_g / dry
    paste_g = (1.0 - share) * mixed_g - inside_g
    if paste_g <= 0.0:
        need = say("portion.centres-outweigh-filling", filling_g=max(paste_g + inside_g, 0.0))
        raise SpecError("portion.centres", f"{inside_g:g} g", need)
    waters = [(share * mixed_g, crust, crust_sd), (paste_g, paste, paste_sd)]
    waters += [(c.total_g, item.water or 0.0, item.water_sd) for c, item in centres]
    raw_water = mixed_water([(mass_g, water) for mass_g, water, _ in waters])
    raw_sd = hypot(*(mass_g * sd for mass_g, _, sd in waters)) / (mixed_g + apart_g)
    require_not_negative("finished_water_sd", finished_water_sd, "as a share of the mass")
    slope = (1.0 - raw_water) / (1.0 - finished_water)
    return Loss(
        ratio=loss_from_water(raw_water, finished_water),
        uncertainty=hypot(raw_sd, slope * finished_water_sd) / (1.0 - finished_water),
    )


def known_water(name: str, part: RecipePart) -> tuple[float, float]:
    """Return a part's water when it is wrapped, and its scatter, as shares of its mass.

    Raises
    ------
    SpecError
        An ingredient's composition is unknown, or more water cooks off than there is.
    """
    water = part_water(part)
    if water is None:
        need = say("kitchen.composition-missing")
        raise SpecError(f"{name}.ingredients", "without composition", need)
    lines = zip(part.shares, part.ingredients, strict=True)
    scatter = hypot(*(x * line.known.water_sd for x, line in lines))
    return water, scatter / (1.0 - cooked_off(part))


def food_of_centre(centre: KnownCentre) -> Food:
    """Return the food that a centre's name names; raise `SpecError` for one of unknown water."""
    if centre.food is None or food(centre.food).water is None:
        raise SpecError("--centre", centre.name, say("kitchen.centre-water-unknown"))
    return food(centre.food)


def cooked_off(part: RecipePart, default: float = 0.0) -> float:
    """Return the share of the mixed mass that cooks off: the part's own, or what is given instead.

    Raises
    ------
    SpecError
        More water cooks off than there is.
    """
    lost = default if part.cooking_loss is None else part.cooking_loss
    water = _mixed_water(part)
    if water is not None and lost > water:
        raise SpecError("cooking_loss", lost, say("kitchen.cooks-off-more-than-water", water=water))
    return lost


def scaled(part: RecipePart, total_g: float, step_g: float) -> tuple[RecipeLine, ...]:
    """Return a part's ingredients for a mixed mass, by baker's percentages.

    Returns
    -------
    tuple of RecipeLine
        In the recipe's order; the rounded masses sum to the total within half a step.

    Raises
    ------
    SpecError
        The total or the step is not above 0.
    """
    require_positive("total_g", total_g, "g")
    exact = [x * total_g for x in part.shares]
    whole = rounded_keeping_total(exact, step_g)
    flour = fsum(line.amount for line in part.ingredients if line.is_flour)
    base = flour if flour > 0.0 else fsum(line.amount for line in part.ingredients)
    return tuple(
        RecipeLine(
            food=line.food,
            percent=100.0 * line.amount / base,
            exact_g=mass,
            scaled_g=rounded,
            wants_finer_scale=abs(rounded - mass) > COARSE_RATIO * mass,
            price=None if line.price_per_kg is None else rounded * line.price_per_kg / G_PER_KG,
        )
        for line, mass, rounded in zip(part.ingredients, exact, whole, strict=True)
    )


def _mixed_water(part: RecipePart) -> float | None:
    waters = [line.known.water for line in part.ingredients]
    if any(water is None for water in waters):
        return None
    return fsum(x * (w or 0.0) for x, w in zip(part.shares, waters, strict=True))
