"""Many pieces: what gets lost on the way, the bake day, and what a price is worked out from."""

from datetime import date, time
from re import fullmatch
from typing import Final

from pydantic import field_validator

from moulddesign.core import say
from moulddesign.design.schema import (
    CHOICE,
    MEMORY,
    TRADE,
    FileKind,
    RefusedError,
    Table,
    given,
)

MOST_PIECES: Final = 1_000_000
"""Most pieces of a batch; our choice."""

USUAL_BOX: Final = 4
"""Pieces of a box where neither design nor label says; our choice."""

BAKING: Final = (
    "worked out: 14 to 20 min bring 52 to 106 g from 25 to 90 deg C inside at 200 deg C, give or "
    "take 35 %; probe one piece"
)


class BatchTable(Table):
    """How many pieces, what gets lost on the way, and how they are carried and sold."""

    pieces: int | None = given(None, "Number of pieces", ge=1, le=MOST_PIECES, main=True)
    recipe: str | None = given(
        None,
        "Recipe file (TOML), sought beside the design file",
        min_length=1,
        main=True,
        file=FileKind.RECIPE,
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
    pieces_per_tray: int = given(12, "Pieces on a tray", source=TRADE, ge=1, le=1000, main=True)
    pieces_per_box: int | None = given(
        None, f"Pieces in a box; the label's pack where it is left out, else {USUAL_BOX}",
        source=CHOICE, ge=1, le=1000, main=True,
    )  # fmt: skip
    currency: str = given("", "Currency of the prices, as printed", max_length=8)
    centre_price: float | None = given(None, "Price of one centre", ge=0, le=1e6)
    box_price: float | None = given(None, "Price of one empty box", ge=0, le=1e6)
    serving_date: date | None = given(None, "Day on which the pieces are served", main=True)

    @field_validator("serving_date", mode="before")
    @classmethod
    def _a_day(cls, given_date: object) -> object:
        if not isinstance(given_date, str):
            return given_date
        try:
            return date.fromisoformat(given_date)
        except ValueError as error:
            raise RefusedError(say("design.day")) from error


class BakeDayTable(Table):
    """Who and what works on the bake day, and how long each step takes."""

    start: str = given("08:00", "Time at which the day begins", source=CHOICE, main=True)
    hands: int = given(1, "People who work", source=CHOICE, ge=1, le=100, main=True)
    moulds: int = given(
        1, "Moulds that press at the same time", source=CHOICE, ge=1, le=100, main=True
    )
    trays: int | None = given(
        None, "Trays that there are; enough where it is left out", ge=1, le=1000, main=True
    )
    oven_trays: int = given(1, "Trays in the oven at once", source=CHOICE, ge=1, le=100, main=True)
    mixing_minutes: float = given(
        30.0, "Weighing out and mixing the dough", unit="min", source=MEMORY, ge=0, le=1440
    )
    dough_rest_minutes: float = given(
        60.0, "Rest of the dough before it is shaped", unit="min", source=TRADE, ge=0, le=1440
    )
    shaping_minutes: float = given(
        2.0, "Weighing and wrapping one piece, for one person", unit="min", source=MEMORY,
        gt=0, le=60,
    )  # fmt: skip
    pressing_minutes: float = given(
        0.5, "Pressing one piece and knocking it out, for one person and mould", unit="min",
        source=MEMORY, gt=0, le=60,
    )  # fmt: skip
    baking_minutes: float = given(
        20.0, "One load in the oven, taken out to brush included", unit="min", source=BAKING,
        ge=0, le=600,
    )  # fmt: skip
    oven_c: float = given(200.0, "Air of the oven", unit="deg C", source=TRADE, ge=100, le=350)
    set_minutes: float = given(
        0.0, "In the oven before the pieces are taken out to be brushed; 0 where they stay in it",
        unit="min", source=CHOICE, ge=0, le=240,
    )  # fmt: skip
    wash_minutes: float = given(
        0.0, "Out of the oven to be brushed", unit="min", source=CHOICE, ge=0, le=240
    )
    finish_oven_c: float | None = given(
        None, "Air of the oven after the brushing; as before where it is left out", unit="deg C",
        ge=100, le=350,
    )  # fmt: skip
    cooling_minutes: float = given(
        60.0, "A tray out of the oven until it can be packed and used again", unit="min",
        source=MEMORY, ge=0, le=1440,
    )  # fmt: skip
    packing_minutes: float = given(
        0.25, "Packing one piece, for one person", unit="min", source=MEMORY, ge=0, le=60
    )

    @field_validator("start", mode="before")
    @classmethod
    def _a_time(cls, start: object) -> object:
        if isinstance(start, time):  # TOML has times without quotes
            return f"{start:%H:%M}"
        if isinstance(start, str) and not fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", start):
            raise RefusedError(say("design.time"))
        return start

    @property
    def start_minute(self) -> int:
        """Start of the day, from midnight [min]."""
        hours, minutes = self.start.split(":")
        return 60 * int(hours) + int(minutes)


class PriceTable(Table):
    """What a price is worked out from beside the ingredients, all money in the batch's currency."""

    wage_per_hour: float | None = given(
        None, "Wage of one person; without it no price is worked out", ge=0, le=1e6, main=True
    )
    energy_per_oven_load: float = given(
        0.0, "Price of the energy of one oven load", ge=0, le=1e6, main=True
    )
    mould_price: float = given(
        0.0, "What the mould cost: plastic, printing, silicone", ge=0, le=1e6, main=True
    )
    mould_pieces: int = given(
        1000, "Pieces that are expected to be pressed with it", source=CHOICE, ge=1, le=10**9,
        main=True,
    )  # fmt: skip
    unsold_share: float = given(
        0.0, "Share of the pieces that is given away, broken or left over", ge=0, lt=1, main=True
    )
    fee_share: float = given(
        0.0, "Share of the shelf price that a market, shop or payment service keeps", ge=0, lt=1,
        main=True,
    )  # fmt: skip
    margin_share: float = given(
        0.0, "Share of the price before tax that is to be left when all else is paid", ge=0, lt=1,
        main=True,
    )  # fmt: skip
    tax_share: float = given(0.0, "Tax on the price before tax", ge=0, le=10, main=True)
