"""A cavity from the water that fills it."""

from math import sqrt
from typing import Final

from moulddesign.design import Design
from moulddesign.design.shelf import OwnedMould
from moulddesign.errors import SpecError
from moulddesign.fit.cup import Cup
from moulddesign.fit.measured import Body, Bore, Doubt, Measured
from moulddesign.fit.sizes import cup_of
from moulddesign.pastry.outline import Outline
from moulddesign.pastry.outline_kinds import of_width
from moulddesign.portion import Mean, mean_of, water_density_g_per_ml
from moulddesign.portion.limits import positive
from moulddesign.portion.vessel import LEVEL_SPREAD
from moulddesign.units import mm3_from_ml

MOST_WATER_G: Final = 100_000.0
"""Most water of a mould, a hundred litres; our choice [g]."""
APART_RATIO: Final = 0.1
"""Volumes by sizes and by water that differ by more are pointed at; our choice."""


def from_water(mould: OwnedMould, design: Design) -> Measured:
    """Return a cavity from the water that fills it.

    Parameters
    ----------
    mould : OwnedMould
        With at least one weighing; its width gives a press mould's bore, and the crust's shape:
        of a straight-sided piece of the same volume, where no height is given.
    design : Design
        For the scale's step.

    Returns
    -------
    Measured
        Mass over the density of water; the air's buoyancy of 0.1 % is left out.

    Raises
    ------
    SpecError
        A weighing is not above the empty mould, or the water is ice or steam.
    """
    mean = _weighed(mould, design.scale.resolution_g)
    per_g = mm3_from_ml(1.0) / water_density_g_per_ml(mould.at_c)
    volume_mm3 = mean.value * per_g
    outline = None if mould.width_mm is None else of_width(mould.outline_table, mould.width_mm)
    body, remarks = _shape(mould, outline, volume_mm3)
    return Measured(
        volume_mm3=volume_mm3,
        doubts=(
            Doubt(name="water: scale and repeats", volume_mm3=mean.uncertainty * per_g),
            Doubt(name="water: level at the rim", volume_mm3=LEVEL_SPREAD * volume_mm3),
        ),
        body=body,
        relief_depth_mm=mould.relief_depth_mm,
        bore=_bore_of_water(mould, outline, volume_mm3) if mould.is_press else None,
        remarks=(*_mean_remarks(mean, len(mould.water_g)), *_water_remarks(outline), *remarks),
        weighings=mean,
    )


def _weighed(mould: OwnedMould, step_g: float) -> Mean:
    masses = [positive("water_g", mass, "g") - mould.empty_g for mass in mould.water_g]
    if max(mould.water_g) > MOST_WATER_G:
        raise SpecError("water_g", max(mould.water_g), f"must be at most {MOST_WATER_G:g} g")
    if min(masses) <= 0.0:
        raise SpecError(
            "water_g",
            min(mould.water_g),
            f"must be above the empty mould's {mould.empty_g:g} g; weigh again, or leave the empty "
            "mould out where the scale was set to zero with it",
        )
    readings = 1 if mould.empty_g == 0.0 else 2
    return mean_of(masses, [step_g / sqrt(12.0) * sqrt(readings)] * len(masses))


def _shape(
    mould: OwnedMould, outline: Outline | None, volume_mm3: float
) -> tuple[Body | None, tuple[str, ...]]:
    """Return the shape that a crust is taken of, and what there is to say of it."""
    if outline is None:
        return None, (
            "The crust's thickness needs the shape: add the width, and the height if you can.",
        )
    if mould.height_mm is None:
        level_mm = volume_mm3 / outline.area_mm2
        return Cup(outline=outline, height_mm=level_mm), (
            f"The crust is that of an upright-sided piece {level_mm:.1f} mm high of this volume.",
        )
    cup = cup_of(mould.model_dump())
    share = volume_mm3 / cup.volume_mm3
    if abs(share - 1.0) <= APART_RATIO:
        return cup, ()
    remark = (
        f"The sizes make {cup.volume_mm3 / 1000.0:.3g} mL and the water "
        f"{volume_mm3 / 1000.0:.3g} mL: measure again, and look for a leak."
    )
    return cup, (remark,)


def _bore_of_water(mould: OwnedMould, outline: Outline | None, volume_mm3: float) -> Bore:
    if outline is None or mould.height_mm is None:
        raise SpecError(
            "width_mm" if outline is None else "height_mm",
            "not given",
            "must come with the water of a press mould, for the window of heights: the bore's "
            "width, and the height at which it was filled",
        )
    return Bore(outline=outline, beyond_mm3=volume_mm3 - outline.area_mm2 * mould.height_mm)


def _water_remarks(outline: Outline | None) -> tuple[str, ...]:
    bulge = "" if outline is None else f": 1 mm of it is {outline.area_mm2 / 1000.0:.2g} mL here"
    level = (
        f"Surface tension lets water bulge over the rim{bulge}. Look along the rim, or break "
        "the bulge with a drop of dish soap."
    )
    return (
        level,
        "Water that leaks makes a mould look small: line a press mould with film, and weigh soon.",
    )


def _mean_remarks(mean: Mean, count: int) -> tuple[str, ...]:
    if mean.sd is None:
        return ()
    said = f"Water: {mean.value:.1f} g is the mean of {count} weighings, their sd {mean.sd:.2f} g."
    if not mean.outliers:
        return (said,)
    numbers = ", ".join(map(str, mean.outliers))
    return (
        said,
        f"Weighing {numbers} stands apart: weigh again. It is in the mean all the same.",
    )
