"""Running the command in the test's own process."""

import sys

import pytest

from moulddesign.cli import main


def run(monkeypatch, capsys, *arguments):
    """Return the exit code, stdout and stderr of `moulddesign` with some arguments."""
    monkeypatch.setattr(sys, "argv", ["moulddesign", *map(str, arguments)])
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit, match=r"^\d+$") as stopped:
        main()
    seen = capsys.readouterr()
    return stopped.value.code, seen.out, seen.err
