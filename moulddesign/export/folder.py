"""A build's folder: written beside, checked, then renamed into place."""

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from moulddesign.building import Build
from moulddesign.check.written import written_findings
from moulddesign.errors import FindingError, WriteError
from moulddesign.export.stl import stl_bytes

REPORT = "report.json"


def publish(made: Build, folder: Path) -> Build:
    """Write a build's files into a folder, whole or not at all, if nothing failed.

    Parameters
    ----------
    made : Build
        What is written.
    folder : Path
        Made new, or put in the place of the one that is there.

    Returns
    -------
    Build
        With what was found when the files were read back.

    Raises
    ------
    WriteError
        It cannot be written; the old folder is untouched.
    FindingError
        A finding failed; the old folder is untouched.
    """
    _refuse_failed(made)
    with staged(folder) as beside:
        made = _write(made, beside)
        _refuse_failed(made)
    return made


def publish_failing(made: Build, folder: Path) -> Build:
    """Write a build's files as `publish` does, in spite of findings that failed."""
    with staged(folder) as beside:
        return _write(made, beside)


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """Give a new folder beside the target; when all went well it takes the target's place.

    Parameters
    ----------
    folder : Path
        The target. Only a folder with a report in it, or an empty one, is replaced.

    Raises
    ------
    WriteError
        Something else is there, or the disk refuses; what was there stays.
    """
    try:
        _may_replace(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise WriteError(str(folder), f"cannot be made ({error.strerror})") from error
    try:
        beside.chmod(0o755)
        yield beside
        _swap(beside, folder)
    except OSError as error:
        raise WriteError(str(folder), f"cannot be written ({error.strerror})") from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _refuse_failed(made: Build) -> None:
    if made.failed:
        raise FindingError(made.failed)


def _may_replace(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise WriteError(str(folder), "is a file; name another folder with --out")
    if any(folder.iterdir()) and not (folder / REPORT).is_file():
        raise WriteError(
            str(folder), f"holds other things (no {REPORT}); name another folder with --out"
        )


def _swap(beside: Path, folder: Path) -> None:
    """Rename the new folder into place; the old one leaves only after that."""
    old = Path(f"{beside}.old")
    if folder.exists():
        folder.rename(old)
    try:
        beside.rename(folder)
    except OSError:
        if old.exists():
            old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _write(made: Build, folder: Path) -> Build:
    for name, mesh in made.meshes.items():
        path = folder / f"{name}.stl"
        path.write_bytes(stl_bytes(mesh))
        made = replace(made, findings=made.findings + written_findings(path, mesh))
    (folder / "design.toml").write_text(made.design.toml(), encoding="utf-8", newline="\n")
    report = json.dumps(made.report(), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_text(report + "\n", encoding="utf-8", newline="\n")
    return made
