"""The command `moulddesign`, its exit codes, and usage errors as sentences.

A run loads its own verb alone: help, the version and most refusals need neither pydantic nor rich.
"""

import errno
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

import typer
from typer.core import TyperCommand

from moulddesign import __version__
from moulddesign.cli import INTERRUPTED
from moulddesign.cli.usage import Verb, VerbGroup, usage_sentence
from moulddesign.core import FileError, FindingError, KernelError, MouldError, WriteError, say
from moulddesign.core.limits import MOST_SAID

LONG_WORD: Final = re.compile(rf"\S{{{MOST_SAID + 1},}}")
UNWRITABLE: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EPIPE)
"""How a system says that stdout takes no more; files report their own failures."""
FAILED = 1
BAD_INPUT = 2


class _Program(VerbGroup):
    """The command; its help names all verbs and loads none of them."""

    def format_help(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401 (as `Verb.parse_args`)
        """Write usage, options, and a sentence for each verb."""
        self.commands = {name: TyperCommand(name, help=said) for name, said in HELP.items()}
        super().format_help(ctx, formatter)


app = typer.Typer(
    cls=_Program,
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
        from moulddesign.cli.shortcut import has_desktop  # noqa: PLC0415 (help and `page` alone)

        if has_desktop():
            sys.stdout.write("For an icon that opens the page: moulddesign page --shortcut\n")


VERBS: Final = MappingProxyType(
    {
        "make": "make_commands.run_make",
        "portion": "weight_commands.run_portion",
        "batch": "batch_command.run_batch",
        "label": "label_command.run_label",
        "trial": "trial_command.run_trial",
        "firmness": "kitchen_commands.run_firmness",
        "syrup": "kitchen_commands.run_syrup",
        "oven": "trial_command.run_oven",
        "water": "kitchen_commands.run_water",
        "coupon": "make_commands.run_coupon",
        "inspect": "file_commands.run_inspect",
        "example": "example_command.run_example",
        "series": "series_command.run_series",
        "share": "share_command.run_share",
        "page": "page_command.run_page",
        "fit": "fit_command.run_fit",
        "measured": "measured_command.run_measured",
        "twin": "twin_command.run_twin",
        "printers": "file_commands.run_printers",
        "density": "density_command.density_app",
        "patterns": "file_commands.patterns_app",
        "moulds": "moulds_command.moulds_app",
        "workshop": "workshop_command.workshop_app",
        "doughs": "dough_command.doughs_app",
    }
)
"""Where each verb is, in the order of the help."""

HELP: Final = MappingProxyType(
    {
        "make": "Make a mould for a piece: files to print, checked, with weights, card and "
        "pictures.",
        "portion": "Say what to weigh for one piece: dough, filling, balls, their scatter, label "
        "weight.",
        "batch": "Totals for N pieces, or for as many as what is on hand makes; of one or "
        "several designs.",
        "label": "Label of a pack: ingredients, allergens, share of the filling, net weight, "
        "nutrition.",
        "trial": "Loss, density and baked size from pieces weighed and measured, and the weights "
        "that follow.",
        "firmness": "How firm a dough is: press a ball flat between two plates; says what force "
        "a mould takes.",
        "syrup": "Net weight and thermometer reading of a pot of syrup when it is done.",
        "oven": "Minutes in the oven until the middle of a piece is hot; an estimate, so probe "
        "one piece.",
        "water": "Water of crust, paste and piece, the loss to expect, and water activity; all "
        "estimated.",
        "coupon": "Three small prints to make first: they measure the printer and what a dough "
        "can show.",
        "inspect": "Check any mesh file: its size and volume, whether it is whole, and whether "
        "it prints.",
        "example": "Print a file to start from, with comments: it works as it is.",
        "series": "Make many moulds from one table: a row for each piece, a folder for each row.",
        "share": "Hand a design on: one file with its drawings, author, licence and a small "
        "picture.",
        "page": "Design a mould by looking at it: a page in the browser, served to this machine "
        "alone.",
        "fit": "Weights that fit a mould that exists: by its sizes, by water, by its mesh, or by "
        "mL.",
        "measured": "Check a printed press with calipers: its real weight, gap and height, and "
        "what to do.",
        "twin": "Make an old mould's twin: a scan's mesh or photos -> height maps and a design "
        "for make.",
        "printers": "List the printers and plastics that a design can name, with their figures.",
        "density": "Find how dense a dough or paste is: by a cup and a scale, its label, or its "
        "recipe.",
        "patterns": "List the bundled patterns and carved faces, or picture them on one sheet.",
        "moulds": "List or change the register of moulds that one has, printed or bought.",
        "workshop": "Show or change what is copied into each design: scale, printer, what was "
        "measured, wages.",
        "doughs": "Show or change the dough book: what trials, the plate test and the sampler "
        "found of doughs.",
    }
)
"""What each verb does: the first sentence of its own help, which shows it without loading it."""


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
