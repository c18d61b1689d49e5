"""The processes that build, and how the page sees them: one job at a time, with a time limit."""

import asyncio
import multiprocessing
import os
import signal
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from moulddesign.core import KernelError, MouldError

if TYPE_CHECKING:
    from multiprocessing.context import SpawnProcess

Job = Callable[..., Iterator[tuple[str, Any]]]

STOP: Final = "stop"
"""Sent while a job runs: nobody waits for it any more."""


class Stopped(Exception):  # noqa: N818 (a signal, not an error)
    """The job in hand is not wanted any more."""


def work(pipe: Connection, folder: str, patience: int) -> None:
    """Do jobs until the pipe is closed.

    Parameters
    ----------
    pipe : Connection
        Gives (number, "name", arguments); takes (number, "part", name, value) as often as there is
        something to tell, then ("done",), ("stopped",), ("refused", error) or ("broken", sentence)
        behind the job's number.
    folder : str
        Where uploaded artwork lies: what relative names in a design start from.
    patience : int
        How much it gives way to other processes, as `nice` counts.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the page, which closes the pipe
    os.chdir(folder)
    os.nice(patience)
    from moulddesign.page.jobs import jobs  # noqa: PLC0415 (slow: the parent must not wait for it)

    known = jobs()
    while True:
        try:
            number, name, arguments = pipe.recv()
            if name != STOP:
                pipe.send((number, *_answered(pipe, known[name], number, arguments=arguments)))
        except (EOFError, OSError):
            return


def _answered(
    pipe: Connection, job: Job, number: int, *, arguments: tuple[Any, ...]
) -> tuple[Any, ...]:
    def listen() -> None:
        if pipe.poll() and pipe.recv()[1] == STOP:
            raise Stopped

    try:
        for part, value in job(listen, *arguments):
            pipe.send((number, "part", part, value))
            listen()
    except Stopped:
        return ("stopped",)
    except MouldError as error:
        return ("refused", error)
    except Exception as error:  # noqa: BLE001 (this is the edge: the page must go on)
        return ("broken", f"{type(error).__name__}: {error}")
    return ("done",)


WARM_UP_S: Final = 60.0
"""Added to a limit for the time that a new process takes to load its libraries [s]."""


class Worker:
    """A process that does one job at a time.

    Parameters
    ----------
    folder : Path
        Where uploaded artwork lies.
    patience : int
        How much it gives way to other processes, as `nice` counts: 0 not at all, 19 wholly.
    """

    def __init__(self, folder: Path, *, patience: int = 0) -> None:
        self.folder = folder
        self.patience = patience
        self._turn = asyncio.Lock()
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None
        self._is_fresh = True
        self._number = 0
        self._current: asyncio.Event | None = None

    def start(self) -> None:
        """Start the process where there is none, so that it is warm when it is needed."""
        if self._process is not None and self._process.is_alive():
            return
        spawn = multiprocessing.get_context("spawn")
        self._pipe, theirs = spawn.Pipe()
        self._process = spawn.Process(
            target=work, args=(theirs, str(self.folder), self.patience), daemon=True
        )
        self._process.start()
        self._is_fresh = True
        theirs.close()

    def end(self) -> None:
        """End the process at once, whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
        if self._pipe is not None:
            self._pipe.close()
        self._process = self._pipe = None

    @property
    def process_id(self) -> int | None:
        """Its process's number."""
        return None if self._process is None else self._process.pid

    async def parts(
        self, name: str, *arguments: object, limit_s: float, wanted: asyncio.Event
    ) -> AsyncIterator[tuple[str, Any]]:
        """Yield what a job tells, part by part.

        Parameters
        ----------
        name : str
            Of the job.
        *arguments : object
            What it is given.
        limit_s : float
            After so long the process is ended [s].
        wanted : asyncio.Event
            Cleared by whoever does not need the job any more; it then ends early.

        Raises
        ------
        MouldError
            What the job raised; `KernelError` where its process died or took too long.
        """
        async with self._turn:
            if not wanted.is_set():
                return
            pipe, limit_s = self._running(limit_s)
            self._number += 1
            self._current = wanted
            pipe.send((self._number, name, arguments))
            deadline = asyncio.get_running_loop().time() + limit_s
            try:
                async for message in self._messages(pipe, deadline, name=name, wanted=wanted):
                    if wanted.is_set():
                        yield message
            finally:
                self._current = None

    def cancel(self, wanted: asyncio.Event) -> None:
        """End the process at once if it works for this event, and start another."""
        wanted.clear()
        if self._current is wanted:
            self.end()
            self.start()

    def _running(self, limit_s: float) -> tuple[Connection, float]:
        """Return the pipe of a process that lives, and the time it may take for a job."""
        self.start()
        assert self._pipe is not None  # noqa: S101 (made by start)
        more_s = WARM_UP_S if self._is_fresh else 0.0
        return self._pipe, limit_s + more_s

    async def _messages(
        self, pipe: Connection, deadline: float, *, name: str, wanted: asyncio.Event
    ) -> AsyncIterator[tuple[str, Any]]:
        told = False
        while True:
            if not wanted.is_set() and not told:
                told = True
                self._tell_to_stop(pipe)
            message = await self._message(pipe, deadline, name)
            if message is None or message[0] != self._number:
                continue  # nothing yet, or what a job that was given up still had to say
            if message[1] == "part":
                yield message[2], message[3]
                continue
            self._is_fresh = False
            _raise_what_went_wrong(message[1:], name)
            return

    def _tell_to_stop(self, pipe: Connection) -> None:
        with suppress(OSError):  # the process may be gone; the next message says so
            pipe.send((self._number, STOP, ()))

    async def _message(
        self, pipe: Connection, deadline: float, name: str
    ) -> tuple[Any, ...] | None:
        """Return the next message, None after a short while without one."""
        try:
            if await asyncio.to_thread(pipe.poll, 0.25):
                message: tuple[Any, ...] = await asyncio.to_thread(pipe.recv)
                return message
        except (EOFError, OSError) as error:
            self._restart(pipe)
            raise KernelError(name, "its process ended; change the design or try again") from error
        if asyncio.get_running_loop().time() > deadline:
            self._restart(pipe)
            raise KernelError(name, "it took too long; simplify the artwork")
        return None

    def _restart(self, pipe: Connection) -> None:
        if self._pipe is pipe:  # nobody has ended it already
            self.end()
            self.start()


def _raise_what_went_wrong(message: tuple[Any, ...], name: str) -> None:
    if message[0] == "refused":
        raise message[1]
    if message[0] == "broken":
        raise KernelError(name, f"{message[1]}; please report this")
