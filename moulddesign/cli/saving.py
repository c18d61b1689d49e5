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
    """Write a text file, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    text : str
        What, written as UTF-8.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    FileError
        The file is there and may not be replaced.
    WriteError
        It cannot be written.
    """
    if path.exists() and not overwrite:
        raise FileError(str(path), "is there already; choose another name or add --overwrite")
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise WriteError(str(path), f"cannot be written ({error.strerror})") from error
