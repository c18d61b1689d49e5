"""`moulddesign page`: the local web page."""

import json
import os
import sys
from typing import Annotated
from urllib.parse import urlsplit

import typer

from moulddesign.cli.console import ends_at_once, err
from moulddesign.cli.options import PIECE, AsJson, with_design
from moulddesign.design import Design


@with_design(*PIECE)
def run(
    design: Design,
    *,
    port: Annotated[
        int, typer.Option(metavar="N", min=0, max=65535, help="Port; the next free one if taken.")
    ] = 8467,
    browser: Annotated[
        bool, typer.Option(help="Open the browser, or only print the address.")
    ] = True,
    as_json: AsJson = False,
) -> None:
    """Design a mould by looking at it: a page in the browser, served to this machine alone.

    Example: moulddesign page --no-browser

    Example: moulddesign page --no-browser --port 0 --json
    """
    with ends_at_once():
        from moulddesign.page.serve import serve  # noqa: PLC0415 (loads the web framework)

    def say(address: str) -> None:
        if as_json:
            _tell(address)
        err().print(f"The page is at {address} - Ctrl-C ends it.", soft_wrap=True)

    serve(design, port, say=say, look=browser)
    err().print("The page has ended.")


def _tell(address: str) -> None:
    """Write one line of JSON, at once: a program waits for it before it opens the page."""
    port = urlsplit(address).port
    sys.stdout.write(json.dumps({"address": address, "port": port, "pid": os.getpid()}) + "\n")
    sys.stdout.flush()
