"""Reading files that a user names: within a limit of bytes, as text, as TOML, as a CSV table.

Whatever is wrong with a file is a `FileError` with one sentence.
"""

import csv
import io
import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from os import PathLike
from pathlib import Path
from typing import Any, Final

from moulddesign.core.errors import FileError
from moulddesign.core.messages import Message, say

MOST_TEXT_BYTES: Final = 1_000_000
"""Largest text file: designs, recipes and tables are far smaller [bytes]."""

MOST_NESTED: Final = 50
"""Most lists and tables inside one another in a TOML file; ours have six at the most."""

UTF_16_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
"""Byte-order marks of UTF-16, in which some spreadsheets save a table."""

SEPARATORS: Final = (";", "\t", ",")
"""What separates the cells of a CSV table: the first of these that stands in its first line."""

COMMENTS: Final = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*")
"""Comments and empty lines at the beginning of a table."""
QUOTED: Final = re.compile(r'"[^"]*"')
DECIMAL_COMMA: Final = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")

FilePath = str | PathLike[str]


def read_bytes(path: FilePath, *, most_bytes: int, advice: Message) -> bytes:
    """Return the content of a file.

    Parameters
    ----------
    path : str or path-like
        A regular file: a pipe or a device might never end.
    most_bytes : int
        Largest content [bytes].
    advice : Message
        What to try where the file is larger, as the end of the sentence.

    Raises
    ------
    FileError
        It is missing, a folder, no regular file, not readable, or too large.
    """
    file = Path(path)
    try:
        mode = file.stat().st_mode
        if stat.S_ISDIR(mode):
            raise FileError(str(path), say("core.file-is-folder"))
        if not stat.S_ISREG(mode):
            raise FileError(str(path), say("core.file-not-regular"))
        with file.open("rb") as stream:
            content = stream.read(most_bytes + 1)
    except OSError as error:
        raise FileError(str(path), say("core.file-unreadable", cause=error.strerror)) from error
    except ValueError as error:  # a NUL in the name
        raise FileError(str(path), say("core.file-unreadable", cause=str(error))) from error
    if len(content) > most_bytes:
        reason = say("core.file-too-large", most_mb=most_bytes / 1e6, advice=advice)
        raise FileError(str(path), reason)
    return content


def decode_text(content: bytes, path: FilePath) -> str:
    """Return bytes in UTF-8, with or without a byte-order mark, as text.

    Raises
    ------
    FileError
        They are no text in UTF-8.
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(str(path), say("core.text-not-utf-8")) from error


def parse_toml(text: str, path: FilePath) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Raises
    ------
    FileError
        It is not TOML, or its lists and tables lie too deep in one another.
    """
    try:
        tree = tomllib.loads(text)
    except RecursionError as error:
        raise FileError(str(path), say("core.toml-too-deep")) from error
    except ValueError as error:  # TOMLDecodeError, and what Python says of endless numbers
        cause = str(error).partition(";")[0]
        raise FileError(str(path), say("core.toml-invalid", cause=cause)) from error
    if _is_deep(tree):  # dots nest tables without nesting the parser
        raise FileError(str(path), say("core.toml-too-deep"))
    return tree


def read_text(path: FilePath) -> str:
    """Return a text file.

    Raises
    ------
    FileError
        The file cannot be read, is larger than 1 MB, or is not in UTF-8.
    """
    advice = say("core.text-is-short")
    content = read_bytes(path, most_bytes=MOST_TEXT_BYTES, advice=advice)
    return decode_text(content, path)


def read_toml(path: FilePath) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    FileError
        The file cannot be read, is larger than 1 MB, or is not TOML in UTF-8.
    """
    return parse_toml(read_text(path), path)


def bundled_toml(*parts: str) -> Mapping[str, Any]:
    """Return the tables of a TOML file of this package, named from its root.

    Examples
    --------
    >>> bundled_toml("data", "messages", "de.toml")["word"]["sleeve"]
    'Hülse'
    """
    return tomllib.loads(files("moulddesign").joinpath(*parts).read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class CsvRow:
    """A row of a table that holds some text."""

    number: int
    """As a spreadsheet counts, from 1; the heads are a row, too."""
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CsvTable:
    """A table: its first row that holds text, and those below that do."""

    heads: tuple[str, ...]
    """Without spaces around them; none in an empty file."""
    rows: tuple[CsvRow, ...]


def read_csv(path: FilePath, *, advice: Message) -> CsvTable:
    """Return a CSV table.

    Parameters
    ----------
    path : str or path-like
        Text in UTF-8, or in UTF-16 with a byte-order mark. Cells are separated by semicolons,
        tabs or commas, and quoted as in RFC 4180. Lines above the heads that begin with # are
        comments; below them they are rows.
    advice : Message
        What to try where the file is larger than 1 MB.

    Raises
    ------
    FileError
        The file cannot be read, is too large, or is no CSV table.
    """
    content = read_bytes(path, most_bytes=MOST_TEXT_BYTES, advice=advice)
    try:
        text = content.decode("utf-16" if content.startswith(UTF_16_MARKS) else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(str(path), say("core.csv-not-utf-8")) from error
    commented = COMMENTS.match(text)
    comments = commented.group() if commented else ""
    text = text[len(comments) :]
    first = QUOTED.sub("", next(filter(str.strip, text.splitlines()), ""))
    separator = next((mark for mark in SEPARATORS if mark in first), ",")
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise FileError(str(path), say("core.csv-invalid", cause=str(error))) from error
    rows = [
        CsvRow(number, tuple(cells))
        for number, cells in enumerate(lines, start=1 + comments.count("\n"))
        if any(map(str.strip, cells))
    ]
    heads = tuple(map(str.strip, rows[0].cells)) if rows else ()
    return CsvTable(heads, tuple(rows[1:]))


def with_decimal_point(cell: str) -> str:
    """Return the text of a number with a point where it has a decimal comma.

    Examples
    --------
    >>> with_decimal_point("75,5"), with_decimal_point("1.077,5"), with_decimal_point("75.5")
    ('75.5', '1.077,5', '75.5')
    """
    return cell.replace(",", ".") if DECIMAL_COMMA.fullmatch(cell) else cell


def _is_deep(tree: dict[str, Any]) -> bool:
    """Return whether lists and tables lie deeper in one another than `MOST_NESTED`."""
    level: list[Any] = [tree]
    for _ in range(MOST_NESTED):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(level)
