"""A series: many designs from one table, each row laid over the same base."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final
from unicodedata import normalize

from moulddesign.design.carried import found_beside
from moulddesign.design.cells import Cell, Lines, Place, keys_of
from moulddesign.design.design import Design, read_toml
from moulddesign.design.layer import SOURCES
from moulddesign.design.pastry import SIZES
from moulddesign.design.sentences import TABLE
from moulddesign.errors import FileError, MouldError, SpecError

Cells = Callable[[], tuple[Cell, ...]]
"""Reads a row."""

PIECES: Final = "pieces"
"""Name of the array of tables in a TOML file."""

MOST_ROWS: Final = 10_000
"""Longest series."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One piece of a series.

    Parameters
    ----------
    place : str
        How its table calls it: "row 2".
    design : Design
        What is asked for.
    """

    place: str
    design: Design


class RowsError(MouldError):
    """Rows of a table cannot be used.

    Parameters
    ----------
    first : str
        What is wrong with the first of them, as a sentence that names row and column.
    more : int
        How many others cannot be used.
    """

    def __init__(self, first: str, more: int) -> None:
        super().__init__(first, more)
        self.first = first
        self.more = more

    def __str__(self) -> str:
        if not self.more:
            return self.first
        rows = "1 more row" if self.more == 1 else f"{self.more} more rows"
        return f"{self.first.rstrip('.')} ({rows} to mend after this one)."


class PlaceError(SpecError):
    """A value of a row cannot be used; a whole table as a value is no part of the sentence."""

    def __str__(self) -> str:
        said = "" if self.value == TABLE else f" = {self.value!r}"
        return f"{self.field}{said}: {self.need}."


def read_series(path: Path, base: Design) -> tuple[Row, ...]:
    """Return the designs of a table, every row of it checked.

    Parameters
    ----------
    path : Path
        A CSV file whose first line names keys of a design file (`portion.finished_weight_g`,
        `relief.layers.1.pattern`), or a TOML file with one table [[pieces]] each. Drawings that
        it names lie beside it.
    base : Design
        Says what a row leaves out.

    Raises
    ------
    FileError
        The file cannot be read as a table.
    RowsError
        A row cannot be used; the sentence names row and column.
    """
    rows: list[Row] = []
    wrong: list[str] = []
    taken: dict[str, str] = {}
    for place, cells in _toml(path) if path.suffix.lower() == ".toml" else _csv(path):
        try:
            design = _laid_over(base, cells(), place)
            _refuse_a_twin(design.name, place, taken)
            rows.append(Row(place=place, design=design))
        except (SpecError, FileError) as error:
            wrong.append(str(error))
    if wrong:
        raise RowsError(wrong[0], len(wrong) - 1)
    if not 0 < len(rows) <= MOST_ROWS:
        raise FileError(str(path), f"must hold between 1 and {MOST_ROWS} pieces")
    return tuple(rows)


def at_place(error: MouldError, place: str, columns: Iterable[str] = ()) -> MouldError:
    """Return an error about a design with the row that it came from.

    Parameters
    ----------
    error : MouldError
        What a row's design was refused with.
    place : str
        The row.
    columns : iterable of str
        The keys that the row gives.
    """
    if isinstance(error, FileError):
        return FileError(f"{place}: {error.path}", error.reason)
    if not isinstance(error, SpecError):
        return error
    parts = [str(int(p) + 1) if p.isdecimal() else p for p in error.field.split(".")]
    field = ".".join(parts)
    word = "column " if field in set(columns) else ""
    return PlaceError(f"{place}, {word}{field}", error.value, error.need)


def _laid_over(base: Design, cells: tuple[Cell, ...], place: str) -> Design:
    columns = [cell.column for cell in cells]
    if "name" not in columns:
        raise SpecError(f"{place}, column name", "", "is left empty; every piece needs its own")
    tree = base.plain()
    if any(column.removeprefix("pastry.") in SIZES for column in columns):
        tree["pastry"] = {k: v for k, v in tree["pastry"].items() if k not in SIZES}
    try:
        for cell in cells:
            _put(tree, cell)
        return Design.of(tree)
    except (SpecError, FileError) as error:
        raise at_place(error, place, columns) from error


def _put(tree: dict[str, Any], cell: Cell) -> None:
    """Set a value in nested tables; a number is an entry of a list, or a new one at its end."""
    here: Any = tree
    *way, last = cell.keys
    for key, following in zip(way, cell.keys[1:], strict=True):
        if isinstance(key, int):
            here += [{}] if key == len(here) else []
            here = here[key] if 0 <= key < len(here) else None
        else:
            here = here.setdefault(key, [] if isinstance(following, int) else {})
        if not isinstance(here, list if isinstance(following, int) else dict):
            need = "names no place in a design; entries of a list are counted from 1, without gaps"
            raise SpecError(".".join(map(str, cell.keys)), cell.value, need)
    _replace_source(here, last)
    here[last] = cell.value


def _replace_source(table: Any, key: Place) -> None:  # noqa: ANN401 (plain values)
    """Let a pattern, motif or text of a layer take the place of whichever it had."""
    if key in SOURCES:
        for source in SOURCES:
            table.pop(source, None)


def _refuse_a_twin(name: str, place: str, taken: dict[str, str]) -> None:
    """Refuse a name whose folder is another row's, where capitals do not count either."""
    folded = normalize("NFC", normalize("NFC", name).casefold())
    if folded in taken:
        need = f"is the name of {taken[folded]} too, and names its folder; give each its own"
        raise SpecError(f"{place}, column name", name, need)
    taken[folded] = place


def _csv(path: Path) -> list[tuple[str, Cells]]:
    lines = Lines.read(path)
    return [(place, partial(lines.cells, place, line)) for place, line in lines.rows]


def _toml(path: Path) -> list[tuple[str, Cells]]:
    tree = read_toml(path)
    pieces = tree.get(PIECES)
    if set(tree) != {PIECES} or not isinstance(pieces, list):
        raise FileError(str(path), f"must hold one table [[{PIECES}]] a piece and nothing else")
    if not all(isinstance(piece, dict) for piece in pieces):
        raise FileError(str(path), f"must hold tables in {PIECES}")
    return [
        (f"piece {number}", partial(_flat, found_beside(piece, path.parent)))
        for number, piece in enumerate(pieces, start=1)
    ]


def _flat(tree: Mapping[str, Any], way: tuple[str, ...] = ()) -> tuple[Cell, ...]:
    """Return the values of nested tables; a list is one value."""
    cells: list[Cell] = []
    for key, value in tree.items():
        here = (*way, key)
        if isinstance(value, Mapping):
            cells += _flat(value, here)
        else:
            column = ".".join(here)
            cells.append(Cell(column=column, keys=keys_of(column), value=value))
    return tuple(cells)
