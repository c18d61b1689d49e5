"""`doughs`: the dough book, with what was measured of one's own doughs."""

from collections.abc import Iterable
from typing import Annotated, Any, Final

import typer

from moulddesign.cli.console import err, key_values, out, print_json, table
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.core import SpecError, read_number, say
from moulddesign.design import (
    BookDough,
    Design,
    DoughFigure,
    Measured,
    dough_book_path,
    read_dough_book,
    save_dough_book,
)
from moulddesign.design.dough_book import SINGLE
from moulddesign.kitchen.pooling import found_value, pooled, remember, today

doughs_app = typer.Typer(cls=VerbGroup, no_args_is_help=False, pretty_exceptions_enable=False)

AsJson = Annotated[bool, typer.Option("--json", help="Print the dough book as JSON on stdout.")]
DoughName = Annotated[str, typer.Argument(metavar="NAME", help="Name of the dough.")]


@doughs_app.callback(invoke_without_command=True)
def _shown(context: typer.Context, *, as_json: AsJson = False) -> None:
    """Show or change the dough book: what trials, the plate test and the sampler found of doughs.

    `trial --remember NAME` adds to it; `--dough NAME` of the other verbs uses it.

    Example: moulddesign doughs
    """
    if context.invoked_subcommand is None:
        show_doughs(as_json=as_json)


@doughs_app.command("show", cls=Verb)
def show_doughs(*, as_json: AsJson = False) -> None:
    """Show each dough with its figures, how far they scatter, and where the book lies.

    Example: moulddesign doughs show
    """
    book = read_dough_book()
    if as_json:
        doughs = [{"name": each.name, "figures": _plain(each)} for each in book.dough]
        print_json({"file": str(dough_book_path()), "doughs": doughs})
        return
    for row in book.dough:
        rows = [_printed(row, figure) for figure in DoughFigure if row.of_figure(figure)]
        heads = ("", "mean", "95 % of means", "sd", "pieces", "days")
        out().print(table(_title(row), heads, rows))
    if not book.dough:
        out().print("The dough book is empty; `trial --remember NAME` begins it.")
    err().print(f"It lies in {dough_book_path()}", soft_wrap=True)


@doughs_app.command("set", cls=Verb)
def set_dough(
    name: DoughName,
    values: Annotated[list[str], typer.Argument(metavar="KEY=VALUE...", help="What was found.")],
) -> None:
    """Add figures that were found by looking: of the sampler, of a thin crust, of the plate test.

    The keys: crust_yield_kpa, least_crust_mm, least_stroke_mm, least_gap_mm, most_depth_mm.

    Example: moulddesign doughs set lantern least_crust_mm=1.6 least_stroke_mm=0.8
    """
    found = []
    for key, value in key_values("doughs", values):
        if key not in SINGLE:
            raise SpecError("doughs", key, say("cli.no-such-figure", keys=tuple(SINGLE)))
        unit = "kPa" if key == DoughFigure.YIELD else "mm"
        found.append(measured_figure(DoughFigure(key), read_number(key, value, unit)))
    keep_in_book(name, found, Design())


@doughs_app.command("forget", cls=Verb)
def forget_dough(name: DoughName) -> None:
    """Take a dough out of the book; designs that were made with it keep its figures.

    Example: moulddesign doughs forget lantern
    """
    book = read_dough_book()
    if book.find(name) is None:
        names = tuple(each.name for each in book.dough)
        raise SpecError("doughs", name, say("cli.dough-not-in-book", names=names))
    save_dough_book(book.without(name))
    err().print(f"Forgotten: {name}", soft_wrap=True, markup=False)


def keep_in_book(name: str, rows: Iterable[Measured], design: Design) -> None:
    """Add what was measured to a dough of the book, and say what its figures are now."""
    book = remember(read_dough_book(), name, rows, design)
    save_dough_book(book)
    row = book.find(name)
    assert row is not None  # noqa: S101 (it was added)
    said = ", ".join(
        f"{figure.value} {found_value(row, figure):.4g}"
        for figure in DoughFigure
        if row.of_figure(figure)
    )
    err().print(f"The dough book says of {name}: {said}.", soft_wrap=True, markup=False)


def measured_figure(figure: DoughFigure, value: float) -> Measured:
    """Return one figure that was found today."""
    plain = {"figure": figure.value, "mean": value, "date": today().isoformat()}
    return Measured.of(plain)


FIGURE_WORDS: Final = {
    DoughFigure.LOSS: "loss",
    DoughFigure.CRUST_DENSITY: "crust g/mL",
    DoughFigure.FILLING_DENSITY: "paste g/mL",
    DoughFigure.SPRINGBACK: "springback mm",
    DoughFigure.WIDTH: "baked : mould width",
    DoughFigure.HEIGHT: "baked : pressed height",
    DoughFigure.RELIEF: "relief left",
    DoughFigure.YIELD: "yield stress kPa",
    DoughFigure.CRUST: "crust that held mm",
    DoughFigure.STROKE: "stroke that reads mm",
    DoughFigure.GAP: "gap that reads mm",
    DoughFigure.DEPTH: "depth that reads mm",
}
"""What each figure is called in a table."""


def _title(row: BookDough) -> str:
    started = [each for each in (row.crust_dough, row.filling_paste, row.ratio) if each]
    return f"{row.name} ({', '.join(started)})" if started else row.name


def _printed(row: BookDough, figure: DoughFigure) -> tuple[str, ...]:
    measured = row.of_figure(figure)
    days = sorted({each.date for each in measured})
    span = days[-1] if len(days) == 1 else f"{len(days)}, to {days[-1]}"
    pieces = str(sum(each.pieces for each in measured))
    value = f"{found_value(row, figure):.4g}"
    if not figure.is_pooled:
        return (FIGURE_WORDS[figure], value, "", "", pieces, span)
    found = pooled(measured)
    interval = f"{found.low:.3g} to {found.high:.3g}"
    return (FIGURE_WORDS[figure], value, interval, f"{found.piece_sd:.2g}", pieces, span)


def _plain(row: BookDough) -> dict[str, Any]:
    figures: dict[str, Any] = {}
    for figure in DoughFigure:
        measured = row.of_figure(figure)
        if not measured:
            continue
        plain: dict[str, Any] = {
            "value": found_value(row, figure),
            "pieces": sum(each.pieces for each in measured),
            "date": max(each.date for each in measured),
        }
        if figure.is_pooled:
            found = pooled(measured)
            plain |= {
                "low": found.low, "high": found.high, "within_sd": found.within_sd,
                "between_sd": found.between_sd, "uncertainty": found.uncertainty,
            }  # fmt: skip
        figures[figure.value] = plain
    return figures
