"""`moulddesign series`: many designs from one table, side by side."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from moulddesign.cli.console import (
    OverwriteMould,
    ends_at_once,
    err,
    figure,
    out,
    print_json,
    table,
)
from moulddesign.cli.options import AsJson, NoWorkshop, PaperName, design_with, paper_for
from moulddesign.core import MouldError, SpecError, say
from moulddesign.core.concurrency import pool_size
from moulddesign.design import Design, parse_formats, read_workshop
from moulddesign.kitchen import Recipe, recipe_of
from moulddesign.portion import figures
from moulddesign.series.table import Row, RowsError, at_place, read_series

if TYPE_CHECKING:
    from moulddesign.series.orders import Order, Outcome

MOST_JOBS: Final = 256
"""Most processes at once; our choice."""

UNMEASURED: Final = "*"
"""Beside figures that rest on an unmeasured loss."""

HEADS: Final = (
    *("name", "weight g", "width mm", "height mm", "crust mm"),
    *("failed", "warned", "s", "state"),
)
"""Of the table that sums a series up; failed and warned count findings."""


def run_series(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="TABLE",
            help="CSV whose first line names keys of a design file; or TOML: tables of pieces.",
        ),
    ],
    *,
    base_file: Annotated[
        Path | None,
        typer.Option(
            "--base", metavar="DESIGN", help="Says what a row leaves out; default: a plain piece."
        ),
    ] = None,
    folder: Annotated[
        Path, typer.Option("--out", "-o", metavar="DIR", help="Each piece goes to a folder in it.")
    ] = Path("exports"),
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", help="Processes; default: one a processor."),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Build on the machines of a Dask scheduler, such as tcp://10.0.0.5:8786.",
        ),
    ] = None,
    formats: Annotated[
        str, typer.Option("--formats", metavar="LIST", help="Files besides STL, as in make.")
    ] = "all",
    paper: PaperName = None,
    keep_failing: Annotated[
        bool, typer.Option("--keep-failing", help="Publish in spite of a failed finding.")
    ] = False,
    overwrite: OverwriteMould = False,
    no_workshop: NoWorkshop = False,
    as_json: AsJson = False,
) -> int:
    """Make many moulds from one table: a row for each piece, a folder for each row.

    The first line of the table names keys of a design file, such as name,
    portion.finished_weight_g, pastry.outline, relief.layers.1.pattern; empty cells are as in the
    base. Every row is checked before the first is made. A row whose folder holds a mould of
    another geometry is not made without --overwrite. After Ctrl-C the same command goes on where
    it was: folders that hold just what their rows ask for stay as they are.

    Example: moulddesign series cakes.csv --base cake.toml --out exports --formats 3mf,card
    """
    if jobs is not None and not 0 < jobs <= MOST_JOBS:
        raise SpecError("--jobs", jobs, say("cli.jobs-between", most=MOST_JOBS))
    # A table asks for something: without a base its rows start from a plain piece, as options do.
    asked: dict[str, Any] = {} if base_file is not None else {"portion.centres": []}
    base = design_with(base_file, asked, read_workshop(ignored=no_workshop))
    rows = read_series(source, base)
    _tried(rows, figures)  # arithmetic alone tells much of what is wrong
    with ends_at_once():
        from moulddesign import export  # noqa: PLC0415 (the same)
        from moulddesign.artwork.bundled_patterns import refuse_missing  # noqa: PLC0415 (the same)
        from moulddesign.series.orders import Order  # noqa: PLC0415 (the same)
    _tried(rows, refuse_missing)
    kinds = parse_formats(formats)
    sheet = paper_for(kinds, paper)
    # What the base names lies beside the base, what a row names beside the table.
    named = {base.batch.recipe: base_file}
    recipes = [_recipe(row, named.get(row.design.batch.recipe, source)) for row in rows]
    orders = [
        Order(
            place=row.place,
            design=row.design,
            target=folder / row.design.name,
            options=export.ExportOptions(
                formats=kinds, paper=sheet, recipe=recipe, overwrite=overwrite
            ),
            keep_failing=keep_failing,
        )
        for row, recipe in zip(rows, recipes, strict=True)
    ]
    made = carry_out(orders, folder, jobs, scheduler)
    show_series(made, folder, "Series", as_json=as_json)
    return series_code(made.outcomes)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSeries:
    """What became of a series."""

    outcomes: tuple["Outcome", ...]
    processes: int | None
    """How many worked on it; None on a cluster."""
    seconds: float


def carry_out(
    orders: Sequence["Order"],
    folder: Path,
    jobs: int | None = None,
    scheduler: str | None = None,
) -> MadeSeries:
    """Build and write pieces side by side, with a bar where stderr is a terminal.

    What an earlier run finished stays as it is.

    Parameters
    ----------
    jobs : int or None
        How many processes; one a processor where it is None.
    scheduler : str or None
        Address of a cluster, which builds them instead.
    """
    from moulddesign.export import REPORT  # noqa: PLC0415 (the same)
    from moulddesign.series.cluster import run_on  # noqa: PLC0415 (geometry)
    from moulddesign.series.orders import finished, run_all  # noqa: PLC0415 (the same)

    start = perf_counter()
    made = finished(orders)
    numbers = [number for number in range(len(orders)) if number not in made]
    waiting = [orders[number] for number in numbers]
    if made:
        err().print(
            f"{len(made)} of {len(orders)} were finished before and stay as they are; "
            f"{len(waiting)} to make."
        )
    for order in waiting:
        if order.is_damaged:
            err().print(
                f"{order.place}, {order.design.name}: {REPORT} does not say what its folder holds; "
                "it is made anew.",
                soft_wrap=True,
            )
    processes = pool_size(jobs, len(waiting)) if scheduler is None else None
    with _progress(len(waiting)) as bar:
        for place, outcome in (
            run_all(waiting, folder, processes)
            if processes is not None
            else run_on(str(scheduler), waiting, folder)
        ):
            made[numbers[place]] = outcome
            bar.advance(bar.task_ids[0])
    return MadeSeries(
        outcomes=tuple(made[number] for number in sorted(made)),
        processes=processes,
        seconds=perf_counter() - start,
    )


def series_code(outcomes: Iterable["Outcome"]) -> int:
    """Return the exit code of a series: 2 where a mould was in the way, 1 where one failed."""
    states = {one.state.value for one in outcomes}
    return 2 if "kept" in states else int(states != {"made"})


def _tried(rows: Sequence[Row], look: Callable[[Design], object]) -> None:
    """Look at every piece before the first is built."""
    wrong = []
    for row in rows:
        try:
            look(row.design)
        except MouldError as error:
            wrong.append(str(at_place(error, row.place)))
    if wrong:
        raise RowsError(tuple(wrong))


def _recipe(row: Row, beside: Path | None) -> Recipe | None:
    try:
        return recipe_of(row.design, beside)
    except MouldError as error:
        raise at_place(error, row.place) from error


@contextmanager
def _progress(total: int) -> Iterator[Progress]:
    """Show a bar over the pieces on stderr, where that is a terminal."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    console = err()
    with Progress(
        *columns, TimeElapsedColumn(), console=console, transient=True,
        disable=not console.is_terminal,
    ) as bar:  # fmt: skip
        bar.add_task("pieces", total=total)
        yield bar


def show_series(made: MadeSeries, folder: Path, title: str, *, as_json: bool) -> None:
    """Print what became of a series; why something was not made goes to stderr."""
    if as_json:
        print_json(
            {
                "folder": str(folder),
                "jobs": made.processes,
                "seconds": made.seconds,
                "pieces": [one.report() for one in made.outcomes],
            }
        )
    else:
        out().print(table(title, HEADS, map(_cells, made.outcomes)))
        if any(one.loss_unmeasured for one in made.outcomes):
            out().print(
                f"{UNMEASURED}: finished weight and sizes by a loss that nobody measured; name the "
                "dough (portion.crust_dough) or give the loss (portion.loss)."
            )
    for one in made.outcomes:
        if one.said:
            err().print(f"{one.place}, {one.name}: {one.said}", soft_wrap=True)
    count = sum(one.written for one in made.outcomes)
    err().print(f"{count} of {len(made.outcomes)} written to {folder}", soft_wrap=True)


def _cells(one: "Outcome") -> tuple[object, ...]:
    weight = "" if one.finished_g is None else figure(one.finished_g)
    sizes = (one.width_mm, one.height_mm, one.crust_mm)
    return (
        one.name,
        f"{weight}{UNMEASURED}" if one.loss_unmeasured else weight,
        *("" if size is None else size for size in sizes),
        len(one.failed),
        len(one.warned),
        one.seconds,
        one.state.value,
    )
