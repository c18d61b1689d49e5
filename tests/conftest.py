"""How all tests run: samples are the same in every run, and no test is timed by the clock."""

import gc
import os
import signal
from pathlib import Path

from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadScopeScheduling

LONGEST = ("page", "building", "export")
"""Folders that take longest, and whose modules share a page or builds."""


gc.disable()  # what is collected stays: a quarter of the time went into looking for what does not


def pytest_collection_finish():
    """Look for what is garbage from here on, and only among what the tests make."""
    gc.freeze()
    gc.enable()


def pytest_unconfigure():
    """Let go of all of it, or libraries would say that it leaked."""
    gc.unfreeze()


def pytest_collection_modifyitems(items):
    """Begin with what takes longest: begun last, one process would work while the others wait."""
    here = Path(__file__).parent
    places = {str(here / folder): place for place, folder in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(str(item.path.parent), len(LONGEST)))


class ByRoom(LoadScopeScheduling):
    """Each of the longest folders goes to one process, which makes what its tests share once."""

    def _split_scope(self, nodeid):
        module = super()._split_scope(nodeid)
        room = module.removeprefix("tests/").partition("/")[0]
        return room if room in LONGEST else module


def pytest_xdist_make_scheduler(config, log):
    return ByRoom(config, log)


# A sample that fails once fails again. On a busy machine an example takes as long as it takes.
SAMPLES = settings(
    derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=15
)
settings.register_profile("usual", SAMPLES)
settings.register_profile("slow", SAMPLES, max_examples=100)


def pytest_configure(config):
    """Take larger samples where the tests marked slow run, too."""
    settings.load_profile("usual" if config.option.markexpr == "not slow" else "slow")


# Each worker has a core: threads of the libraries within one would only wait for one another.
os.environ.update({f"{pool}_NUM_THREADS": "1" for pool in ("OPENBLAS", "OMP", "RAYON")})

# The workshop of whoever runs the tests is none of theirs, nor of the processes that they start.
os.environ["MOULDDESIGN_WORKSHOP"] = str(Path(__file__).with_name("no-workshop.toml"))

# A shell lets what it starts in the background ignore Ctrl-C, and every process started here would
# inherit that: tests that interrupt one would wait in vain.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
