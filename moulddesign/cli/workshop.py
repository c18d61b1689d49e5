"""The workshop: what is the same for every design of one person; the verb `workshop` changes it.

It lies in the platform's folder for settings, and its values are copied into each design: a design
never depends on the workshop of who reads it.
"""

import os
from collections.abc import Collection, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Final

import tomli_w
import typer

from moulddesign.cli.console import Language, Units, err, out, print_json, save_text, table
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.core import SpecError, WriteError, say
from moulddesign.design import Design, gauge_error_mm
from moulddesign.design.reading import read_tables
from moulddesign.design.schema import Table, given

VARIABLE: Final = "MOULDDESIGN_WORKSHOP"
"""Environment variable that names another file, which need not exist."""


class Workshop(Table):
    """What somebody has: the scale, the printer, what was measured of it, wages."""

    scale_step_g: float | None = given(None, "Smallest step of the scale", unit="g", gt=0, le=50)
    hand_error_g: float | None = given(
        None, "How far a hand misses a weight, standard deviation", unit="g", ge=0, le=50
    )
    units: Units | None = given(None, "What is printed: metric, or us for ounces and inches too")
    language: Language | None = given(None, "Language of the page")
    printer: str | None = given(None, "Printer by name", min_length=1)
    library: str | None = given(
        None, "File of one's own printers and materials, with its folder", min_length=1
    )
    material: str | None = given(None, "Plastic that is printed", min_length=1)
    clearance_mm: float | None = given(
        None,
        "Gap between stamp and bore; left out, it follows from the printer's error",
        unit="mm",
        ge=0.05,
        le=2,
    )
    print_error_mm: float | None = given(
        None, "How far a printed wall lies from its mesh, as the gauge of `coupon` shows it",
        unit="mm", ge=0, le=0.5,
    )  # fmt: skip
    shrink: float | None = given(
        None, "Share by which prints come out smaller than drawn", ge=0, le=0.05
    )
    wage_per_hour: float | None = given(None, "Wage of an hour", ge=0, le=1e6)
    energy_per_oven_load: float | None = given(
        None, "Price of the energy of one oven load", ge=0, le=1e6
    )
    currency: str | None = given(None, "Currency of the prices, as printed", max_length=8)


IN_DESIGN: Final[Mapping[str, str]] = MappingProxyType(
    {
        "scale_step_g": "scale.resolution_g",
        "hand_error_g": "scale.hand_error_g",
        "library": "printer.library",
        "printer": "printer.machine",
        "material": "printer.material",
        "print_error_mm": "printer.print_error_mm",
        "clearance_mm": "mould.clearance_mm",
        "shrink": "printer.shrink",
        "wage_per_hour": "price.wage_per_hour",
        "energy_per_oven_load": "price.energy_per_oven_load",
        "currency": "batch.currency",
    }
)
"""Key of a design that each one sets; the others are the command line's own."""


def workshop_path() -> Path:
    """Return where the workshop lies, whether or not it is there."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else Path(typer.get_app_dir("moulddesign")) / "workshop.toml"


def read_workshop(*, ignored: bool = False) -> Workshop:
    """Return the workshop; an empty one where there is none, or where it does not count.

    Raises
    ------
    FileError
        The file cannot be read, or holds mistakes.
    """
    path = workshop_path()
    return Workshop() if ignored or not path.is_file() else read_tables(path, Workshop, Workshop.of)


def free_values(shop: Workshop, design: Design, asked: Collection[str]) -> dict[str, Any]:
    """Return what a workshop sets of a design, by the design's keys: what nobody else sets.

    Parameters
    ----------
    design : Design
        As its file was read.
    asked : collection of str
        Keys that options set.
    """
    values = {IN_DESIGN[key]: value for key, value in shop.plain().items() if key in IN_DESIGN}
    return {
        key: value
        for key, value in values.items()
        if key not in asked and not _is_set(design, key) and value is not None
    }


def with_workshop(design: Design, values: Mapping[str, Any], asked: Collection[str]) -> Design:
    """Return a design with a workshop's values, and which of its values are a workshop's.

    Parameters
    ----------
    design : Design
        With the values of its file and of options.
    values : mapping
        As by `free_values`; what its kind of mould does not have is left out.
    asked : collection of str
        Keys that options set.
    """
    kept = {key: value for key, value in values.items() if _has(design, key)}
    if kept:
        shown = ", ".join(f"{key} = {value}" for key, value in kept.items())
        err().print(f"From the workshop: {shown}.", soft_wrap=True, markup=False)
    from_workshop = (*(key for key in design.from_workshop if key not in asked), *kept)
    if from_workshop == design.from_workshop:
        return design
    return design.with_values(kept | {"from_workshop": from_workshop})


def _is_set(design: Design, key: str) -> bool:
    table, name = key.split(".")
    return name in getattr(design, table).model_fields_set


def _has(design: Design, key: str) -> bool:
    table, name = key.split(".")
    return name in type(getattr(design, table)).model_fields


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
    changed = read_workshop().plain()
    for text in values:
        key, sign, value = text.partition("=")
        if not sign:
            raise SpecError("workshop", text, say("cli.key-and-value"))
        changed[key.strip()] = value.strip()
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
    """Write the workshop, if a design can be made with it."""
    Design().with_values(free_values(shop, Design(), ()))
    path = workshop_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = say("cli.cannot-be-written", reason=error.strerror)
        raise WriteError(str(path), reason) from error
    save_text(path, tomli_w.dumps(shop.plain()), overwrite=True)
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
