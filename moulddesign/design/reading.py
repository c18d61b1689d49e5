"""A file's tables, and all that is wrong in them at once, each with its line.

A person mends a file by hand, so a reader that stopped at the first mistake would send him back as
often as there are mistakes.
"""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from moulddesign.core import (
    FileMistakesError,
    Mistake,
    SpecError,
    line_of,
    parse_toml,
    read_text,
    toml_lines,
)
from moulddesign.core.files import FilePath
from moulddesign.design.schema import keys_of_field, spec_errors

T = TypeVar("T")


def read_tables(path: FilePath, model: type[BaseModel], make: Callable[[dict[str, Any]], T]) -> T:
    """Return what a TOML file holds.

    Parameters
    ----------
    path : str or path-like
        The file.
    model : type of BaseModel
        What its tables are for: its units and nearest names go into the sentences.
    make : callable
        Returns the value for the file's nested plain values, or raises SpecError.

    Raises
    ------
    FileError
        The file cannot be read or is not TOML.
    FileMistakesError
        It holds mistakes.
    """
    return parse_tables(read_text(path), path, model, make)


def parse_tables(
    text: str, path: FilePath, model: type[BaseModel], make: Callable[[dict[str, Any]], T]
) -> T:
    """Return what a TOML file with a text holds, as `read_tables` does."""
    tree = parse_toml(text, path)
    try:
        return make(tree)
    except SpecError as error:
        mistakes = mistakes_in(error, model, toml_lines(text))
        raise FileMistakesError(str(path), mistakes) from error


def mistakes_in(
    error: SpecError,
    model: type[BaseModel],
    lines: Mapping[tuple[str | int, ...], int],
    way: tuple[str | int, ...] = (),
) -> tuple[Mistake, ...]:
    """Return all that was wrong with some values where an error names the first.

    Parameters
    ----------
    error : SpecError
        What `Table.of` raised.
    model : type of BaseModel
        The table.
    lines : mapping of tuple to int
        As `toml_lines` returns them.
    way : tuple of str or int
        Keys of the file under which the values stand.

    Returns
    -------
    tuple of Mistake
        In the order of their lines; those of the file as a whole come first.
    """
    cause = error.__cause__
    every = spec_errors(cause, model) if isinstance(cause, ValidationError) else (error,)
    found = [Mistake(line_of((*way, *keys_of_field(each.field)), lines), each) for each in every]
    return tuple(sorted(found, key=lambda mistake: mistake.line or 0))
