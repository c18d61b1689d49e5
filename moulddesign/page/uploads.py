"""Uploads: which kinds there are, how they are received and told apart, and where they are kept."""

import asyncio
import hashlib
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from starlette.requests import ClientDisconnect

from moulddesign.core import SpecError, either, limits, say
from moulddesign.design import MOST_BUNDLE_BYTES, MOST_BYTES, FileKind

MOST_UPLOADS: Final = 200
"""Most uploads that are kept; a further one is refused."""

ALL_MOST_BYTES: Final = 1_000_000_000
"""Most that all uploads together take [bytes]."""

UPLOAD_NAME: Final = re.compile(r"own-[0-9a-f]{16}\.(svg|png|jpe?g|tif|ttf|otf|stl|3mf|toml|csv)")
"""Names that uploads are given: nothing of the name outside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadKind:
    """A kind of upload."""

    endings: tuple[str, ...]
    """What it may turn out to be."""
    most_bytes: int
    """Its largest size [bytes]."""


UPLOAD_KINDS: Final = MappingProxyType(
    {
        **{
            kind.value: UploadKind(endings=endings, most_bytes=MOST_BYTES[kind])
            for kind, endings in (
                (FileKind.ARTWORK, ("svg", "png", "jpg")),
                (FileKind.OUTLINE, ("svg",)),
                (FileKind.CARVING, ("png", "tif", "stl", "3mf")),
                (FileKind.FONT, ("ttf", "otf")),
                (FileKind.PHOTO, ("png", "jpg")),
                (FileKind.MESH, ("stl", "3mf")),
                (FileKind.LIBRARY, ("toml",)),
                (FileKind.RECIPE, ("toml",)),
                (FileKind.MOULDS, ("toml",)),
            )
        },
        "design": UploadKind(endings=("toml",), most_bytes=limits.MOST_TEXT_BYTES),
        "weighings": UploadKind(endings=("csv",), most_bytes=limits.MOST_TEXT_BYTES),
        "set": UploadKind(endings=("zip",), most_bytes=MOST_BUNDLE_BYTES),
    }
)
"""Kinds of uploads, by the name in the address."""

FIRST_BYTES: Final = MappingProxyType(
    {
        "png": (b"\x89PNG\r\n\x1a\n",),
        "jpg": (b"\xff\xd8\xff",),
        "tif": (b"II*\x00", b"MM\x00*"),
        "ttf": (b"\x00\x01\x00\x00", b"true"),
        "otf": (b"OTTO",),
        "3mf": (b"PK\x03\x04",),
        "zip": (b"PK\x03\x04",),
    }
)
"""How files of a kind begin."""


class UploadStore:
    """A folder of uploads, each named by its content."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        """Must exist; only our own names appear in it."""

    async def receive(self, kind: str, chunks: AsyncIterator[bytes]) -> str:
        """Keep an upload of one of `UPLOAD_KINDS` and return the name that it is given.

        Raises
        ------
        SpecError
            It is too large, too slow, of another kind, or one too many.
        """
        raw = await receive_upload(kind, chunks)
        return self.keep(raw, detected_ending(raw, UPLOAD_KINDS[kind].endings))

    def keep(self, raw: bytes, ending: str) -> str:
        """Keep a file under a name of our own, and return that name.

        Raises
        ------
        SpecError
            It is one too many, or has no ending that is taken here.
        """
        name = f"own-{hashlib.sha256(raw).hexdigest()[:16]}.{ending}"
        if not UPLOAD_NAME.fullmatch(name):
            raise SpecError("file", f".{ending}", say("page.ending-unknown"))
        path = self.folder / name
        if not path.exists():
            sizes = [kept.stat().st_size for kept in self.folder.iterdir()]
            if len(sizes) >= MOST_UPLOADS or sum(sizes) + len(raw) > ALL_MOST_BYTES:
                raise SpecError("upload", "a file", say("page.uploads-too-many"))
            path.write_bytes(raw)
        return name

    def path(self, name: str) -> Path | None:
        """Return the file of an upload's name; None where there is none."""
        path = self.folder / name
        return path if UPLOAD_NAME.fullmatch(name) and path.is_file() else None


async def receive_upload(kind: str, chunks: AsyncIterator[bytes]) -> bytes:
    """Return the content of an upload of one of `UPLOAD_KINDS`, kept nowhere.

    Raises
    ------
    SpecError
        It is too large, too slow, or of another kind.
    """
    allowed = UPLOAD_KINDS[kind]
    try:
        async with asyncio.timeout(limits.MOST_UPLOAD_S):
            raw = await _bounded(chunks, allowed.most_bytes)
    except TimeoutError as error:
        need = say("page.upload-too-slow", limit_s=limits.MOST_UPLOAD_S)
        raise SpecError("upload", "a file", need) from error
    except ClientDisconnect as error:  # the tab was closed or loaded again; nobody reads this
        raise SpecError("upload", "a file", say("page.upload-incomplete")) from error
    detected_ending(raw, allowed.endings)
    return raw


async def _bounded(chunks: AsyncIterator[bytes], most_bytes: int) -> bytes:
    raw = bytearray()
    async for chunk in chunks:
        raw += chunk
        if len(raw) > most_bytes:
            need = say("page.upload-too-large", most_mb=most_bytes / 1e6)
            raise SpecError("upload", f"more than {most_bytes} bytes", need)
    return bytes(raw)


def detected_ending(raw: bytes, endings: tuple[str, ...]) -> str:
    """Return which of some endings fits a file's content, whatever it was called.

    Raises
    ------
    SpecError
        None of them fits.

    Examples
    --------
    >>> detected_ending(b"<svg xmlns='http://www.w3.org/2000/svg'/>", ("svg", "png"))
    'svg'
    """
    for ending in endings:
        if _looks_like(raw, ending):
            return ending
    need = say("page.upload-of-another-kind", endings=either(endings))
    raise SpecError("upload", f"a file of {len(raw)} bytes", need)


def _looks_like(raw: bytes, ending: str) -> bool:
    head = raw[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if ending in FIRST_BYTES:
        return raw.startswith(FIRST_BYTES[ending])
    if ending == "svg":
        return head.startswith(b"<") and b"<svg" in raw[:65536]
    if ending == "stl":
        count = int.from_bytes(raw[80:84], "little")
        return len(raw) == 84 + 50 * count or head.lower().startswith(b"solid")
    return b"\x00" not in raw  # TOML and CSV: text
