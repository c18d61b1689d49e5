"""Design -> Build: the composition, and which proofs each kind of mould owes.

- `proofs`: what a build has to prove, kind by kind: the numbers of the design go to the checks.
- `composition`: the one composition: a Design becomes a Portion, a Pastry, a mould, and findings
  about them.
"""

from moulddesign.building.composition import PASTRY, Build, Shape, build, shaped
from moulddesign.building.proofs import Evidence, proven

__all__ = [
    "PASTRY",
    "Build",
    "Evidence",
    "Shape",
    "build",
    "proven",
    "shaped",
]
