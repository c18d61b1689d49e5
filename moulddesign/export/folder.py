"""A build's folder: written beside, checked, then put in place."""

import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from itertools import chain
from pathlib import Path
from time import perf_counter
from types import MappingProxyType
from typing import Final, Protocol, TypeVar

from moulddesign.building import Build
from moulddesign.check.written import written_findings
from moulddesign.design.carried import carried
from moulddesign.errors import FindingError, WriteError
from moulddesign.export.contents import Contents, file_names, scenes
from moulddesign.export.glyphs import name_findings
from moulddesign.export.picture import Artist
from moulddesign.export.place import beside, in_use, put, recover
from moulddesign.export.stl import stl_bytes
from moulddesign.export.wanted import EVERYTHING, Format, Wanted
from moulddesign.finding import Finding

REPORT: Final = "report.json"
DESIGN: Final = "design.toml"
ALWAYS_OURS: Final = frozenset({REPORT, DESIGN, "set.3mf", "parts.png"})
"""What builds and coupons write whether or not their report lists it."""

LITTER: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""What systems put into a folder that somebody looks at; nobody misses it."""

Saying = Callable[[str], None]


class Judged(Protocol):
    """Something that knows which of its findings failed."""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the findings that failed."""


J = TypeVar("J", bound=Judged)


def _silently(_: str) -> None:
    """Say nothing."""


def publish(
    made: Build, folder: Path, wanted: Wanted = EVERYTHING, *, saying: Saying = _silently
) -> Build:
    """Write a build's files into a folder, whole or not at all, if nothing failed.

    Parameters
    ----------
    made : Build
        What is written.
    folder : Path
        Made new, or put in the place of the one that is there.
    wanted : Wanted
        Formats and paper.
    saying : callable
        Called with the name of each file before it is made.

    Returns
    -------
    Build
        With what was found when the files were read back, and their names.

    Raises
    ------
    WriteError
        It cannot be written; the old folder is untouched.
    FindingError
        A finding failed; the old folder is untouched.
    KernelError
        A library could not make a file; the old folder is untouched.
    """
    return put_whole(made, folder, partial(_written, wanted=wanted, saying=saying))


def publish_failing(
    made: Build, folder: Path, wanted: Wanted = EVERYTHING, *, saying: Saying = _silently
) -> Build:
    """Write a build's files as `publish` does, in spite of findings that failed."""
    with staged(folder) as inside:
        return _written(made, inside, wanted=wanted, saying=saying)


def put_whole(made: J, folder: Path, write: Callable[[J, Path], J]) -> J:
    """Write something judged into a folder, if nothing failed before or while it was written.

    Parameters
    ----------
    made : Judged
        What is written.
    folder : Path
        Made new, or put in the place of the one that is there.
    write : callable
        Writes into the folder given, and returns `made` with what it found.

    Raises
    ------
    WriteError
        It cannot be written; the old folder is untouched.
    FindingError
        A finding failed; the old folder is untouched.
    """
    _refuse_failed(made)
    with staged(folder) as inside:
        made = write(made, inside)
        _refuse_failed(made)
    return made


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """Give a new folder beside the target; when all went well it takes the target's place.

    Parameters
    ----------
    folder : Path
        The target. Only what a build wrote, as its report lists it, or nothing is replaced.

    Raises
    ------
    WriteError
        Something else is there, or the disk refuses; what was there stays.
    """
    try:
        target = Path(os.path.realpath(folder))
        target.parent.mkdir(parents=True, exist_ok=True)
        recover(target)
        refuse_to_replace(folder)
        new = beside(target)
    except (OSError, ValueError) as error:
        raise WriteError(str(folder), f"cannot be made ({_said(error)})") from error
    try:
        with in_use(new):
            yield new
            put(new, target)
    except OSError as error:
        raise WriteError(str(folder), f"cannot be written ({_said(error)})") from error
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _said(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def _refuse_failed(made: Judged) -> None:
    if made.failed:
        raise FindingError(made.failed)


def refuse_to_replace(folder: Path) -> None:
    """Raise `WriteError` where something is there that no build wrote, for it would be lost."""
    try:
        # `new/../..` exists only once it is resolved, and is what would be replaced.
        target = Path(os.path.realpath(folder))
        there, whole = target.exists(), target.is_dir()
        held = {path.name for path in target.iterdir()} - LITTER if whole else set()
        ours = _listed(target / REPORT) if REPORT in held else None
    except (OSError, ValueError) as error:
        raise WriteError(str(folder), f"cannot be made ({_said(error)})") from error
    if there and not whole:
        raise WriteError(str(folder), "is a file; name another folder with --out")
    if held and ours is None:
        why = f"its {REPORT} is of no build" if REPORT in held else f"no {REPORT}"
        raise WriteError(str(folder), f"holds other things ({why}); name another folder with --out")
    if strange := sorted(held - (ours or set())):
        raise WriteError(
            str(folder),
            f"holds {strange[0]!r}, which its {REPORT} does not list and which would be lost; "
            "move it elsewhere, or name another folder with --out",
        )


def _listed(path: Path) -> set[str] | None:
    """Return the files that a report says were written with it; None where it is none of ours.

    Raises
    ------
    OSError
        It cannot be read.
    """
    try:
        report = json.loads(path.read_text("utf-8"))
        version = report["moulddesign"]
        parts = chain.from_iterable(part.get("files", ()) for part in report.get("parts", ()))
        return {*ALWAYS_OURS, *report.get("files", ()), *parts} if version else None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None  # somebody else's, of whatever form


def _written(made: Build, folder: Path, *, wanted: Wanted, saying: Saying) -> Build:
    """Write every file; pictures are drawn by another process meanwhile."""
    stls = [f"{name}.stl" for name in made.meshes]
    design, drawings = carried(made.design)
    for name, path in drawings.items():
        shutil.copyfile(path, folder / name)
    first, last = (*stls, *file_names(made, wanted)), (*drawings, REPORT, DESIGN)
    found = (*made.findings, *_lettering_findings(made, wanted))
    made = replace(made, design=design, findings=found, written=(*first, *last))
    with Artist(scenes(made, wanted)) as artist:
        for name, mesh in made.meshes.items():
            path = folder / f"{name}.stl"
            saying(path.name)
            made = _timed(made, path, partial(stl_bytes, mesh))
            made = replace(made, findings=made.findings + written_findings(path, mesh))
        for name, make in Contents(made, wanted, artist).files():
            saying(name)
            made = _timed(made, folder / name, make)
            if name not in made.written:
                first = (*first, name)
                made = replace(made, written=(*first, *last))
    (folder / DESIGN).write_text(made.design.toml(), encoding="utf-8", newline="\n")
    report = json.dumps(made.report(), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_text(report + "\n", encoding="utf-8", newline="\n")
    return made


def _lettering_findings(made: Build, wanted: Wanted) -> tuple[Finding, ...]:
    """Return what the files that are lettered cannot print."""
    lettered = {Format.CARD, Format.DRAWING}.intersection(wanted.formats)
    return name_findings(made) if lettered else ()


def _timed(made: Build, path: Path, make: Callable[[], bytes]) -> Build:
    """Write one file, and note how long it took."""
    start = perf_counter()
    path.write_bytes(make())
    seconds = dict(made.seconds) | {path.name: perf_counter() - start}
    return replace(made, seconds=MappingProxyType(seconds))
