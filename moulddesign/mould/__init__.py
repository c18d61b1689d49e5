"""Moulds: every part is a complement of the pastry.

- `cad_kernel`: bodies with exact surfaces, for STEP files.
- `kernel_shapes`: the CAD kernel's own calls: the one module that imports OCP, and imported late,
  for that takes seconds.
- `faceted`: the same bodies as facets, which every mesh comes from.
- `plans`: flat outlines that bodies are drawn from, kept as exact curves where the outline has
  them.
- `mould_set`: what every kind of mould is: named parts, how they stand on the bed, and what
  each takes to print.
- `press_joint`: the joint of a press: a foot under the plunger that slides sideways into a slot
  in the stamp, drops and locks.
- `print_estimate`: what a part takes to print: grams and a likely time, from its mesh.
- `press_layout`: every height and radius of a press, from the design and the pastry, or the
  reason why not.
- `press`: the press mould: sleeve, stamp, plunger and stop for one pastry, and stamps for others
  like it.
- `block`: the knock-out block: cavities with leaning sides, a rim around them, a handle to
  strike with.
- `cast`: the casting master: pastries standing in a walled tray, to pour silicone over.
- `coupon`: coupons to print before a mould: a clearance gauge with its key, and a relief
  sampler.
- `part_lettering`: weight, ratio and name on the parts, so that a drawer full of moulds can be
  told apart.
- `kinds`: the mould of a pastry, of whichever kind is asked for.
"""

from moulddesign.mould.block import BlockLayout
from moulddesign.mould.cad_kernel import Solid
from moulddesign.mould.cast import CastLayout
from moulddesign.mould.coupon import CouponLayout, coupons
from moulddesign.mould.kinds import (
    Mould,
    make_mould,
    refuse_full_bed,
    stop_for,
    stop_layout_for,
)
from moulddesign.mould.mould_set import MouldSet, Part, filament
from moulddesign.mould.part_lettering import inscriptions, not_food_inscription, wanted_lettering
from moulddesign.mould.press_layout import PressLayout
from moulddesign.mould.print_estimate import infill_of, print_report

__all__ = [
    "BlockLayout",
    "CastLayout",
    "CouponLayout",
    "Mould",
    "MouldSet",
    "Part",
    "PressLayout",
    "Solid",
    "coupons",
    "filament",
    "infill_of",
    "inscriptions",
    "make_mould",
    "not_food_inscription",
    "print_report",
    "refuse_full_bed",
    "stop_for",
    "stop_layout_for",
    "wanted_lettering",
]
