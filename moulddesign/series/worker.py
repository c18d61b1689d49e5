"""The process that carries out orders: it takes one after another from a pipe."""

import signal
import sys
import tempfile
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from time import perf_counter
from typing import Final

from moulddesign.building import build
from moulddesign.errors import FindingError, KernelError, MouldError, WriteError
from moulddesign.export import publish, publish_failing
from moulddesign.finding import Verdict
from moulddesign.series.order import Order, Outcome, State, not_made

PIECE: Final = "piece"
"""Folder in a process's own one for the piece that it has finished."""


def work(pipe: Connection, scratch: str) -> None:
    """Carry out orders until the pipe is closed.

    Parameters
    ----------
    pipe : Connection
        Gives orders; takes an `Outcome` for each.
    scratch : str
        Folder for whatever is half-made, and for each finished piece until it is fetched from
        there: who started this process clears it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the parent, which ends this
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # so that pictures in the making end too
    tempfile.tempdir = scratch
    while True:
        try:
            pipe.send(carried_out(pipe.recv(), Path(scratch) / PIECE))
        except (EOFError, OSError):
            return


def carried_out(order: Order, folder: Path) -> Outcome:
    """Build and write one piece; whatever goes wrong is said of this piece alone.

    Parameters
    ----------
    order : Order
        What is asked for.
    folder : Path
        Where its files go for now.
    """
    start = perf_counter()
    try:
        made = _written(order, folder)
    except WriteError as error:
        made = not_made(order, WriteError(str(order.target), error.reason))
    except MouldError as error:
        made = not_made(order, error)
    except Exception as error:  # noqa: BLE001 (the edge of a process: the other pieces go on)
        what = KernelError(order.design.name, f"{type(error).__name__}: {error}; please report it")
        made = not_made(order, what)
    return replace(made, seconds=perf_counter() - start)


def _written(order: Order, folder: Path) -> Outcome:
    made = build(order.design)
    write = publish_failing if order.keep_failing else publish
    said = ""
    try:
        made = write(made, folder, order.wanted)
    except FindingError as error:
        said = str(error)
    return Outcome(
        place=order.place,
        name=order.design.name,
        state=State.FAILING if made.failed or said else State.MADE,
        written=not said,
        finished_g=made.portion.piece.finished_g,
        width_mm=made.pastry.outline.width_mm,
        height_mm=made.pastry.height_mm,
        crust_mm=made.crust_mm,
        failed=made.failed,
        warned=tuple(f.name for f in made.findings if f.verdict is Verdict.WARN),
        said=said,
    )
