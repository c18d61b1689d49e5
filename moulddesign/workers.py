"""Processes that do jobs: one at a time with its answers in parts, or many side by side.

A job is a generator function at the top of a module. It gets a checkpoint and its own arguments,
yields its answer part by part, and calls the checkpoint between stages: that raises where nobody
waits for the answer any more.

    parent                                      process
    begin     -- number, function, arguments -->  run the generator
    stream    <-- number, PART, value ----------  as often as it yields
    checkpoint of the process <-- number, CANCEL  sent where nobody waits any more
    stream    <-- number, DONE | CANCELLED | REFUSED, error | BROKEN, sentence

Processes are spawned, so they share no memory with their parent. Those of a pool are copies of one
process, where the system can: that one loads the libraries for all of them, and does nothing else.
"""

import asyncio
import ctypes
import gc
import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from importlib import import_module
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from moulddesign.core import KernelError, Message, MouldError, say
from moulddesign.core.concurrency import Submit, Task, deferred, usable_cores

if TYPE_CHECKING:
    from multiprocessing.context import ForkServerContext, SpawnContext

    Context = ForkServerContext | SpawnContext

Checkpoint = Callable[[], None]
"""Called by a job between its stages; raises where the job was cancelled."""

WARM_UP_S: Final = 60.0
"""Added to a time limit for a new process, which loads its libraries first [s]."""

GRACE_S: Final = 1.0
"""How long processes of a pool may take to end by themselves [s]."""

POLL_S: Final = 0.05
"""How often the time limit and a cancellation are looked at while a job runs [s]."""


@dataclass(frozen=True, slots=True)
class Job:
    """Something that a worker can do."""

    name: Message
    """What is made, for the sentence that says why it could not be made."""
    run: Callable[..., Iterator[Any]]
    """Takes a checkpoint and the arguments; at the top of a module, so that it can be sent."""


class MessageKind(StrEnum):
    """What a message between a worker and its process says."""

    CANCEL = "cancel"
    PART = "part"
    DONE = "done"
    CANCELLED = "cancelled"
    REFUSED = "refused"
    BROKEN = "broken"


class Worker:
    """A process that does one job at a time, and is replaced where it dies.

    Parameters
    ----------
    initializer : callable or None
        Called first in each new process; can be sent, as a job can.
    context : multiprocessing context or None
        How processes are started; spawned where it is None.
    """

    def __init__(
        self, initializer: Callable[[], None] | None = None, context: "Context | None" = None
    ) -> None:
        self._initializer = initializer
        self._context = multiprocessing.get_context("spawn") if context is None else context
        self._child: _Child | None = None
        self._turn = asyncio.Lock()
        self._current: asyncio.Event | None = None

    @property
    def process_id(self) -> int | None:
        """The process's number; None where there is none."""
        return None if self._child is None else self._child.process.pid

    def start(self) -> None:
        """Start the process where there is none, so that it is warm when it is needed."""
        if self._child is None or not self._child.process.is_alive():
            self._child = _Child(self._context, self._initializer)
            self._child.start()

    def terminate(self) -> None:
        """Ask the process to end as soon as it can, its own processes with it."""
        if self._child is not None and self._child.process.pid is not None:
            self._child.process.terminate()

    def end(self, grace_s: float = 0.0) -> None:
        """End the process after a time of grace, whatever it does.

        Parameters
        ----------
        grace_s : float
            How long it may take to end by itself [s].
        """
        if self._child is not None:
            self._child.end(grace_s)
        self._child = None

    async def retire(self, at_mb: float) -> None:
        """End the process, once it has no job, where it holds so much memory [MB].

        The next job starts another. Nothing is done on a system that does not tell what it holds.
        """
        async with self._turn:
            if self._child is not None and resident_mb(self._child.process.pid) >= at_mb:
                self.end()

    def begin(self, job: Job, arguments: tuple[object, ...]) -> "_Child":
        """Give a job to the process, started where there is none; return what answers."""
        self.start()
        assert self._child is not None  # noqa: S101 (made by start)
        self._child.send(job, arguments)
        return self._child

    async def stream(
        self, job: Job, *arguments: object, limit_s: float, cancelled: asyncio.Event
    ) -> AsyncIterator[Any]:
        """Yield the parts of a job's answer; one job after another.

        Parameters
        ----------
        job : Job
            What to do.
        *arguments : object
            What it is given.
        limit_s : float
            After so long the process is ended [s].
        cancelled : asyncio.Event
            Set by whoever does not need the job any more; it then ends at its next checkpoint, or
            is not begun.

        Raises
        ------
        MouldError
            What the job raised; `KernelError` where its process died or took too long.
        """
        async with self._turn:
            if cancelled.is_set():
                return
            child = self.begin(job, arguments)
            deadline = asyncio.get_running_loop().time() + limit_s
            deadline += WARM_UP_S if child.is_new else 0.0
            self._current = cancelled
            try:
                async for part in self._parts(child, job, deadline, cancelled=cancelled):
                    if not cancelled.is_set():
                        yield part
            except GeneratorExit:
                child.ask_to_cancel()
                raise
            finally:
                self._current = None

    def cancel(self, cancelled: asyncio.Event) -> None:
        """Set an event; end the process at once if it works for it, and start another."""
        if self.stop(cancelled):
            self.start()

    def stop(self, cancelled: asyncio.Event) -> bool:
        """Set an event; end the process at once if it works for it, and return whether it did."""
        cancelled.set()
        works = self._current is cancelled
        if works:
            self.end()
        return works

    async def _parts(
        self, child: "_Child", job: Job, deadline: float, *, cancelled: asyncio.Event
    ) -> AsyncIterator[Any]:
        is_asked = False
        while True:
            if cancelled.is_set() and not is_asked:
                is_asked = True
                child.ask_to_cancel()
            try:
                answer = await asyncio.to_thread(child.answer, job, POLL_S)
            except KernelError:
                self._replace(child)
                raise
            if answer is not None:
                kind, value = answer
                if kind != MessageKind.PART:
                    _raise_error(job, kind, value)
                    return
                yield value
            elif asyncio.get_running_loop().time() > deadline:
                self._replace(child)
                raise KernelError(job.name, say("workers.too-long"))

    def _replace(self, child: "_Child") -> None:
        if self._child is child:  # nobody has replaced it already
            self.end()
            self.start()


def resident_mb(process_id: int | None) -> float:
    """Return the memory of a process, shared libraries included; 0 where no system tells [MB]."""
    try:
        pages = Path(f"/proc/{process_id}/statm").read_text("ascii").split()[1]
    except OSError:
        return 0.0
    return int(pages) * os.sysconf("SC_PAGE_SIZE") / 1e6


def trim_heap() -> None:
    """Give freed memory back to the system: glibc keeps it in pieces between what is in use."""
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # not in every C library
        if trim is not None:
            trim(0)


def run_in_pool(
    calls: Sequence[tuple[Job, tuple[object, ...]]],
    size: int,
    initializer: Callable[[], None] | None = None,
    libraries: Sequence[str] = (),
) -> Iterator[tuple[int, Any]]:
    """Do jobs side by side; yield each one's value as soon as it is there.

    The processes end with the iteration, also where it is left early.

    Parameters
    ----------
    calls : sequence of (Job, tuple)
        Jobs that yield one value each, and their arguments.
    size : int
        How many processes; no more are started than there are calls.
    initializer : callable or None
        As a `Worker` takes it.
    libraries : sequence of str
        Modules that all jobs need, which are loaded once for all processes where the system can.

    Yields
    ------
    tuple of int and object
        Place in the sequence, and the value, or the `MouldError` that came instead of it.
    """
    waiting = deque(enumerate(calls))
    busy: dict[Any, tuple[Worker, _Child, int]] = {}

    def hand_on(worker: Worker) -> None:
        if waiting:
            number, (job, arguments) = waiting.popleft()
            child = worker.begin(job, arguments)
            busy[child.pipe] = (worker, child, number)

    with _started(min(size, len(calls)), initializer, libraries) as workers:
        for worker in workers:
            hand_on(worker)
        while busy:
            for pipe in wait(list(busy)):
                worker, child, number = busy.pop(pipe)
                value = _only_value(child, calls[number][0])
                hand_on(worker)  # before the answer is looked at, so that it does not wait
                yield number, value


@contextmanager
def _started(
    size: int, initializer: Callable[[], None] | None, libraries: Sequence[str]
) -> Iterator[list[Worker]]:
    context = sharing(libraries)
    workers = [Worker(initializer, context) for _ in range(size)]
    try:
        for worker in workers:
            worker.start()
        yield workers
    finally:
        for worker in workers:
            worker.terminate()
        for worker in workers:
            worker.end(GRACE_S)


def sharing(libraries: Sequence[str]) -> "Context":
    """Return how to start processes that share what one process loads, where the system can."""
    if not sys.platform.startswith("linux"):  # elsewhere libraries do not outlive a fork
        return multiprocessing.get_context("spawn")
    from multiprocessing.forkserver import ensure_running  # noqa: PLC0415 (not on every system)

    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(libraries))
    with _deaf_to_ctrl_c():
        ensure_running()  # it loads them meanwhile
    return context


@contextmanager
def second_process(*libraries: str, later: Sequence[str] = ()) -> Iterator[Submit]:
    """Start a process that does tasks one after another; give what hands it the next ones.

    What waits for a result raises what the task raised. Where this machine has one core for us,
    all is done here. The process loads modules first, others after the first tasks, and ends with
    the context, whatever it does.
    """
    if usable_cores() == 1:
        yield deferred
        return
    child = _Child(multiprocessing.get_context("spawn"), partial(_load, libraries))
    job = Job(say("page.the-files"), _do_tasks)
    turns, turn = ThreadPoolExecutor(max_workers=1), Future[None]()

    def submit(tasks: Sequence[Task]) -> Sequence[Task]:
        nonlocal turn, later
        futures: list[Future[Any]] = [Future() for _ in (*tasks, _load)]
        given: bytes | None = pickle.dumps([*tasks, partial(_load, later)])
        later = ()
        if turn.done():  # at once: a thread would wait while a kernel holds the interpreter
            child.send(job, (given,))
            given = None
        turn = turns.submit(_wait_for, child, job, given, futures)
        return [future.result for future in futures[: len(tasks)]]

    try:
        child.start()
        turn = turns.submit(_wait_for, child, job, pickle.dumps(()), [])
        yield submit
    finally:
        turns.shutdown(wait=False, cancel_futures=True)
        child.end(0.0)
        turns.shutdown()


def _load(modules: Sequence[str]) -> None:
    for name in modules:
        with suppress(ImportError):  # what needs it says so
            import_module(name)


def _do_tasks(_checkpoint: Checkpoint, pickled: bytes) -> Iterator[Any]:
    for task in pickle.loads(pickled):  # noqa: S301 (our own)
        try:
            yield task()
        except MouldError as error:
            yield error


def _wait_for(child: "_Child", job: Job, pickled: bytes | None, futures: list[Future[Any]]) -> None:
    """Resolve each future as soon as its result is there; first ask for them if nobody has yet."""
    if pickled is not None:
        child.send(job, (pickled,))
    waiting = deque(futures)
    try:
        for value in _values(child, job):
            if isinstance(value, MouldError):
                waiting.popleft().set_exception(value)
            else:
                waiting.popleft().set_result(value)
    except MouldError as error:
        for future in waiting:
            future.set_exception(error)


def _only_value(child: "_Child", job: Job) -> Any:  # noqa: ANN401 (what the job yields)
    """Return a job's only part, or the error that came instead of it."""
    try:
        return [*_values(child, job)].pop()
    except MouldError as error:
        return error


def _values(child: "_Child", job: Job) -> Iterator[Any]:
    """Yield the parts of a job's answer; raise the error that came instead of the next."""
    while (answer := child.answer(job, None)) is None or answer[0] == MessageKind.PART:
        if answer is not None:
            yield answer[1]
    _raise_error(job, *answer)


def _raise_error(job: Job, kind: MessageKind, value: Any) -> None:  # noqa: ANN401 (error or sentence)
    if kind == MessageKind.REFUSED:
        raise value
    if kind == MessageKind.BROKEN:
        raise KernelError(job.name, say("workers.broken", error=value))


class _Child:
    """A process that serves jobs, and our end of its pipe."""

    def __init__(self, context: "Context", initializer: Callable[[], None] | None) -> None:
        self.pipe, self._theirs = context.Pipe()
        self.process = context.Process(target=do_jobs, args=(self._theirs,), daemon=True)
        self._initializer = initializer
        self.is_new = True
        """Whether it has not finished a job yet."""
        self._number = 0

    def start(self) -> None:
        with _deaf_to_ctrl_c():
            self.process.start()
        self._theirs.close()
        self._send(self._initializer)

    def send(self, job: Job, arguments: tuple[object, ...]) -> None:
        self._number += 1
        self._send((self._number, job.run, arguments))

    def ask_to_cancel(self) -> None:
        self._send((self._number, MessageKind.CANCEL, ()))

    def _send(self, value: object) -> None:
        with suppress(OSError):  # it may be gone; reading its answer says so
            self.pipe.send(value)

    def answer(self, job: Job, timeout_s: float | None) -> tuple[MessageKind, Any] | None:
        """Return what comes next for the job in hand; None where nothing does for so long."""
        try:
            if not self.pipe.poll(timeout_s):
                return None
            number, kind, value = self.pipe.recv()
        except (EOFError, OSError) as error:
            self.process.join(GRACE_S)
            code = self.process.exitcode
            raise KernelError(job.name, say("workers.ended", code=code)) from error
        if number != self._number:
            return None  # a job that was given up still had something to say
        if kind != MessageKind.PART:
            self.is_new = False
        return kind, value

    def end(self, grace_s: float) -> None:
        if self.process.pid is not None:  # Ctrl-C may have come before it was started
            if grace_s > 0.0:
                self.process.join(grace_s)
            self.process.kill()
            self.process.join()
        self.pipe.close()


class Cancelled(Exception):  # noqa: N818 (a signal, not an error)
    """Nobody waits for the job in hand any more."""


def do_jobs(pipe: Connection) -> None:
    """Do jobs until the pipe is closed: what a worker's process runs.

    The initializer comes first.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the parent, which ends this
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # so that a job's own processes end too
    try:
        with suppress(EOFError, ConnectionError):  # the parent is gone
            with _kept_for_good():
                initializer = pipe.recv()  # the modules that it needs are loaded with it
                if initializer is not None:
                    initializer()
            _do_each(pipe)
    finally:
        gc.unfreeze()  # or libraries tell on stderr of what is left


@contextmanager
def _kept_for_good() -> Iterator[None]:
    """Let nobody look for cycles in what is loaded: that took 0.3 s then, and 0.16 s a piece."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _do_each(pipe: Connection) -> NoReturn:
    early: list[Any] = []
    while True:
        number, run, arguments = early.pop() if early else pipe.recv()
        if run != MessageKind.CANCEL:  # it came too late: the job was done already
            checkpoint = partial(_checkpoint, pipe, early)
            send = partial(_send_part, pipe, number)
            ended = _done(run, arguments, send=send, checkpoint=checkpoint)
            if run is not _do_tasks:  # a process that ends soon keeps it for what comes next
                trim_heap()
            pipe.send((number, *ended))


def _checkpoint(pipe: Connection, early: list[Any]) -> None:
    """Raise where the parent has said something: it does not wait for this job any more."""
    if pipe.poll():
        early.append(pipe.recv())  # it may be the next job already
        raise Cancelled


def _send_part(pipe: Connection, number: int, part: object) -> None:
    pipe.send((number, MessageKind.PART, part))


def _done(
    run: Callable[..., Iterator[Any]],
    arguments: tuple[object, ...],
    *,
    send: Callable[[object], None],
    checkpoint: Checkpoint,
) -> tuple[MessageKind, Any]:
    """Do a job and send its parts; return how it ended."""
    try:
        for part in run(checkpoint, *arguments):
            send(part)
            checkpoint()
    except Cancelled:
        return (MessageKind.CANCELLED, None)
    except MouldError as error:
        return (MessageKind.REFUSED, error)
    except Exception as error:  # noqa: BLE001 (the edge of a process: the others go on)
        return (MessageKind.BROKEN, f"{type(error).__name__}: {error}")
    return (MessageKind.DONE, None)


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Let a process that starts here be deaf to Ctrl-C from its first moment: it is for us.

    Signals that are blocked stay so in a process that starts meanwhile, and reach us afterwards.
    """
    if not hasattr(signal, "pthread_sigmask"):  # pragma: no cover (not there on every system)
        yield
        return
    resource_tracker.ensure_running()  # it would unblock them when it starts by itself
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        with _ctrl_c_deferred():
            yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _ctrl_c_deferred() -> Iterator[None]:
    """Keep Ctrl-C until a process has all that it needs: other threads, a bar's, receive it too."""
    if threading.current_thread() is not threading.main_thread():  # only that one answers
        yield
        return
    received: list[int] = []
    handler = signal.signal(signal.SIGINT, lambda number, _: received.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, handler)
        if received:
            signal.raise_signal(signal.SIGINT)
