"""The bundled patterns by name, and the files of artwork; loads no geometry library."""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Final

from lxml import etree

from moulddesign.core import FileError, SpecError, say
from moulddesign.design import Design

PICTURES: Final = {".png", ".jpg", ".jpeg"}
SVG: Final = "{http://www.w3.org/2000/svg}"
"""What the names of SVG's elements begin with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Title:
    """What a bundled pattern is called."""

    name: str
    """As the design names it."""
    title: str
    """As its drawing says."""
    description: str


def titles() -> tuple[Title, ...]:
    """Return every bundled pattern's title, in the order of their names.

    Examples
    --------
    >>> [found.title for found in titles() if found.name == "lantern"]
    ['Lantern under a branch']
    """
    return tuple(_title(name) for name in pattern_names())


def _title(name: str) -> Title:
    root = etree.parse(patterns_folder() / f"{name}.svg")
    title, description = (root.findtext(SVG + key, "").strip() for key in ("title", "desc"))
    return Title(name=name, title=title, description=description)


@cache
def patterns_folder() -> Path:
    """Return the folder of the bundled patterns: the wheel's, or the checkout's.

    Raises
    ------
    FileError
        Neither is there.
    """
    package = Path(str(files("moulddesign")))
    for folder in (package / "data" / "patterns", package.parent / "patterns"):
        if any(folder.glob("*.svg")):
            return folder
    raise FileError(str(package / "data" / "patterns"), say("artwork.patterns-missing"))


@cache
def pattern_names() -> tuple[str, ...]:
    """Return the names of the bundled patterns, in the order of the alphabet."""
    return tuple(sorted(path.stem for path in patterns_folder().glob("*.svg")))


def artwork_file(name_or_path: str, folder: Path, field: str = "pattern") -> Path:
    """Return the file of a bundled pattern's name, or of a path that may start from a folder."""
    if name_or_path in pattern_names():
        return patterns_folder() / f"{name_or_path}.svg"
    path = folder / Path(name_or_path).expanduser()
    if Path(name_or_path).suffix.lower() in PICTURES | {".svg"}:
        if path.is_file():
            return path
        need = say("artwork.pattern-file-missing", folder=folder.resolve())
        raise SpecError(field, name_or_path, need)
    (nearest,) = get_close_matches(name_or_path, pattern_names(), n=1, cutoff=0.0)
    raise SpecError(field, name_or_path, say("artwork.unknown-pattern", nearest=nearest))


def refuse_missing(design: Design) -> None:
    """Refuse a design that names a drawing which is not there, before anything is drawn.

    Raises
    ------
    SpecError
        A layer's or a stamp's pattern, or the drawn outline, is no pattern's name and no file.
    """
    for layer in design.layers:
        if layer.pattern is not None:
            artwork_file(layer.pattern, Path())
    if design.pastry.outline.lower().endswith(".svg"):
        artwork_file(design.pastry.outline, Path(), "pastry.outline")
