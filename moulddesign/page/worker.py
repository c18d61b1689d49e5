"""The process that builds: it takes one job after another from a pipe, and answers in parts."""

import os
import signal
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any, Final

from moulddesign.errors import MouldError

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
