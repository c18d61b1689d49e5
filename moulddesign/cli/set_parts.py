"""Parts for a set that is there: its design, which parts are written, and what is refused."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from moulddesign.core import SpecError, say
from moulddesign.design import DESIGN_FILE, Design, Kind, read_set_file

SAME_NAME: Final = frozenset({"name", "kept.lower_stop_mm"})
"""Options beside which a design of the set keeps its name."""


def started(
    file: Path | None,
    given: dict[str, Any],
    read: Callable[[Path], Design],
    bare: Callable[[], Design],
) -> Design:
    """Return the design that options change: a file's, that of parts for a set, or a plain one.

    Parameters
    ----------
    file : Path or None
        Design file that was named.
    given : dict of str to object
        What options ask for; what says of the set is taken from it.
    read : callable
        Reads a design file.
    bare : callable
        Gives the design where nothing is asked for.

    Raises
    ------
    SpecError
        What is asked for contradicts the set.
    FileError
        A file cannot be read.
    """
    if "kept.set" in given:
        return _for_set(None if file is None else read(file), given, read)
    if (lower_mm := given.get("kept.lower_stop_mm")) is not None:
        raise SpecError("--lower-stop", lower_mm, say("cli.only-for-a-set"))
    return read(file) if file is not None else Design() if given else bare()


def _for_set(named: Design | None, given: dict[str, Any], read: Callable[[Path], Design]) -> Design:
    """Return the named design, or the set's own, renamed where something changes, for a set."""
    found, path = read_set_file(given["kept.set"]), Path(given.pop("kept.set"))
    lower_mm = given.pop("kept.lower_stop_mm", 0.0)
    beside = (path if path.is_dir() else path.parent) / DESIGN_FILE
    if named is None and found.press is not None and beside.is_file():
        changed = bool(given.keys() - SAME_NAME)
        return read(beside).more_for_set(found, is_changed=changed, lower_stop_mm=lower_mm)
    return (named or Design()).for_set(found, lower_stop_mm=lower_mm)


def refuse_the_set(named: str | None, target: Path) -> None:
    """Refuse to write parts for a set where it lies: nothing new is asked for then."""
    if named is not None and Path(named).resolve() == target.resolve():
        raise SpecError("--for", named, say("cli.nothing-new"))


def parts_to_write(design: Design, asked: list[str] | None, formats: str) -> tuple[str, ...]:
    """Return the parts whose files are written; none for all of them."""
    if asked and formats not in {"all", "stl"}:
        raise SpecError("--formats", formats, say("cli.parts-are-meshes"))
    if design.mould.kind is not Kind.PRESS:
        if asked:
            raise SpecError("--only", asked[0], say("cli.only-of-a-press"))
        return ()
    further = [each.name for each in design.further_stamps]
    new = ("stamp", *(f"stamp-{name}" for name in further), "plunger", "stop", "shim")
    for name in asked or ():
        if name not in (*new, "sleeve"):
            raise SpecError("--only", name, say("design.one-of", choices=(*new, "sleeve")))
    if asked:
        return tuple(asked)
    if design.kept is not None and design.kept.press is None:  # the sleeve is there
        return (*new, "pastry", *(f"pastry-{name}" for name in further))
    return ()
