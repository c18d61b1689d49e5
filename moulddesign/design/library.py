"""Printers and plastics by name: those of the package, and those in one's own file."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from math import isfinite
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, TypeVar

from moulddesign.design.machine import Machine
from moulddesign.design.material import Material, materials
from moulddesign.errors import FileError

T = TypeVar("T", Machine, Material)

MOST_BYTES: Final = 1_000_000
OWN_SOURCE: Final = "your own file"
SIDES: Final = 3
MAY_BE_ZERO: Final = "shrink"
"""The one figure that may be 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """What a design can name.

    Parameters
    ----------
    machines : mapping of str to Machine
        Printers.
    materials : mapping of str to Material
        Plastics.
    """

    machines: MappingProxyType[str, Machine]
    materials: MappingProxyType[str, Material]


def library(path: str | None) -> Library:
    """Return the package's printers and plastics, and those of a file, which come first.

    Parameters
    ----------
    path : str or None
        TOML file with tables [printers.NAME] and [materials.NAME]; source and caution may be
        left out there.

    Raises
    ------
    FileError
        The file cannot be read, is not TOML, or a table of it lacks a figure.
    """
    if path is None:
        return _package()
    text = _text(path)
    return _own(path, text)


@cache
def _package() -> Library:
    text = (files("moulddesign") / "data" / "printers.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    machines = {
        name: _made(Machine, table, "printers.toml", name=name) for name, table in tables.items()
    }
    return Library(machines=MappingProxyType(machines), materials=materials())


@cache
def _own(path: str, text: str) -> Library:
    try:
        tables = tomllib.loads(text)
    except ValueError as error:
        reason = str(error).partition(";")[0]
        raise FileError(path, f"is not TOML: {reason}") from error
    strange = sorted(tables.keys() - {"printers", "materials"})
    if strange:
        raise FileError(path, f"holds {strange[0]}; only printers and materials belong here")
    package = _package()
    own = {"source": OWN_SOURCE, "caution": ""}
    machines = {
        name: _made(Machine, {"source": OWN_SOURCE} | table, path, name=name)
        for name, table in _tables(tables, "printers", path)
    }
    plastics = {
        name: _made(Material, own | table, path, name=name)
        for name, table in _tables(tables, "materials", path)
    }
    return Library(
        machines=MappingProxyType(machines | _others(package.machines, machines)),
        materials=MappingProxyType(plastics | _others(package.materials, plastics)),
    )


def _others(all_of: Mapping[str, T], taken: Mapping[str, T]) -> dict[str, T]:
    return {name: value for name, value in all_of.items() if name not in taken}


def _tables(tables: dict[str, Any], kind: str, path: str) -> list[tuple[str, dict[str, Any]]]:
    found = tables.get(kind, {})
    if not isinstance(found, dict) or not all(isinstance(t, dict) for t in found.values()):
        raise FileError(path, f"must hold {kind} as tables such as [{kind}.mine]")
    return list(found.items())


def _made(kind: type[T], table: dict[str, Any], path: str, *, name: str) -> T:
    wanted = {field.name for field in fields(kind)}
    missing, strange = sorted(wanted - table.keys()), sorted(table.keys() - wanted)
    if missing or strange:
        said = f"lacks {missing[0]}" if missing else f"has {strange[0]}, which is not known"
        raise FileError(path, f"{said} in {name}; it needs {', '.join(sorted(wanted))}")
    return kind(**{key: _figure(key, value, f"{path}: {name}") for key, value in table.items()})


def _figure(key: str, value: object, where: str) -> Any:  # noqa: ANN401 (per field)
    if key in {"source", "caution"}:
        return str(value)
    if key == "bed_mm":
        sides = [_number(side) for side in value] if isinstance(value, list) else []
        if len(sides) != SIDES or min(sides) <= 0.0:
            raise FileError(where, f"{key} must be three lengths above 0 mm")
        return tuple(sides)
    number = _number(value)
    if number < 0.0 or (number == 0.0 and key != MAY_BE_ZERO):
        raise FileError(where, f"{key} must be a number above 0")
    return number


def _number(value: object) -> float:
    """Return a finite number; -1, which no figure may be, where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return -1.0
    return float(value) if isfinite(value) else -1.0


def _text(path: str) -> str:
    try:
        with Path(path).open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise FileError(path, f"cannot be read ({reason})") from error
    if len(raw) > MOST_BYTES:
        raise FileError(path, f"is larger than {MOST_BYTES} bytes")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(path, "is not text in UTF-8; save it as UTF-8") from error
