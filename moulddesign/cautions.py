"""What can hurt someone, said in plain words on every build."""

from typing import Final

CAUTIONS: Final = (
    (
        "Printed plastic is not food-safe by default: layer lines hold residue, brass nozzles "
        "carry lead, dyes and unknown additives migrate."
    ),
    (
        "Print with undyed filament that has a food-contact declaration, through a stainless "
        "nozzle kept for it; press through cling film, or cast a silicone mould from a master."
    ),
    (
        "Wash by hand in warm water below the plastic's softening point, never in a dishwasher "
        "unless the plastic allows it; never bake in a printed mould; replace it when scratched "
        "or after a season."
    ),
    "Silicone: food-grade, cured as its maker says; printed masters can inhibit the cure.",
    "Fingers: keep them out from between stamp, sleeve and palm disc.",
    "Kitchen: boiling syrup and lye water burn skin and eyes.",
    "Allergens: wheat, egg, nuts, sesame and soya are usual in these pastries; label them.",
    "Centre temperature and shelf life follow local food rules; selling may need a licence.",
    "All of this defers to local codes and licensed practice.",
)
"""Cautions that go with every build, in the order of printing, bench and shop."""
