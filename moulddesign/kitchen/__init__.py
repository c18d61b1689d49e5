"""Many pieces: recipe, batch, trial, price. Arithmetic only.

- `recipe`: what crust and filling are mixed from; the density, water and masses that follow.
- `schedule`: the days before serving, and the hours of the bake day.
- `ingredient_list`: the ingredients of a label by weight, with allergens and the filling's share.
- `nutrition`: the nutrition declaration, where every figure has a source.
- `food_label`: the whole label of a pack, and what is left to local law.
- `batch`: how much to mix, or how many pieces what is on hand makes; its cost, boxes, allergens.
- `joint_batch`: several designs in one batch, with the doughs that they share; how often their
  moulds are filled, and what is marked on them.
- `counts_on_hand`: how many pieces of each of several designs what is on hand makes.
- `trial`: what the weighings of a trial bake say: loss and density, and new weights.
- `firmness`: how firm a dough is, and the force that presses it.
- `syrup`: what a pot of syrup weighs, and what a thermometer shows in it, when it is done.
- `oven`: when the middle of a piece is hot.
- `water_activity`: water activity of a mixture of sugars, starch, protein and fibre.
- `piece_water`: water of crust, paste and piece from the recipe to the finished piece.
- `piece_activity`: the water activity that goes with it, and what would lower it.
- `price`: what a piece costs to make, and what it has to sell for.
- `pooling`: what several trials of one dough say, and what of it goes into a design.
- `samples`: what a few measured pieces tell: a mean with its interval, spread, outliers.
"""

from moulddesign.kitchen.recipe import (
    Recipe,
    RecipeLine,
    RecipePart,
    Rest,
    part_density,
    part_water,
    recipe_loss,
    recipe_of,
    scaled,
)

__all__ = [
    "Recipe",
    "RecipeLine",
    "RecipePart",
    "Rest",
    "part_density",
    "part_water",
    "recipe_loss",
    "recipe_of",
    "scaled",
]
