"""Many pieces: foods, recipe, batch, trial. Arithmetic only.

- `foods`: common ingredients: what they consist of, how dense they are and what they are
  allergens for, with sources.
- `recipe`: A recipe: what crust and filling are mixed from, and the density, water, masses and
  days that follow.
- `batch`: A batch: how much to mix for it or what is on hand makes, what it costs, and when to
  begin.
- `trial`: what the weighings of a trial bake teach: the loss and the density as they are, and
  new weights.
- `firmness`: how firm a dough is, and the force that presses it.
- `price`: what a piece costs to make, and what it has to sell for.
- `samples`: what a few measured pieces tell: a mean with its interval, spread, outliers.
"""

from moulddesign.kitchen.batch import Batch, BatchPart, Cost, OnHand, batch, pieces_from
from moulddesign.kitchen.foods import Food, allergens, food, foods
from moulddesign.kitchen.recipe import (
    Part,
    Recipe,
    Rest,
    calendar,
    part_density,
    part_water,
    recipe_loss,
    scaled,
)
from moulddesign.kitchen.trial import (
    Mean,
    Trial,
    Weighing,
    mean_of,
    read_weighings,
    trial,
    typed_weighings,
)

__all__ = [
    "Batch",
    "BatchPart",
    "Cost",
    "Food",
    "Mean",
    "OnHand",
    "Part",
    "Recipe",
    "Rest",
    "Trial",
    "Weighing",
    "allergens",
    "batch",
    "calendar",
    "food",
    "foods",
    "mean_of",
    "part_density",
    "part_water",
    "pieces_from",
    "read_weighings",
    "recipe_loss",
    "scaled",
    "trial",
    "typed_weighings",
]
