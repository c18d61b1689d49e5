"""One piece by weight: masses, volumes, densities, spread. No geometry library.

- `allergens`: which allergens names of ingredients point to, and who asks for them on a label.
- `centres`: what is known of a centre: its figures, or those of the food that its name names.
- `density`: density of a dough or a paste, in whichever way a kitchen can find it.
- `foods`: common ingredients: what they consist of, densities, nutrients, allergens, sources.
- `loss`: what baking and resting take: as given, from the water of each part, or unmeasured.
- `portion`: masses and volumes of one piece, from its finished weight; masses as a scale shows
  them.
- `spread`: how far pieces scatter: from the scale, the hand, the centres, the densities, the
  loss.
- `shaping`: the piece before it is pressed: balls, the roll that enters the bore, the wrapping
  disc.
- `label`: the packers' rules: which raw weight satisfies the weight on a label.
- `printed_sizes`: what a press presses as it came off the printer, by caliper readings.
- `figures`: all figures of one piece in one value, for whoever prints them.
"""

from moulddesign.portion.allergens import Allergen, allergen_groups, allergens_in, known_allergens
from moulddesign.portion.centres import (
    AllergenList,
    KnownCentre,
    allergen_list,
    allergens_of_food,
    centres_g,
    food_of,
    known_centre,
    known_centres,
)
from moulddesign.portion.density import (
    DENOMINATOR,
    EQUATIONS_SPREAD,
    LEAST_G_PER_ML,
    LEVEL_SPREAD,
    MOST_G_PER_ML,
    NUMERATOR,
    PACKING_VOIDS,
    ROOM_C,
    SHARE_SD,
    Component,
    Composition,
    Density,
    NutritionLabel,
    component_density_g_per_ml,
    density_from_composition,
    density_from_cup,
    density_from_displacement,
    density_from_label,
    label_sd,
    water_density_g_per_ml,
)
from moulddesign.portion.figures import Figures, cautions_of, figures
from moulddesign.portion.foods import Food, Nutrient, Sugar, food, foods
from moulddesign.portion.label import (
    LabelTarget,
    PackerRule,
    Scatter,
    label_target,
    least_raw_g,
    share_below,
    tolerable_deficiency_g,
)
from moulddesign.portion.loss import (
    Drying,
    Loss,
    LossSource,
    finished_from_raw_g,
    loss_from_water,
    loss_from_weighing,
    loss_of_parts,
    mixed_water,
    raw_from_finished_g,
)
from moulddesign.portion.portion import (
    Portion,
    Split,
    TrialMould,
    finished_filling_g,
    portion,
    rounded_keeping_total,
    split_on_scale,
)
from moulddesign.portion.printed_sizes import PrintedSet, printed_set
from moulddesign.portion.shaping import (
    Roll,
    ball_diameter_mm,
    balls,
    block_for_bore,
    cylinder_for_bore,
    disc_diameter_mm,
    roll_for,
    shell_thickness_mm,
)
from moulddesign.portion.spread import Spread, spread

__all__ = [
    "DENOMINATOR",
    "EQUATIONS_SPREAD",
    "LEAST_G_PER_ML",
    "LEVEL_SPREAD",
    "MOST_G_PER_ML",
    "NUMERATOR",
    "PACKING_VOIDS",
    "ROOM_C",
    "SHARE_SD",
    "Allergen",
    "AllergenList",
    "Component",
    "Composition",
    "Density",
    "Drying",
    "Figures",
    "Food",
    "KnownCentre",
    "LabelTarget",
    "Loss",
    "LossSource",
    "Nutrient",
    "NutritionLabel",
    "PackerRule",
    "Portion",
    "PrintedSet",
    "Roll",
    "Scatter",
    "Split",
    "Spread",
    "Sugar",
    "TrialMould",
    "allergen_groups",
    "allergen_list",
    "allergens_in",
    "allergens_of_food",
    "ball_diameter_mm",
    "balls",
    "block_for_bore",
    "cautions_of",
    "centres_g",
    "component_density_g_per_ml",
    "cylinder_for_bore",
    "density_from_composition",
    "density_from_cup",
    "density_from_displacement",
    "density_from_label",
    "disc_diameter_mm",
    "figures",
    "finished_filling_g",
    "finished_from_raw_g",
    "food",
    "food_of",
    "foods",
    "known_allergens",
    "known_centre",
    "known_centres",
    "label_sd",
    "label_target",
    "least_raw_g",
    "loss_from_water",
    "loss_from_weighing",
    "loss_of_parts",
    "mixed_water",
    "portion",
    "printed_set",
    "raw_from_finished_g",
    "roll_for",
    "rounded_keeping_total",
    "share_below",
    "shell_thickness_mm",
    "split_on_scale",
    "spread",
    "tolerable_deficiency_g",
    "water_density_g_per_ml",
]
