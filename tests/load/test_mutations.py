"""Files damaged by chance, for a time: each is read, or refused in a sentence within the limits."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from load.readers import READERS

ROOT = Path(__file__).parents[2]
SECONDS = os.environ.get("MOULDDESIGN_MUTATION_SECONDS", "20")
"""For each reader."""
SEED = os.environ.get("MOULDDESIGN_MUTATION_SEED", "1")


@pytest.mark.slow
@pytest.mark.parametrize("ending", READERS)
def test_damaged_files_are_read_or_refused(ending, tmp_path, capsys):
    program = Path(__file__).with_name("mutate.py")
    done = subprocess.run(  # noqa: S603 (our own program)
        [sys.executable, program, ending, SECONDS, tmp_path, SEED],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, timeout=3 * float(SECONDS) + 300, check=False,
    )  # fmt: skip
    with capsys.disabled():
        # The standard output of a test process of several is not shown.
        print(f"\n{done.stdout}", end="", file=sys.stderr)  # noqa: T201 (a count to report)
    # A program that crashed leaves the file that it was reading as `case`.
    assert done.returncode == 0, f"{sorted(tmp_path.iterdir())}\n{done.stdout}{done.stderr[-2000:]}"
