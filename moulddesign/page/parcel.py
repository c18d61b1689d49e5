"""A whole set that comes back: the design file in a zip, and the drawings that it names."""

import io
import tomllib
import zipfile
from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any, Final

from moulddesign.errors import SpecError
from moulddesign.page.draft import Tree, copied, reached
from moulddesign.page.named import named_files
from moulddesign.page.shelf import WANTED, Shelf, ending_of

DESIGN: Final = "design.toml"
"""What the design file of a set is called."""

KINDS: Final = {"pattern": "artwork", "outline": "outline", "font": "font", "recipe": "recipe",
                "library": "library"}  # fmt: skip
"""What a key names, as a kind of upload."""

MOST_ENTRIES: Final = 1000
ENTRY: Final = b"PK\1\2"
"""Begins each entry of a zip's list of files (PKWARE's APPNOTE 4.3.12)."""
PACKED: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Ways of packing that take no more memory than they are told."""


def unpacked_set(raw: bytes, shelf: Shelf) -> tuple[str, dict[str, str]]:
    """Return the text of the design file in a zip, and which uploads its drawings became.

    Only the design file and what it names are unpacked, each up to the size of such an upload.

    Parameters
    ----------
    raw : bytes
        The zip.
    shelf : Shelf
        Takes the drawings, under names of its own.

    Returns
    -------
    tuple of str and dict of str to str
        The text, and an upload's name for the last part of each file's name.

    Raises
    ------
    SpecError
        It is no zip, holds no design file, or a file in it is too large or of another kind.
    """
    if raw.count(ENTRY) > MOST_ENTRIES:  # before the list of files is read, which takes memory
        raise _no_set(f"holds more than {MOST_ENTRIES} files")
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            found = _Set(archive)
            text = found.content(DESIGN, kind="design").decode("utf-8-sig")
            names = {
                name: found.kept(name, KINDS[key], shelf)
                for key, name in _wanted(text)
                if name in found.entries
            }
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise _no_set("cannot be unpacked") from error
    except UnicodeDecodeError as error:
        raise _no_set("holds a design file that is not text in UTF-8") from error
    return text, names


class _Set:
    """The files of a zip by the last part of their names, the least deep of each."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        deep = sorted(
            archive.infolist(), key=lambda entry: (-entry.filename.count("/"), entry.filename)
        )
        self.entries = {_last(entry.filename): entry for entry in deep if not entry.is_dir()}

    def kept(self, name: str, kind: str, shelf: Shelf) -> str:
        content = self.content(name, kind=kind)
        return shelf.keep(content, ending_of(content, WANTED[kind].endings))

    def content(self, name: str, *, kind: str) -> bytes:
        if name not in self.entries:
            raise _no_set(f"holds no {name}")
        most = WANTED[kind].most_bytes
        if self.entries[name].compress_type not in PACKED:
            raise _no_set(f"holds {name} packed in an unusual way; pack it as a plain zip")
        with self.archive.open(self.entries[name]) as stream:
            content = stream.read(most + 1)
        if len(content) > most:
            raise _no_set(f"holds {name} of more than {most / 1e6:g} MB")
        return content


def renamed(tree: Tree, names: Mapping[str, str]) -> Tree:
    """Return a design's plain values with its files named as they were uploaded.

    Parameters
    ----------
    tree : dict
        Nested plain values, right or wrong.
    names : mapping of str to str
        An upload's name for the last part of a file's name.

    Examples
    --------
    >>> renamed({"pastry": {"outline": "drawn/heart.svg"}}, {"heart.svg": "own-1.svg"})
    {'pastry': {'outline': 'own-1.svg'}}
    """
    made: Tree = copied(tree)
    for field, name in tuple(named_files(made)):
        *way, key = field.split(".")
        reached(made, way)[key] = names.get(_last(name), name)
    return made


def _wanted(text: str) -> list[tuple[str, str]]:
    """Return which keys of a design name a file, and the last part of its name."""
    try:
        tree: dict[str, Any] = tomllib.loads(text)
    except (ValueError, RecursionError):
        return []  # whoever reads the text says what is wrong with it
    return [(field.rpartition(".")[2], _last(name)) for field, name in named_files(tree)]


def _last(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).name


def _no_set(need: str) -> SpecError:
    return SpecError("upload", "a zip", need)
