"""Writing a file that a person named: whole or not at all, and never over another by surprise."""

import os
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
        The file is there and may not be replaced.
    WriteError
        It cannot be written.
    """
    refuse_to_replace(path, overwrite=overwrite)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise WriteError(str(path), f"cannot be written ({error.strerror})") from error


def refuse_to_replace(path: Path, *, overwrite: bool) -> None:
    """Refuse a file that is there and may not be replaced, before work is spent on it.

    Raises
    ------
    FileError
        It is there.
    """
    if path.exists() and not overwrite:
        raise FileError(str(path), "is there already; choose another name or add --overwrite")
