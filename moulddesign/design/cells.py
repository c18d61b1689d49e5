"""The cells of a CSV table of designs, each with the key that its column names."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from re import fullmatch
from types import NoneType, UnionType
from typing import Any, Final, Self, Union, get_args, get_origin

from pydantic import BaseModel

from moulddesign.design.carried import DRAWINGS
from moulddesign.design.design import MOST_BYTES, Design
from moulddesign.design.sentences import table_at
from moulddesign.errors import FileError, SpecError

Place = str | int
"""A key of a table, or an entry of a list counted from 0."""

SEPARATORS: Final = (";", "\t", ",")
"""What parts the cells: the first of these that stands in the first line."""

YES: Final = {"true": True, "yes": True, "false": False, "no": False}

DECIMAL_COMMA: Final = r"[+-]?\d+,\d+"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A value that a row gives.

    Parameters
    ----------
    column : str
        As the table names it: `relief.layers.1.pattern`.
    keys : tuple of str or int
        The same, entries of lists counted from 0.
    value : object
        As a design file would hold it.
    """

    column: str
    keys: tuple[Place, ...]
    value: object


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The rows of a CSV file as text.

    Parameters
    ----------
    folder : Path
        Where it lies.
    heads : tuple of str
        Keys of a design file, one a column.
    rows : tuple of (str, tuple of str)
        How each row is called, and its cells.
    """

    folder: Path
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]

    @classmethod
    def read(cls, path: Path) -> Self:
        """Return the rows of a CSV file in UTF-8, with or without a byte order mark.

        Parameters
        ----------
        path : Path
            Its cells are parted by commas, semicolons or tabs; rows without any text are left out.

        Raises
        ------
        FileError
            It cannot be read, is no table, or its first line does not serve.
        """
        first, *others = _parted(path)
        heads = tuple(head.strip() for head in first)
        _refuse_heads(path, heads)
        rows = tuple(
            (f"row {number}", tuple(line))
            for number, line in enumerate(others, start=2)
            if any(cell.strip() for cell in line)
        )
        return cls(folder=path.parent, heads=heads, rows=rows)

    def cells(self, place: str, line: tuple[str, ...]) -> tuple[Cell, ...]:
        """Return what a row gives: its cells that are not empty.

        Raises
        ------
        SpecError
            A cell cannot be read; the sentence names row and column.
        """
        if any(cell.strip() for cell in line[len(self.heads) :]):
            need = (
                f"stands beyond the last of the {len(self.heads)} columns; a decimal comma may "
                "have parted a number: write 75.5, or part the cells with ;"
            )
            raise SpecError(place, line[len(self.heads)], need)
        pairs = zip(self.heads, line, strict=False)
        return tuple(self._cell(place, head, text.strip()) for head, text in pairs if text.strip())

    def _cell(self, place: str, head: str, text: str) -> Cell:
        if not head:
            raise SpecError(place, text, "stands in a column without a key in the first line")
        keys = keys_of(head)
        value = _value(f"{place}, column {head}", keys, text)
        return Cell(column=head, keys=keys, value=_from(self.folder, keys, value))


def _parted(path: Path) -> list[list[str]]:
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(str(path), f"cannot be read ({error.strerror})") from error
    if len(raw) > MOST_BYTES:
        raise FileError(str(path), f"is larger than {MOST_BYTES} bytes; part the series")
    try:
        text = raw.decode("utf-8-sig")
        first = text.partition("\n")[0]
        separator = next((mark for mark in SEPARATORS if mark in first), ",")
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except UnicodeDecodeError as error:
        raise FileError(str(path), "is not text in UTF-8; save it as CSV in UTF-8") from error
    except csv.Error as error:
        raise FileError(str(path), f"is no CSV table: {error}") from error
    if len(lines) < 2:  # noqa: PLR2004 (the heads and a piece)
        raise FileError(str(path), "needs a first line of keys and a line for each piece")
    return lines


def _refuse_heads(path: Path, heads: tuple[str, ...]) -> None:
    twins = [head for number, head in enumerate(heads) if head and head in heads[:number]]
    if twins:
        raise FileError(str(path), f"has two columns {twins[0]!r}; leave one out")
    known = tuple(_known(Design))
    for head in filter(None, heads):
        plain = ".".join("1" if k.isdecimal() and k != "0" else k for k in head.split("."))
        if plain not in known:
            near = get_close_matches(plain, known, n=1, cutoff=0.0)[0]
            need = f"has a column {head!r}, which is no key of a design; the nearest is {near}"
            raise FileError(str(path), need)
    if "name" not in heads:
        raise FileError(str(path), "has no column name; every piece needs a name of its own")


def _known(model: type[BaseModel], way: str = "") -> Iterator[str]:
    """Yield the dotted keys of a model; in a list of tables those of its first entry."""
    for key, field in model.model_fields.items():
        inner = table_at((key,), model)
        if inner is None:
            yield f"{way}{key}"
        else:
            yield from _known(inner, f"{way}{key}.{'1.' if _is_list(field.annotation) else ''}")


def _is_list(annotation: Any) -> bool:  # noqa: ANN401 (any type annotation)
    return get_origin(annotation) is tuple


def keys_of(column: str) -> tuple[Place, ...]:
    """Return the keys that a column names, entries of lists counted from 0.

    Examples
    --------
    >>> keys_of("relief.layers.1.pattern")
    ('relief', 'layers', 0, 'pattern')
    """
    return tuple(int(key) - 1 if key.isdecimal() else key for key in column.split("."))


def _value(where: str, keys: tuple[Place, ...], text: str) -> object:
    """Return a cell as the type that its key wants; what it cannot be stays text."""
    kinds = _kinds(keys)
    if kinds & {int, float} and str not in kinds:
        if fullmatch(DECIMAL_COMMA, text):
            need = f"has a decimal comma; write {text.replace(',', '.')}"
            raise SpecError(where, text, need)
        return _number(where, text, whole=float not in kinds)
    if bool in kinds:
        return YES.get(text.lower(), text)
    return text


def _number(where: str, text: str, *, whole: bool) -> float:
    try:
        number = float(text)
    except ValueError as error:
        need = f"must be a {'whole ' if whole else ''}number such as {12 if whole else 75.5}"
        raise SpecError(where, text, need) from error
    return int(text) if whole and fullmatch(r"[+-]?\d+", text) else number


def _kinds(keys: tuple[Place, ...]) -> set[Any]:
    """Return the plain types that a key of the design takes; none where it is not known."""
    table = table_at(keys[:-1], Design)
    field = table.model_fields.get(str(keys[-1])) if table is not None else None
    return set(_plain(field.annotation)) - {NoneType} if field is not None else set()


def _plain(annotation: Any) -> Iterator[Any]:  # noqa: ANN401 (any type annotation)
    if get_origin(annotation) in {Union, UnionType}:
        for part in get_args(annotation):
            yield from _plain(part)
    elif not (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
        yield annotation


def _from(folder: Path, keys: tuple[Place, ...], value: object) -> object:
    """Return a value; where it names a file, from where we are and not from the table."""
    if not isinstance(value, str):
        return value
    drawn = keys[-1] in {"outline", "pattern"} and value.lower().endswith(DRAWINGS)
    if drawn or keys[-1] in {"font", "library"}:
        return str(folder / Path(value).expanduser())
    return value
