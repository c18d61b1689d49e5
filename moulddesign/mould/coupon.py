"""Coupons to print before a mould: a clearance gauge with its peg, and a relief sampler."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.affinity import translate

from moulddesign.artwork.outline import Outline, exterior_points, outline_of_points
from moulddesign.core import say
from moulddesign.design import Design, Profile
from moulddesign.geometry import Mesh, difference
from moulddesign.mould import faceted
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.plans import RISE, CircleCurve, text_region
from moulddesign.pastry.pastry import shoulder_roof, top_surface
from moulddesign.relief.medial_axis import snapped_to_grid
from moulddesign.relief.roof import ReliefRegion

CLEARANCES_MM: Final = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
"""Gaps on each side that the gauge offers [mm]."""

PEG_MM: Final = 20.0
"""Diameter of the gauge's peg; our choice [mm]."""

PLATE_MM: Final = 8.0
"""Thickness of the gauge, over which the peg is guided; our choice [mm]."""

PEG_LENGTH_MM: Final = 18.0
"""Length of the peg, so that it is held while it is tried; our choice [mm]."""

STROKES_MM: Final = (0.4, 0.6, 0.8, 1.0, 1.3, 1.6)
"""Widths of the sampler's strokes, and of the gaps between them [mm]."""

DEPTHS_MM: Final = (0.6, 1.0, 1.4, 1.8, 2.2)
"""Depths of the sampler's strokes [mm]."""

MARK_MM: Final = 5.0
"""Height of the figures; our choice [mm]."""

MARK_DEPTH_MM: Final = 0.6
"""Depth of the figures, three usual layers; our choice [mm]."""

MARK_DRAFT_DEG: Final = 10.0
"""Draft of the figures' walls, so that dough and crumbs come out; our choice [deg]."""

CHAMFER_MM: Final = 0.6
"""Chamfer of holes and of the peg, which keeps the first layer's flare out of the fit [mm]."""

CORNER_MM: Final = 5.0
"""Corners of the plates; our choice [mm]."""

TOP_EDGE_MM: Final = 1.0
"""Rounded top edge of the gauge; our choice [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond the body that it cuts [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CouponLayout:
    """Where the gauge's holes are, and how wide."""

    peg_mm: float
    holes_mm: tuple[tuple[float, float, float], ...]
    """x and y of each hole on the gauge, and the gap on each side round the peg in it [mm]."""


def coupons(design: Design) -> MouldSet[CouponLayout]:
    """Return the coupons for a design's printer: `gauge` with `peg`, and `sampler`.

    The figures of the sampler read right on the dough. `SpecError` where the bed is too small.
    """
    layout = CouponLayout(peg_mm=PEG_MM, holes_mm=_holes())
    made = {"gauge": gauge(layout), "peg": peg(layout), "sampler": sampler(design.relief.draft_deg)}
    parts = tuple(
        Part(name=name, mesh=mesh, pose=pose_on_bed(mesh, design.printer, half_turns=0, name=name))
        for name, mesh in made.items()
    )
    return MouldSet(parts=parts, layout=layout)


def gauge(layout: CouponLayout) -> Mesh:
    """Return the plate with a marked hole for each gap; the table is z = 0."""
    figures = [
        text_region(f"{gap:.1f}", height_mm=MARK_MM, at_mm=(x, y + layout.peg_mm / 2.0 + MARK_MM))
        for x, y, gap in layout.holes_mm
    ]
    outline = _plate(92.0, 74.0)
    edge = shoulder_roof(outline, radius_mm=TOP_EDGE_MM, inset_mm=0.0)
    marks = _region(figures, -MARK_DEPTH_MM, MARK_DRAFT_DEG)
    body = top_surface(edge, (marks.roof(),)).solid(PLATE_MM, 0.0)
    return difference(
        body, [_hole(layout.peg_mm, hole) for hole in layout.holes_mm], say("mould.gauge")
    )


def peg(layout: CouponLayout) -> Mesh:
    """Return the peg that goes into the gauge's holes, standing on the table z = 0."""
    full, narrow = (
        CircleCurve(radius_mm=layout.peg_mm / 2.0),
        CircleCurve(radius_mm=layout.peg_mm / 2.0 - CHAMFER_MM),
    )
    rise = RISE * CHAMFER_MM
    levels = [
        (0.0, narrow), (rise, full), (PEG_LENGTH_MM - rise, full), (PEG_LENGTH_MM, narrow),
    ]  # fmt: skip
    return faceted.loft(levels, say("mould.gauge-peg"))


def sampler(draft_deg: float) -> Mesh:
    """Return the plate that is pressed into dough: strokes engraved, face up on the table z = 0.

    Narrow strokes stay shallower by themselves, as they do in a mould.
    """
    regions = [_region(_bars(row), depth, draft_deg) for row, depth in enumerate(DEPTHS_MM)]
    regions.append(_region(_sampler_figures(), MARK_DEPTH_MM, MARK_DRAFT_DEG))
    edge = shoulder_roof(_plate(96.0, 86.0), radius_mm=0.0, inset_mm=0.0)
    dough = top_surface(edge, tuple(region.roof() for region in regions))
    thickness_mm = max(DEPTHS_MM) + 2.4
    lying = dough.solid(0.0, thickness_mm).turned_over()
    return lying.moved((0.0, 0.0, -float(lying.bounds[0, 2])))


def _holes() -> tuple[tuple[float, float, float], ...]:
    """Return two rows of three holes, the smallest gap first."""
    return tuple(
        (30.0 * (number % 3 - 1), 13.0 - 35.0 * (number // 3), gap)
        for number, gap in enumerate(CLEARANCES_MM)
    )


def _hole(peg_mm: float, hole: tuple[float, float, float]) -> Mesh:
    x, y, gap = hole
    radius = peg_mm / 2.0 + gap
    rise, over = RISE * CHAMFER_MM, RISE * OVER_MM
    profile = [
        (0.0, -over), (radius + CHAMFER_MM + OVER_MM, -over), (radius, rise),
        (radius, PLATE_MM - rise), (radius + CHAMFER_MM + OVER_MM, PLATE_MM + over),
        (0.0, PLATE_MM + over),
    ]  # fmt: skip
    return faceted.revolve(profile, say("mould.gauge-hole")).moved((x, y, 0.0))


def _bars(row: int) -> list[shapely.Geometry]:
    """Return two bars of each width, as far apart as they are wide."""
    y = 22.0 - 14.0 * row
    bars = []
    for number, width in enumerate(STROKES_MM):
        x = -26.0 + 13.0 * number
        bar = shapely.LineString([(0.0, -4.0), (0.0, 4.0)]).buffer(width / 2.0, quad_segs=4)
        bars += [translate(bar, x - width, y), translate(bar, x + width, y)]
    return bars


def _sampler_figures() -> list[shapely.Geometry]:
    """Return widths along the top and depths down the left, as they read on the dough."""
    widths = [
        text_region(f"{width:.1f}", height_mm=4.0, at_mm=(-26.0 + 13.0 * number, 35.0))
        for number, width in enumerate(STROKES_MM)
    ]
    depths = [
        text_region(f"{depth:.1f}", height_mm=4.0, at_mm=(-40.0, 22.0 - 14.0 * row))
        for row, depth in enumerate(DEPTHS_MM)
    ]
    return widths + depths


def _region(shapes: list[shapely.Geometry], depth_mm: float, draft_deg: float) -> ReliefRegion:
    return ReliefRegion(
        shape=snapped_to_grid(shapely.union_all(shapes)),
        depth_mm=depth_mm,
        profile=Profile.FLAT,
        draft_deg=draft_deg,
    )


def _plate(width_mm: float, depth_mm: float) -> Outline:
    box = shapely.box(-width_mm / 2.0, -depth_mm / 2.0, width_mm / 2.0, depth_mm / 2.0)
    rounded = box.buffer(-CORNER_MM).buffer(CORNER_MM, quad_segs=24)
    return outline_of_points("drawn", np.array(exterior_points(rounded)))
