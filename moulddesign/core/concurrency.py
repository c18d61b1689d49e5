"""What may be done beside something else: tasks that are handed on, and cores to do them.

A stage that has work which needs nothing else, such as the field of a face or the checks of one
mesh, takes a `Submit`, and knows no process:

    there = submit([partial(sample, field), partial(check, mesh)])   # begun, where another does it
    ...                                                              # what is done meanwhile
    sampled = there[0]()                                             # waits, or does it now
"""

import os
from collections.abc import Callable, Sequence
from typing import Any

Task = Callable[[], Any]
"""Makes one thing, or waits until another process has made it; the first can be pickled."""

Submit = Callable[[Sequence[Task]], Sequence[Task]]
"""Hands tasks to a process that does one after another; gives what waits for each result.

What raised an error there raises it here, when its result is asked for. Tasks that are handed on
together share what they hold: a mesh is sent once, and what is remembered of it serves all of them.
"""


def deferred(tasks: Sequence[Task]) -> Sequence[Task]:
    """Let tasks be done in this process, each when its result is asked for.

    Examples
    --------
    >>> (power,) = deferred([lambda: 2**10])
    >>> power()
    1024
    """
    return tasks


def usable_cores() -> int:
    """Return how many cores there are for us: a system may keep us to some of those that it has."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def pool_size(asked: int | None, calls: int) -> int:
    """Return how many processes to start.

    Parameters
    ----------
    asked : int or None
        What was asked for; as many as there are cores for us where it is None.
    calls : int
        How many calls there are: no process is started for nothing.

    Examples
    --------
    >>> pool_size(8, 3)
    3
    """
    return min(usable_cores() if asked is None else asked, calls)
