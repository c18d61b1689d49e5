"""Jobs for the tests of the workers, in a module of their own: processes load nothing else."""

import os
import signal
import sys
import time
from pathlib import Path

from moulddesign.core import SpecError, say
from moulddesign.workers import Job


def count(checkpoint, most, pause_s=0.0):
    for number in range(most):
        time.sleep(pause_s)
        checkpoint()
        yield number


def refuse(checkpoint, value):
    checkpoint()
    yield "begun"
    refused(value)


def refused(value):
    raise SpecError("field", value, say("workers.too-long"))


def is_loaded(module):
    return module in sys.modules


def fail(checkpoint):
    checkpoint()
    yield "begun"
    raise ZeroDivisionError("by hand")


def send_what_cannot_be_sent(checkpoint):
    checkpoint()
    yield lambda: None


def die(checkpoint, value):
    checkpoint()
    if value == "dies":
        os.kill(os.getpid(), signal.SIGKILL)
    yield value


def working_folder(checkpoint):
    checkpoint()
    yield str(Path.cwd())


def parent(checkpoint):
    checkpoint()
    yield os.getppid()


def ignore_signals_for_ever(checkpoint, ready):
    checkpoint()
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    ready.touch()
    while True:
        time.sleep(1.0)
        yield "on"


def named(run):
    return Job(say("series.piece", name=run.__name__), run)


COUNT, REFUSE, FAIL, DIE = map(named, (count, refuse, fail, die))
UNSENDABLE, FOLDER, PARENT, STUBBORN = map(
    named, (send_what_cannot_be_sent, working_folder, parent, ignore_signals_for_ever)
)
