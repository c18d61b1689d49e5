"""What the weighings of a trial bake teach.

The loss and the density as they are, and new weights.
"""

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
    positive,
    read_csv,
    say,
    with_decimal_point,
)
from moulddesign.design import Design, PortionTable
from moulddesign.portion import Portion, PressedIn, finished_filling_g, loss_from_weighing, portion

COLUMNS: Final = ("raw_g", "finished_g", "height_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """One piece of a trial bake.

    Parameters
    ----------
    raw_g, finished_g : float
        Mass before baking, and when eaten [g].
    height_mm : float or None
        Pressed height to the flat top, where it was measured [mm].

    Raises
    ------
    SpecError
        A value is not above 0, or the piece gained weight.
    """

    raw_g: float
    finished_g: float
    height_mm: float | None = None

    def __post_init__(self) -> None:
        positive("raw_g", self.raw_g, "g")
        positive("finished_g", self.finished_g, "g")
        if self.height_mm is not None:
            positive("height_mm", self.height_mm, "mm")
        if self.finished_g > self.raw_g:
            raise SpecError(
                "finished_g",
                self.finished_g,
                f"must be at most the raw {self.raw_g:g} g, for a piece does not gain weight in "
                "baking; weigh again, and weigh glaze with the raw piece",
            )


def typed_weighings(
    raw_g: Sequence[float], finished_g: Sequence[float], height_mm: Sequence[float] = ()
) -> tuple[Weighing, ...]:
    """Return weighings from lists that belong together.

    Parameters
    ----------
    raw_g, finished_g : sequence of float
        One of each for every piece [g].
    height_mm : sequence of float
        One for every piece, or none at all [mm].

    Raises
    ------
    SpecError
        The lists differ in length, or a piece's values cannot be used; its number is named.
    """
    if len(raw_g) != len(finished_g) or len(height_mm) not in {0, len(raw_g)}:
        raise SpecError(
            "trial",
            f"{len(raw_g)} raw, {len(finished_g)} finished, {len(height_mm)} heights",
            "must have one finished weight for each raw one, and a height for each or for none",
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
    missing = [name for name in COLUMNS[:2] if name not in heads]
    if missing:
        raise FileError(
            str(path),
            f"needs a first line with {' and '.join(missing)}, and has {', '.join(heads)}",
        )
    return tuple(_weighing(f"{path}, row {row.number}", heads, row.cells) for row in table.rows)


def _weighing(where: str, heads: list[str], row: tuple[str, ...]) -> Weighing:
    if len(row) != len(heads):
        raise FileError(
            where,
            f"has {len(row)} cells and the head has {len(heads)}; where decimals "
            "have commas, part the cells by semicolons",
        )
    cells = dict(zip(heads, (cell.strip() for cell in row), strict=True))
    values = {name: _number(where, name, cells[name]) for name in COLUMNS if cells.get(name)}
    for name in COLUMNS[:2]:
        if name not in values:
            raise FileError(where, f"has no {name}; weigh the piece or drop the line")
    try:
        return Weighing(**values)
    except SpecError as error:
        raise FileError(where, str(error).removesuffix(".")) from error


def _number(where: str, name: str, cell: str) -> float:
    try:
        value = float(with_decimal_point(cell))
    except ValueError as error:
        raise FileError(where, f"{name} = {cell!r} is not a number") from error
    if not isfinite(value):
        raise FileError(where, f"{name} = {cell!r} is not a finite number")
    return value


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
