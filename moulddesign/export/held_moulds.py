"""What a folder holds already, and whether a build may take its place.

Only what a build wrote is ever replaced, and a mould of another geometry only where one insists:
the print of it may be in use, and its files may be the only ones.
"""

import hashlib
import json
import os
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain, count
from math import isclose
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.font_files import with_fonts
from moulddesign.core import FileError, MouldError, WriteError, read_json, say
from moulddesign.design import DESIGN_FILE, SET_FILE, Design, FileKind, Kind, is_file, rename_files
from moulddesign.design.assets import COPIED
from moulddesign.portion import figures

REPORT: Final = "report.json"
ALWAYS_OURS: Final = frozenset({REPORT, DESIGN_FILE, SET_FILE, "set.3mf", "parts.png"})
"""What builds and coupons write whether or not their report lists it."""

SYSTEM_FILES: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""What file managers put into a folder that somebody looks at; they may be lost."""

SHAPING: Final = ("pastry", "relief", "face", "mould", "further_stamps", "kept")
"""Tables of a design that shape its mould; the portion does so by its volume."""
NO_SHAPE: Final = frozenset({"silicone_density_g_per_ml", "colour"})
"""Keys of theirs that do not."""
SAME_VOLUME: Final = 1e-6
"""Volumes that differ by no more, as a share, are the same number computed in another order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldMould:
    """The mould that a folder holds."""

    digest: str | None
    """As by `shape_digest`; None where its design cannot be read."""
    volume_ml: float
    """Of the piece that it was made for."""
    finished_g: float
    width_mm: float
    made: str
    """Day on which it was written: 2026-05-03."""


def check_no_file_in_place(folder: Path) -> None:
    """Raise `WriteError` where a file or device is in place of a folder, or of one around it."""
    try:
        target = Path(os.path.realpath(folder))
        there = next((path for path in (target, *target.parents) if path.exists()), target.parent)
        file = there if there.exists() and not there.is_dir() else None
    except (OSError, ValueError) as error:
        raise WriteError(
            str(folder), say("export.folder-not-made", reason=reason_of(error))
        ) from error
    if file is not None:
        inside = say("export.folder-in-a-file", file=file.name)
        raise WriteError(str(folder), say("export.folder-is-a-file") if file == target else inside)


def check_replaceable(folder: Path, made: Collection[str] = ()) -> None:
    """Raise `WriteError` where something is there that no build wrote, for it would be lost.

    Parameters
    ----------
    made : collection of str
        Files that take the place of those of the same names, whatever a damaged report lists.
    """
    check_no_file_in_place(folder)
    try:
        # `new/../..` exists only once it is resolved, and is what would be replaced.
        target = Path(os.path.realpath(folder))
        found = {path.name for path in target.iterdir()} if target.is_dir() else set()
        found -= SYSTEM_FILES
        ours = _listed_files(target / REPORT) if REPORT in found else None
    except (OSError, ValueError) as error:
        raise WriteError(
            str(folder), say("export.folder-not-made", reason=reason_of(error))
        ) from error
    if found and REPORT not in found:
        raise WriteError(str(folder), say("export.folder-without-report", report=REPORT))
    if found and ours is None and not made:
        raise WriteError(str(folder), say("export.folder-with-other-report", report=REPORT))
    if unlisted := sorted(found - (ours or ALWAYS_OURS) - set(made)):
        raise WriteError(
            str(folder), say("export.folder-with-unlisted-file", name=unlisted[0], report=REPORT)
        )


def has_same_mould(held: Design, design: Design) -> bool:
    """Return whether two designs have moulds of the same geometry.

    Raises
    ------
    FileError
        A file that one names cannot be read.
    MouldError
        The weights of one do not go together.
    """
    volumes_ml = (figures(each).piece.volume_ml for each in (held, design))
    return shape_digest(held) == shape_digest(design) and isclose(*volumes_ml, rel_tol=SAME_VOLUME)


def refuse_to_lose(design: Design | None, folder: Path) -> None:
    """Refuse to write a design where another mould lies.

    Parameters
    ----------
    design : Design or None
        What is to be written; None for what is no mould at all.
    folder : Path
        Where to. A mould of the same geometry there may be refreshed.

    Raises
    ------
    FileError
        Another mould lies there; the sentence says which, and a name that is free.
    MouldError
        The design's weights do not go together.
    """
    held = held_mould(folder)
    if held is None:
        return
    if design is not None and held.digest == shape_digest(design):
        volume_ml = figures(design).piece.volume_ml
        if isclose(volume_ml, held.volume_ml, rel_tol=SAME_VOLUME):
            return
    free = next(name for number in count(2) if not (name := _numbered(folder, number)).exists())
    raise FileError(
        str(folder),
        say(
            "export.other-mould",
            width_mm=held.width_mm,
            finished_g=held.finished_g,
            made=held.made,
            free=free.name,
        ),
    )


def _numbered(folder: Path, number: int) -> Path:
    return folder.with_name(f"{folder.resolve().name}-{number}")


def held_mould(folder: Path) -> HeldMould | None:
    """Return the mould that a folder holds, None where it holds none."""
    try:
        report = read_json(folder / REPORT, otherwise=say("export.report-unread"))
        pastry, portion = report["pastry"], report["portion"]
        written = datetime.fromtimestamp((folder / REPORT).stat().st_mtime, tz=UTC).astimezone()
        return HeldMould(
            digest=_read_digest(folder / DESIGN_FILE),
            volume_ml=float(portion["volume_ml"]),
            finished_g=float(portion["finished_g"]),
            width_mm=float(pastry["width_mm"]),
            made=written.date().isoformat(),
        )
    except (FileError, OSError, ValueError, LookupError, TypeError):
        return None  # nothing there, coupons, or no report of ours, which `check_replaceable` says


def _read_digest(path: Path) -> str | None:
    try:
        return shape_digest(Design.read(path))
    except MouldError:
        return None


def shape_digest(design: Design) -> str:
    """Return a digest of the keys that shape a design's mould, but for the portion's.

    Names, weighing, label, batch and plastic do not count. A file counts by its content.

    Raises
    ------
    FileError
        A file that the design names cannot be read.
    """
    plain = rename_files(with_fonts(design).report(), Design, _digest_of_file)
    shape: dict[str, Any] = {name: _shaping(plain.get(name)) for name in SHAPING}
    printer = design.printer
    if design.mould.kind is Kind.CAST:
        shape["purpose"] = design.portion.purpose.value  # a master says what is no food
    shape["printer"] = [printer.shrink, printer.layer_height_mm]
    if shape["mould"].get("cavities", 1) > 1:
        shape["printer"] += printer.bed_mm  # which the cavities are laid out for
    return hashlib.sha256(json.dumps(shape, sort_keys=True).encode()).hexdigest()


def _shaping(value: Any) -> Any:  # noqa: ANN401 (plain values)
    """Return nested plain values without the keys that shape nothing."""
    if isinstance(value, dict):
        return {key: _shaping(inner) for key, inner in value.items() if key not in NO_SHAPE}
    return [_shaping(each) for each in value] if isinstance(value, list) else value


def _digest_of_file(kind: FileKind, name: str) -> str:
    if not is_file(kind, name) or kind not in COPIED | {FileKind.FONT}:
        return name
    try:
        return hashlib.sha256(Path(name).read_bytes()).hexdigest()
    except (OSError, ValueError) as error:
        raise FileError(name, say("core.file-unreadable", cause=reason_of(error))) from error


def _listed_files(path: Path) -> set[str] | None:
    """Return the files that a report lists; None where it is no report of ours.

    Raises
    ------
    OSError
        It cannot be read.
    """
    try:
        report = read_json(path, otherwise=say("export.report-unread"))
        version = report["moulddesign"]
        parts = chain.from_iterable(part.get("files", ()) for part in report.get("parts", ()))
        return {*ALWAYS_OURS, *report.get("files", ()), *parts} if version else None
    except FileError as error:
        if isinstance(error.__cause__, OSError):
            raise error.__cause__ from None
        return None
    except (LookupError, TypeError, AttributeError):
        return None  # somebody else's, of whatever form


def reason_of(error: Exception) -> str:
    """Return what a system says of an error, as the end of a sentence."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
