"""Whether a block, a casting master or a clearance gauge holds what it has to.

Meshes are in print pose: a block lies mouths up, and a tray stands open upward. One that bounds no
solid raises `SpecError` or `KernelError`.
"""

from collections.abc import Sequence
from math import pi, sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.core import DESIGN, PRACTICE, Finding, KernelError, Message, judged, say
from moulddesign.geometry import Mesh, bodies, box, intersection, pieces_of_air, section_region
from moulddesign.geometry.fill_volume import Cavity, find_cavities
from moulddesign.verify.soundness import volume_finding

WATER: Final = say("verify.portion-by-water")


def block_findings(block: Mesh, *, target_mm3: float, count: int) -> tuple[Finding, ...]:
    """Return whether a block has its cavities, and whether each holds the portion to the rim."""
    return _count_and_portion(
        "block",
        (say("verify.cavities-that-hold-water"), say("verify.cavity-furthest-from-portion")),
        [cavity.volume_mm3 for cavity in find_cavities(block)],
        count=count,
        target_mm3=target_mm3,
        source=WATER,
    )


def _count_and_portion(
    part: str,
    what: tuple[Message, Message],
    volumes_mm3: Sequence[float],
    *,
    count: int,
    target_mm3: float,
    source: Message,
) -> tuple[Finding, Finding]:
    """Return whether there are as many as asked for, and whether the furthest has its volume."""
    number = len(volumes_mm3)
    return (
        Finding(
            what=what[0],
            part=part,
            measured=number,
            limit=say("core.exactly", value=count),
            unit="",
            source=DESIGN,
            verdict=judged(good=number == count),
        ),
        volume_finding(
            what=what[1],
            part=part,
            measured_mm3=max(volumes_mm3, key=lambda one: abs(one - target_mm3), default=0.0),
            target_mm3=target_mm3,
            source=source,
        ),
    )


ABOVE_MM: Final = 0.001
"""The pastries are cut off this far above the floor, so that float32 noise joins none [mm]."""
LEAST_COVER_MM: Final = 5.0
"""Least silicone over the relief; common practice, no source [mm]."""
SILICONE_RATIO: Final = 0.002
"""Facets in the tray's corners hold less than its arcs by less than this, as a share."""


def tray(master: Mesh) -> Cavity:
    """Return what a tray holds when it is poured full; `KernelError` where that is nothing."""
    held = find_cavities(master)
    if not held:
        raise KernelError(say("verify.silicone"), say("verify.tray-holds-nothing"))
    return held[0]


def standing(master: Mesh, held: Cavity) -> tuple[Mesh, ...]:
    """Return what stands on a tray's floor inside its wall."""
    floor_mm = held.rim_mm - held.depth_mm
    low, high = master.bounds
    cut_from = (low[0] - 1.0, low[1] - 1.0, floor_mm + ABOVE_MM)
    above = intersection([master, box(cut_from, high + 1.0)], say("verify.what-stands-in-tray"))
    inner = low[:2] + 0.5, high[:2] - 0.5
    return tuple(
        part
        for part in bodies(above, say("verify.what-stands-in-tray"))
        if np.all(part.bounds[0, :2] > inner[0]) and np.all(part.bounds[1, :2] < inner[1])
    )


def silicone(master: Mesh, held: Cavity) -> Mesh:
    """Return what is cast: the air in the tray up to its brim; `held` is what `tray` returned."""
    low, high = master.bounds + np.array([[-1.0], [1.0]])
    high[2] = held.rim_mm
    air = pieces_of_air([master], low, high, step=say("verify.silicone"))
    inside = [part for part in air if np.all(part.bounds[0] > low + 0.5)]
    if not inside:
        raise KernelError(say("verify.silicone"), say("verify.tray-holds-nothing"))
    return max(inside, key=lambda part: part.volume_mm3)


def cast_findings(
    master: Mesh, held: Cavity, *, pastry_mm3: float, count: int, silicone_mm3: float
) -> tuple[Finding, ...]:
    """Return whether the pastries stand in the tray, and what goes over them.

    `held` is what `tray` returned of the master. Each pastry has to have the volume `pastry_mm3`,
    the shrinkage of the silicone added; the silicone that fills the tray, by closed forms, is
    `silicone_mm3`.
    """
    found = standing(master, held)
    # Each was cut off 1 um above the floor.
    volumes = [part.volume_mm3 + ABOVE_MM * _foot_mm2(part) for part in found]
    cover_mm = held.rim_mm - max((float(p.bounds[1, 2]) for p in found), default=held.rim_mm)
    return (
        *_count_and_portion(
            "master",
            (say("verify.pastries-in-tray"), say("verify.pastry-furthest-from-portion")),
            volumes,
            count=count,
            target_mm3=pastry_mm3,
            source=say("verify.portion-and-shrinkage"),
        ),
        volume_finding(
            what=say("verify.silicone-to-brim"),
            part="master",
            measured_mm3=held.volume_mm3,
            target_mm3=silicone_mm3,
            within_ratio=SILICONE_RATIO,
            source=say("verify.tray-less-pastries"),
        ),
        Finding(
            what=say("verify.silicone-over-relief"),
            part="master",
            measured=cover_mm,
            limit=say("core.at-least", limit=LEAST_COVER_MM),
            unit="mm",
            source=PRACTICE,
            verdict=judged(good=cover_mm >= LEAST_COVER_MM),
        ),
    )


def _foot_mm2(part: Mesh) -> float:
    """Return the area on which a part stands [mm^2]."""
    low = part.bounds[0, 2]
    flat = part.corners[np.all(part.corners[:, :, 2] < low + ABOVE_MM / 2.0, axis=1)]
    sides = flat[:, 1:, :2] - flat[:, :1, :2]
    return float(
        np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]).sum() / 2
    )


GAP_MM: Final = 0.02
"""Largest deviation of a gap from its mark [mm]."""


def gap_findings(
    gauge: Mesh, peg: Mesh, *, gaps_mm: Sequence[tuple[float, float, float]]
) -> tuple[Finding, ...]:
    """Return whether each hole leaves the gap round the peg that stands beside it.

    `gaps_mm` gives x and y of each hole in the pose of the gauge, and the gap that is marked. A gap
    is half the difference of the diameters of the circles that have the areas of hole and peg, cut
    at half their heights.
    """
    holes = [
        shapely.Polygon(ring)
        for part in shapely.get_parts(_middle(gauge))
        for ring in part.interiors
    ]
    radius_mm = _radius_mm(_middle(peg))
    found = []
    for x, y, marked_mm in gaps_mm:
        here = [hole for hole in holes if hole.contains(shapely.Point(x, y))]
        gap_mm = _radius_mm(here[0]) - radius_mm if here else 0.0
        found.append(
            Finding(
                what=say("verify.gap-marked", marked_mm=marked_mm),
                part="gauge",
                measured=gap_mm,
                limit=say("core.within", value=marked_mm, tolerance=GAP_MM),
                unit="mm",
                source=say("verify.mark-beside-hole"),
                verdict=judged(good=abs(gap_mm - marked_mm) <= GAP_MM),
            )
        )
    return tuple(found)


def _middle(mesh: Mesh) -> shapely.Geometry:
    return section_region(mesh, float(mesh.bounds[:, 2].mean()), say("verify.middle-of-coupon"))


def _radius_mm(shape: shapely.Geometry) -> float:
    return sqrt(shape.area / pi)
