"""A press as it is printed, and what every question about its fit needs.

Each part is cut into its printed layers. A print is off by at most an error e: each layer grows by
e all round, or shrinks by it, and the first one flares besides. Growing takes room away and gives
hold, so two corners decide: what has to move is judged with both parts large, what has to hold
with both small, and there the flare, which may fail to come, is left out.

Two regions that grow by e each stay apart just if they were 2 e apart before. So growing needs no
offset, only distances. Layers face layers: a lift is a whole number of them, and between two lifts
a layer faces two others, so a place between is free where it is free at both. Tilt is left out.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from moulddesign.core import Finding, Message, judged, say
from moulddesign.geometry import Mesh, Points, booleans
from moulddesign.verify.press_checks import Press
from moulddesign.verify.printed_layers import (
    ON_ARC,
    ROUND_OFF_MM,
    PrintedLayers,
    Shapes,
    eroded,
    printed_layers,
)

FLARE_MM: Final = 0.2
"""How far a first layer is squeezed out beyond the others; common practice, no source [mm]."""
NEAR_MM: Final = 3.0
"""Gaps that are wider are not looked for [mm]."""
MOST_WAY_MM: Final = 10.0
"""Ways that are longer are not looked for [mm]."""
HALVINGS: Final = 9
"""A way is found to within 0.02 mm."""
LEAST_BEARING_MM2: Final = 30.0
"""A push of 150 N then presses with 5 MPa, a fifth of what PLA bears; our choice [mm^2]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PrintedPress:
    """A press in assembly pose, how it is printed, and by how much prints are off."""

    press: Press
    layer_mm: float
    error_mm: float
    """How much larger or smaller than drawn a layer may be, all round [mm]."""
    is_measured: bool
    """Whether the error was measured on this printer."""
    is_ordered: bool = False
    """Whether the error is what a printing service is asked to keep to."""
    over_stop_mm: float = 0.0
    """Room between stop and palm disc in assembly pose, as designed [mm]."""
    flare_mm: float = FLARE_MM

    @property
    def nearer_mm(self) -> float:
        """How much nearer two parts come to each other where both are large [mm]."""
        return 2.0 * self.error_mm

    @property
    def rim_mm(self) -> float:
        """Top of the sleeve [mm]."""
        return float(self.press.sleeve.bounds[1, 2])

    @property
    def back_mm(self) -> float:
        """Top of the stamp [mm]."""
        return float(self.press.stamp.bounds[1, 2])

    @cached_property
    def shadows(self) -> tuple[BaseGeometry, BaseGeometry]:
        """Stamp, and what of the plunger enters the bore, seen along the bore."""
        stamp, stem = (
            booleans.shadow(part, say("verify.stamp-and-stem-from-above"))
            for part in self.press.entering
        )
        return stamp, stem

    @cached_property
    def flange(self) -> BaseGeometry:
        """Section of the sleeve's first layer on the bed, its highest in use."""
        top = self.layers(self.press.sleeve, self.rim_mm - self.layer_mm, np.inf)
        return top.layer(len(top) - 1)

    def layers(self, mesh: Mesh, low_mm: float, high_mm: float) -> PrintedLayers:
        """Return the layers of a part; only the stop is printed as it stands."""
        return printed_layers(
            mesh,
            layer_mm=self.layer_mm,
            upside_down=mesh is not self.press.stop,
            low_mm=low_mm,
            high_mm=high_mm,
        )

    def plays_mm(self, shadow: BaseGeometry, directions: Points) -> Points:
        """Return how far a small part moves sideways in a large bore, by its shadow in the middle.

        Directions have the shape (n, 2); ways have the shape (n,) [mm].
        """
        part, bore = smaller(shadow, self.error_mm), self._large_bore

        def play_mm(to: Points) -> float:
            return farthest_mm(lambda way_mm: bore.covers(moved_by(part, way_mm * to)))

        return np.array([play_mm(to) for to in directions])

    @cached_property
    def _large_bore(self) -> BaseGeometry:
        bore = self.press.bore.buffer(ON_ARC * self.error_mm)
        shapely.prepare(bore)
        return bore

    def gap_finding(self, what: Message, gap_mm: float, part: str = "") -> Finding:
        """Return the room that is left of a gap where both parts are large."""
        left_mm = gap_mm - self.nearer_mm
        remedy = say("verify.wider-or-truer", more_mm=-left_mm, true_mm=max(0.0, gap_mm / 2.0))
        return self.least_finding(what, left_mm, (0.0, "mm"), part=part, remedy=remedy)

    def least_finding(
        self,
        what: Message,
        measured: float,
        least: tuple[float, str],
        *,
        part: str = "",
        remedy: Message | None = None,
    ) -> Finding:
        """Return whether a value is at least a limit, given with its unit."""
        limit, unit = least
        is_good = measured >= limit - ROUND_OFF_MM
        remedy = self.truer_printer if remedy is None else remedy
        return Finding(
            what=what,
            part=part,
            measured=measured,
            limit=say("core.at-least", limit=limit),
            unit=unit,
            source=self.source,
            verdict=judged(good=is_good),
            remedy=None if is_good else remedy,
        )

    @property
    def truer_printer(self) -> Message:
        """What mends a joint that is loose or tight at the printing error."""
        if self.is_ordered:
            return say("verify.other-process-or-larger", error_mm=self.error_mm)
        if not self.is_measured:
            return say("verify.measure-the-printer")
        return say("verify.truer-or-larger", error_mm=self.error_mm)

    @property
    def source(self) -> Message:
        """At which printing error it is judged."""
        if self.is_ordered:
            return say("verify.ordered-error", error_mm=self.error_mm)
        if self.is_measured:
            return say("verify.measured-error", error_mm=self.error_mm)
        return say("verify.unmeasured-error", error_mm=self.error_mm)


def gaps_mm(moved: Shapes, standing: Shapes) -> Points:
    """Return how near regions come to each other; what is farther than `NEAR_MM` counts as that."""
    return np.asarray(np.fmin(shapely.distance(moved, standing), NEAR_MM))


def inside_mm(inner: BaseGeometry, opening: BaseGeometry) -> float:
    """Return the gap between a region and the edge of an opening round it, 0 if it is not inside.

    What is empty has all room.
    """
    if inner.is_empty:
        return NEAR_MM
    return float(opening.exterior.distance(inner)) if opening.covers(inner) else 0.0


def each(change: Callable[[BaseGeometry], BaseGeometry], shapes: Shapes) -> Shapes:
    """Return each region changed."""
    changed = np.empty(len(shapes), dtype=object)
    changed[:] = [change(shape) for shape in shapes]
    return changed


def smaller(shape: BaseGeometry, by_mm: float) -> BaseGeometry:
    """Return a region that is smaller by a distance all round."""
    return eroded(np.array([shape], dtype=object), by_mm)[0]


def moved_by(shape: BaseGeometry, shift_mm: Points) -> BaseGeometry:
    """Return a region moved by a vector, shape (2,) [mm]."""
    return shapely.transform(shape, lambda points: points + shift_mm)


def farthest_mm(is_free: Callable[[float], bool]) -> float:
    """Return how far a way is free from its start, 0 where it is not, by halving [mm]."""
    free_mm, met_mm = 0.0, MOST_WAY_MM
    for _ in range(HALVINGS):
        middle_mm = (free_mm + met_mm) / 2.0
        if is_free(middle_mm):
            free_mm = middle_mm
        else:
            met_mm = middle_mm
    return free_mm
