"""What a part takes to print: grams and a likely time, from its mesh and without a slicer."""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians
from typing import Any, Final

import numpy as np

from moulddesign.core import say
from moulddesign.design import PrinterTable
from moulddesign.geometry import Mesh, normals_and_areas, section

MINUTES_PER_M: Final = 0.474
"""Time of a metre of perimeter [min].

These figures were fitted to slicings of mould parts with one usual profile: lines of 0.42 mm in
layers of 0.2, about 50 mm/s. Of 28 slicings 27 came out within 25 %.
"""
MINUTES_PER_SMALL_M: Final = 1.68
"""Time of a metre of perimeter in small loops [min]."""
MINUTES_PER_SKIN_ML: Final = 7.3
"""Time of a millilitre of top and bottom layers [min]."""
MINUTES_PER_SOLID_ML: Final = 4.3
"""Time of a millilitre of solid infill [min]."""
MINUTES_PER_SPARSE_ML: Final = 9.0
"""Time of a millilitre of plastic in sparse infill [min]."""
SMALL_LOOP_MM: Final = 41.0
"""Loops up to this length are small: they are drawn slowly [mm]."""
RANGE: Final = (0.75, 1.25)
"""Least and greatest of the likely time by the estimate."""
COVERED_DEG: Final = 38.0
"""Faces steeper than this from level have no skin: perimeters cover them [deg]."""
LEVELS: Final = 12
"""Levels at which loops are measured, each for the same length of contour."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Infill:
    """How a part is filled."""

    density: float
    """1 where it is solid."""
    perimeters: int
    top_layers: int
    bottom_layers: int


SOLID: Final = Infill(density=1.0, perimeters=3, top_layers=5, bottom_layers=4)
"""For what dough touches: no hollow that water could get into."""
LEAN: Final = Infill(density=0.25, perimeters=4, top_layers=6, bottom_layers=6)
"""For what only water touches, in washing: a shell that is tight, and little in it."""
SOLID_PARTS: Final = ("sleeve", "stamp", "block")
"""Parts that dough touches."""


def infill_of(name: str) -> Infill:
    """Return how a part of a name is filled.

    Examples
    --------
    >>> infill_of("stamp-bee").density, infill_of("plunger").density
    (1.0, 0.25)
    """
    return SOLID if name.partition("-")[0] in SOLID_PARTS else LEAN


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintEstimate:
    """Plastic and time of a part with one infill."""

    volume_mm3: float
    """Plastic that is laid."""
    minutes: float

    @property
    def likely_min(self) -> tuple[float, float]:
        """Least and greatest likely time [min]."""
        low, high = RANGE
        return low * self.minutes, high * self.minutes


def print_estimate(mesh: Mesh, printer: PrinterTable, infill: Infill) -> PrintEstimate:
    """Return the plastic and the time of a part as it lies on the bed.

    The length of all contours follows from the facets: a layer of height h cuts a facet of area A
    and level normal n over A |n| / h of length, summed over all layers. Perimeters fill at most the
    part. What is level or nearly so gets skin; the rest is infill.
    """
    layer_mm, line_mm2 = printer.layer_height_mm, printer.layer_height_mm * printer.line_width_mm
    shape = _shape(mesh)
    whole = mesh.volume_mm3
    length_mm = min(infill.perimeters * shape.contours_mm2 / layer_mm, whole / line_mm2)
    inner = whole - length_mm * line_mm2
    layers = infill.top_layers * shape.up_mm2 + infill.bottom_layers * shape.down_mm2
    skin = min(layers * layer_mm * inner / whole, inner)
    bulk = (inner - skin) * infill.density
    rate = MINUTES_PER_SOLID_ML if infill.density == 1.0 else MINUTES_PER_SPARSE_ML
    small = shape.small_ratio
    per_m = (1.0 - small) * MINUTES_PER_M + small * MINUTES_PER_SMALL_M
    return PrintEstimate(
        volume_mm3=length_mm * line_mm2 + skin + bulk,
        minutes=(length_mm * per_m + MINUTES_PER_SKIN_ML * skin + rate * bulk) / 1000.0,
    )


def print_report(name: str, mesh: Mesh, printer: PrinterTable) -> dict[str, Any]:
    """Return what a part takes with its own infill and with both, as plain values."""
    own, solid, lean = (
        print_estimate(mesh, printer, infill) for infill in (infill_of(name), SOLID, LEAN)
    )
    density = printer.plastic.density_g_per_ml
    return {
        "infill_ratio": infill_of(name).density,
        "likely_print_min": list(own.likely_min),
        "solid_likely_print_min": list(solid.likely_min),
        "lean_print_g": lean.volume_mm3 / 1000.0 * density,
        "lean_likely_print_min": list(lean.likely_min),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shape:
    """What a mesh says of its print, whatever the settings."""

    contours_mm2: float
    """Length of the contour, integrated over the height [mm^2]."""
    small_ratio: float
    """Share of it in small loops."""
    up_mm2: float
    down_mm2: float
    """Level faces seen from above and from below [mm^2]."""


@lru_cache(maxsize=32)
def _shape(mesh: Mesh) -> _Shape:
    corners = mesh.corners
    normals, areas = normals_and_areas(corners)
    walls = areas * np.hypot(normals[:, 0], normals[:, 1])
    flat = np.abs(normals[:, 2]) >= cos(radians(COVERED_DEG))
    seen = areas * normals[:, 2]
    heights = corners[:, :, 2].mean(axis=1)
    return _Shape(
        contours_mm2=float(walls.sum()),
        small_ratio=_small_ratio(mesh, heights, walls),
        up_mm2=float(seen[flat & (seen > 0.0)].sum()),
        down_mm2=-float(seen[flat & (seen < 0.0)].sum()),
    )


def _small_ratio(mesh: Mesh, heights: np.ndarray, walls: np.ndarray) -> float:
    """Return the share of the contours that lies in small loops, by some levels."""
    order = np.argsort(heights, kind="stable")
    reach = np.cumsum(walls[order])
    places = np.searchsorted(reach, (np.arange(LEVELS) + 0.5) / LEVELS * reach[-1])
    ratios = [_small_at(mesh, float(level)) for level in heights[order[places]]]
    return float(np.mean(ratios))


def _small_at(mesh: Mesh, level_mm: float) -> float:
    loops = section(mesh, level_mm, say("mould.layer"))
    lengths = [
        float(np.linalg.norm(np.diff(loop, axis=0, append=loop[:1]), axis=1).sum())
        for loop in loops
    ]
    total = sum(lengths)
    return sum(one for one in lengths if one <= SMALL_LOOP_MM) / total if total else 0.0
