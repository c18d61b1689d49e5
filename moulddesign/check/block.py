"""Whether a knock-out block holds the portion in each of its cavities."""

from typing import Final

from moulddesign.check.pour import pour_cavities
from moulddesign.check.soundness import volume_finding
from moulddesign.finding import Finding, judged
from moulddesign.mesh import Mesh

WATER: Final = "the portion: masses over densities; measured by pouring water into the mesh"


def block_findings(block: Mesh, *, target_mm3: float, count: int) -> tuple[Finding, ...]:
    """Return whether a block has its cavities, and whether each holds the portion to the rim.

    Parameters
    ----------
    block : Mesh
        In print pose: mouths up [mm].
    target_mm3 : float
        What each cavity has to hold [mm^3].
    count : int
        Cavities asked for.

    Raises
    ------
    SpecError
        The mesh does not bound a solid.
    KernelError
        A boolean failed.
    """
    held_mm3 = [cavity.volume_mm3 for cavity in pour_cavities(block)]
    furthest_mm3 = max(held_mm3, key=lambda held: abs(held - target_mm3), default=0.0)
    return (
        Finding(
            name="block: cavities that hold water",
            measured=len(held_mm3),
            limit=f"{count}",
            unit="",
            source="the design",
            verdict=judged(good=len(held_mm3) == count),
        ),
        volume_finding(
            name="block: cavity that is furthest from the portion",
            measured_mm3=furthest_mm3,
            target_mm3=target_mm3,
            source=WATER,
        ),
    )
