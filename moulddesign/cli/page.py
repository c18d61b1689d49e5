"""`moulddesign page`: the local web page."""

from typing import Annotated

import typer

from moulddesign.cli.console import err
from moulddesign.cli.options import PIECE, with_design
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
) -> None:
    """Design a mould by looking at it: a page in the browser, served to this machine alone.

    Example: moulddesign page --no-browser
    """
    from moulddesign.page.serve import serve  # noqa: PLC0415 (loads the web framework)

    def say(address: str) -> None:
        err().print(f"The page is at {address} - Ctrl-C ends it.", soft_wrap=True)

    serve(design, port, say=say, look=browser)
    err().print("The page has ended.")
