"""Which weights one sleeve presses, with other stops and shims."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

from moulddesign.building.sizes import plain_crust_mm, without_relief
from moulddesign.core import Message, MouldError, mm3_from_ml, say
from moulddesign.design import Design, PressTable
from moulddesign.mould import PressLayout, stop_layout_for
from moulddesign.pastry.pastry import Pastry, as_written_mm
from moulddesign.pastry.variants import FurtherPastry
from moulddesign.portion import Figures, figures
from moulddesign.verify.piece_checks import LEAST_CRUST_MM, TORN_CRUST_MM

LIGHTEST: Final = 0.3
HEAVIEST: Final = 2.0
"""Weights that are looked at, as shares of the design's; the press itself ends between them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SleeveWeights:
    """The finished weights that one sleeve presses with stops of their own, in whole grams."""

    least_g: float
    most_g: float
    crust_mm: float | None
    """Crust that lighter pieces no longer have; None where their height ends the range [mm]."""

    @property
    def said(self) -> Message:
        """The range, and what ends it, in one line."""
        if self.crust_mm is None:
            return say("building.sleeve-weights", least_g=self.least_g, most_g=self.most_g)
        return say(
            "building.sleeve-weights-by-crust",
            crust_mm=self.crust_mm,
            least_g=self.least_g,
            most_g=self.most_g,
        )


def stop_for_weight_layout(
    design: Design,
    made: Pastry,
    further: tuple[FurtherPastry, ...],
    *,
    portion: Figures,
    other: Design,
) -> PressLayout:
    """Return the press of a design with the stop for another weight, which `other` has.

    Raises
    ------
    SpecError
        The mould is no press, or its stamp does not reach the height of such a piece.
    """
    weights, area_mm2 = figures(other), made.outline.area_mm2
    more_ml = weights.piece.volume_ml - portion.piece.volume_ml
    low_mm = weights.stop_low_mm(area_mm2) - mm3_from_ml(more_ml) / area_mm2
    return stop_layout_for(design, made, further, other=other, low_mm=low_mm)


def other_weight(design: Design, weight_g: float) -> Design:
    """Return a design for a piece of another finished weight, of whatever height."""
    return design.with_values({"portion.finished_weight_g": weight_g, "label.weight_g": None})


def sleeve_weights(
    design: Design, made: Pastry, further: tuple[FurtherPastry, ...], portion: Figures
) -> SleeveWeights | None:
    """Return which weights the sleeve of a press takes; None for other moulds.

    The height is limited by the stroke, and by the guide, beyond which the stamp leans; the crust
    of a plain piece as wide and as high is to stay as thick as is asked for, or, where the design's
    own is thinner, as wraps at all.
    """
    if not isinstance(design.mould, PressTable):
        return None

    def reaches(weight_g: int) -> bool:
        try:
            stop_for_weight_layout(
                design, made, further, portion=portion, other=other_weight(design, weight_g)
            )
        except MouldError:
            return False
        return True

    width_mm = as_written_mm(made.outline.width_mm)  # a set's bore takes no other
    plain = without_relief(design).with_values({"pastry.width_mm": width_mm})
    own_g = design.portion.finished_weight_g
    own_mm = plain_crust_mm(plain, own_g, other_weight)
    held_mm = design.dough.least_crust_mm
    least_mm = LEAST_CRUST_MM if held_mm is None else held_mm
    limits = (least_mm, min(TORN_CRUST_MM, least_mm))
    limit_mm = next((mm for mm in limits if (own_mm or 0.0) >= mm), None)

    def is_thick(weight_g: int) -> bool:
        thick_mm = plain_crust_mm(plain, weight_g, other_weight)
        return limit_mm is None or thick_mm is None or thick_mm >= limit_mm

    low_g, high_g = floor(own_g * LIGHTEST), ceil(own_g * HEAVIEST)
    reach_g = _last(reaches, floor(own_g), low_g)
    thick_g = _last(is_thick, floor(own_g), reach_g)
    most_g = _last(reaches, ceil(own_g), high_g)
    return SleeveWeights(
        least_g=min(own_g, thick_g),
        most_g=max(own_g, most_g),
        crust_mm=limit_mm if thick_g > reach_g else None,
    )


def _last(holds: Callable[[int], bool], good: int, bad: int) -> int:
    """Return the last whole number from a good one towards a bad one at which something holds."""
    if holds(bad):
        return bad
    while abs(good - bad) > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good
