"""Putting a finished folder in the place of another, so that a kill at any moment loses nothing."""

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
