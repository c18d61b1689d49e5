"""Running the command in the test's own process."""

import io
import sys
from contextlib import redirect_stderr, redirect_stdout

import pytest

from moulddesign.cli import main


def run(monkeypatch, capsys, *arguments, columns="80"):
    """Return the exit code, stdout and stderr of `moulddesign` with some arguments."""
    monkeypatch.setattr(sys, "argv", ["moulddesign", *map(str, arguments)])
    monkeypatch.setenv("COLUMNS", columns)
    with pytest.raises(SystemExit, match=r"^\d+$") as stopped:
        main()
    seen = capsys.readouterr()
    return stopped.value.code, seen.out, seen.err


def ran(*arguments, folder):
    """Return the same of a run in a folder, where a test's own fixtures are not at hand."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as changed, redirect_stdout(out), redirect_stderr(err):
        changed.chdir(folder)
        changed.setattr(sys, "argv", ["moulddesign", *map(str, arguments)])
        changed.setenv("COLUMNS", "100")
        with pytest.raises(SystemExit, match=r"^\d+$") as stopped:
            main()
    return stopped.value.code, out.getvalue(), err.getvalue()


def refused(monkeypatch, capsys, *arguments):
    """Run it; return the one sentence with which bad input was refused."""
    code, said, sentence = run(monkeypatch, capsys, *arguments)
    assert (code, said) == (2, "")
    assert sentence.count("\n") == 1, sentence
    return sentence.rstrip("\n")
