"""What somebody measured of his own doughs: the figures of one design, and the dough book's rows.

A row of the book has a name, the doughs of the package that it started from, and every figure that
was measured, with its spread, its number of pieces and its day. What is used of it is written into
the design: its table [dough], and loss and densities in [portion].
"""

from datetime import date
from enum import StrEnum
from typing import Final, Self

from pydantic import field_validator, model_validator

from moulddesign.core import SpecError, say
from moulddesign.design.doughs import crusts, fillings, known_name
from moulddesign.design.schema import RefusedError, Table, as_one_line, given

MEASURED: Final = (
    "measure a trial of five pieces or more; no figures of filled pieces were found published"
)
SAMPLED: Final = "press the sampler of `coupon`, bake it, and look at it"

LONGEST_DOUGH: Final = 40
"""Longest name of a dough; our choice [characters]."""


class DoughTable(Table):
    """What was measured of the dough of a design; nothing where nobody did."""

    name: str | None = given(
        None, "Dough of the dough book that the figures are of", min_length=1,
        max_length=LONGEST_DOUGH,
    )  # fmt: skip
    pieces: int | None = given(None, "Pieces that were measured of it", ge=1, le=100_000)
    width_ratio: float | None = given(
        None, "Width of a baked piece over the mould's", source=MEASURED, ge=0.5, le=2
    )
    width_ratio_sd: float | None = given(
        None, "Its standard deviation from piece to piece", source=MEASURED, ge=0, le=0.5
    )
    height_ratio: float | None = given(
        None, "Height of a baked piece over the pressed height", source=MEASURED, ge=0.3, le=3
    )
    height_ratio_sd: float | None = given(
        None, "Its standard deviation from piece to piece", source=MEASURED, ge=0, le=1
    )
    relief_ratio: float | None = given(
        None, "Depth of the relief on a baked piece over that of the stamp", source=MEASURED,
        ge=0, le=1.5,
    )  # fmt: skip
    relief_ratio_sd: float | None = given(
        None, "Its standard deviation from piece to piece", source=MEASURED, ge=0, le=1
    )
    springback_mm: float | None = given(
        None, "How far a piece rises once it is released", unit="mm", source=MEASURED, ge=-5, le=20
    )
    least_crust_mm: float | None = given(
        None, "Thinnest crust that held", unit="mm", source="bake it and look", gt=0, le=20
    )
    least_stroke_mm: float | None = given(
        None, "Narrowest stroke that reads", unit="mm", source=SAMPLED, gt=0, le=10
    )
    least_gap_mm: float | None = given(
        None, "Narrowest gap that reads", unit="mm", source=SAMPLED, gt=0, le=10
    )
    most_depth_mm: float | None = given(
        None, "Deepest relief that reads and comes out whole", unit="mm", source=SAMPLED, gt=0,
        le=20,
    )  # fmt: skip

    @model_validator(mode="after")
    def _spread_of_something(self) -> Self:
        for ratio in ("width_ratio", "height_ratio", "relief_ratio"):
            sd = getattr(self, f"{ratio}_sd")
            if sd is not None and getattr(self, ratio) is None:
                raise RefusedError.of(SpecError(f"{ratio}_sd", sd, say("design.spread-of-nothing")))
        return self

    @property
    def read_widths_mm(self) -> tuple[float | None, float | None]:
        """Narrowest stroke and gap that read; None where nobody looked [mm]."""
        return self.least_stroke_mm, self.least_gap_mm

    def as_eaten(
        self, *, width_mm: float, height_mm: float, relief_mm: float | None
    ) -> dict[str, tuple[float, float]]:
        """Return the sizes of a baked piece that are known, and how far they scatter [mm].

        Parameters
        ----------
        width_mm, height_mm : float
            Of the pressed piece [mm].
        relief_mm : float or None
            Depth of its relief; None without one [mm].

        Returns
        -------
        dict of str to (float, float)
            "width", "height" and "relief", each the pressed size times its ratio [mm].
        """
        pressed = {"width": width_mm, "height": height_mm, "relief": relief_mm}
        return {
            name: (size_mm * ratio, size_mm * (getattr(self, f"{name}_ratio_sd") or 0.0))
            for name, size_mm in pressed.items()
            if size_mm is not None and (ratio := getattr(self, f"{name}_ratio")) is not None
        }


class DoughFigure(StrEnum):
    """What may be measured of a dough; named as the design's key."""

    LOSS = "loss"
    CRUST_DENSITY = "crust_density_g_per_ml"
    FILLING_DENSITY = "filling_density_g_per_ml"
    SPRINGBACK = "springback_mm"
    WIDTH = "width_ratio"
    HEIGHT = "height_ratio"
    RELIEF = "relief_ratio"
    YIELD = "crust_yield_kpa"
    CRUST = "least_crust_mm"
    STROKE = "least_stroke_mm"
    GAP = "least_gap_mm"
    DEPTH = "most_depth_mm"

    @property
    def is_pooled(self) -> bool:
        """Whether it is a mean of pieces, which scatter; else one figure that was found."""
        return self not in SINGLE


SINGLE: Final = (
    DoughFigure.YIELD, DoughFigure.CRUST, DoughFigure.STROKE, DoughFigure.GAP, DoughFigure.DEPTH,
)  # fmt: skip
"""Figures that are found once and have no spread of pieces."""


class Measured(Table):
    """One figure of a dough, as it was measured on one day."""

    figure: DoughFigure = given(..., "What was measured")
    mean: float = given(..., "Its mean, or the figure that was found", ge=-1e6, le=1e6)
    sd: float | None = given(None, "Standard deviation from piece to piece", ge=0, le=1e6)
    pieces: int = given(1, "Pieces that were measured", ge=1, le=100_000)
    date: str = given(..., "Day, as in 2026-11-27")

    @field_validator("date", mode="before")
    @classmethod
    def _a_day(cls, day: object) -> object:
        if isinstance(day, date):  # TOML has days without quotes
            return day.isoformat()
        try:
            date.fromisoformat(str(day))
        except ValueError as error:
            raise RefusedError(say("design.day")) from error
        return day

    @model_validator(mode="after")
    def _with_its_spread(self) -> Self:
        if self.figure.is_pooled and (self.sd is None or self.pieces == 1):
            need = say("design.figure-without-spread")
            raise RefusedError.of(SpecError("sd", self.sd, need))
        return self


class BookDough(Table):
    """One dough of the book, with all that was measured of it."""

    name: str = given(..., "What it is called", min_length=1, max_length=LONGEST_DOUGH)
    crust_dough: str | None = given(None, "Crust dough that it started from")
    filling_paste: str | None = given(None, "Filling paste that went with it")
    ratio: str | None = given(None, "Crust to filling of the pieces that were weighed")
    measured: tuple[Measured, ...] = given((), "Figures", max_length=10_000)

    _name_in_a_line = field_validator("name")(as_one_line)

    @model_validator(mode="after")
    def _started_from_known_ones(self) -> Self:
        if self.crust_dough is not None:
            known_name(self.crust_dough, crusts())
        if self.filling_paste is not None:
            known_name(self.filling_paste, fillings())
        return self

    def of_figure(self, figure: DoughFigure) -> tuple[Measured, ...]:
        """Return what was measured of one figure, in the order of the book."""
        return tuple(each for each in self.measured if each.figure is figure)


class DoughBook(Table):
    """The doughs that somebody measured, in a TOML file with one table [[dough]] each."""

    dough: tuple[BookDough, ...] = given((), "The doughs", max_length=500)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        names = [each.name for each in self.dough]
        for number, name in enumerate(names):
            if name in names[:number]:
                raise RefusedError(say("design.dough-twice", name=name))
        return self

    def find(self, name: str) -> BookDough | None:
        """Return the dough of a name; None where it has none."""
        return next((each for each in self.dough if each.name == name), None)

    def with_dough(self, row: BookDough) -> Self:
        """Return the book with a row in the place of the one of its name, or at its end."""
        if self.find(row.name) is None:
            return type(self)(dough=(*self.dough, row))
        return type(self)(dough=tuple(row if e.name == row.name else e for e in self.dough))

    def without(self, name: str) -> Self:
        """Return the book without a dough."""
        return type(self)(dough=tuple(each for each in self.dough if each.name != name))
