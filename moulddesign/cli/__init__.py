"""The command line: one module a verb."""

import os
import signal
from typing import Final, NoReturn

INTERRUPTED: Final = 130
"""Exit code after Ctrl-C."""


def main() -> NoReturn:
    """Load the verbs, where Ctrl-C ends the program in silence, and run what was typed."""
    before = signal.signal(signal.SIGINT, _end)
    try:
        from moulddesign.cli.app import main as run  # noqa: PLC0415 (half a second of loading)

        run()
    finally:
        signal.signal(signal.SIGINT, before)


def _end(*_: object) -> NoReturn:
    os._exit(INTERRUPTED)
