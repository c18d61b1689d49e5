"""The command `moulddesign` and its exit codes."""

import errno
import gc
import os
import signal
import sys
from contextlib import suppress
from io import TextIOWrapper
from pathlib import Path
from typing import Final, NoReturn, TextIO

import typer

from moulddesign.cli import (
    INTERRUPTED,
    batch,
    coupon,
    density,
    fit,
    inspect,
    make,
    page,
    patterns,
    portion,
    series,
    trial,
)
from moulddesign.cli.slips import slip
from moulddesign.errors import FindingError, KernelError, MouldError, WriteError

SELDOM: Final = (50_000, 20, 100)
"""When to look for cycles: imports keep all that they make, and looking through it took 0.6 s."""
UNWRITABLE: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EPIPE)
"""How a system says that stdout takes no more; files report their own failures."""
FAILED = 1
BAD_INPUT = 2

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("make")(make.run)
app.command("portion")(portion.show)
app.add_typer(density.app, name="density")
app.command("batch")(batch.show)
app.command("trial")(trial.show)
app.add_typer(patterns.app, name="patterns")
app.command("coupon")(coupon.run)
app.command("inspect")(inspect.show)
app.command("series")(series.run)
app.command("page")(page.run)
app.command("fit")(fit.show)


@app.callback(invoke_without_command=True)
def _help(context: typer.Context) -> None:
    """Design a filled, pressed pastry and the printable mould that presses it.

    Example: moulddesign make --weight 75 --ratio 3:7 --pattern lantern
    """
    if context.invoked_subcommand is None:
        sys.stdout.write(context.get_help() + "\n")


def _give_up(stream: TextIO) -> None:
    """Lead what is still in the buffer nowhere, so that the end does not try it again."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _open_what_is_closed() -> None:
    """Lead a stream that was closed before the start nowhere, as Python's print does."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 (open to the end)
            setattr(sys, name, nowhere)


def _say(sentence: str) -> None:
    """Write a sentence to stderr; where that is full the exit code has to do.

    What a file or an argument brings may hold a terminal's commands: they are shown, not obeyed.
    """
    shown = "".join(
        letter if letter.isprintable() or letter == "\n" else ascii(letter)[1:-1]
        for letter in sentence
    )
    try:
        sys.stderr.write(f"{shown}\n")
    except OSError:
        _give_up(sys.stderr)


class _CtrlC:
    """Remembers Ctrl-C: a library that loads may answer it with an error of its own."""

    was_seen = False

    def __call__(self, *_: object) -> NoReturn:
        self.was_seen = True
        raise KeyboardInterrupt


def main() -> NoReturn:
    """Run the command line; exit 0 good, 1 a finding or file failed, 2 bad input, 130 Ctrl-C."""
    gc.set_threshold(*SELDOM)
    ctrl_c = _CtrlC()
    signal.signal(signal.SIGINT, ctrl_c)
    _open_what_is_closed()
    if isinstance(sys.stdout, TextIOWrapper):  # a console that lacks a letter shows its number
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        code = app(standalone_mode=False)
        sys.stdout.flush()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except Exception as error:  # noqa: BLE001 (what is not told is raised again)
        if ctrl_c.was_seen:
            sys.exit(INTERRUPTED)
        sentence, code = _told(error)
        _say(sentence)
    sys.exit(code if isinstance(code, int) else 0)


def _told(error: Exception) -> tuple[str, int]:
    """Return an error's sentence and exit code; what is nobody's fault but ours is raised."""
    if isinstance(error, typer.TyperException):
        return slip(error), BAD_INPUT
    if isinstance(error, MouldError):
        ours = isinstance(error, FindingError | KernelError | WriteError)
        return str(error), FAILED if ours else BAD_INPUT
    if isinstance(error, FileNotFoundError) and error.filename is None:  # os.getcwd says no more
        return "The folder that this was started in is gone; change to another.", FAILED
    if isinstance(error, OSError) and error.errno in UNWRITABLE:
        _give_up(sys.stdout)
        return f"The output cannot be written ({error.strerror}).", FAILED
    raise error
