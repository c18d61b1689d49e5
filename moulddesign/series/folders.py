"""Where a series' folders are made, and how each comes to its place: whole, or not at all."""

import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from moulddesign.errors import WriteError
from moulddesign.export import refuse_to_replace
from moulddesign.export.place import beside, in_use, put, recover
from moulddesign.series.order import Order, Outcome, not_made

SCRATCH: Final = "series"
"""Stands for the whole series where a folder beside its folders is named."""


def refuse_taken(orders: Iterable[Order]) -> None:
    """Raise `WriteError` where a folder that an order shall have holds other things."""
    for order in orders:
        refuse_to_replace(order.target)


def put_in_place(made: Outcome, piece: Path, order: Order) -> Outcome:
    """Put a finished folder in its place.

    Parameters
    ----------
    made : Outcome
        What became of the order so far.
    piece : Path
        The finished folder, where one was written.
    order : Order
        Says where it shall be.

    Returns
    -------
    Outcome
        The same, or that it could not be put there.
    """
    if not made.written:
        return made
    try:
        refuse_to_replace(order.target)
        put(piece, order.target)
    except WriteError as error:
        return not_made(order, error, made.seconds)
    except OSError as error:
        said = WriteError(str(order.target), f"cannot be written ({error.strerror})")
        return not_made(order, said, made.seconds)
    return made


@contextmanager
def scratch_in(folder: Path) -> Iterator[Path]:
    """Give a hidden folder inside a folder, in the same file system; it goes in any case.

    Parameters
    ----------
    folder : Path
        Made new where it is not there; it goes too where nothing was put into it.

    Raises
    ------
    WriteError
        The folder cannot be written.
    """
    is_new = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        recover(folder / SCRATCH)
        made = beside(folder / SCRATCH)
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error)
        raise WriteError(str(folder), f"cannot be written ({said})") from error
    try:
        with in_use(made):
            yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)
        if is_new:
            with suppress(OSError):  # something was put there: it stays
                folder.rmdir()
