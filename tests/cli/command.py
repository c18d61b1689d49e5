"""The command line as a person starts it: another process, another folder."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
COMMAND = (sys.executable, "-m", "moulddesign")


def environment(**more):
    # The checkout first, so that what is tested is what is here.
    return os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "100", "NO_COLOR": "1"} | more


def moulddesign(*arguments, folder=None, **more):
    """Run it; return exit code, stdout and stderr as text."""
    done = subprocess.run(  # noqa: S603 (our own command)
        [*COMMAND, *map(str, arguments)],
        cwd=folder,
        env=environment() | more,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout, done.stderr
