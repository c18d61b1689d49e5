"""Reading files that a user names within limits: text, TOML with its lines, CSV tables; writing.

Whatever is wrong with a file is a `FileError` with one sentence. The standard parser of TOML keeps
values, not places: on which line a key stands is read once more, from text that it has taken.
"""

import csv
import io
import json
import os
import re
import stat
import tomllib
import zipfile
import zlib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.resources import files
from os import PathLike
from pathlib import Path
from typing import Any, Final

from moulddesign.core.errors import FileError, WriteError
from moulddesign.core.limits import MOST_ENTRIES, MOST_NESTED, MOST_REPORT_BYTES, MOST_TEXT_BYTES
from moulddesign.core.messages import Message, say

LONG_KEY: Final = re.compile(
    rf"""(?<![\w."'-])[\w"'-]++(?:[ \t]*+\.[ \t]*+[\w"'-]++){{{MOST_NESTED},}}"""
)
"""More words with dots between them than tables may lie in one another."""
MOST_BITS: Final = 10_000
"""Of a whole number: TOML 1.0 has 64, and a field says what it takes; of over 4,300 digits Python
writes none (sys.set_int_max_str_digits)."""

UTF_16_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
"""Byte-order marks of UTF-16, in which some spreadsheets save a table."""

SEPARATORS: Final = (";", "\t", ",")
"""What separates the cells of a CSV table: the first of these that stands in its first line."""

COMMENTS: Final = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*")
"""Comments and empty lines at the beginning of a table."""
QUOTED: Final = re.compile(r'"[^"]*"')

ZIP_ENTRY: Final = b"PK\1\2"
"""Begins each entry of a zip's list of files (PKWARE's APPNOTE 4.3.12)."""
ZIP_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Ways of packing that take no more memory than they are told."""
ZIP_DAMAGED: Final = (zipfile.BadZipFile, zlib.error, RuntimeError, EOFError)
"""What zipfile raises where a zip is damaged, encrypted, or packed in a way of its own."""

FilePath = str | PathLike[str]


def read_bytes(path: FilePath, *, most_bytes: int, advice: Message) -> bytes:
    """Return the content of a regular file: a pipe or a device might never end.

    `FileError` where it cannot be read, or is larger than the limit; `advice` then ends the
    sentence.
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


def count_zip_entries(content: bytes) -> int:
    """Return how many files a zip lists at most, before the list is read, which takes memory."""
    return content.count(ZIP_ENTRY)


def decode_text(content: bytes, path: FilePath) -> str:
    """Return bytes in UTF-8, with or without a byte-order mark, as text; else `FileError`."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(str(path), say("core.text-not-utf-8")) from error


def parse_toml(text: str, path: FilePath) -> dict[str, Any]:
    """Return the tables of a TOML text; `FileError` where it is none, or is nested too deep."""
    # The parser takes time by the square of a key's dots (CPython 3.11 to 3.13).
    if LONG_KEY.search(text):
        raise FileError(str(path), say("core.toml-too-deep"))
    try:
        tree = tomllib.loads(text)
    except RecursionError as error:
        raise FileError(str(path), say("core.toml-too-deep")) from error
    except ValueError as error:  # TOMLDecodeError, and what Python says of endless numbers
        cause = str(error).partition(";")[0]
        raise FileError(str(path), say("core.toml-invalid", cause=cause)) from error
    _refuse_large(tree, path)
    return tree


def read_text(path: FilePath) -> str:
    """Return a text file in UTF-8 of at most 1 MB; else `FileError`."""
    advice = say("core.text-is-short")
    content = read_bytes(path, most_bytes=MOST_TEXT_BYTES, advice=advice)
    return decode_text(content, path)


def read_toml(path: FilePath) -> dict[str, Any]:
    """Return the tables of a TOML file in UTF-8 of at most 1 MB; else `FileError`."""
    return parse_toml(read_text(path), path)


def read_json(path: FilePath, *, otherwise: Message) -> Any:  # noqa: ANN401 (whatever it holds)
    """Return what a JSON file holds; `FileError` where it is unreadable, `otherwise` if none."""
    content = read_bytes(path, most_bytes=MOST_REPORT_BYTES, advice=otherwise)
    try:
        return json.loads(content)
    except (ValueError, RecursionError) as error:
        raise FileError(str(path), otherwise) from error


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
    separator: str = ","
    """What separates its cells."""


def read_csv(path: FilePath, *, advice: Message) -> CsvTable:
    """Return a CSV table of at most 1 MB; `FileError` where it is none, and `advice` if longer.

    The text is in UTF-8, or in UTF-16 with a byte-order mark. Cells are separated by semicolons,
    tabs or commas, and quoted as in RFC 4180. Lines above the heads that begin with # are comments;
    below them they are rows.
    """
    content = read_bytes(path, most_bytes=MOST_TEXT_BYTES, advice=advice)
    try:
        text = content.decode("utf-16" if content.startswith(UTF_16_MARKS) else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(str(path), say("core.csv-not-utf-8")) from error
    if max(map(text.count, "\r\n")) > MOST_ENTRIES:
        raise FileError(str(path), say("core.csv-too-long", most=MOST_ENTRIES, advice=advice))
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
    # In one line, for sentences repeat them.
    heads = tuple(" ".join(cell.strip().splitlines()) for cell in rows[0].cells) if rows else ()
    return CsvTable(heads, tuple(rows[1:]), separator)


def _refuse_large(tree: dict[str, Any], path: FilePath) -> None:
    """Refuse lists and tables too deep in one another, too many entries, and endless numbers."""
    level: list[Any] = [tree]
    count = 0
    for _ in range(MOST_NESTED):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
        if any(isinstance(one, int) and one.bit_length() > MOST_BITS for one in level):
            raise FileError(str(path), say("core.toml-number-too-long"))
        count += len(level)
        if count > MOST_ENTRIES:
            raise FileError(str(path), say("core.toml-too-long", most=MOST_ENTRIES))
    if level:  # dots nest tables without nesting the parser
        raise FileError(str(path), say("core.toml-too-deep"))


Keys = tuple[str | int, ...]
"""Keys from the outermost table, entries of lists counted from 0."""

IDLE: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
"""Spaces, line ends and comments."""
KEY: Final = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
STRING: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
SCALAR: Final = re.compile(r"[^,\]}#\n]+")


def toml_lines(text: str) -> Mapping[Keys, int]:
    r"""Return the line, from 1, of every key, table and entry of a list.

    Parameters
    ----------
    text : str
        TOML that the standard parser takes.

    Examples
    --------
    >>> toml_lines("[portion]\nratio = '3:7'\n\n[[centres]]\nname = 'date'")
    {('portion',): 1, ('portion', 'ratio'): 2, ('centres', 0): 4, ('centres', 0, 'name'): 5}
    """
    return _Scanner(text).scan()


def line_of(keys: Sequence[str | int], lines: Mapping[Keys, int]) -> int | None:
    r"""Return the line of a key; of the table that lacks it, where it is not there.

    Examples
    --------
    >>> lines = toml_lines("[portion]\nratio = '3:7'")
    >>> line_of(("portion", "loss"), lines), line_of(("name",), lines)
    (1, None)
    """
    ways = (tuple(keys[:length]) for length in range(len(keys), 0, -1))
    return next((lines[way] for way in ways if way in lines), None)


class _Scanner:
    """Goes through a text once, and notes where each key begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.ends = [place for place, letter in enumerate(text) if letter == "\n"]
        self.lines: dict[Keys, int] = {}
        self.entries: dict[Keys, int] = {}
        """How many tables each list of tables has so far."""

    def scan(self) -> dict[Keys, int]:
        table: Keys = ()
        self._skip_idle()
        while self.at < len(self.text):
            begin = self.at
            if self._take("["):
                in_list = self._take("[")
                table = self._table(self._key(), in_list=in_list)
                self._take("]")
                if in_list:
                    self._take("]")
                self._note(table, begin)
            else:
                self._pair(table)
            self._skip_idle()
        return self.lines

    def _table(self, names: Sequence[str], *, in_list: bool) -> Keys:
        """Return the keys of a head: a list of tables on the way means its last entry."""
        way: Keys = ()
        for name in names[:-1]:
            way = (*way, name)
            if way in self.entries:
                way = (*way, self.entries[way] - 1)
        way = (*way, names[-1])
        if in_list:
            self.entries[way] = self.entries.get(way, 0) + 1
            way = (*way, self.entries[way] - 1)
        return way

    def _pair(self, table: Keys) -> None:
        begin = self.at
        keys = (*table, *self._key())
        for length in range(len(table) + 1, len(keys) + 1):
            self._note(keys[:length], begin)
        self._take("=")
        self._value(keys)

    def _value(self, keys: Keys) -> None:
        self._skip_idle()
        if self._take("["):
            self._inside("]", keys, listed=True)
        elif self._take("{"):
            self._inside("}", keys, listed=False)
        elif not self._match(STRING):
            self._match(SCALAR)

    def _inside(self, close: str, keys: Keys, *, listed: bool) -> None:
        """Step over a list or an inline table, up to the bracket that closes it."""
        place = 0
        self._skip_idle()
        while not self._take(close):
            if listed:
                self._note((*keys, place), self.at)
                self._value((*keys, place))
                place += 1
            else:
                self._pair(keys)
            self._skip_idle()
            self._take(",")
            self._skip_idle()

    def _key(self) -> list[str]:
        names = [self._name()]
        while self._take("."):
            names.append(self._name())
        return names

    def _name(self) -> str:
        self._skip_idle()
        name = self._match(KEY)
        self._skip_idle()
        # A quoted key with escapes is shown as it is typed: it is no key that anything knows.
        return name[1:-1] if name[:1] in {'"', "'"} else name

    def _note(self, keys: Keys, begin: int) -> None:
        self.lines.setdefault(keys, bisect_right(self.ends, begin) + 1)

    def _skip_idle(self) -> None:
        self._match(IDLE)

    def _take(self, mark: str) -> bool:
        there = self.text.startswith(mark, self.at)
        self.at += len(mark) if there else 0
        return there

    def _match(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            return ""
        self.at = found.end()
        return found.group()


def replace_file(path: Path, content: bytes) -> None:
    """Write a file, whole or not at all, in place of one that may be there.

    Raises
    ------
    WriteError
        It cannot be written.
    """
    # A link stays a link: what it leads to is what was named.
    target = Path(os.path.realpath(path))
    beside = target.with_name(f".moulddesign-{os.getpid()}")
    try:
        beside.write_bytes(content)
        beside.replace(target)
    except OSError as error:
        raise WriteError(str(path), say("core.cannot-be-written", reason=error.strerror)) from error
    finally:  # Ctrl-C as well
        with suppress(OSError):
            beside.unlink(missing_ok=True)
