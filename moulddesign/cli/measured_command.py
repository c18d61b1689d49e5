"""`measured`: what came off the printer, by calipers: real weights, gap, height, what to do."""

from pathlib import Path
from typing import Annotated, Final

import typer

from moulddesign.cli.console import err, out, print_json, table
from moulddesign.cli.options import AsJson
from moulddesign.core import word
from moulddesign.design import SET_FILE, PieceSize, SetFile, read_set_file, save_readings
from moulddesign.portion import PrintedSet, printed_set

SHOWN: Final = {
    "bore_mm": "width inside, along x",
    "sleeve_mm": "height, table to flange",
    "stamp_mm": "width at the land, along x",
    "thickness_mm": "thickness over all",
    "stop_mm": "height",
    "plunger_mm": "height over all",
}
"""What is measured, by its key."""


def run_measured(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Of a press that make wrote.")],
    *,
    bore: Annotated[
        float | None, typer.Option(metavar="MM", help="Width inside the sleeve, along x.")
    ] = None,
    stamp: Annotated[
        float | None, typer.Option(metavar="MM", help="Width of the stamp at its land, along x.")
    ] = None,
    thickness: Annotated[
        float | None, typer.Option(metavar="MM", help="Thickness of the stamp over all.")
    ] = None,
    stop: Annotated[float | None, typer.Option(metavar="MM", help="Height of the stop.")] = None,
    sleeve: Annotated[
        float | None, typer.Option(metavar="MM", help="Height of the sleeve, table to flange.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Check a printed press with calipers: its real weight, gap and height, and what to do.

    Without readings it lists the sizes to measure. Readings are kept in the folder's set.toml; a
    size that was not read counts as designed. Each is the mean of a few places.

    Example: moulddesign measured exports/mine

    Example: moulddesign measured exports/mine --bore 52.2 --stamp 51.0 --thickness 15.2 --stop 30.1
    """
    found = read_set_file(folder)
    given = {
        "bore_mm": bore,
        "stamp_mm": stamp,
        "thickness_mm": thickness,
        "stop_mm": stop,
        "sleeve_mm": sleeve,
    }
    if any(value is not None for value in given.values()):
        found = save_readings(folder, given)
        err().print(f"Kept in {_file(folder)}", soft_wrap=True)
    made = None if found.readings is None else printed_set(found, str(folder))
    if as_json:
        report = {"sizes": [_size_report(found, one) for one in found.sizes]}
        print_json(report if made is None else report | made.report())
    else:
        _show(found, made)
    return int(made is not None and not made.is_good)


def _file(folder: Path) -> Path:
    return folder / SET_FILE if folder.is_dir() else folder


def _read(found: SetFile, size: PieceSize) -> float | None:
    return None if found.readings is None else found.readings.plain().get(size.key)


def _size_report(found: SetFile, size: PieceSize) -> dict[str, float | str | None]:
    return size.plain() | {"read_mm": _read(found, size)}


def _show(found: SetFile, made: PrintedSet | None) -> None:
    rows = []
    for size in found.sizes:
        read = _read(found, size)
        off = "" if read is None else f"{read - size.mm:+.2f}"
        if read is not None and abs(read - size.mm) > size.within_mm:
            off += " !"
        shown = "" if read is None else f"{read:.2f}"
        part = str(word(size.part))
        rows.append(
            (part, SHOWN.get(size.key, size.key), f"{size.mm:.2f}", size.within_mm, shown, off)
        )
    heads = ("part", "size", "designed mm", "within", "read mm", "off")
    out().print(table(f"{found.name}: sizes by calipers", heads, rows))
    if made is None:
        return
    for sentence in made.sentences:
        out().print(str(sentence))
    out().print(str(made.to_do), soft_wrap=True)
