"""The command line: reads what was typed, calls one function of a room, and prints.

- `app`: the command, its exit codes, and usage errors as sentences.
- `options`: the options that override a design file, declared once for every verb.
- `usage`: which options each verb reads, and refusing those that do nothing or stand there twice.
- `console`: printing tables, JSON and progress, and saving what a verb writes.
- `make_commands`: the verbs `make` and `coupon`.
- `weight_commands`: the verb `portion`.
- `density_command`: the verb `density`.
- `batch_command`: the verb `batch`.
- `dough_command`: the verb `doughs`, and what adds to the dough book.
- `dough_option`: `--dough`: what a dough of the book sets.
- `trial_command`: the verbs `trial` and `oven`.
- `kitchen_commands`: the verbs `firmness`, `syrup` and `water`.
- `label_command`: the verb `label`.
- `fit_command`: the verb `fit`.
- `twin_command`: the verb `twin`.
- `set_parts`: `make --for` and `--only`: parts for a set that is there.
- `measured_command`: the verb `measured`.
- `moulds_command`: the verb `moulds`.
- `file_commands`: the verbs `inspect`, `patterns` and `printers`.
- `example_command`: the verb `example`.
- `share_command`: the verb `share`.
- `page_command`: the verb `page`.
- `shortcut`: `page --shortcut`, an icon that opens the page.
- `series_command`: the verb `series`.
- `sizes_command`: `make --sizes`, the same piece in several weights.
- `workshop_command`: the verb `workshop`.
"""

import atexit
import gc
import os
import signal
import sys
from contextlib import suppress
from importlib import import_module
from types import ModuleType
from typing import Any, Final, NoReturn

SELDOM: Final = (200_000, 20, 100)
"""When to look for cycles: imports keep all that they make, and looking through it took 0.6 s. A
light verb ends before."""
INTERRUPTED: Final = 130
"""Exit code after Ctrl-C."""


PLUGIN_LOADER: Final = "pydantic.plugin._loader"


class _NoPlugins(ModuleType):
    """Stands for what looks for plugins, and loads twenty modules to find none (pydantic 2.14)."""

    def get_plugins(self) -> tuple[()]:
        return ()

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 (whatever another version asks for)
        if name == "__path__":  # each import from it asks whether it is a package
            raise AttributeError(name)
        sys.modules.pop(PLUGIN_LOADER, None)
        return getattr(import_module(PLUGIN_LOADER), name)


def program() -> NoReturn:
    """Run `main` as a program that ends at once: freeing what libraries hold took half a second."""
    ended: list[int] = []
    # What is registered first runs last: temporary folders are gone and processes have ended.
    atexit.register(_leave, ended)
    try:
        main()
    except SystemExit as end:
        if isinstance(end.code, int):
            ended.append(end.code)
        raise


def _leave(ended: list[int]) -> None:
    """End the process with the code in the list; without one Python tells what went wrong."""
    if not ended:
        return
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(ended[0])


def main() -> NoReturn:
    """Load the verbs, where Ctrl-C ends the program in silence, and run what was typed."""
    gc.set_threshold(*SELDOM)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # or it looks at all packages
    # Its threads wait in loops for products of two or three columns, beside our second process.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.modules.setdefault(PLUGIN_LOADER, _NoPlugins(PLUGIN_LOADER))
    before = signal.signal(signal.SIGINT, _end)
    try:
        from moulddesign.cli.app import main as run  # noqa: PLC0415 (half a second of loading)

        run()
    finally:
        signal.signal(signal.SIGINT, before)


def _end(*_: object) -> NoReturn:
    os._exit(INTERRUPTED)
