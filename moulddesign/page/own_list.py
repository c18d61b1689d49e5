"""The list of one's own moulds, which the command line reads too: shown, added to, taken from."""

from pathlib import Path
from typing import Any

from moulddesign.core import SpecError, say
from moulddesign.design import (
    FileKind,
    OwnedMould,
    is_file,
    read_own_moulds,
    rename_files,
    save_own_moulds,
)
from moulddesign.page.uploads import UploadStore

UNNAMED = OwnedMould.model_fields["name"].default


def listed_moulds(uploads: UploadStore) -> dict[str, dict[str, Any]]:
    """Return the plain values of the moulds in the list, by name; their files become uploads.

    Raises
    ------
    MouldError
        The list or a file that it names cannot be read.
    """

    def uploaded(kind: FileKind, name: str) -> str:
        if not is_file(kind, name):
            return name
        path = Path(name)
        return uploads.keep(path.read_bytes(), path.suffix[1:].lower())

    return {
        mould.name: rename_files(
            mould.model_dump(mode="json", exclude_defaults=True), OwnedMould, uploaded
        )
        | {"name": mould.name}
        for mould in read_own_moulds()
    }


def keep_mould(mould: OwnedMould) -> None:
    """Put a mould into the list, in place of one of the same name.

    Raises
    ------
    MouldError
        It has no name of its own, or the list cannot be read or written.
    """
    if mould.name == UNNAMED:
        raise SpecError("name", mould.name, say("page.name-for-list"))
    save_own_moulds([*(m for m in read_own_moulds() if m.name != mould.name), mould])


def forget_mould(name: str) -> None:
    """Take a mould out of the list.

    Raises
    ------
    MouldError
        The list cannot be read or written.
    """
    save_own_moulds(m for m in read_own_moulds() if m.name != name)
