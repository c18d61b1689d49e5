"""What follows from a recipe: density, water, masses for a batch, days."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, fsum, hypot
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.portion.composition import Component, component_density_g_per_ml
from moulddesign.portion.density import ROOM_C, Density
from moulddesign.portion.limits import positive
from moulddesign.portion.loss import loss_from_water, mixed_water
from moulddesign.portion.recipe import Part, Recipe, Rest
from moulddesign.portion.rounding import rounded_keeping_total
from moulddesign.units import G_PER_KG

COARSE: Final = 0.05
"""Change by rounding, as a share, from which an ingredient wants a finer scale; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One ingredient of a part that was scaled to a total.

    Parameters
    ----------
    food : str
        Its name.
    percent : float
        Of the flour; of the whole where there is no flour.
    exact_g, scaled_g : float
        Mass, and the same in whole steps of the scale [g].
    wants_finer_scale : bool
        Whether rounding changes it by more than 5 %.
    price : float or None
        Of the rounded mass; None where the recipe has none.
    """

    food: str
    percent: float
    exact_g: float
    scaled_g: float
    wants_finer_scale: bool
    price: float | None


def part_density(part: Part, *, at_c: float = ROOM_C, cooking_loss: float = 0.0) -> Density:
    """Return the density of what a part of a recipe makes.

    Parameters
    ----------
    part : Part
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
    lost = cooked_off(part, cooking_loss)
    known = [(x, line.known) for x, line in zip(part.shares, part.ingredients, strict=True)]
    volumes = [x * item.specific_volume_ml_per_g(at_c) for x, item in known]
    steam = lost / component_density_g_per_ml(Component.WATER, at_c)
    volume = (fsum(volumes) - steam) / (1.0 - lost)
    scatter = [v * item.own_spread(at_c) for v, (_, item) in zip(volumes, known, strict=True)]
    shared = fsum(v * item.shared_spread for v, (_, item) in zip(volumes, known, strict=True))
    density = (1.0 - part.air) / volume
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * hypot(shared, *scatter) / (volume * (1.0 - lost)),
        at_c=at_c,
        method="recipe (volumes of the ingredients added up)",
    )


def part_water(part: Part, *, cooking_loss: float = 0.0) -> float | None:
    """Return the water that is in a part when it is wrapped.

    Parameters
    ----------
    part : Part
        Its ingredients.
    cooking_loss : float
        Share of the mixed mass that cooks off, where the part gives none.

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


def recipe_loss(recipe: Recipe, *, crust_share: float, finished_water: float) -> float:
    """Return the loss that a recipe's dry matter gives, without centres.

    Parameters
    ----------
    recipe : Recipe
        Crust and filling.
    crust_share : float
        Crust as a share of the two, by mass.
    finished_water : float
        Water in the finished piece, as a share of its mass, measured or from its makers.

    Returns
    -------
    float
        1 - (1 - raw water) / (1 - finished water), exact where only water leaves.

    Raises
    ------
    SpecError
        An ingredient's water is unknown, or there is more water afterwards than before.
    """
    parts = []
    for name, part, share in (
        ("crust", recipe.crust, crust_share),
        ("filling", recipe.filling, 1.0 - crust_share),
    ):
        water = part_water(part)
        if water is None:
            raise SpecError(
                f"{name}.ingredients",
                "without composition",
                "must each have water, protein, fat and carbohydrate in 100 g for a dry-matter "
                "balance; add them beside the density",
            )
        parts.append((share, water))
    return loss_from_water(mixed_water(parts), finished_water)


def cooked_off(part: Part, otherwise: float = 0.0) -> float:
    """Return the share of the mixed mass that cooks off.

    Parameters
    ----------
    part : Part
        Its own figure comes first.
    otherwise : float
        The share where the part gives none.

    Raises
    ------
    SpecError
        More water cooks off than there is.
    """
    lost = otherwise if part.cooking_loss is None else part.cooking_loss
    water = _mixed_water(part)
    if water is not None and lost > water:
        raise SpecError(
            "cooking_loss",
            lost,
            f"must be at most {water:.3g}, the share of water in what is mixed",
        )
    return lost


def scaled(part: Part, total_g: float, step_g: float) -> tuple[Line, ...]:
    """Return a part's ingredients for a mixed mass, by baker's percentages.

    Parameters
    ----------
    part : Part
        Its ingredients.
    total_g : float
        Mass to mix [g].
    step_g : float
        Smallest step of the scale [g].

    Returns
    -------
    tuple of Line
        In the recipe's order; the rounded masses sum to the total within half a step.

    Raises
    ------
    SpecError
        The total or the step is not above 0.
    """
    positive("total_g", total_g, "g")
    exact = [x * total_g for x in part.shares]
    whole = rounded_keeping_total(exact, step_g)
    base = fsum(line.amount for line in part.ingredients if line.is_flour)
    base = base or fsum(line.amount for line in part.ingredients)
    return tuple(
        Line(
            food=line.food,
            percent=100.0 * line.amount / base,
            exact_g=mass,
            scaled_g=rounded,
            wants_finer_scale=abs(rounded - mass) > COARSE * mass,
            price=None if line.price_per_kg is None else rounded * line.price_per_kg / G_PER_KG,
        )
        for line, mass, rounded in zip(part.ingredients, exact, whole, strict=True)
    )


def calendar(rests: Sequence[Rest], serving: date) -> tuple[tuple[date, str], ...]:
    """Return the day on which each rest has to begin.

    Parameters
    ----------
    rests : sequence of Rest
        First to last.
    serving : date
        Day on which the last one ends.

    Returns
    -------
    tuple of (date, str)
        In order of time; parts of a day are counted back as whole days.
    """
    left = [fsum(rest.days for rest in rests[i:]) for i in range(len(rests))]
    return tuple(
        (serving - timedelta(days=ceil(days - 1e-9)), rest.what)
        for days, rest in zip(left, rests, strict=True)
    )


def _mixed_water(part: Part) -> float | None:
    waters = [line.known.water for line in part.ingredients]
    if any(water is None for water in waters):
        return None
    return fsum(x * (w or 0.0) for x, w in zip(part.shares, waters, strict=True))
