"""Files that a design or a shelf of moulds names, as its fields declare them.

`given(..., file=FileKind.FONT)` says that a field may name a file; everything here follows from
that, so a new field of that sort needs nothing but its declaration.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import BaseModel, field_validator
from pydantic.fields import FieldInfo

from moulddesign.core import say
from moulddesign.design.schema import (
    FileKind,
    RefusedError,
    Table,
    as_one_line,
    given,
    said_of,
    tables_in,
)

DRAWINGS: Final = (".svg", ".png", ".jpg", ".jpeg")
"""Endings that tell a drawing from the name of an outline or a pattern."""
PREFIX: Final = "artwork-"
"""What a copied drawing's name begins with, so that it meets no other file of a build."""
NAMED: Final = frozenset({FileKind.OUTLINE, FileKind.ARTWORK})
"""Kinds of which the tool has its own, by name."""
COPIED: Final = NAMED | {FileKind.CARVING, FileKind.PHOTO}
"""Kinds that a build keeps a copy of."""
SHARED: Final = COPIED | {FileKind.LIBRARY, FileKind.MESH}
"""Kinds that go into a bundle: all that the piece needs, but no recipe and no font."""

SPDX: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]*\+?")
"""Form of a licence's short identifier (SPDX specification 2.3, annex D: idstring)."""


class ShareTable(Table):
    """What is said of a design where it is handed on."""

    author: str | None = given(
        None,
        "Who made the design, by the name that others see",
        min_length=1,
        max_length=200,
    )
    licence: str | None = given(
        None, "What others may do with it: an SPDX identifier such as CC-BY-4.0, or a few words",
        min_length=1, max_length=200,
    )  # fmt: skip
    customers_files: tuple[str, ...] = given(
        (), "Names of drawings that are a customer's; they stay out of what is shared",
        max_length=40,
    )  # fmt: skip

    @field_validator("author", "licence")
    @classmethod
    def _in_one_line(cls, text: str | None) -> str | None:
        return None if text is None else as_one_line(text)

    @field_validator("licence")
    @classmethod
    def _has_a_licences_form(cls, text: str | None) -> str | None:
        # Only the form is checked: which licence suits is the author's to know.
        if text is not None and " " not in text.strip() and not SPDX.fullmatch(text.strip()):
            raise RefusedError(say("design.licence-form"))
        return text


Names = Mapping[str, Any]
AnyTable = TypeVar("AnyTable", bound=Table)


def is_file(kind: FileKind, name: str) -> bool:
    """Return whether a value names a file; an outline or a pattern may be one of the tool's own."""
    return kind not in NAMED or name.lower().endswith(DRAWINGS)


def named_files(tree: Names, model: type[BaseModel]) -> Iterator[tuple[str, FileKind, str]]:
    """Yield the values that may name a file: dotted path, kind of file, value.

    Parameters
    ----------
    tree : mapping
        Nested plain values, right or wrong: what is no text, or no table, is passed over.
    model : type of BaseModel
        What the values are for.

    Examples
    --------
    >>> from moulddesign.design import Design
    >>> [path for path, _, _ in named_files({"pastry": {"outline": "round"}, "relief": 7}, Design)]
    ['pastry.outline']
    """
    found: list[tuple[str, FileKind, str]] = []

    def noted(path: str, kind: FileKind, name: str) -> str:
        found.append((path, kind, name))
        return name

    _renamed(tree, (model,), noted, "")
    yield from found


def rename_files(
    tree: Names, model: type[BaseModel], rename: Callable[[FileKind, str], str]
) -> dict[str, Any]:
    """Return a copy of nested plain values with other names for the files in it.

    Parameters
    ----------
    tree : mapping
        Nested plain values, right or wrong.
    model : type of BaseModel
        What the values are for.
    rename : callable
        Returns a name for a kind of file and what stands there, which may be no file.
    """
    return _renamed(tree, (model,), lambda _, kind, name: rename(kind, name), "")


def resolve_file(kind: FileKind, name: str, folder: Path) -> str:
    """Return a value, made to start from a folder if it is a file's relative name.

    A recipe keeps its name: whoever reads it looks beside the design first, and then where we are.
    """
    if kind is FileKind.RECIPE or not is_file(kind, name):
        return name
    return str(folder / Path(name).expanduser())


def resolve_files(tree: Names, model: type[BaseModel], folder: Path) -> dict[str, Any]:
    """Return nested plain values whose files are found from a folder, as by `resolve_file`."""
    return rename_files(tree, model, lambda kind, name: resolve_file(kind, name, folder))


def collect_drawings(
    design: AnyTable, kinds: frozenset[FileKind] = COPIED
) -> tuple[AnyTable, dict[str, Path]]:
    """Return a design that names its drawings as they lie beside it, and where they come from.

    Fonts stay where they are, for their licences seldom allow a copy; so does a library of
    printers, where `kinds` does not name it.

    Returns
    -------
    tuple of Table and dict of str to Path
        The design with the drawings' new names, and the files to copy to those names.
    """
    copies: dict[str, Path] = {}

    def beside(kind: FileKind, name: str) -> str:
        if kind not in kinds or not is_file(kind, name):
            return name
        path = Path(name)
        copied = path.name if path.name.startswith(PREFIX) else PREFIX + path.name
        number = 1
        while copies.setdefault(copied, path) != path:
            number += 1
            copied = f"{PREFIX}{number}-{path.name}"
        return copied

    return type(design).of(rename_files(design.plain(), type(design), beside)), copies


def _renamed(
    tree: Names,
    tables: tuple[type[BaseModel], ...],
    rename: Callable[[str, FileKind, str], str],
    way: str,
) -> dict[str, Any]:
    """Return a table's values, those of the tables in it included."""
    made: dict[str, Any] = {}
    for key, value in tree.items():
        field = next((t.model_fields[key] for t in tables if key in t.model_fields), None)
        made[key] = value if field is None else _in_field(field, value, rename, f"{way}{key}")
    return made


def _in_field(
    field: FieldInfo,
    value: Any,  # noqa: ANN401 (a plain value of any kind)
    rename: Callable[[str, FileKind, str], str],
    path: str,
) -> Any:  # noqa: ANN401 (the same)
    kind = said_of(field, "file")
    if kind is not None:
        return rename(path, FileKind(kind), value) if isinstance(value, str) else value
    tables = tuple(tables_in(field.annotation))
    if isinstance(value, list):
        return [
            _renamed(each, tables, rename, f"{path}.{place}.")
            if isinstance(each, Mapping)
            else each
            for place, each in enumerate(value)
        ]
    return _renamed(value, tables, rename, f"{path}.") if isinstance(value, Mapping) else value
