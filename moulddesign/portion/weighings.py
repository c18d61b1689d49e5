"""Weighings of a trial bake, typed in or from a spreadsheet's CSV."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from math import isfinite
from os import PathLike
from pathlib import Path
from typing import Final

from moulddesign.errors import FileError, SpecError
from moulddesign.portion.limits import positive

COLUMNS: Final = ("raw_g", "finished_g", "height_mm")
MOST_BYTES: Final = 1_000_000
MARKS: Final = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
"""Byte-order marks that ask for another encoding than UTF-8, which may have one too."""


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
        A table with a head of raw_g, finished_g and perhaps height_mm; cells parted by comma,
        semicolon or tab; decimal points or decimal commas; with or without a byte-order mark.

    Returns
    -------
    tuple of Weighing
        In the file's order; empty lines are passed over.

    Raises
    ------
    FileError
        The file cannot be read, a column is missing, or a cell is not a number.
    """
    rows = _rows(str(path), _text(path))
    heads = [cell.strip().lower() for cell in rows[0][1]]
    missing = [name for name in COLUMNS[:2] if name not in heads]
    if missing:
        raise FileError(
            str(path),
            f"needs a first line with {' and '.join(missing)}, and has {', '.join(heads)}",
        )
    return tuple(_weighing(f"{path}, line {number}", heads, row) for number, row in rows[1:])


def _text(path: str | PathLike[str]) -> str:
    try:
        raw = Path(path).read_bytes()
    except OSError as error:
        raise FileError(str(path), f"cannot be read ({error.strerror})") from error
    if len(raw) > MOST_BYTES:
        raise FileError(
            str(path), f"is larger than {MOST_BYTES} bytes; weighings are a short table"
        )
    encoding = next((name for mark, name in MARKS if raw.startswith(mark)), "utf-8-sig")
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        raise FileError(str(path), "is not text in UTF-8; save it as CSV in UTF-8") from error


def _rows(path: str, text: str) -> list[tuple[int, list[str]]]:
    """Lines with their numbers; the separator is the one that the head uses."""
    head = text.lstrip().partition("\n")[0]
    separator = next((mark for mark in (";", "\t") if mark in head), ",")
    try:
        cells = list(csv.reader(text.splitlines(), delimiter=separator, strict=True))
    except csv.Error as error:
        raise FileError(path, f"is not CSV: {error}") from error
    rows = [(n, row) for n, row in enumerate(cells, start=1) if any(c.strip() for c in row)]
    if len(rows) < 2:  # noqa: PLR2004 (a head and one piece)
        raise FileError(path, "needs a head (raw_g, finished_g) and a line for each piece")
    return rows


def _weighing(where: str, heads: list[str], row: list[str]) -> Weighing:
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
    text = cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell
    try:
        value = float(text)
    except ValueError as error:
        raise FileError(where, f"{name} = {cell!r} is not a number") from error
    if not isfinite(value):
        raise FileError(where, f"{name} = {cell!r} is not a finite number")
    return value
