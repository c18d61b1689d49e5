"""Digests in a report: what its folder was made from, and whether all of it is still as written.

    "digests": {
      "asked":  of the version, the design, what its files hold, and what was asked to be written
      "files":  of each file but the report, by name
      "report": of the report's text without this line
    }

Readings are added to the file of a set later, so they do not count.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.font_files import with_fonts
from moulddesign.core import MouldError, read_json, say
from moulddesign.design import DESIGN_FILE, SET_FILE, Design, collect_drawings, read_set_file
from moulddesign.export.formats import ExportOptions
from moulddesign.export.held_moulds import REPORT

DIGESTS: Final = "digests"


def design_as_written(design: Design) -> tuple[Design, dict[str, Path]]:
    """Return a design as it stands in its folder, and the drawings that are copied beside it.

    A name that follows from the design is written down: the drawings have other names there. So are
    the fonts, for another machine may have others.

    Raises
    ------
    SpecError, FileError
        A font is not there.
    """
    return collect_drawings(with_fonts(design.with_values({"name": design.name})))


def asked_digest(design: Design, drawings: Mapping[str, Path], options: ExportOptions) -> str:
    """Return a digest of all that decides which files a build gets, and what they hold.

    Parameters
    ----------
    design : Design
        As it stands in the folder.
    drawings : mapping of str to Path
        What is copied beside it, by its name there.

    Raises
    ------
    OSError
        A drawing cannot be read.
    """
    asked = asdict(options) | {
        "design": design.toml(),
        "printer": design.printer.report(),
        "drawings": {name: _digest(path.read_bytes()) for name, path in drawings.items()},
        "recipe": None if options.recipe is None else options.recipe.plain(),
    }
    del asked["overwrite"]
    return _digest(json.dumps(asked, sort_keys=True).encode())


def digests_of(report: Mapping[str, Any], folder: Path, asked: str) -> dict[str, Any]:
    """Return the digests for a build's report, which lists the files in its folder."""
    files = {name: _file_digest(folder / name) for name in report["files"] if name != REPORT}
    return _sealed(report, {"asked": asked, "files": files})


def whole_report(folder: Path, asked: str | None) -> dict[str, Any] | None:
    """Return the report of a folder that holds all that is asked for, as it was written; else None.

    Files that no report lists do not count.
    """
    path = folder / REPORT
    try:
        report = _report(path)
        digests = report[DIGESTS]
        del digests["report"]
        is_whole = (
            digests["asked"] == asked
            and plain_text(report | {DIGESTS: _sealed(report, digests)}).encode()
            == path.read_bytes()
            and all(_file_digest(folder / name) == was for name, was in digests["files"].items())
        )
    except (MouldError, OSError, LookupError, TypeError, ValueError, AttributeError):
        return None  # nothing there, another version's, or damaged
    return report if is_whole else None


def is_made_from(folder: Path, asked: str | None) -> bool:
    """Return whether a folder was made from what is asked for, damaged or not."""
    try:
        return asked is not None and _report(folder / REPORT)[DIGESTS]["asked"] == asked
    except (MouldError, LookupError, TypeError):
        return False


def design_without_digests(folder: Path) -> Design | None:
    """Return the design in a folder whose report is damaged or has no digests; else None."""
    try:
        if not (folder / REPORT).is_file() or DIGESTS in _report(folder / REPORT):
            return None
    except (MouldError, TypeError):
        pass  # no JSON, or no table
    try:
        return Design.read(folder / DESIGN_FILE)
    except MouldError:
        return None


def _report(path: Path) -> Any:  # noqa: ANN401 (plain values)
    return read_json(path, otherwise=say("export.report-unread"))


def _sealed(report: Mapping[str, Any], digests: dict[str, Any]) -> dict[str, Any]:
    """Return a report's digests with that of its text, which holds the others."""
    return digests | {"report": _digest(plain_text(dict(report) | {DIGESTS: digests}).encode())}


def plain_text(report: Mapping[str, Any]) -> str:
    """Return plain values as the text of a report."""
    return json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _file_digest(path: Path) -> str:
    if path.name == SET_FILE:
        found = read_set_file(path)
        return _digest(found.model_copy(update={"readings": None}).toml(found.made_with).encode())
    return _digest(path.read_bytes())


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
