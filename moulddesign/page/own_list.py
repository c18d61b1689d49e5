"""The register of one's own moulds, which the command line reads too: shown, added to, changed."""

from pathlib import Path
from typing import Any

from moulddesign.core import FileError, SpecError, say
from moulddesign.design import (
    Design,
    FileKind,
    RegisteredMould,
    Table,
    design_file,
    find_mould,
    is_file,
    read_register,
    rename_files,
    save_register,
    with_registered,
)
from moulddesign.page.texts import Texts
from moulddesign.page.uploads import UploadStore

UNNAMED = RegisteredMould.model_fields["name"].default


def listed_moulds(uploads: UploadStore) -> dict[str, dict[str, Any]]:
    """Return the plain values of the moulds in the register, by id; their files become uploads.

    Raises
    ------
    MouldError
        The register or a file that it names cannot be read.
    """
    return {
        str(mould.id): as_uploads(mould.plain(), RegisteredMould, uploads)
        for mould in read_register()
    }


def as_uploads(tree: dict[str, Any], model: type[Table], uploads: UploadStore) -> dict[str, Any]:
    """Return plain values whose files are uploads; FileError where one is not there."""

    def uploaded(kind: FileKind, name: str) -> str:
        path = Path(name)
        if not is_file(kind, name):
            return name
        try:
            return uploads.keep(path.read_bytes(), path.suffix[1:].lower().replace("jpeg", "jpg"))
        except OSError as error:
            reason = say("core.file-unreadable", cause=error.strerror)
            raise FileError(name, reason) from error

    return rename_files(tree, model, uploaded)


def keep_mould(mould: RegisteredMould) -> None:
    """Put a mould into the register, in place of the one of its id, or of its name.

    Raises
    ------
    MouldError
        It has no name of its own, or the register cannot be read or written.
    """
    if mould.name == UNNAMED:
        raise SpecError("name", mould.name, say("page.name-for-list"))
    save_register(with_registered(read_register(), mould))


def forget_mould(mould_id: str) -> None:
    """Take a mould out of the register.

    Raises
    ------
    MouldError
        The register cannot be read or written.
    """
    save_register(mould for mould in read_register() if mould.id != mould_id)


def design_of(mould_id: str, uploads: UploadStore) -> Design:
    """Return the design that a mould was made from; its files become uploads.

    Raises
    ------
    MouldError
        There is no such mould or design, or a file cannot be read.
    """
    mould = find_mould(read_register(), mould_id)
    design = Design.read(design_file(mould))
    return Design.of(as_uploads(design.plain(), Design, uploads))


def shown_facts(words: Texts, mould: dict[str, Any]) -> str:
    """Return what its owner wrote down of a mould, in a line."""
    said = [words.word(mould["kind"]), words.word(mould.get("state", "in-use"))]
    said += [mould["material"]] if "material" in mould else []
    said += [words["pieces_pressed"].format(count=mould.get("pressed", 0))]
    said += [
        words[f"mould_{key}"].format(day=mould[key])
        for key in ("printed_on", "washed_on", "inspected_on")
        if key in mould
    ]
    said += [mould["marks"]] if "marks" in mould else []
    return ", ".join(said)
