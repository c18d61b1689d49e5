"""Whether a block or a casting master holds what it has to.

Meshes are in print pose: a block lies mouths up, and a tray stands open upward. One that bounds no
solid raises `SpecError` or `KernelError`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import pi, sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.core import (
    DESIGN,
    PRACTICE,
    Finding,
    KernelError,
    Message,
    Verdict,
    judged,
    say,
)
from moulddesign.geometry import (
    Mesh,
    bodies,
    box,
    filled,
    intersection,
    pieces_of_air,
    section_region,
    union,
)
from moulddesign.geometry.fill_volume import Cavity, find_cavities
from moulddesign.verify.soundness import volume_finding

WATER: Final = say("verify.portion-by-water")


PLUG_MM: Final = 3.0
"""Half the width of what closes a vent, wider than any [mm]."""
JUST_BELOW_MM: Final = 0.1
"""Vents are measured this far below the floor that they open in [mm]."""
VENT_MM: Final = 0.05
"""Largest deviation of a vent's diameter: its chords lie within 0.005 mm of the circle [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vents:
    """The vents through a part's floor, which are closed while it is filled."""

    places_mm: tuple[tuple[float, float], ...]
    floor_mm: float
    """Level of the floor that they open in [mm]."""
    diameter_mm: float


def closed(part: Mesh, vents: Vents) -> Mesh:
    """Return a part with its vents closed from the bed up to the floor."""
    if not vents.places_mm:
        return part
    low = float(part.bounds[0, 2])
    plugs = [
        box((x - PLUG_MM, y - PLUG_MM, low), (x + PLUG_MM, y + PLUG_MM, vents.floor_mm))
        for x, y in vents.places_mm
    ]
    return union([part, *plugs], say("verify.closed-vents"))


def vent_finding(part: Mesh, vents: Vents, *, name: str) -> Finding:
    """Return the diameter of the vent that is furthest from its own, measured below the floor.

    A vent that opens in a stroke is as wide as the stroke there, and one that is closed is 0.
    """
    if not vents.places_mm:
        return _vent(name, say("verify.no-room-for-vent"), vents, good=False)
    level = section_region(part, vents.floor_mm - JUST_BELOW_MM, say("verify.vents"))
    holes = shapely.get_parts(shapely.difference(filled(level), level))
    found = [
        max((2.0 * _radius_mm(hole) for hole in holes if hole.contains(place)), default=0.0)
        for place in shapely.points(np.array(vents.places_mm))
    ]
    furthest = max(found, key=lambda one: abs(one - vents.diameter_mm))
    return _vent(name, furthest, vents, good=abs(furthest - vents.diameter_mm) <= VENT_MM)


def _vent(name: str, measured: float | Message, vents: Vents, *, good: bool) -> Finding:
    is_word = isinstance(measured, Message)
    return Finding(
        what=say("verify.vent"),
        part=name,
        measured=measured,
        limit=say("core.within", value=vents.diameter_mm, tolerance=VENT_MM),
        unit="" if is_word else "mm",
        source=DESIGN,
        verdict=judged(good=good, otherwise=Verdict.WARN if is_word else Verdict.FAIL),
        remedy=say("verify.smaller-vent") if is_word else None,
    )


def block_findings(
    block: Mesh, *, target_mm3: float, count: int, part: str = "block"
) -> tuple[Finding, ...]:
    """Return whether a block has its cavities, and whether each holds the portion to the rim.

    Its vents are closed.
    """
    return _count_and_portion(
        part,
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
JUST_ABOVE_MM: Final = 0.1
"""Silicone beside the pastries is measured this far above the floor, where it is least [mm]."""
LEAST_COVER_MM: Final = 5.0
"""Least silicone over the relief and beside a pastry; common practice, no source [mm]."""
SILICONE_RATIO: Final = 0.002
"""Facets in the tray's corners hold less than its arcs by less than this, as a share."""
SPECK_MM2: Final = 1e-6
"""A section's part of this size is round-off of float32 corners, not a pastry [mm^2]."""


def tray(master: Mesh) -> Cavity:
    """Return what a tray holds when it is poured full; `KernelError` where that is nothing."""
    held = find_cavities(master)
    if not held:
        raise KernelError(say("verify.silicone"), say("verify.tray-holds-nothing"))
    return held[0]


def standing(master: Mesh, held: Cavity, lettering_mm: float = 0.0) -> tuple[Mesh, ...]:
    """Return what stands on a tray's floor inside its wall; letters are sunk into it so deep."""
    floor_mm = held.rim_mm - held.depth_mm + lettering_mm
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
    """Return what is cast: the air in the tray up to its notch; `held` is what `tray` returned."""
    low, high = master.bounds + np.array([[-1.0], [1.0]])
    high[2] = held.rim_mm
    air = pieces_of_air([master], low, high, step=say("verify.silicone"))
    inside = [part for part in air if np.all(part.bounds[0] > low + 0.5)]
    if not inside:
        raise KernelError(say("verify.silicone"), say("verify.tray-holds-nothing"))
    return max(inside, key=lambda part: part.volume_mm3)


def cast_findings(
    master: Mesh,
    held: Cavity,
    *,
    pastry_mm3: float,
    count: int,
    silicone_mm3: float,
    lettering_mm: float = 0.0,
) -> tuple[Finding, ...]:
    """Return whether the pastries stand in the tray, and what goes over them.

    `held` is what `tray` returned of the master, its vent closed. Each pastry has to have the
    volume `pastry_mm3`, the shrinkage of the silicone added; the silicone that fills the tray, by
    closed forms, is `silicone_mm3`; letters in the floor are `lettering_mm` deep.
    """
    found = standing(master, held, lettering_mm)
    side_mm = _least_side_mm(master, held.rim_mm - held.depth_mm + lettering_mm)
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
            what=say("verify.silicone-to-notch"),
            part="master",
            measured_mm3=held.volume_mm3,
            target_mm3=silicone_mm3,
            within_ratio=SILICONE_RATIO,
            source=say("verify.tray-less-pastries"),
        ),
        _least_silicone(
            say("verify.silicone-over-relief"),
            cover_mm,
            say("verify.more-cover", more_mm=LEAST_COVER_MM - cover_mm),
        ),
        _least_silicone(
            say("verify.silicone-beside-pastries"),
            side_mm,
            say("verify.more-land", more_mm=LEAST_COVER_MM - side_mm),
        ),
    )


def _least_silicone(what: Message, measured_mm: float, more: Message) -> Finding:
    """Return whether silicone is thick enough at its thinnest, and what makes it thicker."""
    good = measured_mm >= LEAST_COVER_MM
    return Finding(
        what=what,
        part="master",
        measured=measured_mm,
        limit=say("core.at-least", limit=LEAST_COVER_MM),
        unit="mm",
        source=PRACTICE,
        verdict=judged(good=good),
        remedy=None if good else more,
    )


def _least_side_mm(master: Mesh, floor_mm: float) -> float:
    """Return the least silicone beside a pastry, to the wall or to the next one [mm]."""
    level = section_region(master, floor_mm + JUST_ABOVE_MM, say("verify.what-stands-in-tray"))
    parts = [part for part in shapely.get_parts(level) if part.area > SPECK_MM2]
    return min((float(one.distance(other)) for one, other in combinations(parts, 2)), default=0.0)


def _foot_mm2(part: Mesh) -> float:
    """Return the area on which a part stands [mm^2]."""
    low = part.bounds[0, 2]
    flat = part.corners[np.all(part.corners[:, :, 2] < low + ABOVE_MM / 2.0, axis=1)]
    sides = flat[:, 1:, :2] - flat[:, :1, :2]
    return float(
        np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]).sum() / 2
    )


def _radius_mm(shape: shapely.Geometry) -> float:
    return sqrt(shape.area / pi)
