"""The joint of a press as it is printed: the plunger's foot in the slot of the stamp.

The foot goes in from the side, along x. A lift is the number of layers by which the plunger is
above its seat, where its shoulder lies on the stamp's back; hanging, the stamp is a lift lower.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from math import floor
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.core import Finding, Verdict, judged, say
from moulddesign.geometry import Points
from moulddesign.verify.press_limits import USUAL_VANE_MM
from moulddesign.verify.printed_layers import (
    FAR_MM,
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
    moved_by,
    smaller,
)

BELOW_MM: Final = 2.0
"""How far below its seat a foot is tried, for the room over its tip [mm]."""
LEAST_LOCK_MM: Final = 0.4
"""Least height that locks: two usual layers; our choice [mm]."""
LEAST_HOLD_MM2: Final = 10.0
"""A pull of 50 N then presses with 5 MPa, a fifth of what PLA bears; our choice [mm^2]."""
MOUTH: Final = np.array((1.0, 0.0))
"""Where the slot is open."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Joint:
    """Foot and slot, and how near they come at each lift.

    A table has a row for each distinct section of the foot, and a column for each of the slot.
    """

    made: PrintedPress

    @cached_property
    def plunger(self) -> PrintedLayers:
        """The plunger from its tip to the first layer above the stamp's back."""
        high_mm = self.made.back_mm + self.made.layer_mm
        return self.made.layers(self.made.press.plunger, -np.inf, high_mm)

    @cached_property
    def stamp(self) -> PrintedLayers:
        """The stamp from below the plunger's tip to its back."""
        return self.made.layers(self.made.press.stamp, self.plunger.low_mm - BELOW_MM, np.inf)

    @cached_property
    def foot(self) -> PrintedLayers:
        """The plunger below the stamp's back."""
        rows = max(0, self.plunger.row(self.made.back_mm))
        kinds = self.plunger.kinds[:rows]
        return replace(
            self.plunger, kinds=kinds, shapes=self.plunger.shapes[: kinds.max(initial=-1) + 1]
        )

    @cached_property
    def slot(self) -> PrintedLayers:
        """The stamp near the foot and its way in; corners far off it only cost time."""
        if not len(self.foot):
            return self.stamp
        x, y, _, top = shapely.total_bounds(self.foot.shapes)
        window = (x - NEAR_MM, y - NEAR_MM, x + FAR_MM, top + NEAR_MM)
        return replace(self.stamp, shapes=shapely.clip_by_rect(self.stamp.shapes, *window))

    @property
    def seat(self) -> int:
        """Which of the tried lifts is the seat."""
        return floor(BELOW_MM / self.made.layer_mm)

    @cached_property
    def resting_mm(self) -> Points:
        """Gap between foot and slot from each lift to the next, the foot in its place [mm]."""
        return self._least(self._gaps_mm(self.foot.shapes))

    @cached_property
    def sliding_mm(self) -> Points:
        """Gap between foot and slot from each lift to the next, over the whole way in [mm]."""
        return self._least(self._gaps_mm(each(swept, self.foot.shapes)))

    @cached_property
    def small(self) -> tuple[Shapes, Shapes]:
        """The sections of foot and slot where both are small."""
        error_mm = self.made.error_mm
        return eroded(self.foot.shapes, error_mm), eroded(self.slot.shapes, error_mm)

    @cached_property
    def widest(self) -> int:
        """The highest of the foot's widest layers, across the way in."""
        _, low, _, high = shapely.bounds(self.foot.shapes).T
        widths_mm = (high - low)[self.foot.kinds]
        return int(np.flatnonzero(widths_mm >= widths_mm.max() - ROUND_OFF_MM)[-1])

    def is_kept(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return at which lifts small parts keep the foot in place, and from sliding out.

        That it does not leave to the closed sides is shown by its widest layer alone.
        """
        foot, _ = self.small
        kind = self.foot.kinds[self.widest]
        ways = [each(swept, foot), *(np.full(len(foot), shapely.Polygon()) for _ in range(3))]
        for quarter_turns in (1, 2, 3):
            ways[quarter_turns][kind] = swept(foot[kind], quarter_turns)
        in_place, *out = (self._is_met(moved) for moved in (foot, *ways))
        return in_place, np.logical_and.reduce(out)

    def goes_in_turned(self) -> bool:
        """Return whether a small foot goes in the wrong way round, at a lift where it is held."""
        turned = shapely.transform(self.small[0], np.negative)
        held = self._is_met(self.small[0])[self.seat :]
        out = self._is_met(each(swept, turned))[self.seat :]
        return not out[: int(np.argmax(held))].all()

    def _is_met(self, moved: Shapes) -> NDArray[np.bool_]:
        """Return from which lift to the next the small slot stands in the way."""
        slot = self.small[1]
        shapely.prepare(slot)
        met = shapely.intersects(slot, moved[:, None])
        return np.asarray(self._least(np.where(met, 0.0, NEAR_MM)) == 0.0)

    def _gaps_mm(self, moved: Shapes) -> Points:
        shapely.prepare(self.slot.shapes)
        flare_mm = self.made.flare_mm * self.slot.on_bed
        return np.asarray(gaps_mm(moved[:, None], self.slot.shapes) - flare_mm)

    def _least(self, table: Points) -> Points:
        """Return the least value of a table from each lift to the next, shape (lifts,)."""
        foot, slot = self.foot.kinds, self.slot.kinds
        below = len(slot) - len(foot) - self.seat
        found = np.full(len(foot) + self.seat + 2, NEAR_MM)
        for lift in range(len(found)):
            facing = np.arange(len(foot)) + below + lift
            rows = np.flatnonzero((facing >= 0) & (facing < len(slot)))
            found[lift] = table[foot[rows], slot[facing[rows]]].min(initial=NEAR_MM)
        return np.asarray(np.minimum(found[:-1], found[1:]))


def joint_findings(made: PrintedPress) -> tuple[Finding, ...]:
    """Return whether plunger and stamp go together, seat, hang locked, hold and come apart."""
    joint = _Joint(made=made)
    if not len(joint.foot):
        return (made.least_finding(say("verify.lugs-hold"), 0.0, (LEAST_HOLD_MM2, "mm2")),)
    return (
        _slides_in(joint),
        _tip_room(joint),
        _shoulder(joint),
        _lock(joint),
        *_hold(joint),
        _one_way(joint),
    )


def _slides_in(joint: _Joint) -> Finding:
    """Return the gap left beside the foot on its best way in from the side, and down to its seat.

    It comes out the same way, on the table.
    """
    down_mm = np.minimum.accumulate(joint.resting_mm[joint.seat :])
    ways_mm = np.minimum(joint.sliding_mm[joint.seat :], down_mm)
    return joint.made.gap_finding(say("verify.foot-slides-in"), float(ways_mm.max()))


def _tip_room(joint: _Joint) -> Finding:
    """Return the room over the foot's tip where the shoulder lies on the stamp.

    Negative where the foot meets the stamp before the shoulder does.
    """
    made = joint.made
    free = joint.resting_mm >= made.nearer_mm - ROUND_OFF_MM
    lowest = joint.seat + int(np.argmax(np.r_[free[joint.seat :], True]))
    deeper = int(np.argmin(np.r_[free[:lowest][::-1], False]))
    room_mm = (joint.seat - lowest + deeper) * made.layer_mm
    return made.least_finding(say("verify.room-over-foot"), room_mm, (made.layer_mm, "mm"))


def _shoulder(joint: _Joint) -> Finding:
    """Return the area on which the shoulder lies, both parts small."""
    made = joint.made
    above = smaller(joint.plunger.layer(len(joint.foot)), made.error_mm)
    back = smaller(joint.stamp.layer(len(joint.stamp) - 1), made.error_mm)
    area_mm2 = float(above.intersection(back).area)
    return made.least_finding(say("verify.shoulder-on-stamp"), area_mm2, (LEAST_BEARING_MM2, "mm2"))


def _lock(joint: _Joint) -> Finding:
    """Return how much higher the foot hangs than where it would slide out, at the worst error.

    Parts that grow hang lower and slide lower: both small, as drawn and both large are compared.
    """
    made = joint.made
    drawn, large = (
        (joint.resting_mm < apart_mm, joint.sliding_mm < apart_mm)
        for apart_mm in (ROUND_OFF_MM, made.nearer_mm - ROUND_OFF_MM)
    )
    at_errors = (joint.is_kept(), drawn, large)
    layers = min(_locked_layers(*kept, joint.seat) for kept in at_errors)
    lip_mm = layers * made.layer_mm
    return made.least_finding(say("verify.lip-before-foot"), lip_mm, (LEAST_LOCK_MM, "mm"))


def _locked_layers(in_place: NDArray[np.bool_], from_sliding: NDArray[np.bool_], seat: int) -> int:
    """Return by how many lifts the hung foot is too high to slide out.

    None where nothing blocks it on the way up: the highest free lift would be in the open.
    """
    start = seat + int(np.argmin(in_place[seat:]))
    if not in_place[start:].any():
        return 0
    hung = start + int(np.argmax(in_place[start:]))
    out = np.flatnonzero(~from_sliding[start:hung])
    return hung - start - (int(out[-1]) + 1 if len(out) else 0)


def _hold(joint: _Joint) -> Iterator[Finding]:
    """Yield on what area the lugs hold under a pull, and whether the bore keeps the foot there.

    The widest layer of the foot is held by the layers above it that it has to pass on its way up.
    """
    made, (foot, slot) = joint.made, joint.small
    lowest = joint.widest + len(joint.slot) - len(joint.foot)
    above = slot[np.unique(joint.slot.kinds[max(0, lowest) :])]
    widest = foot[joint.foot.kinds[joint.widest]]
    held_mm2 = shapely.area(shapely.intersection(widest, above))
    most_mm2 = float(held_mm2.max())
    yield made.least_finding(say("verify.lugs-hold"), most_mm2, (LEAST_HOLD_MM2, "mm2"))
    ledge = above[int(np.argmax(held_mm2))]
    held_to_mm = farthest_mm(
        lambda way_mm: moved_by(widest, way_mm * MOUTH).intersection(ledge).area >= LEAST_HOLD_MM2
    )
    stamp, stem = made.shadows
    (there,), (back,) = made.plays_mm(stem, MOUTH[None]), made.plays_mm(stamp, -MOUTH[None])
    away_mm = float(there + back)
    yield Finding(
        what=say("verify.foot-moves-in-sleeve"),
        measured=away_mm,
        limit=say("verify.at-most-held", limit=round(held_to_mm, 1)),
        unit="mm",
        source=made.source,
        verdict=judged(good=away_mm < held_to_mm),
        remedy=None if away_mm < held_to_mm else say("verify.less-clearance"),
    )


def _one_way(joint: _Joint) -> Finding:
    """Return whether the foot goes in turned by half a turn, which would turn the picture."""
    goes_in = joint.goes_in_turned()
    return Finding(
        what=say("verify.foot-goes-in-turned"),
        measured=say("core.yes") if goes_in else say("core.no"),
        limit=say("core.no"),
        unit="",
        source=joint.made.source,
        verdict=judged(good=not goes_in, otherwise=Verdict.WARN),
        remedy=say("verify.thicker-vane", vane_mm=USUAL_VANE_MM) if goes_in else None,
    )
