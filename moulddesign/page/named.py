"""The files that a design names: on the page they are uploads, and nothing else on the disk."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from moulddesign.design import Design
from moulddesign.errors import SpecError
from moulddesign.page.draft import Tree, copied, reached
from moulddesign.page.shelf import Shelf


def named_files(tree: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield the fields that may name a file, with what they name, whatever their types.

    Parameters
    ----------
    tree : mapping
        A design's nested plain values, right or wrong.

    Examples
    --------
    >>> dict(named_files({"pastry": {"outline": "round"}, "relief": {"layers": []}}))
    {'pastry.outline': 'round'}
    """
    for table, key in (("pastry", "outline"), ("batch", "recipe"), ("printer", "library")):
        yield from _named(tree.get(table), table, (key,))
    yield from _drawn(tree.get("relief"), "relief")
    further = tree.get("further_stamps")
    for place, stamp in enumerate(further if isinstance(further, list) else ()):
        yield from _drawn(stamp, f"further_stamps.{place}")


def refuse_strange(
    names: Iterator[tuple[str, str]] | Mapping[str, str], known: frozenset[str], shelf: Shelf
) -> None:
    """Refuse names of files that were not uploaded here.

    Parameters
    ----------
    names : iterator of (str, str), or mapping
        Field and what it names.
    known : frozenset of str
        Words that are no files.
    shelf : Shelf
        The uploads.

    Raises
    ------
    SpecError
        A name is neither.
    """
    for field, name in names.items() if isinstance(names, Mapping) else names:
        if name not in known and shelf.path(name) is None:
            raise SpecError(field, name, "is a file that was not uploaded here; upload it again")


def adopted(design: Design, shelf: Shelf) -> Design:
    """Return a design whose files are on the shelf, so that the page can work with it.

    Parameters
    ----------
    design : Design
        Names its files by paths.
    shelf : Shelf
        Takes copies.

    Raises
    ------
    SpecError
        A file is of no kind that the page takes.
    """
    tree: Tree = copied(design.plain())
    for field, name in tuple(named_files(tree)):
        path = Path(name).expanduser()
        if path.suffix and path.is_file():
            *way, key = field.split(".")
            reached(tree, way)[key] = shelf.keep(path.read_bytes(), path.suffix[1:].lower())
    return Design.of(tree) if tree != design.plain() else design


def _drawn(relief: object, way: str) -> Iterator[tuple[str, str]]:
    layers = relief.get("layers") if isinstance(relief, Mapping) else None
    for place, layer in enumerate(layers if isinstance(layers, list) else ()):
        yield from _named(layer, f"{way}.layers.{place}", ("pattern", "font"))


def _named(table: object, way: str, keys: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for key in keys:
        name = table.get(key) if isinstance(table, Mapping) else None
        if isinstance(name, str):
            yield f"{way}.{key}", name
