"""What a trial bake teaches: the loss and the density as they are, and new weights."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, hypot, sqrt
from statistics import median
from typing import Final

from moulddesign.design import Design, PortionTable
from moulddesign.errors import SpecError
from moulddesign.portion.capacity import PressedIn, finished_filling_g
from moulddesign.portion.loss import loss_from_weighing
from moulddesign.portion.portion import Portion, portion
from moulddesign.portion.weighings import Weighing
from moulddesign.units import ml_from_mm3

OUTLYING: Final = 3.5
"""Modified z-score from which a value is pointed at (Iglewicz and Hoaglin 1993)."""

MAD_TO_SD: Final = 0.6745
"""Median absolute deviation of a normal distribution over its standard deviation."""

FEWEST_FOR_OUTLIERS: Final = 3

DECIMALS: Final = 6
"""Of the corrected figures, so that a baker can read the file: far below what is known of them."""

RULER_MM: Final = 0.3
"""Standard deviation of a height read off a ruler; from memory, measure your own [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean, how single pieces scatter, and how well the mean is known.

    Parameters
    ----------
    value : float
        The mean.
    sd : float or None
        Standard deviation of single pieces; None for one piece.
    uncertainty : float
        Standard uncertainty of the mean.
    outliers : tuple of int
        Numbers of the pieces, from 1, that stand apart; they are in the mean all the same.
    """

    value: float
    sd: float | None
    uncertainty: float
    outliers: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a trial bake taught.

    Parameters
    ----------
    loss : Mean
        Share of the raw mass lost.
    density_g_per_ml : Mean or None
        Of the pressed piece with its centres and trapped air; None without heights [g/mL].
    corrected : Design
        The design with the loss and densities as they were found; it asks for the same finished
        weight, so it wants a new mould where its volume differs.
    same_mould : Design
        The same for the mould that exists: the finished weight is what fills its volume.
    volume_ml : float
        Volume of the mould that exists, at its nominal height [mL].
    """

    loss: Mean
    density_g_per_ml: Mean | None
    corrected: Design
    same_mould: Design
    volume_ml: float


def trial(design: Design, weighings: Sequence[Weighing], mould: PressedIn | None = None) -> Trial:
    """Return what a trial bake teaches.

    Parameters
    ----------
    design : Design
        What the pieces were made by.
    weighings : sequence of Weighing
        At least one piece.
    mould : PressedIn or None
        The mould, needed where heights were measured.

    Returns
    -------
    Trial
        Outliers are pointed at and never dropped.

    Raises
    ------
    SpecError
        There is no piece, a height has no mould, or what was found cannot be a piece of food.
    """
    if not weighings:
        raise SpecError("weighings", "none", "must hold at least one piece, before and after")
    step_g = design.scale.resolution_g / sqrt(12.0)
    losses = [loss_from_weighing(w.raw_g, w.finished_g) for w in weighings]
    reading = [hypot(step_g, step_g * w.finished_g / w.raw_g) / w.raw_g for w in weighings]
    loss = mean_of(losses, reading)
    density = _density(weighings, mould, step_g)
    corrected = _corrected(design, weighings, loss=loss, density=density)
    volume_ml = portion(design.portion).volume_ml if mould is None else mould.volume_ml
    same = corrected.with_values(
        {"portion.finished_weight_g": finished_filling_g(corrected.portion, volume_ml)}
    )
    return Trial(
        loss=loss,
        density_g_per_ml=density,
        corrected=corrected,
        same_mould=same,
        volume_ml=volume_ml,
    )


def mean_of(values: Sequence[float], readings: Sequence[float]) -> Mean:
    """Return the mean of measured values with its uncertainty, and point at outliers.

    Parameters
    ----------
    values : sequence of float
        One for each piece.
    readings : sequence of float
        Standard uncertainty of reading each of them.

    Returns
    -------
    Mean
        uncertainty = sqrt(s^2 / n + sum(u_i^2) / n^2); a value stands apart where it is more than
        3.5 robust standard deviations from the median [1]_, which are at least its reading's.

    References
    ----------
    .. [1] B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers, 1993.

    Examples
    --------
    >>> mean_of([0.05, 0.06, 0.07], [0.0, 0.0, 0.0]).value
    0.06
    """
    count = len(values)
    mean = fsum(values) / count
    square = fsum((value - mean) ** 2 for value in values)
    sd = sqrt(square / (count - 1)) if count > 1 else None
    return Mean(
        value=mean,
        sd=sd,
        uncertainty=hypot((sd or 0.0) / sqrt(count), hypot(*readings) / count),
        outliers=_outliers(values, readings),
    )


def _outliers(values: Sequence[float], readings: Sequence[float]) -> tuple[int, ...]:
    if len(values) < FEWEST_FOR_OUTLIERS:
        return ()
    middle = median(values)
    robust = median(abs(value - middle) for value in values) / MAD_TO_SD
    pairs = enumerate(zip(values, readings, strict=True), start=1)
    return tuple(n for n, (v, u) in pairs if abs(v - middle) > OUTLYING * max(robust, u))


def _density(weighings: Sequence[Weighing], mould: PressedIn | None, step_g: float) -> Mean | None:
    measured = [(w.raw_g, w.height_mm) for w in weighings if w.height_mm is not None]
    if not measured:
        return None
    if mould is None:
        raise SpecError(
            "height_mm", measured[0][1], "must come with the mould that it was pressed in"
        )
    values, readings = [], []
    for raw_g, height_mm in measured:
        volume = mould.volume_at_ml(height_mm)
        values.append(raw_g / volume)
        ruler = ml_from_mm3(mould.area_mm2 * RULER_MM) / volume
        readings.append(raw_g / volume * hypot(step_g / raw_g, ruler))
    return mean_of(values, readings)


def _corrected(
    design: Design, weighings: Sequence[Weighing], *, loss: Mean, density: Mean | None
) -> Design:
    """Loss as it was found; crust and paste denser or lighter by one common factor."""
    values = {"portion.loss": loss.value}
    if loss.sd is not None:
        values["portion.loss_sd"] = loss.sd
    if density is not None:
        raw_g = fsum(w.raw_g for w in weighings) / len(weighings)
        factor = _density_factor(design.portion, raw_g, density.value)
        share = density.uncertainty / density.value
        for part in ("crust", "filling"):
            found = factor * getattr(design.portion, f"{part}_density_g_per_ml")
            values[f"portion.{part}_density_g_per_ml"] = found
            values[f"portion.{part}_density_sd_g_per_ml"] = share * found
    return design.with_values({key: round(value, DECIMALS) for key, value in values.items()})


def _density_factor(table: PortionTable, raw_g: float, mean_g_per_ml: float) -> float:
    """By how much denser crust and paste are, where the centres are as they were given."""
    piece = _piece_of_raw(table, raw_g)
    room_ml = raw_g / mean_g_per_ml * (1.0 - table.trapped_air) - piece.centre_ml
    if room_ml <= 0.0:
        raise SpecError(
            "height_mm",
            f"{mean_g_per_ml:.4g} g/mL",
            "must leave room for crust and paste beside the centres; measure the height again",
        )
    return (piece.crust_ml + piece.paste_ml) / room_ml


def _piece_of_raw(table: PortionTable, raw_g: float) -> Portion:
    finished = table.model_copy(update={"finished_weight_g": raw_g * (1.0 - table.loss)})
    return portion(finished)
