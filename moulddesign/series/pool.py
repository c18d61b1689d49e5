"""Orders for many designs, and the processes on this machine that carry them out side by side."""

import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from pathlib import Path
from time import perf_counter
from typing import Any, Final

from moulddesign.building import build
from moulddesign.core import FindingError, KernelError, MouldError, Verdict, WriteError
from moulddesign.design import Design
from moulddesign.export import (
    Wanted,
    beside,
    in_use,
    publish,
    publish_failing,
    put,
    recover,
    refuse_to_replace,
)


class State(StrEnum):
    """What became of a piece."""

    MADE = "made"
    FAILING = "failing"
    NOT_MADE = "not made"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One piece to build and to write.

    Parameters
    ----------
    place : str
        How its table calls it: "row 2".
    design : Design
        What is asked for.
    target : Path
        Folder that it shall have.
    wanted : Wanted
        Formats and paper.
    keep_failing : bool
        Whether it is published in spite of findings that failed.
    """

    place: str
    design: Design
    target: Path
    wanted: Wanted
    keep_failing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of an order.

    Parameters
    ----------
    place, name : str
        Which piece.
    state : State
        `made`, `failing` where a finding failed, or `not made`.
    written : bool
        Whether its folder was put in place.
    finished_g : float or None
        Weight of the piece when it is eaten, where it came so far [g].
    width_mm, height_mm, crust_mm : float or None
        Of the piece, where it came so far [mm].
    failed, warned : tuple of str
        Names of findings.
    seconds : float
        How long it took [s].
    said : str
        Why there is no folder, as a sentence; empty where there is one.
    """

    place: str
    name: str
    state: State
    written: bool = False
    finished_g: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    crust_mm: float | None = None
    failed: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    seconds: float = 0.0
    said: str = ""

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self) | {"state": self.state.value}


def not_made(order: Order, error: MouldError, seconds: float = 0.0) -> Outcome:
    """Return what became of an order that could not be carried out.

    Parameters
    ----------
    order : Order
        What was asked for.
    error : MouldError
        Why not.
    seconds : float
        How long it took [s].
    """
    return Outcome(
        place=order.place,
        name=order.design.name,
        state=State.NOT_MADE,
        seconds=seconds,
        said=str(error),
    )


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


GRACE_S: Final = 1.0
"""How long a process may take to end by itself [s]."""


def crew_size(asked: int | None, orders: int) -> int:
    """Return how many processes to start.

    Parameters
    ----------
    asked : int or None
        What was asked for; as many as there are processors for us where it is None.
    orders : int
        How many orders there are: no process is started for nothing.

    Examples
    --------
    >>> crew_size(8, 3)
    3
    """
    if asked is not None:
        return min(asked, orders)
    free = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(free or 1, orders)


def run_all(orders: Sequence[Order], folder: Path, jobs: int) -> Iterator[tuple[int, Outcome]]:
    """Carry out orders side by side; yield what became of each as soon as it is known.

    Parameters
    ----------
    orders : sequence of Order
        Their targets lie in one folder.
    folder : Path
        That folder. What is half-made lies in a hidden one inside it, which goes in any case.
    jobs : int
        How many processes.

    Yields
    ------
    tuple of int and Outcome
        Place of the order in the sequence, and what became of it.

    Raises
    ------
    WriteError
        The folder cannot be written, or a target is something other than a build. Nothing is
        begun then.
    """
    refuse_taken(orders)
    with scratch_in(folder) as scratch:
        crew: list[_Hand] = []
        try:
            crew += [_Hand.hired(scratch / str(number)) for number in range(jobs)]
            yield from _shared_out(orders, crew)
        finally:
            for hand in crew:
                hand.process.terminate()
            for hand in crew:
                hand.end()


@dataclass(slots=True)
class _Hand:
    """One of the crew: a process, our end of its pipe, and the order that it has in hand."""

    scratch: Path
    process: SpawnProcess
    pipe: Connection
    order: int | None = None

    @classmethod
    def hired(cls, scratch: Path) -> "_Hand":
        scratch.mkdir()
        return cls(scratch, *_started(scratch))

    def take(self, number: int, order: Order) -> None:
        self.order = number
        with suppress(OSError):  # it may be gone; its pipe then says so when it is read
            self.pipe.send(order)

    def outcome(self, order: Order) -> Outcome:
        """Return what became of the order in hand, its folder put in place."""
        self.order = None
        try:
            made: Outcome = self.pipe.recv()
        except (EOFError, OSError):
            self.process.join()
            reason = f"its process ended (code {self.process.exitcode}); change the design"
            self.process, self.pipe = _started(self.scratch)
            return not_made(order, KernelError(order.design.name, reason))
        return put_in_place(made, self.scratch / PIECE, order)

    def end(self) -> None:
        self.process.join(GRACE_S)
        self.process.kill()
        self.process.join()
        self.pipe.close()


def _started(scratch: Path) -> tuple[SpawnProcess, Connection]:
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=work, args=(theirs, str(scratch)), daemon=True)
    with _deaf():
        process.start()
    theirs.close()
    return process, ours


@contextmanager
def _deaf() -> Iterator[None]:
    """Let a process that starts here be deaf to Ctrl-C from its first moment: it is for us.

    Signals that are blocked stay so in a process that starts meanwhile, and reach us afterwards.
    """
    if not hasattr(signal, "pthread_sigmask"):  # pragma: no cover (not there on every system)
        yield
        return
    resource_tracker.ensure_running()  # it would unblock them when it starts by itself
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        with _answered_later():
            yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _answered_later() -> Iterator[None]:
    """Keep Ctrl-C until a process has all that it needs: other threads, a bar's, receive it too."""
    if threading.current_thread() is not threading.main_thread():  # only that one answers
        yield
        return
    heard: list[int] = []
    answer = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, answer)
        if heard:
            signal.raise_signal(signal.SIGINT)


def _shared_out(orders: Sequence[Order], crew: Sequence[_Hand]) -> Iterator[tuple[int, Outcome]]:
    """Give each free hand the next order until all are carried out."""
    left = list(enumerate(orders))[::-1]
    for hand in crew:
        hand.take(*left.pop())
    while busy := [hand for hand in crew if hand.order is not None]:
        ready = wait([hand.pipe for hand in busy])
        for hand in [hand for hand in busy if hand.pipe in ready]:
            number = hand.order
            assert number is not None  # noqa: S101 (it is busy)
            made = hand.outcome(orders[number])
            if left:
                hand.take(*left.pop())
            yield number, made
