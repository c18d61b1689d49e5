"""Drawings that a design names: found beside its file, and copied to where it is published."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from moulddesign.design.design import Design

DRAWINGS: Final = (".svg", ".png", ".jpg", ".jpeg")
PREFIX: Final = "artwork-"
"""What a carried drawing's name begins with, so that it meets no other file of a build."""


def found_beside(tree: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """Return a design's plain values with relative file names made to start from a folder.

    Parameters
    ----------
    tree : mapping
        Nested plain values as a design file holds them; not changed.
    folder : Path
        The design file's folder.
    """
    made: dict[str, Any] = _copy(dict(tree))
    for table, key in _places(made):
        path = Path(table[key]).expanduser()
        table[key] = str(folder / path)
    return made


def carried(design: "Design") -> tuple["Design", dict[str, Path]]:
    """Return a design that names its drawings as they lie beside it, and where they come from.

    Parameters
    ----------
    design : Design
        Names its drawings by paths.

    Returns
    -------
    tuple of Design and dict of str to Path
        The drawings' new names, and the files to copy. Fonts stay where they are, for their
        licences seldom allow a copy, and so does one's own library of printers.
    """
    tree = design.plain()
    copies: dict[str, Path] = {}
    for table, key in _places(tree):
        if key not in {"outline", "pattern"}:
            continue
        path = Path(table[key])
        name = path.name if path.name.startswith(PREFIX) else PREFIX + path.name
        number = 1
        while copies.setdefault(name, path) != path:
            number += 1
            name = f"{PREFIX}{number}-{path.name}"
        table[key] = name
    return type(design).of(tree), copies


def _places(tree: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], str]]:
    """Yield the tables of a design that name a file, and the key; whatever their types."""
    pastry, further = tree.get("pastry"), tree.get("further_stamps")
    if isinstance(pastry, dict) and _is_drawing(pastry.get("outline")):
        yield pastry, "outline"
    printer = tree.get("printer")
    if isinstance(printer, dict) and isinstance(printer.get("library"), str):
        yield printer, "library"
    for relief in [tree.get("relief"), *(further if isinstance(further, list) else [])]:
        yield from _drawn(relief)


def _drawn(relief: object) -> Iterator[tuple[dict[str, Any], str]]:
    """Yield the layers of a relief that name a file, and the key."""
    layers = relief.get("layers") if isinstance(relief, dict) else None
    for layer in layers if isinstance(layers, list) else []:
        if isinstance(layer, dict) and _is_drawing(layer.get("pattern")):
            yield layer, "pattern"
        if isinstance(layer, dict) and isinstance(layer.get("font"), str):
            yield layer, "font"


def _is_drawing(value: object) -> bool:
    return isinstance(value, str) and value.lower().endswith(DRAWINGS)


def _copy(value: Any) -> Any:  # noqa: ANN401 (plain values of any kind)
    if isinstance(value, dict):
        return {key: _copy(inner) for key, inner in value.items()}
    return [_copy(inner) for inner in value] if isinstance(value, list) else value
