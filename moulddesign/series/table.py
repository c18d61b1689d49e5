"""A series: many designs from one table, each row laid over the same base."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache, partial
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, Self, Union, get_args, get_origin
from unicodedata import normalize

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from moulddesign.core import (
    FileError,
    MouldError,
    SpecError,
    limits,
    line_of,
    parse_toml,
    read_cell,
    read_csv,
    read_text,
    say,
    toml_lines,
)
from moulddesign.design import (
    SIZES,
    SOURCES,
    TABLE,
    Design,
    FileKind,
    Table,
    given,
    keys_of_field,
    of_kind,
    place_of,
    resolve_file,
    resolve_files,
    said_of,
    spec_errors,
    tables_in,
    takes_numbers,
)

Place = str | int
"""A key of a table, or an entry of a list counted from 0."""

YES: Final = {"true": True, "yes": True, "false": False, "no": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A value that a row gives."""

    column: str
    """As the table names it: `relief.layers.1.pattern`."""
    keys: tuple[Place, ...]
    """The same, entries of lists counted from 0."""
    value: object
    """As a design file would hold it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The rows of a CSV file as text, each with its name; a head is a key of a design file."""

    folder: Path
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    separator: str

    @classmethod
    def read(cls, path: Path) -> Self:
        """Return the rows of a CSV file that hold some text.

        Raises
        ------
        FileError
            It cannot be read, is no table, or its first line does not serve.
        """
        table = read_csv(path, advice=say("series.split-it"))
        if not table.rows:
            raise FileError(str(path), say("series.rows-missing"))
        _refuse_heads(path, table.heads)
        rows = tuple((f"row {row.number}", row.cells) for row in table.rows)
        return cls(folder=path.parent, heads=table.heads, rows=rows, separator=table.separator)

    def cells(self, place: str, line: tuple[str, ...]) -> "Read":
        """Return what a row gives: its cells that are not empty, and what cannot be read in it.

        Raises
        ------
        SpecError
            A cell stands beyond the last column.
        """
        if any(cell.strip() for cell in line[len(self.heads) :]):
            need = say("series.cell-beyond-columns", columns=len(self.heads))
            raise SpecError(place, line[len(self.heads)], need)
        cells: list[Cell] = []
        wrong: list[str] = []
        for head, text in zip(self.heads, line, strict=False):
            try:
                cells += [self._cell(place, head, text.strip())] if text.strip() else []
            except SpecError as error:
                wrong.append(str(error))
        return tuple(cells), tuple(wrong)

    def _cell(self, place: str, head: str, text: str) -> Cell:
        if not head:
            raise SpecError(place, text, say("series.column-without-key"))
        keys = keys_of(head)
        value = _value(f"{place}, column {head}", keys, text, self.separator)
        return Cell(column=head, keys=keys, value=_found_from(self.folder, keys, value))


def _refuse_heads(path: Path, heads: tuple[str, ...]) -> None:
    twins = [head for head, count in Counter(filter(None, heads)).items() if count > 1]
    if twins:
        raise FileError(str(path), say("series.column-twice", column=twins[0]))
    known = dict.fromkeys(_known(Design))
    for head in filter(None, heads):
        plain = ".".join("1" if k.isdecimal() and k != "0" else k for k in head.split("."))
        if plain not in known:
            near = get_close_matches(plain, known, n=1, cutoff=0.0)[0]
            need = say("series.column-unknown", column=head, near=near)
            raise FileError(str(path), need)
    if "name" not in heads:
        raise FileError(str(path), say("series.name-missing"))


def _known(model: type[BaseModel], way: str = "") -> Iterator[str]:
    """Yield the dotted keys of a model; in a list of tables those of its first entry."""
    for key, field in model.model_fields.items():
        inner = tuple(tables_in(field.annotation))
        if not inner:
            yield f"{way}{key}"
        for table in inner:
            yield from _known(table, f"{way}{key}.{'1.' if _is_list(field.annotation) else ''}")


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


@lru_cache(maxsize=256)  # each row asks for the same
def _field(keys: tuple[Place, ...]) -> FieldInfo | None:
    return place_of(keys, Design).field


def _value(where: str, keys: tuple[Place, ...], text: str, separator: str) -> object:
    """Return a cell as the type that its key wants; what it cannot be stays text."""
    field = _field(keys)
    if field is not None and takes_numbers(field):
        number = read_cell(where, text, said_of(field, "unit"), separator)
        return int(number) if float not in _kinds(keys) and number.is_integer() else number
    if bool in _kinds(keys):
        return YES.get(text.lower(), text)
    return text


def _kinds(keys: tuple[Place, ...]) -> set[Any]:
    """Return the plain types that a key of the design takes; none where it is not known."""
    field = _field(keys)
    return set(_plain(field.annotation)) - {NoneType} if field is not None else set()


def _plain(annotation: Any) -> Iterator[Any]:  # noqa: ANN401 (any type annotation)
    if get_origin(annotation) in {Union, UnionType}:
        for part in get_args(annotation):
            yield from _plain(part)
    elif not (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
        yield annotation


def _found_from(folder: Path, keys: tuple[Place, ...], value: object) -> object:
    """Return a value; where it names a file, from where we are and not from the table."""
    field = _field(keys)
    kind = None if field is None else said_of(field, "file")
    if kind is None or not isinstance(value, str):
        return value
    return resolve_file(FileKind(kind), value, folder)


Read = tuple[tuple[Cell, ...], tuple[str, ...]]
"""Cells of a row, and a sentence on each that cannot be read."""

Cells = Callable[[], Read]
"""Reads a row."""

At = Callable[[str], str]
"""Returns how a person finds a field of a row, by the field's dotted name."""

PIECES: Final = "pieces"
"""Name of the array of tables in a TOML file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One piece of a series, and how its table calls it: "row 2"."""

    place: str
    design: Design


class RowsError(MouldError):
    """Rows of a table cannot be used."""

    def __init__(self, sentences: tuple[str, ...]) -> None:
        super().__init__(sentences)
        self.sentences = sentences
        """What is wrong, each with its row and column."""

    def __str__(self) -> str:
        return "\n".join(self.sentences)


class PlaceError(SpecError):
    """A value of a row cannot be used; a whole table as a value is no part of the sentence."""

    def __str__(self) -> str:
        said = "" if self.value == TABLE else f" = {self.value!r}"
        return f"{self.field}{said}: {self.need}."


class SeriesTable(Table):
    """A series as a TOML file: one table [[pieces]] each."""

    pieces: tuple[Design, ...] = given(
        ...,
        "Pieces; what one leaves out is as in the base",
        min_length=1,
        max_length=limits.MOST_ROWS,
    )

    @classmethod
    def file_schema(cls) -> dict[str, Any]:
        """Return the JSON Schema of the file; a CSV table's heads are the dotted keys of it."""
        schema = cls.model_json_schema()
        schema["$defs"]["Design"]["required"] = ["name"]
        return schema


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
        Rows cannot be used; each sentence names row and column.
    """
    rows: list[Row] = []
    wrong: list[str] = []
    taken: dict[str, str] = {}
    pieces = _toml(path) if path.suffix.lower() == ".toml" else _csv(path)
    if not 0 < len(pieces) <= limits.MOST_ROWS:
        raise FileError(str(path), say("series.pieces", most=limits.MOST_ROWS))
    for place, cells, at in pieces:
        if len(wrong) >= limits.MOST_MISTAKES:
            break
        try:
            given_cells, unread = cells()
            wrong += unread
            design = _laid_over(base, given_cells, at)
            _refuse_a_twin(design.name, place, taken)
            rows.append(Row(place=place, design=design))
        except RowsError as error:
            wrong += error.sentences
        except (SpecError, FileError) as error:
            wrong.append(str(error))
    if wrong:
        raise RowsError(tuple(wrong[: limits.MOST_MISTAKES]))
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


def _laid_over(base: Design, cells: tuple[Cell, ...], at: At) -> Design:
    columns = [cell.column for cell in cells]
    if "name" not in columns:
        raise SpecError(f"{at('name')}, column name", "", say("series.name-empty"))
    tree = base.plain()
    if any(column.removeprefix("pastry.") in SIZES for column in columns):
        tree["pastry"] = {k: v for k, v in tree["pastry"].items() if k not in SIZES}
    kind = next((c.value for c in cells if c.column == "mould.kind"), base.mould.kind)
    tree["mould"] = of_kind(tree["mould"], kind)  # the base's; what a row gives is not dropped
    try:
        for cell in cells:
            _put(tree, cell)
        return Design.of(tree)
    except FileError as error:
        raise at_place(error, at(""), columns) from error
    except SpecError as error:
        cause = error.__cause__
        every = spec_errors(cause, Design) if isinstance(cause, ValidationError) else (error,)
        said = tuple(str(at_place(each, at(each.field), columns)) for each in every)
        raise RowsError(said) from error


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
            need = say("series.no-place")
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
        need = say("series.name-taken", place=taken[folded])
        raise SpecError(f"{place}, column name", name, need)
    taken[folded] = place


def _csv(path: Path) -> list[tuple[str, Cells, At]]:
    lines = Lines.read(path)
    return [
        (place, partial(lines.cells, place, line), partial(_same, place))
        for place, line in lines.rows
    ]


def _same(place: str, _field: str) -> str:
    return place


def _toml(path: Path) -> list[tuple[str, Cells, At]]:
    text = read_text(path)
    tree = parse_toml(text, path)
    pieces = tree.get(PIECES)
    if set(tree) != {PIECES} or not isinstance(pieces, list):
        raise FileError(str(path), say("series.tables-only", key=PIECES))
    if not all(isinstance(piece, dict) for piece in pieces):
        raise FileError(str(path), say("series.no-tables", key=PIECES))
    lines = toml_lines(text)

    def at(number: int, field: str) -> str:
        line = line_of((PIECES, number, *keys_of_field(field)), lines)
        return f"line {line}, piece {number + 1}"

    return [
        (
            f"piece {number + 1}",
            partial(_read_piece, resolve_files(piece, Design, path.parent)),
            partial(at, number),
        )
        for number, piece in enumerate(pieces)
    ]


def _read_piece(tree: Mapping[str, Any]) -> Read:
    return _flat(tree), ()


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
