"""The verb `page`: the local page, and an icon that opens it."""

import json
import os
import sys
from typing import Annotated
from urllib.parse import urlsplit

import typer

from moulddesign.cli.console import ends_at_once, err, print_json
from moulddesign.cli.options import PIECE, AsJson, with_design
from moulddesign.cli.shortcut import make_shortcut
from moulddesign.core import Language
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
