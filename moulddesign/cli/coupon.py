"""`moulddesign coupon`: what to print before a mould."""

from pathlib import Path
from typing import Annotated, Final

import typer

from moulddesign.cli.console import ends_at_once, err, out, print_json, table
from moulddesign.cli.options import MOULD, RELIEF, AsJson, Override, with_design
from moulddesign.design import Design

FOLDER: Final = Path("exports") / "coupons"

FLAGS: Final = {"--printer", "--material", "--draft"}
"""Options of `make` that change a coupon."""

OPTIONS: Final[tuple[Override, ...]] = tuple(
    option for option in (*RELIEF, *MOULD) if option.flag in FLAGS
)


@with_design(*OPTIONS)
def run(
    design: Design,
    *,
    folder: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Where the files go.")
    ] = FOLDER,
    as_json: AsJson = False,
) -> None:
    """Clearance gauge and relief sampler for the printer of a design.

    Example: moulddesign coupon --printer small-bed --material PLA
    """
    with ends_at_once():
        from moulddesign.export import refuse_to_replace  # noqa: PLC0415 (the same)
        from moulddesign.export.coupons import (  # noqa: PLC0415 (light verbs load no geometry)
            made_coupons,
            publish_coupons,
        )

    refuse_to_replace(folder)  # before they take their time
    made = publish_coupons(made_coupons(design), folder)
    report = made.report()
    if as_json:
        print_json(report)
    else:
        rows = [(p["name"], *p["size_mm"], p["print_g"]) for p in report["parts"]]
        out().print(table("Coupons", ("part", "x mm", "y mm", "z mm", "print g"), rows))
        for step, sentence in enumerate(report["how"], start=1):
            out().print(f"{step}. {sentence}")
    err().print(f"Written to {folder}", soft_wrap=True)
