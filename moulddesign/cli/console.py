"""What the verbs print and save.

Tables for people, JSON for programs, files never over another by surprise.
"""

import json
import math
import os
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import typer
from rich.console import Console
from rich.table import Table

from moulddesign.cli import INTERRUPTED
from moulddesign.core import FileError, Message, SpecError, WriteError, replace_file, say
from moulddesign.core.quantities import UNITS
from moulddesign.design import Units

NARROWEST: Final = 40
"""Narrowest console that is written to; our choice [columns]."""
LONGEST_FIGURE: Final = 12
"""A longer word of a table's column may be broken [characters]."""


def out() -> Console:
    """Return the console on stdout; no colour and no fixed width where it is not a terminal."""
    return _wide_enough(Console(highlight=False, emoji=False))


def err() -> Console:
    """Return the console on stderr, for progress and remarks."""
    return _wide_enough(Console(stderr=True, highlight=False, emoji=False))


def _wide_enough(console: Console) -> Console:
    """Return the console; one that says to be narrower than any figure wraps instead of losing it.

    Some terminals say that they have no columns at all, and nothing would be printed.
    """
    if console.width < NARROWEST:  # noqa: PLR1730 (once set, it no longer follows the terminal)
        console.width = NARROWEST
    return console


def _plain(value: object) -> str:
    if isinstance(value, Message):
        return str(value)
    raise TypeError(type(value).__name__)


def print_json(value: Mapping[str, Any]) -> None:
    """Write a value to stdout as JSON (RFC 8259: no NaN, no infinity), in ASCII for any console."""
    # Whole before the first letter goes out; messages are in English.
    text = json.dumps(value, indent=1, allow_nan=False, default=_plain)
    sys.stdout.write(text + "\n")


def table(title: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Table:
    """Return a table whose first column is text and whose others are figures, right-aligned.

    Parameters
    ----------
    title : str
        Printed above.
    heads : sequence of str
        Column heads, with units.
    rows : iterable of sequence
        Cells; a float is shown by `figure`.
    """
    made = Table(title=title, title_justify="left", title_style="bold")
    shown = [[figure(c) if isinstance(c, float) else str(c) for c in row] for row in rows]
    for number, head in enumerate(heads):
        # A figure or a name cut short reads as another: names go on below, figures never break.
        words = [word for row in shown for word in row[number].split()] if number else []
        made.add_column(
            head,
            justify="right" if number else "left",
            overflow="fold",
            min_width=min(LONGEST_FIGURE, max(map(len, words), default=0)),
        )
    for row in shown:
        made.add_row(*row)
    return made


def figure(value: float) -> str:
    """Return a number for a table: three decimals below 10, two below 100, else one.

    Examples
    --------
    >>> figure(76.5306), figure(1.25), figure(240.04)
    ('76.53', '1.250', '240.0')
    """
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{value:.{3 if abs(value) < 10 else 2 if abs(value) < 100 else 1}f}"  # noqa: PLR2004


@contextmanager
def bar_over(stages: Sequence[str]) -> Iterator[Callable[[str], None]]:
    """Show a bar on stderr, where that is a terminal, which moves on when a stage begins.

    Parameters
    ----------
    stages : sequence of str
        Their names in order; one may come again, or be left out.
    """
    from rich.progress import BarColumn, Progress, TextColumn  # noqa: PLC0415 (most verbs show none)

    console = err()
    columns = (TextColumn("{task.description:16}"), BarColumn())
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(stages[0], total=len(stages))
        yield lambda name: bar.update(
            task, description=name, completed=stages.index(name), refresh=True
        )


@contextmanager
def ends_at_once(tidy: Callable[[], object] | None = None) -> Iterator[None]:
    """Let Ctrl-C end the program on the spot; only for work that writes no file.

    The native modules of libraries, while they load, swallow the exception that Ctrl-C raises,
    take it for a missing library, or crash on it.

    Parameters
    ----------
    tidy : callable or None
        Called before the end, to leave the terminal as it was; where it is left out, the cursor
        is shown, which a bar hides.
    """

    def end(*_: object) -> None:
        (err().show_cursor if tidy is None else tidy)()
        os._exit(INTERRUPTED)

    before = signal.signal(signal.SIGINT, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


PrintedUnits = Annotated[
    Units | None, typer.Option("--units", help="us adds ounces and inches to what is printed.")
]


def ounces(mass_g: float) -> str:
    """Return a mass in avoirdupois ounces, to what a scale of 0.01 oz shows."""
    return f"{mass_g / UNITS['g']['oz']:.2f}"


def inches(length_mm: float) -> str:
    """Return a length in inches."""
    return f"{length_mm / UNITS['mm']['in']:.2f}"


def tenths(value: float) -> str:
    """Return grams or millimetres for a narrow table: whole from 1000 on, tenths below."""
    return f"{value:.{0 if abs(value) >= WHOLE_FROM else 1}f}"


WHOLE_FROM: Final = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSystem:
    """Units that a table is printed in."""

    mass: str
    length: str
    of_grams: Callable[[float], str]
    of_mm: Callable[[float], str]


METRIC: Final = UnitSystem(mass="g", length="mm", of_grams=tenths, of_mm=tenths)
US: Final = UnitSystem(mass="oz", length="in", of_grams=ounces, of_mm=inches)


def systems(units: Units | None) -> tuple[UnitSystem, ...]:
    """Return in what a table is printed: grams, and then ounces where they are asked for."""
    return (METRIC, US) if units is Units.US else (METRIC,)


Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Write over a file that is there already.")
]
OverwriteMould = Annotated[
    bool, typer.Option("--overwrite", help="Give up another mould that lies in the folder.")
]


def save_text(path: Path, text: str, *, overwrite: bool) -> None:
    """Write a text file as UTF-8, whole or not at all; see `save_bytes`."""
    save_bytes(path, text.encode(), overwrite=overwrite)


def save_bytes(path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    content : bytes
        What.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    FileError
        The file is there and may not be replaced, or is no file.
    WriteError
        It cannot be written.
    """
    refuse_to_replace(path, overwrite=overwrite)
    replace_file(path, content)


def key_values(field: str, texts: Iterable[str]) -> list[tuple[str, str]]:
    """Return keys and values that were typed as KEY=VALUE, without the spaces around them.

    Raises
    ------
    SpecError
        A text has no sign of equality; it names the field.
    """
    pairs = []
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign:
            raise SpecError(field, text, say("cli.key-and-value"))
        pairs.append((key.strip(), value.strip()))
    return pairs


def refuse_to_replace(path: Path, *, overwrite: bool) -> None:
    """Refuse a file that is there and may not be replaced, before work is spent on it.

    Raises
    ------
    FileError
        It is there, or is no file.
    WriteError
        No file can have this name.
    """
    try:
        there, is_file = path.exists(), path.is_file()
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else error
        raise WriteError(str(path), say("core.cannot-be-written", reason=said)) from error
    if there and not is_file:
        raise FileError(str(path), say("cli.folder-or-device"))
    if there and not overwrite:
        raise FileError(str(path), say("cli.already-there"))


def of_words(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table whose columns are all words."""
    made = table(title, heads, rows)
    for column in made.columns:
        column.justify = "left"
    return made
