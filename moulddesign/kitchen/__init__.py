"""Many pieces: recipe, batch, trial, price. Arithmetic only.

- `recipe`: what crust and filling are mixed from; the density, water, masses and days that
  follow.
- `batch`: how much to mix, or how many pieces what is on hand makes; its cost; when to begin.
- `trial`: what the weighings of a trial bake say: loss and density, and new weights.
- `firmness`: how firm a dough is, and the force that presses it.
- `price`: what a piece costs to make, and what it has to sell for.
- `samples`: what a few measured pieces tell: a mean with its interval, spread, outliers.
"""

from moulddesign.kitchen.batch import Batch, BatchPart, Cost, OnHand, batch, pieces_from
from moulddesign.kitchen.recipe import (
    Recipe,
    RecipePart,
    Rest,
    calendar,
    part_density,
    part_water,
    recipe_loss,
    scaled,
)
from moulddesign.kitchen.samples import Estimate, estimate
from moulddesign.kitchen.trial import (
    Trial,
    WeighedPiece,
    Weighing,
    read_weighings,
    trial,
    typed_weighings,
)

__all__ = [
    "Batch",
    "BatchPart",
    "Cost",
    "Estimate",
    "OnHand",
    "Recipe",
    "RecipePart",
    "Rest",
    "Trial",
    "WeighedPiece",
    "Weighing",
    "batch",
    "calendar",
    "estimate",
    "part_density",
    "part_water",
    "pieces_from",
    "read_weighings",
    "recipe_loss",
    "scaled",
    "trial",
    "typed_weighings",
]
