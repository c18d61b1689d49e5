"""Whether a clearance gauge and a relief sampler are what is marked on them.

Meshes are in print pose: the gauge lies on the backs of its slots, the key stands on its round, and
the sampler lies strokes up. Files that are larger by the plastic's shrinkage are measured as they
will be printed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from moulddesign.core import Finding, Message, say, within_finding
from moulddesign.geometry import Mesh, filled, section_region

GAP_MM: Final = 0.02
"""Largest deviation of a gap from its mark [mm]."""
DEPTH_MM: Final = 0.015
"""Largest deviation of a depth from its figure: 0.01 for facets that keep the draft, and half of
the figure's last decimal [mm]."""
STEP_MM: Final = 0.2
"""From one level at which gauge and key are cut to the next, a usual layer [mm]."""
BEYOND_MM: Final = 20.0
"""Longer than a slot is wide [mm]."""

Place = tuple[float, float, float]
"""x and y in the pose of the part, and what is marked there [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeMarks:
    """What is marked on a gauge."""

    slots: Sequence[Place]
    """Gap on each side of the foot; slots run along x."""
    rings: Sequence[Place]
    """Gap on each side of the round."""
    shoulder_mm: float
    """Height of the key's shoulder: the round below it, the foot above it [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedStroke:
    """A stroke of a sampler, and the depth that is marked beside it."""

    corners_mm: tuple[tuple[float, float], tuple[float, float]]
    """Two opposite corners of the rectangle around it, in the pose of the sampler [mm]."""
    depth_mm: float


def gap_findings(
    gauge: Mesh, key: Mesh, marks: GaugeMarks, *, shrink: float
) -> tuple[Finding, ...]:
    """Return whether each slot and each ring leaves its gap round the key.

    The gap of a ring is half the difference of the diameters of the circles that have the areas of
    its hole and of the round; that of a slot half the difference of its width and the foot's at the
    same depth. Each counts at the level where it is least.
    """
    shoulder = marks.shoulder_mm
    top = max(float(key.bounds[1, 2]) - shoulder, float(gauge.bounds[1, 2]))
    levels = [(float(z), _cut(gauge, float(z))) for z in np.arange(STEP_MM / 2.0, top, STEP_MM)]
    round_mm = max(_radius_mm(filled(_cut(key, z))) for z, _ in levels if z < shoulder)
    feet = [(_breadth_mm(_cut(key, shoulder + z)), level) for z, level in levels]
    found = []
    for x, y, gap in marks.slots:
        rooms = [(_room_mm(level, x, y) - foot) / 2.0 for foot, level in feet if foot]
        found.append(_gap(say("verify.slot-marked", marked_mm=gap), rooms, gap, shrink))
    for x, y, gap in marks.rings:
        bores = [hole - round_mm for _, level in levels for hole in _bores_mm(level, x, y)]
        found.append(_gap(say("verify.ring-marked", marked_mm=gap), bores, gap, shrink))
    return tuple(found)


def _gap(what: Message, gaps_mm: Sequence[float], marked_mm: float, shrink: float) -> Finding:
    """Return the least of the gaps at all levels as it will be printed; 0 where there is none."""
    measured_mm = max(0.0, min(gaps_mm, default=0.0)) * (1.0 - shrink)
    return within_finding(
        what,
        measured_mm,
        marked_mm,
        tolerance=GAP_MM,
        unit="mm",
        source=say("verify.bars-beside"),
        part="gauge",
    )


def _cut(mesh: Mesh, height_mm: float) -> BaseGeometry:
    return section_region(mesh, height_mm, say("verify.level-of-coupon"))


def _breadth_mm(section: BaseGeometry) -> float:
    """Return how wide a section is across the slots, 0 where it is empty [mm]."""
    return 0.0 if section.is_empty else float(section.bounds[3] - section.bounds[1])


def _room_mm(section: BaseGeometry, x: float, y: float) -> float:
    """Return how far it is free of plastic across the slots about a place [mm]."""
    across = shapely.LineString([(x, y - BEYOND_MM), (x, y + BEYOND_MM)])
    place = shapely.Point(x, y)
    free = shapely.get_parts(shapely.difference(across, section))
    return float(sum(part.length for part in free if part.distance(place) == 0.0))


def _bores_mm(section: BaseGeometry, x: float, y: float) -> list[float]:
    """Return the radius of the hole about a place, nothing where there is none [mm]."""
    holes = shapely.get_parts(shapely.difference(filled(section), section))
    return [_radius_mm(hole) for hole in holes if hole.contains(shapely.Point(x, y))]


def _radius_mm(shape: BaseGeometry) -> float:
    return sqrt(shape.area / pi)


def depth_finding(sampler: Mesh, strokes: Sequence[MarkedStroke], *, shrink: float) -> Finding:
    """Return the depth of the stroke that is furthest from the depth marked beside it.

    It is that of the lowest corner of the mesh in the stroke's rectangle; 0 where there is none.
    """
    pairs = [(_depth_mm(sampler, one) * (1.0 - shrink), one.depth_mm) for one in strokes]
    measured, marked = max(pairs, key=lambda pair: abs(pair[0] - pair[1]))
    return within_finding(
        say("verify.depth-marked", count=len(pairs)),
        measured,
        marked,
        tolerance=DEPTH_MM,
        unit="mm",
        source=say("verify.figure-beside"),
        part="sampler",
    )


def _depth_mm(sampler: Mesh, stroke: MarkedStroke) -> float:
    low, high = np.sort(np.array(stroke.corners_mm), axis=0)
    x_y = sampler.vertices[:, :2]
    # The floor of the plate lies below all strokes: only what is seen from above counts.
    top, floor = float(sampler.bounds[1, 2]), float(sampler.bounds[0, 2])
    inside = np.all((x_y >= low) & (x_y <= high), axis=1) & (sampler.vertices[:, 2] > floor)
    return top - float(sampler.vertices[inside, 2].min(initial=top))
