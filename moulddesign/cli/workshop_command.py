"""`workshop`: shows and changes what is copied into each design of one person."""

from typing import Annotated

import typer

from moulddesign.cli.console import err, key_values, out, print_json, table
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.core import SpecError, say
from moulddesign.design import (
    Workshop,
    gauge_error_mm,
    read_workshop,
    save_workshop,
    workshop_path,
)

workshop_app = typer.Typer(cls=VerbGroup, no_args_is_help=False, pretty_exceptions_enable=False)

AsJson = Annotated[bool, typer.Option("--json", help="Print the workshop as JSON on stdout.")]


@workshop_app.callback(invoke_without_command=True)
def _shown(context: typer.Context, *, as_json: AsJson = False) -> None:
    """Show or change what is copied into each design: scale, printer, what was measured, wages.

    Example: moulddesign workshop set scale_step_g=0.1 printer=small-bed clearance_mm=0.25
    """
    if context.invoked_subcommand is None:
        show_workshop(as_json=as_json)


@workshop_app.command("show", cls=Verb)
def show_workshop(*, as_json: AsJson = False) -> None:
    """Show the workshop, and where it lies.

    Example: moulddesign workshop show
    """
    _show(read_workshop(), as_json=as_json)


@workshop_app.command("set", cls=Verb)
def set_workshop(
    values: Annotated[list[str], typer.Argument(metavar="KEY=VALUE...", help="What to set.")],
    *,
    as_json: AsJson = False,
) -> None:
    """Set values of the workshop; `workshop show` lists the keys.

    Example: moulddesign workshop set scale_step_g=0.1g material=PETG "shrink=0.3 %"
    """
    changed = read_workshop().plain() | dict(key_values("workshop", values))
    _save(Workshop.of(changed), as_json=as_json)


@workshop_app.command("reset", cls=Verb)
def reset_workshop(
    keys: Annotated[
        list[str] | None, typer.Argument(metavar="[KEY...]", help="What to forget; all else.")
    ] = None,
    *,
    as_json: AsJson = False,
) -> None:
    """Forget values of the workshop, or all of them.

    Example: moulddesign workshop reset clearance_mm
    """
    plain = read_workshop().plain() if keys else {}
    for key in keys or ():
        if key not in Workshop.model_fields:
            raise SpecError(
                "workshop", key, say("cli.no-such-key", keys=tuple(Workshop.model_fields))
            )
        plain.pop(key, None)
    _save(Workshop.of(plain), as_json=as_json)


@workshop_app.command("gauge", cls=Verb)
def keep_reading(
    *,
    ring: Annotated[
        int,
        typer.Option(
            "--ring", metavar="N", help="Tightest ring the key slides through by its own weight."
        ),
    ],
    slot: Annotated[
        int,
        typer.Option("--slot", metavar="N", help="Tightest slot its foot goes into without force."),
    ],
    as_json: AsJson = False,
) -> None:
    """Keep what the clearance gauge of `coupon` shows: the printer's error.

    Rings and slots are numbered by the bars on them, 1 is the widest; 0 where the key goes in
    nowhere. Two printed walls face each other in a gap, so the error is half of the wider gap.

    Example: moulddesign workshop gauge --ring 2 --slot 3
    """
    error_mm = gauge_error_mm(ring=ring, slot=slot)
    said = say("cli.gauge-read", gap_mm=2.0 * error_mm, error_mm=error_mm)
    err().print(str(said), soft_wrap=True, markup=False)
    kept = read_workshop().plain() | {"print_error_mm": error_mm}
    _save(Workshop.of(kept), as_json=as_json)


def _save(shop: Workshop, *, as_json: bool) -> None:
    save_workshop(shop)
    _show(shop, as_json=as_json)


def _show(shop: Workshop, *, as_json: bool) -> None:
    plain = shop.plain()
    if as_json:
        print_json({"file": str(workshop_path()), "workshop": plain})
        return
    rows = [
        (str(field.description), key, str(plain.get(key, "-")))
        for key, field in Workshop.model_fields.items()
    ]
    out().print(table("Workshop", ("what it is", "key", "value"), rows))
    err().print(f"It lies in {workshop_path()}", soft_wrap=True)
