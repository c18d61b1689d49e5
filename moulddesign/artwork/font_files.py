"""Font files: the bundled one, those that the operating system keeps, and which one has a text.

A font that is found by itself depends on the machine, so a design that is written names it with the
digest of its file: elsewhere the same design gives the same bytes, or says that the font differs.
"""

import logging
import os
import struct
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib.resources import files
from io import BytesIO
from math import isnan
from pathlib import Path
from typing import Any, Final

import uharfbuzz
from fontTools import unicodedata as scripts
from fontTools.ttLib import TTFont, TTLibError

from moulddesign.core import FileError, Message, MouldError, SpecError, limits, read_bytes, say
from moulddesign.design import Design, Layer
from moulddesign.design.face_tables import FaceTable

# What it says of a font on the way is no sentence of ours.
logging.getLogger("fontTools").addHandler(logging.NullHandler())

OUTLINE_TABLES: Final = ("glyf", "CFF ", "CFF2")


@dataclass(frozen=True, slots=True, eq=False)
class Font:
    """An opened font."""

    path: Path
    outlines: Any
    """fontTools' view of it, a TTFont."""
    shaper: Any
    """HarfBuzz's view of it."""

    @property
    def em(self) -> float:
        """Units in the em square."""
        return float(self.outlines["head"].unitsPerEm)

    @property
    def pitch(self) -> float:
        """From one line to the next [font units]."""
        head = self.outlines["hhea"]
        return float(head.ascent - head.descent + head.lineGap)


def default_font() -> Path:
    """Return the font that is used where none is given: bold, for thin strokes do not press."""
    return regular_font().with_name("DejaVuSans-Bold.ttf")


def regular_font() -> Path:
    """Return the bundled font of running text."""
    return Path(str(files("moulddesign") / "data" / "fonts" / "DejaVuSans.ttf"))


@cache
def open_font(path: Path) -> Font:
    """Return an opened TrueType or OpenType font; the first of a collection.

    Raises
    ------
    FileError
        It cannot be read, is too large, or holds no outlines.
    """
    advice = say("artwork.font-for-one-script")
    raw = read_bytes(path, most_bytes=limits.MOST_FONT_BYTES, advice=advice)
    try:
        outlines = TTFont(BytesIO(raw), fontNumber=0, lazy=True)
        shaper = uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob(raw)))
    # Its head is read without a check, and a WOFF2 asks for a library that may be missing.
    except (TTLibError, uharfbuzz.HarfBuzzError, struct.error, ImportError) as error:
        raise FileError(str(path), say("artwork.no-font")) from error
    if not any(table in outlines for table in OUTLINE_TABLES):
        raise FileError(str(path), say("artwork.font-without-outlines"))
    font = Font(path, outlines, shaper)
    with refused_if_damaged(path):
        outlines.getGlyphSet()
        if font.em == 0.0 or isnan(font.pitch):
            raise FileError(str(path), say("artwork.font-damaged"))
    return font


@contextmanager
def refused_if_damaged(path: Path) -> Iterator[None]:
    """Turn whatever the font library raises where a table of a font is damaged into `FileError`."""
    try:
        yield
    except MouldError:
        raise
    # The library takes a table apart when it is first asked for, and has no one exception for it.
    except Exception as error:
        raise FileError(str(path), say("artwork.font-damaged")) from error


FONT_ENDINGS: Final = (".ttf", ".otf", ".ttc", ".otc")
FULL_NAME: Final = 4
"""Number of a font's full name in its table of names. Source: OpenType specification, name."""
REGULAR: Final = 400
BOLD: Final = 700
"""Weight class of a bold font. Source: OpenType specification, OS/2 usWeightClass."""
ITALIC: Final = 1
"""Bit of fsSelection that says that letters slant. Source: OpenType specification, OS/2."""


def font_folders(
    platform: str = sys.platform, variables: Mapping[str, str] = os.environ
) -> tuple[Path, ...]:
    """Return where an operating system keeps fonts: the user's own first.

    Windows has two folders, macOS three; elsewhere they follow the XDG Base Directory
    Specification and fontconfig's own default.

    Examples
    --------
    >>> [str(path) for path in font_folders("linux", {"HOME": "/home/ada"})][:2]
    ['/home/ada/.local/share/fonts', '/home/ada/.fonts']
    """
    home = Path(variables.get("HOME") or variables.get("USERPROFILE") or Path.home())
    if platform == "win32":
        local = Path(variables.get("LOCALAPPDATA") or home / "AppData" / "Local")
        windows = Path(variables.get("WINDIR") or r"C:\Windows")
        return local / "Microsoft" / "Windows" / "Fonts", windows / "Fonts"
    if platform == "darwin":
        shared = Path("/Library/Fonts"), Path("/System/Library/Fonts")
        return (home / "Library" / "Fonts", *shared)
    own = Path(variables.get("XDG_DATA_HOME") or home / ".local" / "share")
    data = (variables.get("XDG_DATA_DIRS") or "/usr/local/share:/usr/share").split(":")
    return own / "fonts", home / ".fonts", *(Path(each) / "fonts" for each in data if each)


@dataclass(frozen=True, slots=True, eq=False)
class InstalledFont:
    """A font that is installed."""

    path: Path
    name: str
    """Its full name: "Noto Sans Thai Bold"."""
    weight: int
    """Its weight class, 100 to 900."""
    slants: bool
    characters: frozenset[int]
    """Code points that it has."""


@cache
def installed_fonts(folders: tuple[Path, ...]) -> tuple[InstalledFont, ...]:
    """Return the fonts in folders and below them: the best to press first, upright and bold."""
    paths = sorted(
        path
        for folder in folders
        for path in _files_below(folder)
        if path.suffix.lower() in FONT_ENDINGS
    )
    found = [font for font in map(_installed, paths) if font is not None]
    return tuple(sorted(found, key=lambda one: (one.slants, abs(one.weight - BOLD), one.name)))


def _files_below(folder: Path) -> Iterator[Path]:
    """Yield the files of a folder; what may not be read is passed over."""
    for inside, _, names in os.walk(folder):
        yield from (Path(inside) / name for name in names)


def _installed(path: Path) -> InstalledFont | None:
    """Return what an installed font is; None where it is none that can be drawn."""
    try:
        with path.open("rb") as file, TTFont(file, fontNumber=0, lazy=True) as font:
            if not any(table in font for table in OUTLINE_TABLES) or "OS/2" not in font:
                return None
            kind = font["OS/2"]
            return InstalledFont(
                path=path,
                name=font["name"].getDebugName(FULL_NAME) or path.stem,
                weight=int(kind.usWeightClass),
                slants=bool(kind.fsSelection & ITALIC),
                characters=frozenset(font.getBestCmap() or ()),
            )
    # Files that end like fonts may be anything; fontTools has no one exception for that.
    except Exception:  # noqa: BLE001
        return None


def font_of(layer: Layer, folder: Path) -> Path | None:
    """Return the font file of a text layer; None where the bundled one has all its characters.

    A relative path starts from the folder.

    Raises
    ------
    SpecError
        No font is named and none that is installed has all characters, the named font is not
        installed, or the font is not the one that the design was written with.
    FileError
        The font cannot be read.
    """
    if layer.font is not None:
        path = folder / Path(layer.font).expanduser()
    elif layer.font_name is not None:
        path = _named(layer.font_name)
    else:
        return _font_for(layer.text or "")
    if layer.font_sha256 is not None and digest(path) != layer.font_sha256:
        need = say("artwork.other-font", font=layer.font_name or path.name)
        raise SpecError("relief.layers.font_sha256", layer.font_sha256, need)
    return path


def font_keys(layer: Layer, folder: Path) -> dict[str, str]:
    """Return the keys that say which font a text layer is drawn with, for a design that is written.

    None for the bundled font, and for layers that are not text.
    """
    path = None if layer.text is None else font_of(layer, folder)
    if path is None:
        return {}
    named = {} if layer.font is not None else {"font_name": full_name(path)}
    return named | {"font_sha256": digest(path)}


def with_fonts(design: Design) -> Design:
    """Return a design whose text layers say which fonts they are drawn with, as `font_keys` has it.

    Raises
    ------
    SpecError, FileError
        As by `font_of`.
    """

    def named(layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
        return tuple(each.model_copy(update=font_keys(each, Path())) for each in layers)

    relief = design.relief.model_copy(update={"layers": named(design.relief.layers)})
    further = tuple(
        stamp.model_copy(
            update={"layers": named(stamp.layers), "face": _face_with_font(stamp.face)}
        )
        for stamp in design.further_stamps
    )
    face = _face_with_font(design.face)
    return design.model_copy(update={"relief": relief, "face": face, "further_stamps": further})


def _face_with_font(face: FaceTable | None) -> FaceTable | None:
    """Return a face whose own medallion says which font its lettering is drawn with."""
    medallion = None if face is None else face.medallion
    if face is None or medallion is None or medallion.holds is None:
        return face
    held = medallion.holds.model_copy(update=font_keys(medallion.holds.layer, Path()))
    return face.model_copy(update={"medallion": medallion.model_copy(update={"holds": held})})


@cache
def digest(path: Path) -> str:
    """Return the SHA-256 digest of a font file, in hexadecimal digits."""
    raw = read_bytes(
        path, most_bytes=limits.MOST_FONT_BYTES, advice=say("artwork.font-for-one-script")
    )
    return sha256(raw).hexdigest()


def full_name(path: Path) -> str:
    """Return the full name of the font in a file."""
    with refused_if_damaged(path):
        return str(open_font(path).outlines["name"].getDebugName(FULL_NAME) or path.stem)


def _named(name: str) -> Path:
    """Return the file of an installed font; capitals do not matter."""
    for font in installed_fonts(font_folders()):
        if font.name.casefold() == name.casefold():
            return font.path
    raise SpecError("relief.layers.font_name", name, say("artwork.font-not-installed"))


def _font_for(text: str) -> Path | None:
    """Return the best installed font that has a text; None where the bundled one has it."""
    wanted = frozenset(ord(char) for char in text if not char.isspace())
    missing = wanted - frozenset(open_font(default_font()).outlines.getBestCmap())
    if not missing:
        return None
    for font in installed_fonts(font_folders()):
        if wanted <= font.characters:
            return font.path
    char = chr(min(missing))
    raise SpecError("relief.layers.text", text, _to_install(char))


def font_with(characters: frozenset[int]) -> Path | None:
    """Return the installed font that has some characters and reads best; None where none has."""
    found = [one for one in installed_fonts(font_folders()) if characters <= one.characters]
    best = min(found, key=lambda one: (one.slants, abs(one.weight - REGULAR)), default=None)
    return None if best is None else best.path


def _to_install(char: str) -> Message:
    """Return what to install for a character, by the script that Unicode says it belongs to."""
    code_point = f"U+{ord(char):04X}"
    name = scripts.name(char, code_point)
    script = str(scripts.script_name(scripts.script(char)))
    return say("artwork.no-font-has", code_point=code_point, name=name, script=script)
