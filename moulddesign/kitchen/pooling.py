"""What several trials of one dough say together, and what of it goes into a design.

Pieces of one bake scatter around its mean, and means of bakes scatter around the dough's own: the
one-way layout with random effects. A mean of all pieces alike would take twelve pieces of one bake
for twelve bakes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import fsum, hypot, sqrt
from typing import Any, Final

from moulddesign.core import SpecError, say
from moulddesign.design import (
    BookDough,
    Design,
    DoughBook,
    DoughFigure,
    Measured,
    PieceComposition,
    PortionTable,
)
from moulddesign.kitchen.samples import LEVEL, Estimate, student
from moulddesign.kitchen.trial import Trial

DECIMALS: Final = 6
"""Of what is written into book and design; far finer than it is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """What several trials say of one figure of a dough."""

    value: float
    uncertainty: float
    """Standard uncertainty of the mean over all bakes."""
    within_sd: float
    """From piece to piece of one bake."""
    between_sd: float
    """From bake to bake; 0 for one bake, which cannot show it."""
    trials: int
    pieces: int
    low: float
    high: float
    """The interval that holds the dough's true mean with a probability of 95 %."""

    @property
    def next_bake_sd(self) -> float:
        """How far the mean of a bake to come may lie off: it shifts all its pieces alike."""
        return hypot(self.uncertainty, self.between_sd)

    @property
    def piece_sd(self) -> float:
        """How far a piece of any bake lies off the mean."""
        return hypot(self.within_sd, self.between_sd)


def pooled(trials: Sequence[Measured]) -> Pooled:
    """Return the mean of trials whose pieces and whose bakes scatter.

    Parameters
    ----------
    trials : sequence of Measured
        Mean, standard deviation and number of pieces of each, two pieces at least.

    Returns
    -------
    Pooled
        The one-way layout with random effects: s_w^2 pooled over the trials; s_b^2 from the mean
        squares, (MS_b - s_w^2) / n_0 with n_0 = (N - sum(n^2) / N) / (k - 1), at least 0 [1]_;
        weights 1 / (s_b^2 + s_w^2 / n); the interval by Student's distribution with k - 1 degrees
        of freedom and the weighted scatter of the means [2]_. For one trial the interval of its own
        pieces.

    Raises
    ------
    SpecError
        There is no trial.

    References
    ----------
    .. [1] S. R. Searle, G. Casella and C. E. McCulloch, Variance Components (1992), chapter 3.
    .. [2] J. Hartung and G. Knapp, Statistics in Medicine 20 (2001) 3875.
    """
    if not trials:
        raise SpecError("trials", "none", say("kitchen.no-pieces"))
    counts = [each.pieces for each in trials]
    means = [each.mean for each in trials]
    pieces, number = sum(counts), len(trials)
    freedom = pieces - number
    squares = fsum((each.pieces - 1) * (each.sd or 0.0) ** 2 for each in trials)
    within = squares / freedom
    if number == 1:
        value, between, uncertainty = means[0], 0.0, sqrt(within / pieces)
        reach = student(freedom, (1.0 + LEVEL) / 2.0) * uncertainty
    else:
        grand = fsum(n * mean for n, mean in zip(counts, means, strict=True)) / pieces
        scatter = fsum(n * (mean - grand) ** 2 for n, mean in zip(counts, means, strict=True))
        size = (pieces - fsum(n * n for n in counts) / pieces) / (number - 1)
        between = max((scatter / (number - 1) - within) / size, 0.0)
        weights = _weights(between, within, counts)
        value = fsum(w * m for w, m in zip(weights, means, strict=True)) / fsum(weights)
        seen = fsum(w * (m - value) ** 2 for w, m in zip(weights, means, strict=True))
        spread = sqrt(seen / ((number - 1) * fsum(weights)))
        reach = student(number - 1, (1.0 + LEVEL) / 2.0) * spread
        # Means that agree by chance are not surer than their pieces make them.
        uncertainty = max(spread, sqrt(within / pieces))
    return Pooled(
        value=value,
        uncertainty=uncertainty,
        within_sd=sqrt(within),
        between_sd=sqrt(between),
        trials=number,
        pieces=pieces,
        low=value - reach,
        high=value + reach,
    )


def _weights(between: float, within: float, counts: Sequence[int]) -> list[float]:
    """Return one over the variance of each mean; all alike where nothing scatters at all."""
    variances = [between + within / count for count in counts]
    return [1.0 / each for each in variances] if all(variances) else [1.0] * len(variances)


def found_value(row: BookDough, figure: DoughFigure) -> float | None:
    """Return a figure of a dough: pooled, the finest that held, or the mean of what was found."""
    measured = row.of_figure(figure)
    if not measured:
        return None
    if figure.is_pooled:
        return pooled(measured).value
    values = [each.mean for each in measured]
    if figure is DoughFigure.YIELD:
        return fsum(values) / len(values)
    return max(values) if figure is DoughFigure.DEPTH else min(values)


SPREADS: Final = {
    DoughFigure.LOSS: "portion.loss_sd",
    DoughFigure.WIDTH: "dough.width_ratio_sd",
    DoughFigure.HEIGHT: "dough.height_ratio_sd",
    DoughFigure.RELIEF: "dough.relief_ratio_sd",
}
"""Keys that take the spread of pieces."""
UNCERTAINTIES: Final = {
    DoughFigure.LOSS: "portion.loss_uncertainty",
    DoughFigure.CRUST_DENSITY: "portion.crust_density_sd_g_per_ml",
    DoughFigure.FILLING_DENSITY: "portion.filling_density_sd_g_per_ml",
}
"""Keys that take how far a bake to come may lie off."""


def dough_values(row: BookDough, composition: PieceComposition) -> dict[str, Any]:
    """Return what a dough of the book sets of a design, by the design's keys.

    Parameters
    ----------
    row : BookDough
        The dough.
    composition : PieceComposition
        Of the piece; without a filling its figures are left out.
    """
    starts = {"dough.name": row.name, "portion.crust_dough": row.crust_dough}
    left_out = set()
    if composition is PieceComposition.WRAPPED:
        starts["portion.filling_paste"] = row.filling_paste
    else:
        left_out = {DoughFigure.FILLING_DENSITY}
    values: dict[str, Any] = {key: name for key, name in starts.items() if name is not None}
    for figure in {each.figure: None for each in row.measured if each.figure not in left_out}:
        value = found_value(row, figure)
        assert value is not None  # noqa: S101 (it was measured)
        values[_key(figure)] = round(value, DECIMALS)
        if figure.is_pooled:
            values |= _spread_values(figure, pooled(row.of_figure(figure)))
            values["dough.pieces"] = max(
                values.get("dough.pieces", 0), sum(e.pieces for e in row.of_figure(figure))
            )
    return values


def _spread_values(figure: DoughFigure, found: Pooled) -> dict[str, float]:
    """Return what says how far a figure scatters, where the design has a key for it."""
    values = {}
    if figure in SPREADS:
        # Loss tells bakes apart by its own uncertainty; of a size one wants all that scatters.
        sd = found.within_sd if figure is DoughFigure.LOSS else found.piece_sd
        values[SPREADS[figure]] = round(sd, DECIMALS)
    if figure in UNCERTAINTIES:
        values[UNCERTAINTIES[figure]] = round(found.next_bake_sd, DECIMALS)
    return values


def _key(figure: DoughFigure) -> str:
    table = "portion" if figure.value in PortionTable.model_fields else "dough"
    return f"{table}.{figure.value}"


def today() -> date:
    """Return the day on which something is measured; only the edges of the program ask for it."""
    return datetime.now().astimezone().date()


def measured_in(found: Trial, on: date) -> tuple[Measured, ...]:
    """Return what a trial measured of its dough, each figure of two pieces or more.

    The spread is as it was read, with scale and ruler, and at least what these alone make.
    """
    design = found.corrected
    figures: list[tuple[DoughFigure, Estimate | None, float]] = [
        (DoughFigure.LOSS, found.loss, 1.0),
        (DoughFigure.SPRINGBACK, found.springback_mm, 1.0),
        (DoughFigure.WIDTH, found.width_ratio, 1.0),
        (DoughFigure.HEIGHT, found.height_ratio, 1.0),
        (DoughFigure.RELIEF, found.relief_ratio, 1.0),
    ]
    density = found.density_g_per_ml
    if density is not None:
        # One height tells the density of the piece: both parts change by the same factor.
        parts = [(DoughFigure.CRUST_DENSITY, design.portion.crust_density)]
        if design.portion.is_filled:
            parts.append((DoughFigure.FILLING_DENSITY, design.portion.filling_density))
        figures += [(f, density, part.g_per_ml / density.value) for f, part in parts]
    return tuple(
        Measured(
            figure=figure,
            mean=round(factor * each.value, DECIMALS),
            sd=round(factor * max(each.seen_sd, each.uncertainty * sqrt(each.count)), DECIMALS),
            pieces=each.count,
            date=on.isoformat(),
        )
        for figure, each, factor in figures
        if each is not None and each.seen_sd is not None
    )


def remember(book: DoughBook, name: str, rows: Iterable[Measured], design: Design) -> DoughBook:
    """Return the book with what was measured of a dough; a new name begins a row.

    Parameters
    ----------
    book : DoughBook
        As it was.
    name : str
        Of the dough.
    rows : iterable of Measured
        What is new.
    design : Design
        What the pieces were made by: a new row starts from its doughs.

    Raises
    ------
    SpecError
        There is nothing new, the same is in the book already, or no design takes the figures.
    """
    new = tuple(rows)
    if not new:
        raise SpecError("remember", name, say("kitchen.nothing-to-remember"))
    table = design.portion
    row = book.find(name) or BookDough.of(
        {"name": name, "ratio": table.ratio}
        | {
            key: value
            for key in ("crust_dough", "filling_paste")
            if (value := getattr(table, key)) is not None
        }
    )
    if all(each in row.measured for each in new):
        raise SpecError("remember", name, say("kitchen.remembered-already"))
    longer = row.model_copy(update={"measured": (*row.measured, *new)})
    Design().with_values(dough_values(longer, PieceComposition.WRAPPED))
    return book.with_dough(longer)
