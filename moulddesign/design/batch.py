"""What weighing, selling and running a batch need: the scale, the label, the batch."""

from datetime import date
from typing import Final

from pydantic import field_validator

from moulddesign.design.quantity import CHOICE, MEMORY, PRACTICE, Table, given

MOST_PIECES: Final = 1_000_000
"""Most pieces of a batch; our choice."""


class ScaleTable(Table):
    """The scale that portions are weighed on, and the hand that uses it."""

    resolution_g: float = given(
        1.0, "Smallest step of the scale", unit="g",
        source="kitchen scales show whole grams; " + PRACTICE, gt=0, le=50,
    )  # fmt: skip
    hand_error_g: float = given(
        0.5, "Standard deviation of one portion weighed in haste, beyond the scale's step",
        unit="g", source=MEMORY, ge=0, le=50,
    )  # fmt: skip


class LabelTable(Table):
    """The weight on the label and how the packers' rules are read; local law decides."""

    weight_g: float | None = given(
        None, "Weight on the label; the finished weight where it is left out", unit="g",
        ge=5, le=10_000,
    )  # fmt: skip
    most_short: float = given(
        0.025, "Largest share of packs that may be short by more than the tolerable deficiency",
        source="Directive 76/211/EEC and the texts that follow it; Germany has 0.02",
        gt=0, le=0.1,
    )  # fmt: skip
    most_very_short: float = given(
        0.0001, "Share of packs that is taken as none where none may be short by twice as much",
        source=CHOICE, gt=0, le=0.01,
    )  # fmt: skip


class BatchTable(Table):
    """How many pieces, what gets lost on the way, and how they are carried and sold."""

    pieces: int | None = given(None, "Number of pieces", ge=1, le=MOST_PIECES)
    recipe: str | None = given(
        None, "Recipe file (TOML), sought beside the design file", min_length=1
    )
    mixing_loss: float = given(
        0.01, "Share of dough and paste that stays in bowl and pan", source=MEMORY, ge=0, le=0.5
    )
    cooking_loss: float = given(
        0.0, "Share of the mixed filling that cooks off; a recipe's own figure comes first",
        source=CHOICE, ge=0, le=0.9,
    )  # fmt: skip
    trimming_loss: float = given(
        0.0, "Share of the crust dough that is trimmed off and not used again", source=CHOICE,
        ge=0, le=0.9,
    )  # fmt: skip
    hand_loss: float = given(
        0.01, "Share of dough and paste that stays on hands and table", source=MEMORY, ge=0, le=0.5
    )
    pieces_per_tray: int = given(12, "Pieces on a tray", source=PRACTICE, ge=1, le=1000)
    pieces_per_box: int = given(4, "Pieces in a box", source=CHOICE, ge=1, le=1000)
    currency: str = given("", "Currency of the prices, as printed", max_length=8)
    centre_price: float | None = given(None, "Price of one centre", ge=0, le=1e6)
    box_price: float | None = given(None, "Price of one empty box", ge=0, le=1e6)
    serving_date: date | None = given(None, "Day on which the pieces are served")

    @field_validator("serving_date", mode="before")
    @classmethod
    def _a_day(cls, given_date: object) -> object:
        if not isinstance(given_date, str):
            return given_date
        try:
            return date.fromisoformat(given_date)
        except ValueError as error:
            message = "must be a day written as year-month-day, such as 2026-11-30"
            raise ValueError(message) from error
