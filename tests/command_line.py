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


def refused(monkeypatch, capsys, *arguments):
    """Run it; return the one sentence with which bad input was refused."""
    code, said, sentence = run(monkeypatch, capsys, *arguments)
    assert (code, said) == (2, "")
    assert sentence.count("\n") == 1, sentence
    return sentence.rstrip("\n")
