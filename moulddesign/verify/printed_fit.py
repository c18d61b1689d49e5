"""Whether a press goes together, works and comes apart as it is printed, not as it is drawn."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import ceil, pi
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from moulddesign.core import Finding, say, within_finding
from moulddesign.geometry import Indices, Points, booleans
from moulddesign.verify.printed_joint import joint_findings
from moulddesign.verify.printed_layers import (
    ROUND_OFF_MM,
    PrintedLayers,
    Shapes,
    eroded,
    swept,
)
from moulddesign.verify.printed_press import (
    LEAST_BEARING_MM2,
    NEAR_MM,
    PrintedPress,
    each,
    farthest_mm,
    gaps_mm,
    inside_mm,
    moved_by,
    smaller,
)

LIFT_MM: Final = 0.4
"""By this more than its lip is high the disc is lifted when the stop comes off [mm]."""
DIRECTIONS: Final = 16
"""Directions in which the stop is pushed."""


def stop_fit_findings(made: PrintedPress) -> tuple[Finding, ...]:
    """Return whether stop and plunger fit and work at printing error, a finding a question."""
    gap = _bore_gap(made, made.shadows[1], shapely.Polygon(), part="plunger")
    return (gap, *_stop_findings(_Stop(made=made)))


def stamp_fit_findings(made: PrintedPress) -> tuple[Finding, ...]:
    """Return whether a stamp fits plunger and sleeve at printing error, a finding a question."""
    back = made.layers(made.press.stamp, made.back_mm - made.layer_mm, np.inf)
    return (
        *joint_findings(made),
        _bore_gap(made, made.shadows[0], back.layer(len(back) - 1), part="stamp"),
    )


def _bore_gap(
    made: PrintedPress, inside: BaseGeometry, first: BaseGeometry, *, part: str
) -> Finding:
    """Return the gap left between the bore and what slides in it, over the whole stroke.

    A part that moves along z sweeps a prism over its shadow: what holds for the shadows holds at
    every height. `first` is the part's first layer on the bed, if that comes into the bore.
    """
    gap_mm = min(
        inside_mm(inside, made.press.bore),
        inside_mm(first, made.press.bore) - made.flare_mm,
        inside_mm(inside, booleans.hole(made.flange)) - made.flare_mm,
    )
    return made.gap_finding(say("verify.gap-left-in-bore"), gap_mm, part)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Stop:
    """The stop on the flange, and what of the plunger is beside and over it.

    A lift is the number of layers by which the disc is above the stop.
    """

    made: PrintedPress

    @cached_property
    def stop(self) -> PrintedLayers:
        """The whole stop."""
        return self.made.layers(self.made.press.stop, -np.inf, np.inf)

    @property
    def top_mm(self) -> float:
        """Top of the printed stop [mm]."""
        return self.stop.low_mm + len(self.stop) * self.made.layer_mm

    @property
    def lip_mm(self) -> float:
        """Underside of the disc's lip: the lowest that is wider than the bore [mm]."""
        return min(self.made.rim_mm + self.made.press.travel_mm, self.top_mm + NEAR_MM)

    @cached_property
    def plunger(self) -> PrintedLayers:
        """The plunger from as far under the sleeve's rim as it is lifted for the stop, upwards."""
        lifted_mm = max(0.0, self.top_mm + NEAR_MM - self.lip_mm) + LIFT_MM
        return self.made.layers(self.made.press.plunger, self.made.rim_mm - lifted_mm, np.inf)

    @cached_property
    def under(self) -> int:
        """Lowest layer of the disc that lies on the stop's top; the highest one where none does."""
        top = self.stop.layer(len(self.stop) - 1)
        covers = shapely.area(shapely.intersection(self.plunger.shapes, top)) > top.area / 2.0
        rows = np.flatnonzero(covers[self.plunger.kinds])
        return int(rows.min(initial=len(self.plunger) - 1))

    @property
    def over_mm(self) -> float:
        """Room between the stop's top and the disc in assembly pose [mm]."""
        return float(self.plunger.bottoms_mm[self.under]) - self.top_mm

    @property
    def lift_off(self) -> int:
        """Lift at which the stop comes off sideways."""
        lip_mm = max(0.0, float(self.plunger.bottoms_mm[self.under]) - self.lip_mm)
        return ceil((lip_mm + LIFT_MM) / self.made.layer_mm - ROUND_OFF_MM)

    def facing(self, lift: int, above_mm: float = 0.0) -> tuple[Indices, Indices]:
        """Return the distinct pairs of sections of stop and plunger that are at the same height.

        Left out is the disc, on which the stop lies, and what of the plunger is not above a height.
        """
        rows = np.arange(len(self.stop))
        others = rows + self.under - len(self.stop) - lift
        lowest = max(0, self.plunger.row(above_mm))
        there = (others >= lowest) & (others < self.under)
        pairs = np.stack([self.stop.kinds[rows[there]], self.plunger.kinds[others[there]]])
        stop, plunger = np.unique(pairs, axis=1)
        return stop, plunger

    def apart_mm(self, moved: Shapes, lift: int) -> float:
        """Return how near the stop, moved, comes to the plunger from a lift to the next [mm]."""
        return min(
            float(gaps_mm(moved[stop], self.plunger.shapes[plunger]).min(initial=NEAR_MM))
            for stop, plunger in (self.facing(lift), self.facing(lift + 1))
        )


def _stop_findings(of: _Stop) -> Iterator[Finding]:
    """Yield whether the stop fits, bears and comes off, and the pastry then comes out."""
    made = of.made
    yield made.gap_finding(say("verify.stop-in-lip"), of.apart_mm(of.stop.shapes, 0), "stop")
    yield within_finding(
        say("verify.room-over-stop"),
        of.over_mm,
        made.over_stop_mm,
        tolerance=made.layer_mm / 2.0,
        unit="mm",
        source=made.source,
        part="stop",
        round_off=ROUND_OFF_MM,
    )
    bearing = say("verify.stop-bears")
    yield made.least_finding(bearing, _bearing_mm2(of), (LEAST_BEARING_MM2, "mm2"), part="stop")
    off_mm = of.apart_mm(each(swept, of.stop.shapes), of.lift_off)
    yield made.gap_finding(say("verify.stop-comes-off"), off_mm, "stop")
    past_mm = _past_rim_mm(of)
    farther = say("verify.farther-past-rim", more_mm=-past_mm)
    yield made.least_finding(say("verify.face-past-rim"), past_mm, (0.0, "mm"), remedy=farther)


def _bearing_mm2(of: _Stop) -> float:
    """Return the least area on which a small stop lies, at flange or disc, wherever it is pushed.

    It is pushed until the lip stops it, and the plunger until the bore does. It is none where, all
    in the middle, a push on the disc does not come down between the parts of each area.
    """
    made = of.made
    disc, flange, low, top = (
        smaller(shape, made.error_mm)
        for shape in (
            of.plunger.layer(of.under),
            made.flange,
            of.stop.layer(0),
            of.stop.layer(len(of.stop) - 1),
        )
    )
    axis = shapely.Point(0.0, 0.0)
    if not all(
        (one & other).convex_hull.covers(axis) for one, other in ((top, disc), (low, flange))
    ):
        return 0.0
    beside, lip = of.facing(0, of.lip_mm)
    moving = eroded(of.stop.shapes[beside], made.error_mm)
    standing = eroded(of.plunger.shapes[lip], made.error_mm)
    shapely.prepare(standing)
    angles = 2.0 * pi * np.arange(DIRECTIONS) / DIRECTIONS
    directions = np.column_stack([np.cos(angles), np.sin(angles)])
    areas_mm2 = []
    for to, play_mm in zip(directions, made.plays_mm(made.shadows[1], directions), strict=True):
        way, slid = to * _way_until_met_mm(moving, standing, to), to * play_mm
        areas_mm2 += [
            moved_by(top, way).intersection(disc).area,
            moved_by(low, way + slid).intersection(flange).area,
        ]
    return float(min(areas_mm2))


def _way_until_met_mm(moving: Shapes, standing: Shapes, direction: Points) -> float:
    """Return how far regions move until one meets the region that stands beside it [mm]."""

    def is_free(way_mm: float) -> bool:
        shift_mm = way_mm * direction
        moved = shapely.transform(moving, lambda points: points + shift_mm)
        return not shapely.intersects(standing, moved).any()

    return farthest_mm(is_free)


def _past_rim_mm(of: _Stop) -> float:
    """Return how far the face comes past the sleeve at the table, the stop off, both parts large.

    The plunger goes down until its lowest layer that does not pass the bore lies on the sleeve.
    """
    made = of.made
    gaps = np.array([inside_mm(shape, made.press.bore) for shape in of.plunger.shapes])
    meets = (gaps < made.nearer_mm)[of.plunger.kinds]
    down_mm = of.plunger.bottoms_mm[meets].min(initial=np.inf) - made.rim_mm
    return float(down_mm) - made.press.edge_high_mm
