"""The register of one's own moulds, which the command line reads too; sets that were printed."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from moulddesign.core import FileError, SpecError, parse_toml, say
from moulddesign.design import (
    DESIGN_FILE,
    SET_FILE,
    Design,
    FileKind,
    RegisteredMould,
    SetFile,
    Table,
    design_file,
    find_mould,
    is_file,
    read_register,
    read_set_file,
    rename_files,
    save_register,
    with_registered,
)
from moulddesign.page.design_files import refuse_unknown_files, with_upload_names
from moulddesign.page.design_form import known_names
from moulddesign.page.draft import Tree
from moulddesign.page.printed_sets import OpenSet
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


def registered_set(mould_id: str, uploads: UploadStore) -> OpenSet:
    """Return the set of a mould of the register.

    Raises
    ------
    MouldError
        There is no such mould, or its files cannot be read.
    """
    folder = design_file(find_mould(read_register(), mould_id)).parent
    found = as_uploads(read_set_file(folder).plain(), SetFile, uploads)
    return OpenSet(
        found=SetFile.of(found), own=design_of(mould_id, uploads), folder=str(folder.resolve())
    )


def has_set(mould: Mapping[str, Any]) -> bool:
    """Return whether a mould of the register has the file of a set beside its design."""
    place = Path(mould.get("design", ""))
    folder = place if place.is_dir() else place.parent
    return "design" in mould and (folder / SET_FILE).is_file()


def uploaded_set(kept: str, text: str, names: Mapping[str, str], uploads: UploadStore) -> OpenSet:
    """Return the set of an uploaded `set.toml`, and of the design file that came with it, if any.

    Raises
    ------
    MouldError
        One of them cannot be read, or names files that did not come with them.
    """

    def tree_of(content: str, name: str, model: type[Table]) -> Tree:
        tree = with_upload_names(parse_toml(content.removeprefix("\ufeff"), name), names, model)
        refuse_unknown_files(tree, model, known=known_names(), uploads=uploads)
        return tree

    found = SetFile.of(tree_of(kept, SET_FILE, SetFile))
    own = None
    if text and found.press is not None:
        own = Design.of_file(tree_of(text, DESIGN_FILE, Design))[0]
    return OpenSet(found=found, own=own)


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
