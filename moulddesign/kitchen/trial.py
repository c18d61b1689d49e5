"""What the weighings of a trial bake say: loss and density as they are, and new weights."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from math import fsum, hypot, isfinite, sqrt
from os import PathLike
from statistics import median
from typing import Final

from moulddesign.core import (
    FileError,
    SpecError,
    ml_from_mm3,
    read_csv,
    require_positive,
    say,
    with_decimal_point,
)
from moulddesign.design import Design, PortionTable
from moulddesign.portion import (
    Portion,
    TrialMould,
    figures,
    finished_filling_g,
    loss_from_weighing,
    portion,
)

WEIGHING_COLUMNS: Final = ("raw_g", "finished_g", "height_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """One piece of a trial bake.

    Raises
    ------
    SpecError
        A value is not above 0, or the piece gained weight.
    """

    raw_g: float
    """Before baking."""
    finished_g: float
    """When eaten."""
    height_mm: float | None = None
    """Pressed height to the flat top, where it was measured."""

    def __post_init__(self) -> None:
        require_positive("raw_g", self.raw_g, "g")
        require_positive("finished_g", self.finished_g, "g")
        if self.height_mm is not None:
            require_positive("height_mm", self.height_mm, "mm")
        if self.finished_g > self.raw_g:
            need = say("portion.gains-weight", raw_g=self.raw_g)
            raise SpecError("finished_g", self.finished_g, need)


def typed_weighings(
    raw_g: Sequence[float], finished_g: Sequence[float], height_mm: Sequence[float] = ()
) -> tuple[Weighing, ...]:
    """Return weighings from lists with one value a piece; heights may be left out altogether.

    Raises
    ------
    SpecError
        The lists differ in length, or a piece's values cannot be used; its number is named.
    """
    if len(raw_g) != len(finished_g) or len(height_mm) not in {0, len(raw_g)}:
        raise SpecError(
            "trial",
            f"{len(raw_g)} raw, {len(finished_g)} finished, {len(height_mm)} heights",
            say("kitchen.weighings-uneven"),
        )
    return tuple(
        _piece(number, raw_g=before, finished_g=after, height_mm=high)
        for number, (before, after, high) in enumerate(
            zip_longest(raw_g, finished_g, height_mm), start=1
        )
    )


def _piece(number: int, *, raw_g: float, finished_g: float, height_mm: float | None) -> Weighing:
    try:
        return Weighing(raw_g=raw_g, finished_g=finished_g, height_mm=height_mm)
    except SpecError as error:
        raise SpecError(f"piece {number} {error.field}", error.value, error.need) from error


def read_weighings(path: str | PathLike[str]) -> tuple[Weighing, ...]:
    """Return the weighings in a CSV file.

    Parameters
    ----------
    path : str or path-like
        A CSV table with the heads raw_g, finished_g and perhaps height_mm; decimal points or
        decimal commas.

    Returns
    -------
    tuple of Weighing
        In the file's order; empty lines are passed over.

    Raises
    ------
    FileError
        The file cannot be read, a column is missing, or a cell is not a number.
    """
    table = read_csv(path, advice=say("kitchen.weighings-are-short"))
    if not table.rows:
        raise FileError(str(path), say("kitchen.weighings-missing"))
    heads = [head.lower() for head in table.heads]
    missing = [name for name in WEIGHING_COLUMNS[:2] if name not in heads]
    if missing:
        reason = say("kitchen.weighings-heads", missing=tuple(missing), heads=table.heads)
        raise FileError(str(path), reason)
    return tuple(_weighing(f"{path}, row {row.number}", heads, row.cells) for row in table.rows)


def _weighing(where: str, heads: list[str], row: tuple[str, ...]) -> Weighing:
    if len(row) != len(heads):
        reason = say("kitchen.weighings-cells", cells=len(row), heads=len(heads))
        raise FileError(where, reason)
    cells = dict(zip(heads, (cell.strip() for cell in row), strict=True))
    values = {
        name: _number(where, name, cells[name]) for name in WEIGHING_COLUMNS if cells.get(name)
    }
    for name in WEIGHING_COLUMNS[:2]:
        if name not in values:
            raise FileError(where, say("kitchen.weighing-incomplete", name=name))
    try:
        return Weighing(**values)
    except SpecError as error:
        reason = say("kitchen.cell-invalid", field=error.field, value=error.value, need=error.need)
        raise FileError(where, reason) from error


def _number(where: str, name: str, cell: str) -> float:
    try:
        value = float(with_decimal_point(cell))
    except ValueError as error:
        raise FileError(
            where, say("kitchen.cell-not-number", name=name, cell=repr(cell))
        ) from error
    if not isfinite(value):
        raise FileError(where, say("kitchen.cell-not-finite", name=name, cell=repr(cell)))
    return value


OUTLIER_SCORE: Final = 3.5
"""Modified z-score above which a value is an outlier (Iglewicz and Hoaglin 1993)."""

MAD_TO_SD: Final = 0.6745
"""Median absolute deviation of a normal distribution over its standard deviation."""

FEWEST_FOR_OUTLIERS: Final = 3

CORRECTED_DECIMALS: Final = 6
"""Of the corrected figures, so that a baker can read the file; far finer than they are known."""

RULER_MM: Final = 0.3
"""Standard deviation of a height read off a ruler; from memory, measure your own [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean, how single pieces scatter, and how well the mean is known."""

    value: float
    sd: float | None
    """Standard deviation of single pieces; None for one piece."""
    uncertainty: float
    """Standard uncertainty of the mean."""
    outliers: tuple[int, ...]
    """Numbers of the pieces, from 1, that stand apart; they are in the mean all the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What the weighings of a trial bake say."""

    loss: Mean
    """Share of the raw mass lost."""
    density_g_per_ml: Mean | None
    """Of the pressed piece with its centres and trapped air; None without heights."""
    corrected: Design
    """The design with loss and densities as they were found. It asks for the same finished weight,
    so it needs a new mould where its volume differs."""
    same_mould: Design
    """The same for the mould that exists: the finished weight is what fills its volume."""
    volume_ml: float
    """Of the mould that exists, at its nominal height."""


def trial(design: Design, weighings: Sequence[Weighing], mould: TrialMould | None = None) -> Trial:
    """Return what the weighings of a trial bake say.

    Parameters
    ----------
    design : Design
        What the pieces were made by.
    weighings : sequence of Weighing
        At least one piece.
    mould : TrialMould or None
        The mould, needed where heights were measured.

    Returns
    -------
    Trial
        Outliers are named and never dropped.

    Raises
    ------
    SpecError
        There is no piece, a height has no mould, or what was found cannot be a piece of food.
    """
    if not weighings:
        raise SpecError("weighings", "none", say("kitchen.no-weighings"))
    step_g = design.scale.resolution_g / sqrt(12.0)
    losses = [loss_from_weighing(w.raw_g, w.finished_g) for w in weighings]
    reading = [hypot(step_g, step_g * w.finished_g / w.raw_g) / w.raw_g for w in weighings]
    loss = mean_of(losses, reading)
    density = _density(weighings, mould, step_g)
    corrected = _corrected(design, weighings, loss=loss, density=density)
    volume_ml = figures(design).piece.volume_ml if mould is None else mould.volume_ml
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
    """Return the mean of measured values with its uncertainty, and its outliers.

    Parameters
    ----------
    values : sequence of float
        One for each piece.
    readings : sequence of float
        Standard uncertainty of reading each of them.

    Returns
    -------
    Mean
        uncertainty = sqrt(s^2 / n + sum(u_i^2) / n^2); a value is an outlier where it is more than
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
    # The median and the median absolute deviation are not moved by the value in question, as mean
    # and standard deviation would be. 0.6745 makes the deviation that of a normal distribution.
    robust = median(abs(value - middle) for value in values) / MAD_TO_SD
    pairs = enumerate(zip(values, readings, strict=True), start=1)
    return tuple(n for n, (v, u) in pairs if abs(v - middle) > OUTLIER_SCORE * max(robust, u))


def _density(weighings: Sequence[Weighing], mould: TrialMould | None, step_g: float) -> Mean | None:
    measured = [(w.raw_g, w.height_mm) for w in weighings if w.height_mm is not None]
    if not measured:
        return None
    if mould is None:
        raise SpecError("height_mm", measured[0][1], say("kitchen.height-without-mould"))
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
    """Return the design with the loss as it was found, and its densities changed alike."""
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
    return design.with_values(
        {key: round(value, CORRECTED_DECIMALS) for key, value in values.items()}
    )


def _density_factor(table: PortionTable, raw_g: float, mean_g_per_ml: float) -> float:
    """Return the factor by which crust and paste are denser than the design says."""
    # The mean mass over the mean density is the volume; less the trapped air and the centres,
    # which are as given, it is the room that crust and paste really took. One height cannot tell
    # the two apart, so both densities change by the factor of planned over real volume.
    piece = _piece_of_raw(table, raw_g)
    room_ml = raw_g / mean_g_per_ml * (1.0 - table.trapped_air) - piece.centre_ml
    if room_ml <= 0.0:
        density = f"{mean_g_per_ml:.4g} g/mL"
        raise SpecError("height_mm", density, say("kitchen.height-leaves-no-room"))
    return (piece.crust_ml + piece.paste_ml) / room_ml


def _piece_of_raw(table: PortionTable, raw_g: float) -> Portion:
    finished = table.model_copy(update={"finished_weight_g": raw_g * (1.0 - table.loss)})
    return portion(finished)
