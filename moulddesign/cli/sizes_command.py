"""`make --sizes`: one design in several weights, a folder each, one table and one card."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

from moulddesign.cli.console import ends_at_once, err, save_bytes
from moulddesign.cli.series_command import MadeSeries, carry_out, series_code, show_series
from moulddesign.core import (
    FileError,
    MouldError,
    SpecError,
    read_number,
    require_positive,
    say,
)
from moulddesign.design import Design

if TYPE_CHECKING:
    from moulddesign.export import ExportOptions

MOST_SIZES: Final = 24
"""Most weights of one design; our choice."""


def read_sizes(text: str) -> tuple[float, ...]:
    """Return the weights that `--sizes` names [g].

    Commas part them, or semicolons, beside which a comma is a decimal one.

    Raises
    ------
    SpecError
        One is no weight above 0 or is there twice, or there are too many.

    Examples
    --------
    >>> read_sizes("30,75,150"), read_sizes("62,5 g; 2 oz")
    ((30.0, 75.0, 150.0), (62.5, 56.69904625))
    """
    parts = [part for part in text.split(";" if ";" in text else ",") if part.strip()]
    if not 1 <= len(parts) <= MOST_SIZES:
        raise SpecError("--sizes", text, say("cli.sizes-count", most=MOST_SIZES))
    weights = tuple(
        require_positive("--sizes", read_number("--sizes", part, "g"), "g") for part in parts
    )
    shown = [f"{weight:g}" for weight in weights]
    twice = [part for number, part in enumerate(shown) if part in shown[:number]]
    if twice:
        raise SpecError("--sizes", twice[0], say("cli.size-twice"))
    return weights


def make_sizes(
    design: Design,
    weights_g: tuple[float, ...],
    folder: Path,
    options: "ExportOptions",
    *,
    keep_failing: bool,
    as_json: bool,
) -> int:
    """Make a design in several weights; return the exit code.

    A size that fails is told, and the others are made.

    Raises
    ------
    FileError
        The folder holds one mould.
    WriteError
        The folder or the card cannot be written.
    """
    with ends_at_once():
        from moulddesign.building.sizes import in_weight  # noqa: PLC0415 (light verbs load no geometry)
        from moulddesign.export import REPORT  # noqa: PLC0415 (the same)
        from moulddesign.export.sizes_card import SIZES_PDF, MadeSize, sizes_card  # noqa: PLC0415 (the same)
        from moulddesign.series.orders import Order, Outcome, State  # noqa: PLC0415 (the same)

    if (folder / REPORT).exists():
        raise FileError(str(folder), say("cli.sizes-in-a-mould"))
    orders: dict[float, Order] = {}
    refused: dict[float, Outcome] = {}
    for weight_g in weights_g:
        place = f"{weight_g:g}g"
        try:
            orders[weight_g] = Order(
                place=place,
                design=in_weight(design, weight_g),
                target=folder / place,
                options=options,
                keep_failing=keep_failing,
                on_sheet=True,
            )
        except MouldError as error:
            refused[weight_g] = Outcome(
                place=place,
                name=str(design.name),
                state=State.NOT_MADE,
                said=str(error),
                remarks=(error.message,),
            )
    series = carry_out(tuple(orders.values()), folder)
    by_weight = refused | dict(zip(orders, series.outcomes, strict=True))
    outcomes = tuple(by_weight[weight_g] for weight_g in weights_g)
    made = MadeSeries(outcomes=outcomes, processes=series.processes, seconds=series.seconds)
    show_series(made, folder, "Sizes", as_json=as_json)
    if any(one.written for one in outcomes):
        card = sizes_card(
            design,
            [
                MadeSize(
                    weight_g=weight_g,
                    folder=folder / one.place if one.written else None,
                    remarks=one.remarks,
                )
                for weight_g, one in zip(weights_g, outcomes, strict=True)
            ],
            options.paper,
        )
        # It says what the folders hold, so an older one goes with what they held.
        save_bytes(folder / SIZES_PDF, card.pdf(), overwrite=True)
        err().print(f"All sizes on one card: {folder / SIZES_PDF}", soft_wrap=True)
    return series_code(outcomes)
