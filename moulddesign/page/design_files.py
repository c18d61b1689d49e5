"""The files of a design: which fields name some, and the zip that holds a set with its design."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from moulddesign.core import Message, SpecError, say
from moulddesign.design import (
    Design,
    FileKind,
    last_part,
    named_files,
    parse_bundle,
    rename_files,
    without_files,
)
from moulddesign.page.draft import Tree
from moulddesign.page.uploads import UPLOAD_KINDS, UploadStore, detected_ending


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
    """Return plain values without files that are not here, and a note that asks for those files."""
    made, gone = without_files(
        tree, model, lambda _, name: name not in known and uploads.path(name) is None
    )
    return made, say("page.drawings-gone", names=", ".join(gone)) if gone else None


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


def with_upload_names(
    tree: Tree, names: Mapping[str, str], model: type[BaseModel] = Design
) -> Tree:
    """Return a design's plain values, right or wrong, with its files named as uploaded.

    Examples
    --------
    >>> drawn = {"pastry": {"outline": "drawn/heart.svg"}}
    >>> with_upload_names(drawn, {"heart.svg": "own-1.svg"})
    {'pastry': {'outline': 'own-1.svg'}}
    """
    return rename_files(tree, model, lambda _, name: names.get(last_part(name), name))


def read_set(raw: bytes, uploads: UploadStore) -> tuple[str, dict[str, str], str]:
    """Return the text of the design file in a zip, and which uploads its drawings became.

    The second value gives an upload's name for the last part of each file's name, the third the
    text of `set.toml`, empty where there is none.

    Raises
    ------
    SpecError
        It is no zip, holds no design file, or a file in it is too large or of another kind.
    """
    bundle = parse_bundle(raw)
    names = {
        name: uploads.keep(content, detected_ending(content, UPLOAD_KINDS[kind.value].endings))
        for name, (kind, content) in bundle.files.items()
    }
    return bundle.text, names, bundle.set_text
