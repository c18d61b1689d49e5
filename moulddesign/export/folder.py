"""A build's folder.

Written beside, checked, then put in place, so that a kill at any moment loses nothing.
"""

import ctypes
import errno
import hashlib
import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from itertools import chain
from pathlib import Path
from tempfile import mkdtemp
from time import perf_counter
from types import MappingProxyType
from typing import Final, Protocol, TypeVar

from moulddesign.building import Build
from moulddesign.core import Finding, FindingError, WriteError
from moulddesign.design import collect_drawings
from moulddesign.export.contents import Contents, file_names, scenes
from moulddesign.export.formats import stl_bytes
from moulddesign.export.glyphs import name_findings
from moulddesign.export.options import EVERYTHING, Format, Wanted
from moulddesign.export.pictures import Artist
from moulddesign.verify.soundness import written_findings

AT_FDCWD: Final = -100
RENAME_EXCHANGE: Final = 2
"""Linux, renameat2(2): both names change places in one step."""

OLD: Final = ".old"
"""Ending of a folder that waits for its successor, where names cannot change places."""

YOUNG_S: Final = 60.0
"""A staging folder younger than this may belong to a run that has only just begun [s]."""


def beside(folder: Path) -> Path:
    """Return a new empty folder beside a target, in the same file system.

    Raises
    ------
    OSError
        The parent cannot be written.
    """
    made = Path(mkdtemp(prefix=_prefix(folder), dir=folder.parent))
    made.chmod(0o755)
    return made


def put(new: Path, folder: Path) -> None:
    """Give a folder the target's name; what had it is removed only after that.

    Raises
    ------
    OSError
        The file system refuses; the target is as it was.
    """
    if not folder.exists():
        new.rename(folder)
    elif exchanged(new, folder):
        shutil.rmtree(new, ignore_errors=True)
    else:
        _renamed_in_turn(new, folder)


def exchanged(new: Path, folder: Path) -> bool:
    """Exchange two names in one step; say whether the system can.

    Raises
    ------
    OSError
        It can, and refuses.
    """
    if not sys.platform.startswith("linux"):
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    if rename(AT_FDCWD, os.fsencode(new), AT_FDCWD, os.fsencode(folder), RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in {errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP}:
        return False
    raise OSError(code, os.strerror(code))


def recover(folder: Path) -> None:
    """Bring back the previous folder where a run was killed between two renames; tidy the rest.

    Parameters
    ----------
    folder : Path
        The target.

    Raises
    ------
    OSError
        The file system refuses.
    """
    for left in sorted(folder.parent.glob(f"{_prefix(folder)}*{OLD}")):
        if folder.exists():
            shutil.rmtree(left, ignore_errors=True)
        else:
            left.rename(folder)
    for left in sorted(folder.parent.glob(f"{_prefix(folder)}*")):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > YOUNG_S and not _in_use(left):
                shutil.rmtree(left, ignore_errors=True)


@contextmanager
def in_use(folder: Path) -> Iterator[None]:
    """Mark a folder as ours for a while; the mark goes with the process, however it ends."""
    if sys.platform == "win32":  # pragma: no cover (a folder cannot be locked there)
        yield
        return
    import fcntl  # noqa: PLC0415 (not there on every system)

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def _in_use(folder: Path) -> bool:
    try:
        with in_use(folder):
            return False
    except OSError:
        return True


def _renamed_in_turn(new: Path, folder: Path) -> None:
    """Rename the old folder aside, then the new one; `recover` mends a kill between the two."""
    old = Path(f"{new}{OLD}")
    folder.rename(old)
    try:
        new.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _prefix(folder: Path) -> str:
    """Return how the names of a target's staging folders begin: short, whatever its own name."""
    return f".moulddesign-{hashlib.sha256(os.fsencode(folder.name)).hexdigest()[:12]}-"


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
    made: Build, folder: str | Path, wanted: Wanted = EVERYTHING, *, saying: Saying = _silently
) -> Build:
    """Write a build's files into a folder, whole or not at all, if nothing failed.

    Parameters
    ----------
    made : Build
        What is written.
    folder : str or Path
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
    return put_whole(made, Path(folder), partial(_written, wanted=wanted, saying=saying))


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
    design, drawings = collect_drawings(made.design)
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
