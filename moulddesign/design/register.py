"""The register: the moulds that one has, printed or bought, in one file beside the workshop.

A design never depends on it: what is used of a mould is written into the design.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from enum import StrEnum
from itertools import count, product
from os import PathLike
from pathlib import Path
from string import ascii_uppercase
from typing import Any, Final, Self

from pydantic import model_validator

from moulddesign.core import FileError, Message, SpecError, replace_file, say
from moulddesign.design.assets import is_file, rename_files, resolve_files
from moulddesign.design.design import DESIGN_FILE
from moulddesign.design.mould_tables import Kind, OwnTable
from moulddesign.design.owned_moulds import OwnedMould
from moulddesign.design.reading import read_tables
from moulddesign.design.schema import CHOICE, FileKind, RefusedError, Table, given
from moulddesign.design.workshop import make_folder_of, workshop_path, write_tables


class MouldState(StrEnum):
    """Whether a mould is at hand."""

    IN_USE = "in-use"
    SET_ASIDE = "set-aside"
    BROKEN = "broken"


class RegisteredMould(OwnedMould):
    """A mould in the register: what is known of it, and what its owner counted and saw."""

    kind: Kind = given(Kind.OWN, "press, block or cast if it was printed here, own if it was not")
    material: str | None = given(None, "What it is made of", min_length=1, max_length=40)
    design: str | None = given(None, "Folder of its set, or its design file", min_length=1)
    printed_on: date | None = given(None, "Day on which it was printed")
    pressed: int = given(
        0, "Pieces pressed with it, as its owner counts them", source=CHOICE, ge=0, le=100_000_000
    )
    washed_on: date | None = given(None, "Day on which it was last washed")
    inspected_on: date | None = given(None, "Day on which it was last inspected for scratches")
    state: MouldState = given(MouldState.IN_USE, "Whether it is in use, set aside or broken")

    @model_validator(mode="after")
    def _is_known(self) -> Self:
        if not self.is_measured:
            raise RefusedError(say("design.unknown-mould"))
        return self

    @property
    def of_design(self) -> dict[str, Any]:
        """What goes into the [mould] of a design that uses it, as plain values."""
        kept = {"kind": Kind.OWN.value}
        return {k: v for k, v in self.plain().items() if k in OwnTable.model_fields} | kept


class Register(Table):
    """Several moulds, in a TOML file with one table [[mould]] each."""

    mould: tuple[RegisteredMould, ...] = given((), "The moulds", max_length=200)

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        ids = [mould.id.upper() for mould in self.mould if mould.id is not None]
        twins = sorted({each for each in ids if ids.count(each) > 1})
        if twins:
            raise RefusedError(say("design.mould-id-twice", ids=tuple(twins)))
        return self

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the moulds in a TOML file; its files are sought beside it.

        Raises
        ------
        FileError
            The file cannot be read, is not TOML, or holds no mould.
        FileMistakesError
            Keys are unknown or values cannot be used.
        """
        folder = Path(path).parent
        found = read_tables(path, cls, lambda tree: cls.of(resolve_files(tree, cls, folder)))
        if not found.mould:
            raise FileError(str(path), say("design.no-moulds"))
        return found


Moulds = tuple[RegisteredMould, ...]


def register_path() -> Path:
    """Return where the register lies: beside the workshop."""
    return workshop_path().with_name("moulds.toml")


def read_register() -> Moulds:
    """Return the moulds of the register, each with an id; none where there is no register.

    Raises
    ------
    FileError
        The file cannot be read, or holds mistakes.
    """
    path = register_path()
    return with_ids(Register.read(path).mould) if path.is_file() else ()


def save_register(moulds: Iterable[RegisteredMould], path: Path | None = None) -> None:
    """Write the register, or a file of the same form, and the files that it names beside it.

    Raises
    ------
    SpecError
        Two moulds have the same id.
    WriteError
        It cannot be written.
    """
    path = register_path() if path is None else path
    given_ids = with_ids(tuple(moulds))
    kept = Register.of({"mould": [mould.plain() for mould in given_ids]}).mould
    if not kept:
        path.unlink(missing_ok=True)
        return
    make_folder_of(path)  # before copies of files go there

    def plain(mould: RegisteredMould) -> dict[str, Any]:
        def beside(kind: FileKind, name: str) -> str:
            if not is_file(kind, name):
                return name
            file = Path(name)
            if file.resolve().parent == path.resolve().parent:
                return file.name
            copy = path.with_name(f"{path.stem}-{mould.id}-{file.name}")
            replace_file(copy, file.read_bytes())
            return copy.name

        return rename_files(mould.plain(), RegisteredMould, beside)

    write_tables(path, {"mould": [plain(mould) for mould in kept]})


LETTERS: Final = ascii_uppercase.replace("I", "").replace("O", "")
"""What ids are made of: no letter that looks like a figure."""


def _free_ids(taken: Iterable[str]) -> Iterator[str]:
    """Yield ids that nobody has: A, B ... Z, AA ..."""
    upper = {each.upper() for each in taken}
    for length in count(1):
        made = map("".join, product(LETTERS, repeat=length))
        yield from (each for each in made if each not in upper)


def with_ids(moulds: Sequence[RegisteredMould]) -> Moulds:
    """Return moulds of which each has an id, in their order."""
    free = _free_ids(mould.id for mould in moulds if mould.id is not None)
    return tuple(
        mould if mould.id is not None else mould.model_copy(update={"id": next(free)})
        for mould in moulds
    )


def mould_of_id(moulds: Iterable[RegisteredMould], mould_id: str | None) -> RegisteredMould | None:
    """Return the mould of an id, in capitals or not; None without an id, or where there is none."""
    if mould_id is None:
        return None
    return next((m for m in moulds if (m.id or "").upper() == mould_id.upper()), None)


def find_mould(moulds: Sequence[RegisteredMould], named: str) -> RegisteredMould:
    """Return the mould of an id, in capitals or not, or of a name.

    Raises
    ------
    SpecError
        There is none, or several have that name.
    """
    by_id = mould_of_id(moulds, named)
    found = [m for m in moulds if m.name == named] if by_id is None else [by_id]
    if len(found) != 1:
        ids = tuple(f"{mould.id} ({mould.name})" for mould in moulds)
        need = say("design.no-such-mould", ids=ids) if ids else say("design.register-empty")
        raise SpecError("moulds", named, need)
    return found[0]


def design_file(mould: RegisteredMould) -> Path:
    """Return the design file that a mould was made from.

    Raises
    ------
    SpecError
        None is named, or it is not there any more.
    """
    path = Path(mould.design or "")
    path = path / DESIGN_FILE if path.is_dir() else path
    if mould.design is None or not path.is_file():
        need = say("design.no-design-of-mould", id=mould.id)
        raise SpecError("design", mould.design or "not given", need)
    return path


def with_registered(moulds: Sequence[RegisteredMould], mould: RegisteredMould) -> Moulds:
    """Return the moulds with one more, or with it in place of the one of its id, or of its name."""
    same = mould_of_id(moulds, mould.id)
    if mould.id is None:
        same = next((m for m in moulds if m.name == mould.name), None)
    if same is None:
        return with_ids((*moulds, mould))
    place = moulds.index(same)
    new = mould.model_copy(update={"id": same.id})
    return (*moulds[:place], new, *moulds[place + 1 :])


def with_changes(mould: RegisteredMould, values: Mapping[str, Any]) -> RegisteredMould:
    """Return a mould with other values; an empty text leaves a key out again.

    Raises
    ------
    SpecError
        A key is unknown or a value cannot be used.
    """
    changed = mould.plain() | dict(values)
    return RegisteredMould.of({key: value for key, value in changed.items() if value != ""})


def with_pressed(moulds: Sequence[RegisteredMould], pieces: Mapping[str, int]) -> Moulds:
    """Return the moulds with more pieces pressed, by their ids."""
    return tuple(
        mould.model_copy(update={"pressed": mould.pressed + pieces.get(str(mould.id), 0)})
        for mould in moulds
    )


def merged(
    moulds: Sequence[RegisteredMould], others: Sequence[RegisteredMould]
) -> tuple[Moulds, tuple[Message, ...]]:
    """Return one's own moulds with those of another register, and what was done with each.

    The same mould has the same id and name: what the other register gives counts, but of the pieces
    pressed the larger number, and of days the later one. Another mould whose id is taken gets a
    free one.
    """
    made, notes = tuple(moulds), []
    for other in others:
        taken = mould_of_id(made, other.id)
        if taken is None or taken.name != other.name:
            new = other if taken is None else other.model_copy(update={"id": None})
            made = with_ids((*made, new))
            given_id = made[-1].id
            notes.append(
                say("design.mould-added", id=given_id, name=other.name)
                if taken is None
                else say("design.mould-renamed", id=given_id, name=other.name, taken=other.id)
            )
        else:
            made = with_registered(made, _newer(taken, other))
            notes.append(say("design.mould-merged", id=other.id, name=other.name))
    return made, tuple(notes)


def _newer(mould: RegisteredMould, other: RegisteredMould) -> RegisteredMould:
    """Return one mould of what two registers say of it."""
    later = {
        day: max(each for each in (getattr(mould, day), getattr(other, day)) if each is not None)
        for day in ("printed_on", "washed_on", "inspected_on")
        if getattr(mould, day) is not None or getattr(other, day) is not None
    }
    joined = RegisteredMould.of(mould.plain() | other.plain())
    return joined.model_copy(update=later | {"pressed": max(mould.pressed, other.pressed)})
