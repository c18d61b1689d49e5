"""Processes on this machine that carry out orders side by side."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Final

from moulddesign.errors import KernelError
from moulddesign.series.folders import put_in_place, refuse_taken, scratch_in
from moulddesign.series.order import Order, Outcome, not_made
from moulddesign.series.worker import PIECE, work

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
