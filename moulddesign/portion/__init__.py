"""Arithmetic of the piece: masses, volumes, densities. No geometry library."""

from moulddesign.portion.batch import Batch, BatchPart, Cost, Packed, batch
from moulddesign.portion.capacity import PressedIn, finished_filling_g
from moulddesign.portion.composition import Component, Composition, component_density_g_per_ml
from moulddesign.portion.density import (
    ROOM_C,
    Density,
    NutritionLabel,
    density_from_composition,
    density_from_label,
)
from moulddesign.portion.figures import Figures, figures
from moulddesign.portion.foods import Food, food, foods
from moulddesign.portion.label import LabelTarget, Rule, label_target, tolerable_deficiency_g
from moulddesign.portion.loss import loss_from_water, loss_from_weighing, mixed_water
from moulddesign.portion.mixture import (
    Line,
    calendar,
    part_density,
    part_water,
    recipe_loss,
    scaled,
)
from moulddesign.portion.portion import Portion, portion, raw_mass_g
from moulddesign.portion.recipe import Ingredient, Part, Recipe, Rest
from moulddesign.portion.rounding import Split, rounded_keeping_total, split_on_scale
from moulddesign.portion.shaping import (
    Balls,
    Roll,
    ball_diameter_mm,
    balls,
    block_for_bore,
    cylinder_for_bore,
    disc_diameter_mm,
    roll_for,
    shell_thickness_mm,
)
from moulddesign.portion.spread import Cause, Spread, spread
from moulddesign.portion.stock import OnHand
from moulddesign.portion.trial import Mean, Trial, mean_of, trial
from moulddesign.portion.vessel import density_from_cup, density_from_displacement
from moulddesign.portion.water import water_density_g_per_ml
from moulddesign.portion.weighings import Weighing, read_weighings, typed_weighings

__all__ = [
    "ROOM_C",
    "Balls",
    "Batch",
    "BatchPart",
    "Cause",
    "Component",
    "Composition",
    "Cost",
    "Density",
    "Figures",
    "Food",
    "Ingredient",
    "LabelTarget",
    "Line",
    "Mean",
    "NutritionLabel",
    "OnHand",
    "Packed",
    "Part",
    "Portion",
    "PressedIn",
    "Recipe",
    "Rest",
    "Roll",
    "Rule",
    "Split",
    "Spread",
    "Trial",
    "Weighing",
    "ball_diameter_mm",
    "balls",
    "batch",
    "block_for_bore",
    "calendar",
    "component_density_g_per_ml",
    "cylinder_for_bore",
    "density_from_composition",
    "density_from_cup",
    "density_from_displacement",
    "density_from_label",
    "disc_diameter_mm",
    "figures",
    "finished_filling_g",
    "food",
    "foods",
    "label_target",
    "loss_from_water",
    "loss_from_weighing",
    "mean_of",
    "mixed_water",
    "part_density",
    "part_water",
    "portion",
    "raw_mass_g",
    "read_weighings",
    "recipe_loss",
    "roll_for",
    "rounded_keeping_total",
    "scaled",
    "shell_thickness_mm",
    "split_on_scale",
    "spread",
    "tolerable_deficiency_g",
    "trial",
    "typed_weighings",
    "water_density_g_per_ml",
]  # fmt: skip
