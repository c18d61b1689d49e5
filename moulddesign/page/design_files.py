"""The files of a design: which fields name some, and the zip that holds a set with its design."""

import io
import zipfile
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path, PurePosixPath
from typing import Any, Final

from pydantic import BaseModel

from moulddesign.core import FileError, Message, SpecError, decode_text, parse_toml, say
from moulddesign.design import DESIGN_FILE, Design, FileKind, named_files, rename_files
from moulddesign.page.draft import Tree, table_at
from moulddesign.page.uploads import UPLOAD_KINDS, UploadStore, detected_ending

ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold: the same files give the same bytes."""

MOST_ENTRIES: Final = 1000
ENTRY: Final = b"PK\1\2"
"""Begins each entry of a zip's list of files (PKWARE's APPNOTE 4.3.12)."""
COMPRESSIONS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Ways of packing that take no more memory than they are told."""


def refuse_unknown_files(
    tree: Mapping[str, Any],
    model: type[BaseModel],
    *,
    known: frozenset[str],
    uploads: UploadStore,
) -> None:
    """Refuse names of files that were not uploaded here.

    Raises
    ------
    SpecError
        A name is neither.
    """
    for field, _, name in named_files(tree, model):
        if name not in known and uploads.path(name) is None:
            raise SpecError(field, name, say("page.file-not-uploaded"))


def without_missing_files(
    tree: Tree, model: type[BaseModel], *, known: frozenset[str], uploads: UploadStore
) -> tuple[Tree, Message | None]:
    """Return plain values without files that are not here, and a note that asks for those files.

    A layer whose drawing or font is missing is left out, and what a medallion holds; of any other
    table the key alone.
    """
    gone = [
        (_place_of(path, kind), name)
        for path, kind, name in named_files(tree, model)
        if name not in known and uploads.path(name) is None
    ]
    made = deepcopy(tree)
    for *way, key in reversed(dict.fromkeys(place for place, _ in gone)):
        table = table_at(made, way)
        del table[int(key) if isinstance(table, list) else key]
    names = ", ".join(dict.fromkeys(_last(name) for _, name in gone))
    return made, say("page.drawings-gone", names=names) if gone else None


def _place_of(path: str, kind: FileKind) -> tuple[str, ...]:
    """Return what is left out with a file: the table that is nothing without it, or the key."""
    *table, key = path.split(".")
    is_all = kind is FileKind.ARTWORK or (bool(table) and table[-1].isdigit())
    return tuple(table) if is_all else (*table, key)


def with_uploads(design: Design, uploads: UploadStore) -> Design:
    """Return a design whose files, named by paths, are copied to the uploads.

    Raises
    ------
    SpecError
        A file is of no kind that the page takes.
    """

    def uploaded(_kind: FileKind, name: str) -> str:
        path = Path(name).expanduser()
        if path.suffix and path.is_file():
            return uploads.keep(path.read_bytes(), path.suffix[1:].lower())
        return name

    return Design.of(rename_files(design.plain(), Design, uploaded))


def with_upload_names(tree: Tree, names: Mapping[str, str]) -> Tree:
    """Return a design's plain values, right or wrong, with its files named as uploaded.

    Examples
    --------
    >>> drawn = {"pastry": {"outline": "drawn/heart.svg"}}
    >>> with_upload_names(drawn, {"heart.svg": "own-1.svg"})
    {'pastry': {'outline': 'own-1.svg'}}
    """
    return rename_files(tree, Design, lambda _, name: names.get(_last(name), name))


def write_set(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return files in one zip, inside a folder: the same files give the same bytes."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()


def read_set(raw: bytes, uploads: UploadStore) -> tuple[str, dict[str, str]]:
    """Return the text of the design file in a zip, and which uploads its drawings became.

    Only the design file and what it names are unpacked, each up to the size of such an upload. The
    second value gives an upload's name for the last part of each file's name.

    Raises
    ------
    SpecError
        It is no zip, holds no design file, or a file in it is too large or of another kind.
    """
    if raw.count(ENTRY) > MOST_ENTRIES:  # before the list of files is read, which takes memory
        raise _set_error(say("page.set-of-too-many", most=MOST_ENTRIES))
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            found = _Set(archive)
            text = decode_text(found.content(DESIGN_FILE, kind="design"), DESIGN_FILE)
            names = {
                name: found.keep(name, kind.value, uploads)
                for kind, name in _named_in(text)
                if name in found.entries
            }
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise _set_error(say("page.set-damaged")) from error
    except FileError as error:
        raise _set_error(say("page.set-not-text")) from error
    return text, names


class _Set:
    """The files of a zip by the last part of their names, the least deep of each."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        deep = sorted(
            archive.infolist(), key=lambda entry: (-entry.filename.count("/"), entry.filename)
        )
        self.entries = {_last(entry.filename): entry for entry in deep if not entry.is_dir()}

    def keep(self, name: str, kind: str, uploads: UploadStore) -> str:
        content = self.content(name, kind=kind)
        return uploads.keep(content, detected_ending(content, UPLOAD_KINDS[kind].endings))

    def content(self, name: str, *, kind: str) -> bytes:
        if name not in self.entries:
            raise _set_error(say("page.set-lacks", name=name))
        most = UPLOAD_KINDS[kind].most_bytes
        if self.entries[name].compress_type not in COMPRESSIONS:
            raise _set_error(say("page.set-packed-otherwise", name=name))
        with self.archive.open(self.entries[name]) as stream:
            content = stream.read(most + 1)
        if len(content) > most:
            raise _set_error(say("page.set-file-too-large", name=name, most_mb=most / 1e6))
        return content


def _named_in(text: str) -> list[tuple[FileKind, str]]:
    """Return the files that a design's text names: what kind, and the last part of the name."""
    try:
        tree = parse_toml(text, DESIGN_FILE)
    except FileError:
        return []  # whoever reads the text says what is wrong with it
    return [(kind, _last(name)) for _, kind, name in named_files(tree, Design)]


def _last(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).name


def _set_error(need: Message) -> SpecError:
    return SpecError("upload", "a zip", need)
