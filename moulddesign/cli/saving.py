"""Writing a file that a person named: whole or not at all, and never over another by surprise."""

import os
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from moulddesign.errors import FileError, WriteError

Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Write over a file that is there already.")
]


def save_text(path: Path, text: str, *, overwrite: bool) -> None:
    """Write a text file as UTF-8, whole or not at all; see `save_bytes`."""
    save_bytes(path, text.encode(), overwrite=overwrite)


def save_bytes(path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    content : bytes
        What.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    FileError
        The file is there and may not be replaced, or is no file.
    WriteError
        It cannot be written.
    """
    refuse_to_replace(path, overwrite=overwrite)
    # A link stays a link: what it leads to is what was named.
    target = Path(os.path.realpath(path))
    beside = target.with_name(f".moulddesign-{os.getpid()}")
    try:
        beside.write_bytes(content)
        beside.replace(target)
    except OSError as error:
        raise WriteError(str(path), f"cannot be written ({error.strerror})") from error
    finally:  # Ctrl-C as well
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def refuse_to_replace(path: Path, *, overwrite: bool) -> None:
    """Refuse a file that is there and may not be replaced, before work is spent on it.

    Raises
    ------
    FileError
        It is there, or is no file.
    WriteError
        No file can have this name.
    """
    try:
        there, is_file = path.exists(), path.is_file()
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else error
        raise WriteError(str(path), f"cannot be written ({said})") from error
    if there and not is_file:
        raise FileError(str(path), "is a folder or a device; name a file")
    if there and not overwrite:
        raise FileError(str(path), "is there already; choose another name or add --overwrite")
