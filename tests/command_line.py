"""Running the command in the test's own process."""

import io
import sys
from contextlib import nullcontext, redirect_stderr, redirect_stdout

import pytest

from moulddesign.cli import main
from moulddesign.core.concurrency import deferred


def _in_this_process(changed, arguments, columns):
    changed.setattr(sys, "argv", ["moulddesign", *map(str, arguments)])
    changed.setenv("COLUMNS", columns)
    # Another would load the libraries again for each run.
    changed.setattr("moulddesign.workers.second_process", lambda *_, **__: nullcontext(deferred))


def run(monkeypatch, capsys, *arguments, columns="80"):
    """Return the exit code, stdout and stderr of `moulddesign` with some arguments."""
    _in_this_process(monkeypatch, arguments, columns)
    with pytest.raises(SystemExit, match=r"^\d+$") as stopped:
        main()
    seen = capsys.readouterr()
    return stopped.value.code, seen.out, seen.err


def ran(*arguments, folder):
    """Return the same of a run in a folder, where a test's own fixtures are not at hand."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as changed, redirect_stdout(out), redirect_stderr(err):
        changed.chdir(folder)
        _in_this_process(changed, arguments, "100")
        with pytest.raises(SystemExit, match=r"^\d+$") as stopped:
            main()
    return stopped.value.code, out.getvalue(), err.getvalue()


def refused(monkeypatch, capsys, *arguments):
    """Run it; return the one sentence with which bad input was refused."""
    code, said, sentence = run(monkeypatch, capsys, *arguments)
    assert (code, said) == (2, "")
    assert sentence.count("\n") == 1, sentence
    return sentence.rstrip("\n")


def run_here(calls, *_):
    """Do jobs as a pool does, here and one after another: nothing is loaded again for them."""
    for number, (job, arguments) in enumerate(calls):
        yield number, next(job.run(None, *arguments))
