"""What comes in.

Uploads, the files that a design may name, a whole set in a zip, the design in the address.
"""

import asyncio
import base64
import binascii
import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any, Final

from pydantic import BaseModel
from starlette.requests import ClientDisconnect

from moulddesign.core import FileError, SpecError, decode_text, parse_toml
from moulddesign.design import Design, FileKind, Kind, named_files, rename_files
from moulddesign.page.draft import Tree

MOST_CHARACTERS: Final = 6000
"""Longer addresses are refused: some programs cut them [characters]."""

ADDRESS_MOST_BYTES: Final = 200_000
"""Largest design that an address unfolds to [bytes]."""


def packed(design: Design) -> str:
    """Return a design as text for an address: what differs from the defaults, pressed small.

    Examples
    --------
    >>> unpacked(packed(Design().with_values({"portion.ratio": "4:6"})))
    {'portion': {'ratio': '4:6'}}
    """
    usual = Design().with_values({"mould.kind": design.mould.kind})
    plain = _difference(design.plain(), usual.plain())
    if design.mould.kind is not Kind.PRESS:
        plain.setdefault("mould", {})["kind"] = design.mould.kind.value
    raw = json.dumps(plain, separators=(",", ":"), ensure_ascii=False).encode()
    return base64.urlsafe_b64encode(zlib.compress(raw, 9)).decode().rstrip("=")


def unpacked(text: str) -> dict[str, Any]:
    """Return the plain values of a design in the text of an address.

    Raises
    ------
    SpecError
        The text is no design: cut off, changed, or too long.
    """
    if len(text) > MOST_CHARACTERS:
        raise SpecError("address", f"{text[:20]}...", "is too long; load the design's file instead")
    try:
        unfold = zlib.decompressobj()
        raw = unfold.decompress(
            base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)), ADDRESS_MOST_BYTES
        )
        if unfold.unconsumed_tail or not unfold.eof:
            raise _damaged(text)
        plain = json.loads(raw)
    except (binascii.Error, zlib.error, ValueError, RecursionError) as error:
        raise _damaged(text) from error
    if not isinstance(plain, dict):
        raise _damaged(text)
    return plain


def _damaged(text: str) -> SpecError:
    return SpecError("address", f"{text[:20]}...", "holds no whole design; copy the link again")


def _difference(plain: dict[str, Any], usual: dict[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for key, value in plain.items():
        if isinstance(value, dict):
            inner = _difference(value, usual.get(key, {}))
            if inner:
                made[key] = inner
        elif value != usual.get(key):
            made[key] = value
    return made


PATIENCE_S: Final = 30.0
"""Longest time that an upload may take [s]."""

MOST_KEPT: Final = 200
"""Most uploads that are kept; a further one is refused."""

SHELF_MOST_BYTES: Final = 1_000_000_000
"""Most that all uploads together take [bytes]."""

OWN_NAME: Final = re.compile(r"own-[0-9a-f]{16}\.(svg|png|jpe?g|ttf|otf|stl|3mf|toml|csv)")
"""Names that uploads are given: nothing of the name outside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A kind of upload.

    Parameters
    ----------
    endings : tuple of str
        What it may turn out to be.
    most_bytes : int
        Its largest size [bytes].
    """

    endings: tuple[str, ...]
    most_bytes: int


WANTED: Final = MappingProxyType(
    {
        "artwork": Wanted(endings=("svg", "png", "jpg"), most_bytes=10_000_000),
        "outline": Wanted(endings=("svg",), most_bytes=2_000_000),
        "font": Wanted(endings=("ttf", "otf"), most_bytes=20_000_000),
        "mesh": Wanted(endings=("stl", "3mf"), most_bytes=60_000_000),
        "design": Wanted(endings=("toml",), most_bytes=1_000_000),
        "library": Wanted(endings=("toml",), most_bytes=1_000_000),
        "recipe": Wanted(endings=("toml",), most_bytes=1_000_000),
        "moulds": Wanted(endings=("toml",), most_bytes=1_000_000),
        "weighings": Wanted(endings=("csv",), most_bytes=1_000_000),
        "set": Wanted(endings=("zip",), most_bytes=60_000_000),
    }
)
"""Kinds of uploads, by the name in the address."""


class Shelf:
    """A folder of uploads, each named by its content.

    Parameters
    ----------
    folder : Path
        Must exist; only our own names appear in it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    async def take(self, kind: str, chunks: AsyncIterator[bytes]) -> str:
        """Keep an upload and return the name that it is given.

        Parameters
        ----------
        kind : str
            One of `WANTED`.
        chunks : async iterator of bytes
            Its content.

        Raises
        ------
        SpecError
            It is too large, too slow, of another kind, or one too many.
        """
        raw = await received(kind, chunks)
        return self.keep(raw, ending_of(raw, WANTED[kind].endings))

    def keep(self, raw: bytes, ending: str) -> str:
        """Keep a file under a name of our own, and return that name.

        Parameters
        ----------
        raw : bytes
            Its content.
        ending : str
            Which of our endings it has.

        Raises
        ------
        SpecError
            It is one too many, or has no ending that is taken here.
        """
        name = f"own-{hashlib.sha256(raw).hexdigest()[:16]}.{ending}"
        if not OWN_NAME.fullmatch(name):
            raise SpecError("file", f".{ending}", "is no kind of file that the page takes")
        path = self.folder / name
        if not path.exists():
            sizes = [kept.stat().st_size for kept in self.folder.iterdir()]
            if len(sizes) >= MOST_KEPT or sum(sizes) + len(raw) > SHELF_MOST_BYTES:
                raise SpecError("upload", "a file", "is one too many; start the page again")
            path.write_bytes(raw)
        return name

    def path(self, name: str) -> Path | None:
        """Return the file of an upload's name; None where there is none."""
        path = self.folder / name
        return path if OWN_NAME.fullmatch(name) and path.is_file() else None


async def received(kind: str, chunks: AsyncIterator[bytes]) -> bytes:
    """Return an upload's content, kept nowhere.

    Parameters
    ----------
    kind : str
        One of `WANTED`.
    chunks : async iterator of bytes
        Its content.

    Raises
    ------
    SpecError
        It is too large, too slow, or of another kind.
    """
    wanted = WANTED[kind]
    try:
        async with asyncio.timeout(PATIENCE_S):
            raw = await _bounded(chunks, wanted.most_bytes)
    except TimeoutError as error:
        raise SpecError("upload", "a file", f"must arrive within {PATIENCE_S:g} s") from error
    except ClientDisconnect as error:  # the tab was closed or loaded again; nobody reads this
        raise SpecError("upload", "a file", "did not arrive whole; send it again") from error
    ending_of(raw, wanted.endings)
    return raw


def ending_of(raw: bytes, endings: tuple[str, ...]) -> str:
    """Return the ending that fits a file's content, whatever it was called.

    Parameters
    ----------
    raw : bytes
        The content.
    endings : tuple of str
        What is wanted.

    Raises
    ------
    SpecError
        It is nothing of that.

    Examples
    --------
    >>> ending_of(b"<svg xmlns='http://www.w3.org/2000/svg'/>", ("svg", "png"))
    'svg'
    """
    for ending in endings:
        if _looks_like(raw, ending):
            return ending
    need = f"must be a file of the kind {' or '.join(endings)}"
    raise SpecError("upload", f"a file of {len(raw)} bytes", need)


async def _bounded(chunks: AsyncIterator[bytes], most_bytes: int) -> bytes:
    raw = bytearray()
    async for chunk in chunks:
        raw += chunk
        if len(raw) > most_bytes:
            need = f"must be smaller than {most_bytes / 1e6:g} MB"
            raise SpecError("upload", f"more than {most_bytes} bytes", need)
    return bytes(raw)


def _looks_like(raw: bytes, ending: str) -> bool:
    head = raw[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    starts = {
        "png": (b"\x89PNG\r\n\x1a\n",),
        "jpg": (b"\xff\xd8\xff",),
        "ttf": (b"\x00\x01\x00\x00", b"true"),
        "otf": (b"OTTO",),
        "3mf": (b"PK\x03\x04",),
        "zip": (b"PK\x03\x04",),
    }
    if ending in starts:
        return raw.startswith(starts[ending])
    if ending == "svg":
        return head.startswith(b"<") and b"<svg" in raw[:65536]
    if ending == "stl":
        count = int.from_bytes(raw[80:84], "little")
        return len(raw) == 84 + 50 * count or head.lower().startswith(b"solid")
    return b"\x00" not in raw  # TOML and CSV: text


def refuse_strange(
    tree: Mapping[str, Any], model: type[BaseModel], *, known: frozenset[str], shelf: Shelf
) -> None:
    """Refuse names of files that were not uploaded here.

    Parameters
    ----------
    tree : mapping
        Nested plain values, right or wrong.
    model : type of BaseModel
        What they are for; its fields declare which may name a file.
    known : frozenset of str
        Words that are no files.
    shelf : Shelf
        The uploads.

    Raises
    ------
    SpecError
        A name is neither.
    """
    for field, _, name in named_files(tree, model):
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

    def kept(_kind: FileKind, name: str) -> str:
        path = Path(name).expanduser()
        if path.suffix and path.is_file():
            return shelf.keep(path.read_bytes(), path.suffix[1:].lower())
        return name

    return Design.of(rename_files(design.plain(), Design, kept))


DESIGN: Final = "design.toml"
"""What the design file of a set is called."""

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
            text = decode_text(found.content(DESIGN, kind="design"), DESIGN)
            names = {
                name: found.kept(name, kind.value, shelf)
                for kind, name in _files_of(text)
                if name in found.entries
            }
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise _no_set("cannot be unpacked") from error
    except FileError as error:
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
    return rename_files(tree, Design, lambda _, name: names.get(_last(name), name))


def _files_of(text: str) -> list[tuple[FileKind, str]]:
    """Return the files that a design's text names: what kind, and the last part of the name."""
    try:
        tree = parse_toml(text, DESIGN)
    except FileError:
        return []  # whoever reads the text says what is wrong with it
    return [(kind, _last(name)) for _, kind, name in named_files(tree, Design)]


def _last(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).name


def _no_set(need: str) -> SpecError:
    return SpecError("upload", "a zip", need)
