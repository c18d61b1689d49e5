"""Bundles: a design and the files that it names in one zip, read safely and written.

A bundle holds one folder: `design.toml`, the drawings beside it, and a thumbnail. A set that was
packed has the same layout with more in it. Of either only the design file is unpacked, and what it
names; nothing is written under a path that the zip chooses.
"""

import atexit
import io
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from functools import reduce
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any, Final

from pydantic import BaseModel

from moulddesign.core import (
    FileError,
    Message,
    SpecError,
    decode_text,
    limits,
    parse_toml,
    read_bytes,
    say,
)
from moulddesign.core.files import ZIP_DAMAGED, ZIP_METHODS, count_zip_entries
from moulddesign.design.assets import PREFIX, is_file, named_files, rename_files
from moulddesign.design.design import DESIGN_FILE, Design
from moulddesign.design.kept_sets import SET_FILE
from moulddesign.design.reading import parse_tables
from moulddesign.design.schema import FileKind

BUNDLE: Final = ".zip"
"""How a bundle's name ends."""

MOST_BYTES: Final[Mapping[FileKind, int]] = MappingProxyType(
    {
        FileKind.ARTWORK: limits.MOST_DRAWING_BYTES,
        FileKind.OUTLINE: 2_000_000,
        FileKind.CARVING: 60_000_000,
        FileKind.FONT: 20_000_000,
        FileKind.PHOTO: 10_000_000,
        FileKind.MESH: 60_000_000,
        FileKind.LIBRARY: limits.MOST_TEXT_BYTES,
        FileKind.RECIPE: limits.MOST_TEXT_BYTES,
        FileKind.MOULDS: limits.MOST_TEXT_BYTES,
    }
)
"""Largest size of a file of each kind that comes from others, in a bundle or uploaded [bytes]."""
MOST_BUNDLE_BYTES: Final = 60_000_000
"""Largest size of a zip, and of all that is unpacked of one, together [bytes]."""
MOST_UNPACKED_BYTES: Final = 200_000_000
MOST_ENTRIES: Final = 1000

ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold: the same files give the same bytes."""

NO_NAME: Final = re.compile(r"[\x00-\x1f:]|^\.*$")
"""Names that no file of a folder has, or that a system takes for another place."""
LONGEST_NAME: Final = 255
"""Longest name that usual file systems take [bytes]."""
NUMBERED: Final = re.compile(r"^(?:\d+-)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """What is used of a zip: its design file, and the files that it names."""

    text: str
    """The design file's."""
    files: Mapping[str, tuple[FileKind, bytes]]
    """Kind and content by the last part of the name."""
    set_text: str
    """Of `set.toml`; empty where there is none."""


def last_part(name: str) -> str:
    r"""Return a file's name without its folders, whichever system wrote them.

    Examples
    --------
    >>> last_part("drawn/heart.svg"), last_part("C:\\drawn\\heart.svg")
    ('heart.svg', 'heart.svg')
    """
    return PurePosixPath(name.replace("\\", "/")).name


def parse_bundle(raw: bytes) -> Bundle:
    """Return the design file of a zip, and the files that it names, each within its kind's limit.

    Raises
    ------
    SpecError
        It is no zip, holds no design file, or more than a bundle may.
    """
    if count_zip_entries(raw) > MOST_ENTRIES:
        raise _refusal(say("design.bundle-of-too-many", most=MOST_ENTRIES))
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            found = _Entries(archive)
            text = decode_text(found.content(DESIGN_FILE, limits.MOST_TEXT_BYTES), DESIGN_FILE)
            has_set = SET_FILE in found.entries
            kept = found.content(SET_FILE, limits.MOST_TEXT_BYTES) if has_set else b""
            set_text = decode_text(kept, SET_FILE)
            files = {
                name: (kind, found.content(name, MOST_BYTES[kind]))
                for name, kind in _named_in(text).items()
                if name in found.entries
            }
    except (*ZIP_DAMAGED, OSError, ValueError) as error:
        raise _refusal(say("design.bundle-damaged")) from error
    except FileError as error:
        raise _refusal(say("design.bundle-not-text")) from error
    return Bundle(text=text, files=files, set_text=set_text)


class _Entries:
    """The files of a zip by the last part of their names, the least deep of each."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self.left = MOST_UNPACKED_BYTES
        deep = sorted(
            archive.infolist(), key=lambda entry: (-entry.filename.count("/"), entry.filename)
        )
        self.entries = {last_part(entry.filename): entry for entry in deep if not entry.is_dir()}

    def content(self, name: str, most_bytes: int) -> bytes:
        if name not in self.entries:
            raise _refusal(say("design.bundle-lacks", name=name))
        if self.entries[name].compress_type not in ZIP_METHODS:
            raise _refusal(say("design.bundle-packed-otherwise", name=name))
        most = min(most_bytes, self.left)
        with self.archive.open(self.entries[name]) as stream:
            content = stream.read(most + 1)
        if len(content) > most:
            need = say("design.bundle-file-too-large", name=name, most_mb=most_bytes / 1e6)
            raise _refusal(need if most == most_bytes else say("design.bundle-too-large-unpacked"))
        self.left -= len(content)
        return content


def _named_in(text: str) -> dict[str, FileKind]:
    """Return the files that a design's text names: the last part of the name, and what kind."""
    try:
        tree = parse_toml(text, DESIGN_FILE)
    except FileError:
        return {}  # whoever reads the text says what is wrong with it
    named = {
        last_part(name): kind
        for _, kind, name in named_files(tree, Design)
        if is_file(kind, name) and len(name.encode()) <= LONGEST_NAME
    }
    return {name: kind for name, kind in named.items() if not NO_NAME.search(name)}


def _refusal(need: Message) -> SpecError:
    return SpecError("file", "a zip", need)


def without_files(
    tree: Mapping[str, Any], model: type[BaseModel], is_gone: Callable[[FileKind, str], bool]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return plain values without some of the files that they name, and the names of those.

    A layer whose drawing or font is gone is left out, and what a medallion holds; of any other
    table the key alone.

    Parameters
    ----------
    is_gone : callable
        Told the kind and what a field names, which may be an outline of the tool's own.
    """
    gone = [
        (_place_of(path, kind), name)
        for path, kind, name in named_files(tree, model)
        if is_gone(kind, name)
    ]
    made = deepcopy(dict(tree))
    for *way, key in reversed(dict.fromkeys(place for place, _ in gone)):
        table: Any = reduce(
            lambda at, part: at[int(part) if isinstance(at, list) else part], way, made
        )
        del table[int(key) if isinstance(table, list) else key]
    return made, tuple(dict.fromkeys(last_part(name) for _, name in gone))


def _place_of(path: str, kind: FileKind) -> tuple[str, ...]:
    """Return what is left out with a file: the table that is nothing without it, or the key."""
    *table, key = path.split(".")
    is_all = kind is FileKind.ARTWORK or (bool(table) and table[-1].isdigit())
    return tuple(table) if is_all else (*table, key)


def read_bundle(path: Path, folder: Path) -> tuple[Design, tuple[Message, ...]]:
    """Return the design in a bundle, whose files are unpacked into a folder, and notes about it.

    What the bundle leaves out, the design does without; a note says which files to ask for.

    Raises
    ------
    FileError
        The bundle cannot be read.
    FileMistakesError
        Its design holds mistakes.
    """
    advice = say("design.bundle-is-small")
    try:
        bundle = parse_bundle(read_bytes(path, most_bytes=MOST_BUNDLE_BYTES, advice=advice))
    except SpecError as error:
        raise FileError(str(path), error.need) from error
    for name, (_, content) in bundle.files.items():
        (folder / name).write_bytes(content)
    own = {last: str(folder / last) for last in bundle.files}
    return parse_tables(bundle.text, path, Design, lambda tree: _unpacked(tree, own))


def _unpacked(tree: dict[str, Any], own: Mapping[str, str]) -> tuple[Design, tuple[Message, ...]]:
    """Return the design of a bundle's plain values, `own` where its files lie, and notes."""
    tree, gone = without_files(
        tree, Design, lambda kind, name: last_part(name) not in own and is_file(kind, name)
    )
    if gone and "customers_files" in tree.get("share", {}):
        marked = tree["share"]["customers_files"]
        tree["share"]["customers_files"] = [
            each for each in marked if not is_kept_back(str(each), gone)
        ]
    tree = rename_files(tree, Design, lambda _, name: own.get(last_part(name), name))
    design, notes = Design.of_file(tree)
    return design, (*_told_of(design, gone), *notes)


def read_unpacked(path: Path) -> tuple[Design, tuple[Message, ...]]:
    """Return what `read_bundle` does, unpacked for as long as the program runs."""
    folder = Path(tempfile.mkdtemp(prefix="moulddesign-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return read_bundle(path, folder)


def _told_of(design: Design, gone: tuple[str, ...]) -> tuple[Message, ...]:
    """Return who shares a design, and which files to ask them for."""
    share = design.share
    known = share is not None and share.author is not None and share.licence is not None
    notes = []
    if share is not None and known:
        notes.append(say("design.shared-by", author=share.author, licence=share.licence))
    if gone:
        notes.append(say("design.bundle-leaves-out", names=gone))
    return tuple(notes)


def is_kept_back(name: str, customers: tuple[str, ...]) -> bool:
    """Return whether a file is among a customer's, also as a build renames what it copies.

    Examples
    --------
    >>> is_kept_back("out/artwork-crest.svg", ("crest.svg",)), is_kept_back("a.svg", ("b.svg",))
    (True, False)
    """
    return _bare(name) in {_bare(each) for each in customers}


def _bare(name: str) -> str:
    return NUMBERED.sub("", last_part(name).removeprefix(PREFIX))


def without_customers(design: Design) -> tuple[Design, tuple[str, ...]]:
    """Return a design without the drawings that are marked as a customer's, and their names.

    Raises
    ------
    SpecError
        A mark names no file of the design, so that what was meant would not stay out.
    """
    customers = () if design.share is None else design.share.customers_files
    named = [name for _, kind, name in named_files(design.plain(), Design) if is_file(kind, name)]
    for each in customers:
        if not any(is_kept_back(name, (each,)) for name in named):
            files = tuple(map(last_part, named)) or (say("design.no-files"),)
            raise SpecError("share.customers_files", each, say("design.no-such-file", files=files))
    if not customers:
        return design, ()
    tree, gone = without_files(
        design.plain(),
        Design,
        lambda kind, name: is_file(kind, name) and is_kept_back(name, customers),
    )
    return Design.of(tree), gone


def zip_bytes(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return files in one zip, inside a folder: the same files give the same bytes."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()


class ZippedFiles(Mapping[str, bytes]):
    """The files in a zip of `zip_bytes` by their names, unpacked one by one when asked for.

    Examples
    --------
    >>> files = ZippedFiles(zip_bytes({"a.txt": b"lantern"}, "set"))
    >>> dict(files), files.sizes
    ({'a.txt': b'lantern'}, {'a.txt': 7})
    """

    def __init__(self, content: bytes) -> None:
        self.content = content
        self._archive = zipfile.ZipFile(io.BytesIO(content))
        self._entries = {each.filename.rpartition("/")[2]: each for each in self._archive.filelist}

    def __getitem__(self, name: str) -> bytes:
        return self._archive.read(self._entries[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def sizes(self) -> dict[str, int]:
        """How long each file is [bytes]."""
        return {name: each.file_size for name, each in self._entries.items()}
