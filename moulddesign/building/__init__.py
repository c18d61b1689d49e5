"""Design -> Build: the composition, and which checks each kind of mould needs.

- `artwork_findings`: what becomes of each layer of artwork: legible, covered, grey, ragged.
- `piece_findings`: what is checked of every piece, whatever mould it comes from.
- `press_findings`: what is checked of a press, under each of its stamps.
- `checks`: what is checked of each kind of mould: the numbers of the design go to `verify`.
- `remedies`: the smallest change of a design that mends what was found of its piece.
- `sizes`: one design in several weights: what grows with the piece, and what printing and dough
  keep.
- `least_weight`: the least weight from which a piece holds what a lighter one does not.
- `sleeve_weights`: which weights one sleeve presses, with other stops and shims.
- `composition`: the one composition: a Design becomes a Portion, a Pastry, a mould, and findings
  about them.
- `notebook`: what a notebook shows of a build, as HTML or a picture.
- `kept_parts`: the file of a set: what its press keeps for parts made later, and its sizes.
"""

from moulddesign.building.checks import begin_findings, exact_findings
from moulddesign.building.composition import (
    PASTRY,
    Build,
    Inlay,
    Shape,
    build,
    coarse_shape,
    inlays,
    mould_of,
    shaped,
    stop_for_weight,
)
from moulddesign.building.kept_parts import set_file
from moulddesign.building.piece_findings import CheckInput

__all__ = [
    "PASTRY",
    "Build",
    "CheckInput",
    "Inlay",
    "Shape",
    "begin_findings",
    "build",
    "coarse_shape",
    "exact_findings",
    "inlays",
    "mould_of",
    "set_file",
    "shaped",
    "stop_for_weight",
]
