"""The command `moulddesign`, its exit codes, usage errors as sentences, and the verb `page`."""

import errno
import json
import os
import re
import signal
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import cache
from importlib import import_module
from io import TextIOWrapper
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Final, NoReturn, TextIO
from urllib.parse import urlsplit

import typer

from moulddesign import __version__
from moulddesign.cli import INTERRUPTED
from moulddesign.cli.console import ends_at_once, err, print_json
from moulddesign.cli.options import PIECE, AsJson, with_design
from moulddesign.cli.shortcut import has_desktop, make_shortcut
from moulddesign.cli.usage import Verb, VerbGroup, usage_sentence
from moulddesign.core import (
    FileError,
    FindingError,
    KernelError,
    Language,
    MouldError,
    WriteError,
    say,
)
from moulddesign.core.limits import MOST_SAID
from moulddesign.design import Design, Workshop, read_workshop


@with_design(*PIECE)
def run_page(
    design: Design,
    *,
    context: typer.Context,
    port: Annotated[
        int, typer.Option(metavar="N", min=0, max=65535, help="Port; the next free one if taken.")
    ] = 8467,
    browser: Annotated[
        bool, typer.Option(help="Open the browser, or only print the address.")
    ] = True,
    language: Annotated[
        Language | None, typer.Option(help="Language of the page; the browser's if left out.")
    ] = None,
    shortcut: Annotated[
        bool,
        typer.Option(
            "--shortcut", help="Put an icon that opens the page on the desktop or into the menu."
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Design a mould by looking at it: a page in the browser, served to this machine alone.

    Example: moulddesign page

    Example: moulddesign page --shortcut

    Example: moulddesign page --no-browser --port 0 --json
    """
    if shortcut:
        _make_shortcut(as_json=as_json)
        return
    with ends_at_once():
        from moulddesign.page import LIBRARIES  # noqa: PLC0415 (the page's alone)
        from moulddesign.workers import sharing  # noqa: PLC0415 (processes)

        sharing(LIBRARIES)  # another process loads them beside the web framework
        from moulddesign.page.serve import serve  # noqa: PLC0415 (loads the web framework)

    def announce(address: str) -> None:
        if as_json:
            _tell(address)
        err().print(f"The page is at {address} - Ctrl-C ends it.", soft_wrap=True)

    chosen = "" if language is None else language.value
    serve(
        design, port, announce=announce, open_browser=browser, language=chosen,
        workshop=Workshop if context.params["no_workshop"] else read_workshop,
    )  # fmt: skip
    err().print("The page has ended.")


def _make_shortcut(*, as_json: bool) -> None:
    """Make an icon that opens the page, and say where it is and how to be rid of it."""
    made = make_shortcut()
    paths = [str(path) for path in (made.path, made.icon) if path is not None]
    if as_json:
        print_json({"shortcut": paths[0], "files": paths})
        return
    err().print(f"Mould design can now be opened by its icon {made.where}.", soft_wrap=True)
    err().print(f"To remove it, delete {' and '.join(paths)}", soft_wrap=True, markup=False)


def _tell(address: str) -> None:
    """Write one line of JSON, at once: a program waits for it before it opens the page."""
    port = urlsplit(address).port
    sys.stdout.write(json.dumps({"address": address, "port": port, "pid": os.getpid()}) + "\n")
    sys.stdout.flush()


LONG_WORD: Final = re.compile(rf"\S{{{MOST_SAID + 1},}}")
UNWRITABLE: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EPIPE)
"""How a system says that stdout takes no more; files report their own failures."""
FAILED = 1
BAD_INPUT = 2

app = typer.Typer(
    cls=VerbGroup,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback(invoke_without_command=True)
def _help(
    context: typer.Context,
    *,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Design a filled, pressed pastry and the printable mould that presses it.

    Example: moulddesign make --weight 75 --ratio 3:7 --pattern lantern

    Numbers may carry units and decimal commas: 68g, 2.4 oz, 68,5, 2 %.
    """
    if version:
        sys.stdout.write(f"moulddesign {__version__}\n")
    elif context.invoked_subcommand is None:
        sys.stdout.write(context.get_help() + "\n")
        if has_desktop():
            sys.stdout.write("For an icon that opens the page: moulddesign page --shortcut\n")


VERBS: Final = MappingProxyType(
    {
        "make": "make_commands.run_make",
        "portion": "weight_commands.run_portion",
        "batch": "batch_command.run_batch",
        "label": "label_command.run_label",
        "trial": "kitchen_commands.run_trial",
        "firmness": "kitchen_commands.run_firmness",
        "syrup": "kitchen_commands.run_syrup",
        "oven": "kitchen_commands.run_oven",
        "water": "kitchen_commands.run_water",
        "coupon": "make_commands.run_coupon",
        "inspect": "file_commands.run_inspect",
        "example": "example_command.run_example",
        "series": "series_command.run_series",
        "share": "share_command.run_share",
        "page": "app.run_page",
        "fit": "fit_command.run_fit",
        "measured": "measured_command.run_measured",
        "twin": "twin_command.run_twin",
        "printers": "make_commands.run_printers",
        "density": "density_command.density_app",
        "patterns": "file_commands.patterns_app",
        "moulds": "moulds_command.moulds_app",
        "workshop": "workshop_command.workshop_app",
        "doughs": "dough_command.doughs_app",
    }
)
"""Where each verb is, in the order of the help."""


class _Verbs(Mapping[str, Any]):
    """The commands of all verbs, each loaded and made when it is asked for: a run needs one."""

    def __getitem__(self, name: str) -> Any:  # noqa: ANN401 (the framework's)
        return _command(*VERBS[name].split("."), name)

    def __iter__(self) -> Iterator[str]:
        return iter(VERBS)

    def __len__(self) -> int:
        return len(VERBS)


@cache
def _command(module: str, what: str, name: str) -> Any:  # noqa: ANN401 (the framework's)
    found = getattr(import_module(f"moulddesign.cli.{module}"), what)
    alone = typer.Typer()
    if isinstance(found, typer.Typer):
        alone.add_typer(found, name=name)
    else:
        alone.command(name, cls=Verb)(found)
    return typer.main.get_group(alone).commands[name]


def command_line() -> Any:  # noqa: ANN401 (the framework's)
    """Return the command with all its verbs."""
    made: Any = typer.main.get_command(app)
    made.commands = _Verbs()
    return made


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
    Of what is too long for a sentence both ends are shown.
    """
    sentence = LONG_WORD.sub(lambda found: f"{found[0][:60]}...{found[0][-60:]}", sentence)
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
    ctrl_c = _CtrlC()
    signal.signal(signal.SIGINT, ctrl_c)
    _open_what_is_closed()
    if isinstance(sys.stdout, TextIOWrapper):  # a console that lacks a letter shows its number
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        code = command_line()(standalone_mode=False)
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
        return usage_sentence(error), BAD_INPUT
    if isinstance(error, MouldError):
        ours = isinstance(error, FindingError | KernelError | WriteError)
        return str(error), FAILED if ours else BAD_INPUT
    if isinstance(error, FileNotFoundError) and error.filename is None:  # os.getcwd says no more
        return "The folder that this was started in is gone; change to another.", FAILED
    if isinstance(error, OSError) and error.errno == errno.ENAMETOOLONG:
        need = say("core.file-unreadable", cause=error.strerror)
        return str(FileError(str(error.filename), need)), BAD_INPUT
    if isinstance(error, OSError) and error.errno in UNWRITABLE:
        _give_up(sys.stdout)
        return f"The output cannot be written ({error.strerror}).", FAILED
    raise error
