"""`share`: a design with its drawings in one file, to be handed on."""

from pathlib import Path
from typing import Annotated, Final

import typer

from moulddesign.cli.console import (
    Overwrite,
    ends_at_once,
    err,
    out,
    print_json,
    refuse_to_replace,
    save_bytes,
)
from moulddesign.cli.options import AsJson, Override, with_design
from moulddesign.core import SpecError, say
from moulddesign.design import BUNDLE, Design

SHARING: Final = (
    Override("--author", "share.author", str, "NAME", "Who made the design."),
    Override(
        "--licence",
        "share.licence",
        str,
        "SPDX|TEXT",
        "What others may do with it: an SPDX identifier such as CC-BY-4.0, or a few words.",
    ),
    Override(
        "--customers-file",
        "share.customers_files",
        list[str],
        "FILE",
        "A drawing that is a customer's and stays out, as often as wanted.",
    ),
)
"""Options for what is said of a design that is handed on."""


@with_design(*SHARING)
def run_share(
    design: Design,
    *,
    target: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.zip", help="Default: NAME.zip."),
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Hand a design on: one file with its drawings, author, licence and a small picture.

    `moulddesign make FILE.zip` makes the mould from it, and the page opens it. A drawing that is a
    customer's stays out, here or by customers_files in the design's table [share]: whoever gets
    the file is told to ask for it. Fonts, recipes and prices stay out, too.

    Example: moulddesign share cake.toml --author "The orchard" --licence CC-BY-4.0

    Example: moulddesign share exports/mine --licence "ask me first" --customers-file crest.svg
    """
    path = Path(f"{design.name}{BUNDLE}") if target is None else target
    if path.suffix.lower() != BUNDLE:
        raise SpecError("out", str(path), say("cli.must-end-in", endings=(BUNDLE,)))
    refuse_to_replace(path, overwrite=overwrite)
    with ends_at_once():
        from moulddesign.export.sharing import bundle_of  # noqa: PLC0415 (geometry libraries)

        made = bundle_of(design)
    save_bytes(path, made.content, overwrite=overwrite)
    if as_json:
        share = {} if design.share is None else design.share.plain()
        print_json(
            {
                "file": str(path),
                "name": design.name,
                "author": share.get("author"),
                "licence": share.get("licence"),
                "files": list(made.files),
                "left_out": [*made.customers, *made.recipes],
            }
        )
    else:
        out().print(f"In it: {', '.join(made.files)}.", markup=False)
        for name in made.customers:
            out().print(f"Left out, for it is a customer's: {name}.", markup=False)
        for name in made.recipes:
            out().print(f"Left out, for recipes are not shared: {name}.", markup=False)
    err().print(f"Written to {path}", soft_wrap=True)
