"""Artwork by name or by file: a bundled pattern, an SVG drawing, or a picture."""

from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path
from typing import Final

from moulddesign.design import Design
from moulddesign.errors import FileError, SpecError
from moulddesign.pastry.region import Region
from moulddesign.pastry.svg import svg_regions

__all__ = [
    "Region",
    "artwork",
    "artwork_file",
    "pattern_names",
    "patterns_folder",
    "refuse_missing",
]

PICTURES: Final = {".png", ".jpg", ".jpeg"}


def patterns_folder() -> Path:
    """Return the folder of the bundled patterns: the wheel's, or the checkout's.

    Raises
    ------
    FileError
        Neither is there.
    """
    package = Path(str(files("moulddesign")))
    for folder in (package / "data" / "patterns", package.parent / "patterns"):
        if folder.is_dir():
            return folder
    raise FileError(str(package / "data" / "patterns"), "is missing; install the package again")


def pattern_names() -> tuple[str, ...]:
    """Return the names of the bundled patterns, in the order of the alphabet."""
    return tuple(sorted(path.stem for path in patterns_folder().glob("*.svg")))


def artwork_file(name_or_path: str, folder: Path) -> Path:
    """Return the file of a pattern's name or of a path.

    Parameters
    ----------
    name_or_path : str
        A bundled pattern's name, or a path to an SVG, PNG or JPEG file.
    folder : Path
        What a relative path starts from: the design file's folder.

    Raises
    ------
    SpecError
        It is no pattern's name, and no file is there.
    """
    if name_or_path in pattern_names():
        return patterns_folder() / f"{name_or_path}.svg"
    path = folder / Path(name_or_path).expanduser()
    if Path(name_or_path).suffix.lower() in PICTURES | {".svg"}:
        if path.is_file():
            return path
        raise SpecError("pattern", name_or_path, f"is not a file in {folder.resolve()}")
    near = get_close_matches(name_or_path, pattern_names(), n=1, cutoff=0.0)
    hint = f"; the nearest is {near[0]}" if near else ""
    need = "must be a bundled pattern or a file that ends in .svg, .png or .jpg" + hint
    raise SpecError("pattern", name_or_path, need)


def refuse_missing(design: Design) -> None:
    """Refuse a design that names a drawing which is not there, before anything is drawn.

    Parameters
    ----------
    design : Design
        Names drawings by paths that lead there.

    Raises
    ------
    SpecError
        A layer's or a stamp's pattern, or the drawn outline, is no pattern's name and no file.
    """
    named = [layer.pattern for layer in design.layers if layer.pattern is not None]
    if design.pastry.outline.lower().endswith(".svg"):
        named.append(design.pastry.outline)
    for name in named:
        artwork_file(name, Path())


def artwork(name_or_path: str, folder: Path, threshold: float | None = None) -> tuple[Region, ...]:
    """Return the regions of a pattern or of a file of one's own.

    Parameters
    ----------
    name_or_path : str
        A bundled pattern's name, or a path to an SVG, PNG or JPEG file.
    folder : Path
        What a relative path starts from: the design file's folder.
    threshold : float, optional
        Brightness below which a picture's pixels stand out, 0 to 1; found by itself otherwise.

    Returns
    -------
    tuple of Region
        In the unit square around the origin, x right and y up, without overlap, deepest first.

    Raises
    ------
    SpecError
        It is no pattern's name, no file is there, or a drawing is given a threshold.
    FileError
        The file cannot become relief.
    """
    path = artwork_file(name_or_path, folder)
    if path.suffix.lower() in PICTURES:
        # scikit-image takes half a second to import, and a drawing does not need it
        from moulddesign.pastry.picture import picture_regions  # noqa: PLC0415

        return picture_regions(path, threshold)
    if threshold is not None:
        raise SpecError("threshold", threshold, "says something of a picture only; leave it out")
    return svg_regions(path)
