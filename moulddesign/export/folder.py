"""A folder that appears whole or not at all: written beside its place, then renamed.

What is written lies in a staging folder `.moulddesign-HASH-RANDOM` beside the target, so in the
same file system, and takes the target's name when it is complete:

- Linux exchanges both names in one step; the old folder is removed after that.
- Elsewhere the old folder is renamed to `.moulddesign-HASH-RANDOM.old` first. A run that is killed
  between the two renames leaves no target, and the next run gives the old folder its name back.

A run that is killed at any other moment leaves a staging folder, which the next run removes. It
tells such leftovers from the folder of a run at work by a lock that ends with its process.
"""

import ctypes
import errno
import hashlib
import os
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import mkdtemp
from typing import Final

from moulddesign.core import WriteError, say
from moulddesign.export.held_moulds import check_replaceable, reason_of

OLD_SUFFIX: Final = ".old"
"""Ends the name of the old folder between two renames, where names cannot be exchanged."""

LEFTOVER_AGE_S: Final = 60.0
"""A younger staging folder may belong to a run that has not locked it yet [s]."""


@contextmanager
def atomic_folder(folder: Path) -> Iterator[Path]:
    """Give a staging folder to write into; without an exception it replaces the target.

    What a build wrote there is replaced, nothing else. After an exception the target is as it was.
    """
    try:
        target = Path(os.path.realpath(folder))
        target.parent.mkdir(parents=True, exist_ok=True)
        recover(target)
        check_replaceable(folder)
        staging = staging_folder(target)
    except (OSError, ValueError) as error:
        raise WriteError(
            str(folder), say("export.folder-not-made", reason=reason_of(error))
        ) from error
    try:
        with locked(staging):
            yield staging
            replace_folder(staging, target)
    except OSError as error:
        raise WriteError(
            str(folder), say("export.folder-not-written", reason=reason_of(error))
        ) from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def staging_folder(target: Path) -> Path:
    """Return a new empty folder beside a target, in the same file system.

    Raises
    ------
    OSError
        The parent cannot be written.
    """
    made = Path(mkdtemp(prefix=_staging_prefix(target), dir=target.parent))
    made.chmod(0o755)
    return made


def replace_folder(staging: Path, target: Path) -> None:
    """Give a staging folder the target's name; the old folder is removed only after that.

    Raises
    ------
    OSError
        The file system refuses; the target is as it was.
    """
    if not target.exists():
        staging.rename(target)
    elif exchange(staging, target):
        shutil.rmtree(staging, ignore_errors=True)
    else:
        _rename_in_turn(staging, target)


def recover(target: Path) -> None:
    """Bring back the folder that a killed run had renamed, and remove what killed runs left.

    Raises
    ------
    OSError
        The file system refuses.
    """
    for old in sorted(target.parent.glob(f"{_staging_prefix(target)}*{OLD_SUFFIX}")):
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(target)
    for staging in sorted(target.parent.glob(f"{_staging_prefix(target)}*")):
        with suppress(OSError):
            age_s = time.time() - staging.stat().st_mtime
            if age_s > LEFTOVER_AGE_S and not _is_locked(staging):
                shutil.rmtree(staging, ignore_errors=True)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Lock a folder as one that a run works in; the lock ends with the process, however it ends."""
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


def exchange(one: Path, other: Path) -> bool:
    """Exchange two names in one step; return whether the system can."""
    if not sys.platform.startswith("linux"):
        return False
    # Python has no call for renameat2(2); the two constants are those of its manual page.
    at_fdcwd, rename_exchange = -100, 2
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    if rename(at_fdcwd, os.fsencode(one), at_fdcwd, os.fsencode(other), rename_exchange) == 0:
        return True
    code = ctypes.get_errno()
    # An old kernel, or a file system that cannot.
    if code in {errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP}:
        return False
    raise OSError(code, os.strerror(code))


def _rename_in_turn(staging: Path, target: Path) -> None:
    old = Path(f"{staging}{OLD_SUFFIX}")
    target.rename(old)
    try:
        staging.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _is_locked(folder: Path) -> bool:
    try:
        with locked(folder):
            return False
    except OSError:
        return True


def _staging_prefix(target: Path) -> str:
    """Return how the names of a target's staging folders begin: short, however long its own."""
    return f".moulddesign-{hashlib.sha256(os.fsencode(target.name)).hexdigest()[:12]}-"
