"""A recipe: what crust and filling are mixed from, and what follows from that."""

from collections.abc import Mapping
from math import fsum
from os import PathLike
from typing import Final, Self

from pydantic import model_validator

from moulddesign.design.design import read_toml
from moulddesign.design.quantity import Table, given
from moulddesign.errors import SpecError
from moulddesign.portion.composition import Component, Composition
from moulddesign.portion.foods import Food, food

PERCENT_TOLERANCE: Final = 0.5
"""How far the flours of baker's percentages may be from 100 in sum: rounding."""


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
    flour: bool | None = given(None, "Whether it counts as flour in baker's percentages")
    price_per_kg: float | None = given(None, "Price of a kilogram", ge=0, le=1e6)

    @model_validator(mode="after")
    def _one_amount(self) -> Self:
        if (self.mass_g is None) == (self.percent is None):
            message = f"{self.food} needs mass_g or percent, and not both"
            raise ValueError(message)
        return self

    @property
    def amount(self) -> float:
        """Mass or percentage: only its relation to the other lines counts."""
        return float(self.percent if self.mass_g is None else self.mass_g)  # type: ignore[arg-type]

    @property
    def known(self) -> Food:
        """Return the food with this line's own figures; else the table's.

        Raises
        ------
        SpecError
            The name is unknown and the line has no figures, or they do not sum.
        """
        parts = {str(c): getattr(self, c) for c in Component if getattr(self, c) is not None}
        if not parts and self.density_g_per_ml is None:
            return food(self.food)
        return Food(
            name=self.food,
            composition=_own_composition(self.food, parts) if parts else None,
            density_g_per_ml=self.density_g_per_ml,
            density_sd_g_per_ml=self.density_sd_g_per_ml,
            flour=bool(self.flour),
            source="the recipe",
        )

    @property
    def is_flour(self) -> bool:
        """Whether it counts as the 100 % of baker's percentages."""
        return self.known.flour if self.flour is None else self.flour


class Part(Table):
    """The crust, or the filling's paste."""

    ingredients: tuple[Ingredient, ...] = given(..., "Lines of the recipe", min_length=1)
    cooking_loss: float | None = given(
        None, "Share of the mixed mass that cooks off as water", ge=0, le=0.9
    )
    air: float = given(0.0, "Share of the volume that is air beaten or kneaded in", ge=0, le=0.5)

    @model_validator(mode="after")
    def _one_kind_of_amount(self) -> Self:
        kinds = {line.mass_g is None for line in self.ingredients}
        if len(kinds) > 1:
            message = "needs mass_g in every line or percent in every line"
            raise ValueError(message)
        flour = fsum(line.amount for line in self.ingredients if line.is_flour)
        if kinds == {True} and flour and abs(flour - 100.0) > PERCENT_TOLERANCE:
            message = f"needs flours that sum to 100 percent, and they sum to {flour:g}"
            raise ValueError(message)
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


class Recipe(Table):
    """Crust, filling, and how long things rest before serving."""

    name: str = given("recipe", "Name of the recipe", min_length=1, max_length=80)
    crust: Part
    filling: Part
    rests: tuple[Rest, ...] = given((), "Resting times, first to last")

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the recipe in a TOML file.

        Raises
        ------
        FileError
            The file cannot be read or is not TOML.
        SpecError
            A key or an ingredient is unknown, or a value cannot be used.
        """
        return cls.of(read_toml(path))


def _own_composition(name: str, parts: Mapping[str, float]) -> Composition:
    try:
        return Composition.of(parts)
    except SpecError as error:
        raise SpecError(f"{name}: {error.field}", error.value, error.need) from error
