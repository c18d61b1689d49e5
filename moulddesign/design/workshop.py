"""The workshop: what is the same for every design of one person.

It lies in the platform's folder for settings. Its values are copied into each design: a design
never depends on the workshop of who reads it.
"""

import os
from collections.abc import Collection, Mapping
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import tomli_w

from moulddesign.core import Language, WriteError, replace_file, say
from moulddesign.design.design import Design
from moulddesign.design.dough_book import DoughBook
from moulddesign.design.reading import read_tables
from moulddesign.design.schema import Table, given
from moulddesign.design.services import OWN_PRINTER, SERVICE


class Units(StrEnum):
    """What weights and sizes are printed in."""

    METRIC = "metric"
    US = "us"


VARIABLE: Final = "MOULDDESIGN_WORKSHOP"
"""Environment variable that names another file, which need not exist."""


class Workshop(Table):
    """What somebody has: the scale, the printer, what was measured of it, wages."""

    scale_step_g: float | None = given(
        None, "Smallest step of the scale", unit="g", gt=0, le=50, main=True
    )
    hand_error_g: float | None = given(
        None,
        "How far a hand misses a weight, standard deviation",
        unit="g",
        ge=0,
        le=50,
        main=True,
    )
    units: Units | None = given(
        None, "What is printed: metric, or us for ounces and inches too", main=True
    )
    language: Language | None = given(
        None, "Language of the page, of card, drawing and sheets", main=True
    )
    printer: str | None = given(None, "Printer by name", min_length=1, main=True)
    library: str | None = given(
        None, "File of one's own printers and materials, with its folder", min_length=1
    )
    material: str | None = given(None, "Plastic that is printed", min_length=1, main=True)
    clearance_mm: float | None = given(
        None,
        "Gap between stamp and bore; left out, it follows from the printer's error",
        unit="mm",
        ge=0.05,
        le=2,
        main=True,
    )
    print_error_mm: float | None = given(
        None, "How far a printed wall lies from its mesh, as the gauge of `coupon` shows it",
        unit="mm", ge=0, le=0.5,
        main=True,
    )  # fmt: skip
    shrink: float | None = given(
        None,
        "Share by which prints come out smaller than drawn",
        ge=0,
        le=0.05,
        main=True,
    )
    wage_per_hour: float | None = given(None, "Wage of an hour", ge=0, le=1e6, main=True)
    energy_per_oven_load: float | None = given(
        None,
        "Price of the energy of one oven load",
        ge=0,
        le=1e6,
        main=True,
    )
    currency: str | None = given(
        None, "Currency of the prices, as printed", max_length=8, main=True
    )


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
        "language": "language",
    }
)
"""Key of a design that each one sets; the others are the command line's own."""

OWN_PRINTER_KEYS: Final = (*(f"printer.{key}" for key in OWN_PRINTER), "mould.clearance_mm")
"""What tells of one's own printer, and nothing of a printing service."""


def workshop_path() -> Path:
    """Return where the workshop lies, whether or not it is there."""
    import typer  # noqa: PLC0415 (it alone knows the platform's folder)

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


def save_workshop(shop: Workshop) -> None:
    """Write the workshop, if a design can be made with it.

    Raises
    ------
    SpecError
        No design takes one of its values.
    WriteError
        It cannot be written.
    """
    Design().with_values(free_values(shop, Design(), ()))
    write_tables(workshop_path(), shop.plain())


def dough_book_path() -> Path:
    """Return where the dough book lies: beside the workshop."""
    return workshop_path().with_name("doughs.toml")


def read_dough_book() -> DoughBook:
    """Return the dough book; an empty one where there is none.

    Raises
    ------
    FileError
        The file cannot be read, or holds mistakes.
    """
    path = dough_book_path()
    return read_tables(path, DoughBook, DoughBook.of) if path.is_file() else DoughBook()


def save_dough_book(book: DoughBook) -> None:
    """Write the dough book; an empty one leaves no file.

    Raises
    ------
    WriteError
        It cannot be written.
    """
    if book.dough:
        write_tables(dough_book_path(), book.plain())
    else:
        dough_book_path().unlink(missing_ok=True)


def write_tables(path: Path, plain: Mapping[str, Any]) -> None:
    """Write plain values as a TOML file, its folder too where that is missing.

    Raises
    ------
    WriteError
        It cannot be written.
    """
    make_folder_of(path)
    replace_file(path, tomli_w.dumps(plain).encode())


def make_folder_of(path: Path) -> None:
    """Make the folder of a file where it is missing; WriteError where that cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(str(path), say("core.cannot-be-written", reason=error.strerror)) from error


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
    machine = values.get("printer.machine", design.printer.machine)
    own = OWN_PRINTER_KEYS if machine == SERVICE else ()
    kept = {key: value for key, value in values.items() if _has(design, key) and key not in own}
    before = (key for key in design.from_workshop if key not in (*asked, *own))
    from_workshop = (*before, *kept)
    if from_workshop == design.from_workshop:
        return design
    return design.with_values(kept | {"from_workshop": from_workshop})


def with_changed_workshop(design: Design, shop: Workshop) -> Design:
    """Return a design that follows a workshop where its values were a workshop's, or usual ones."""
    usual = Design().with_values({"mould.kind": design.mould.kind})
    changed: dict[str, Any] = {}
    followed = []
    for key, dotted in IN_DESIGN.items():
        if not _has(design, dotted) or (
            design.printer.service is not None and dotted in OWN_PRINTER_KEYS
        ):
            continue
        value, default = getattr(shop, key), _value(usual, dotted)
        if dotted in design.from_workshop or _value(design, dotted) == default:
            changed[dotted] = default if value is None else value
            followed += [] if value is None else [dotted]
    return design.with_values(changed | {"from_workshop": tuple(followed)})


def _value(design: Design, key: str) -> Any:  # noqa: ANN401 (of any field)
    table, name = _place(design, key)
    return getattr(table, name)


def _is_set(design: Design, key: str) -> bool:
    table, name = _place(design, key)
    return name in table.model_fields_set


def _has(design: Design, key: str) -> bool:
    table, name = _place(design, key)
    return name in type(table).model_fields


def _place(design: Design, key: str) -> tuple[Table, str]:
    """Return the table of a dotted key, the design itself where it has no dot, and its name."""
    table, _, name = key.rpartition(".")
    return (getattr(design, table) if table else design), name
