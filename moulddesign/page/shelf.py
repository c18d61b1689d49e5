"""Uploads: what may come in, under names of our own, and what may go out again."""

import asyncio
import hashlib
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from starlette.requests import ClientDisconnect

from moulddesign.errors import SpecError

PATIENCE_S: Final = 30.0
"""Longest time that an upload may take [s]."""

MOST_KEPT: Final = 200
"""Most uploads that are kept; a further one is refused."""

MOST_BYTES: Final = 1_000_000_000
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
            if len(sizes) >= MOST_KEPT or sum(sizes) + len(raw) > MOST_BYTES:
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
