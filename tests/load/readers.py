"""What reads each kind of file that a person gives, and what came of one such file."""

from pathlib import Path

from moulddesign.artwork.font_files import open_font
from moulddesign.artwork.lettering import lettering
from moulddesign.artwork.patterns import picture_regions
from moulddesign.artwork.svg import svg_regions
from moulddesign.core import MouldError
from moulddesign.design import Design, Register, read_set_file
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.kitchen.recipe import Recipe
from moulddesign.kitchen.trial import read_weighings
from moulddesign.relief.height_map import read_height_map
from moulddesign.series.table import read_series

LONGEST_SENTENCE = 600
"""A sentence repeats what was given shortened [characters]."""


def _font(path):
    open_font.cache_clear()
    return lettering("Quitte 8", path)


def _picture(path):
    heights = read_height_map(path)
    return picture_regions(path), heights


def _tables(path):
    """Read a TOML file as what its name says that it is, a design otherwise."""
    kinds = {
        "recipe": Recipe.read,
        "moulds": Register.read,
        "sleeve": read_set_file,
        "series": lambda file: read_series(file, Design()),
    }
    return kinds.get(path.stem.partition("-")[0], Design.read)(path)


def _rows(path):
    if path.stem.startswith("weighings"):
        return read_weighings(path)
    return read_series(path, Design())


READERS = {
    "stl": read_mesh,
    "3mf": read_mesh,
    "obj": read_mesh,
    "ply": read_mesh,
    "svg": svg_regions,
    "png": _picture,
    "toml": _tables,
    "csv": _rows,
    "ttf": _font,
}


def outcome(path: Path) -> str:
    """Return "read", or the sentence with which a file was refused; anything else is raised."""
    try:
        READERS[path.suffix[1:]](path)
    except MouldError as error:
        said = str(error)
        lines = said.splitlines()
        assert all(line.endswith((".", ":")) for line in lines), said[:300]
        assert len(lines) == 1 or path.suffix in {".toml", ".csv"}, said[:300]
        longest = max(map(len, lines))
        assert longest < LONGEST_SENTENCE + len(str(path)), f"{longest} characters: {said[:300]}"
        return said
    return "read"
