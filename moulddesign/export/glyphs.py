"""Which characters card and drawing can print, what stands in the place of others.

Where long words break.
"""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.lettering import open_font
from moulddesign.building import Build
from moulddesign.core import Finding, Verdict, say
from moulddesign.design import Design

FACE: Final = "DejaVuSans.ttf"
BOLD: Final = "DejaVuSans-Bold.ttf"
"""The face of card and drawing; matplotlib brings it."""

UNSEEN: Final = frozenset({"Cc", "Cf", "Zl", "Zp", "Zs"})
"""Unicode categories that are no box where they lack a glyph: spaces, joiners, directions."""

SELECTORS: Final = frozenset({*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)})
"""Variation selectors, which choose a form of the character before them."""

BACKWARD: Final = frozenset({"R", "AL"})
"""Bidirectional classes of letters that run leftwards."""

FORWARD_MARK: Final = "\N{LEFT-TO-RIGHT MARK}"
"""Keeps the figures of a mark in order beside such letters."""

POSTSCRIPT_NAME: Final = 6
"""Number of that name in a font's table of names, by the OpenType specification."""

MOST_NAMED: Final = 20
"""Characters that a finding names one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """The faces that a design's card and drawing are lettered with.

    Parameters
    ----------
    files : tuple of Path
        Fonts that the design names; they print what our own face lacks.
    characters : frozenset of int
        Code points that our own face or one of these has.
    """

    files: tuple[Path, ...]
    characters: frozenset[int]

    def lacks(self, character: str) -> bool:
        """Return whether a character would be printed as an empty box."""
        unseen = unicodedata.category(character) in UNSEEN or ord(character) in SELECTORS
        return not unseen and ord(character) not in self.characters

    @property
    def families(self) -> tuple[str, ...]:
        """Names of the fonts that the design names."""
        return tuple(
            open_font(file).outlines["name"].getBestFamilyName() or "" for file in self.files
        )

    def lacking(self, text: str) -> tuple[str, ...]:
        """Return the characters of a text that no face has, each once, in their order."""
        return tuple(dict.fromkeys(filter(self.lacks, text)))

    def marked(self, text: str) -> str:
        """Return a text with code points in angle marks where no face has the characters.

        Examples
        --------
        >>> own_faces().marked("kuri \u6817\u5b50, roasted")
        'kuri \u20396817 5B50\u203a, roasted'
        """
        backward = any(unicodedata.bidirectional(one) in BACKWARD for one in text)
        fence = FORWARD_MARK if backward else ""
        return "".join(
            f"{fence}{_mark(''.join(run))}{fence}" if lacks else "".join(run)
            for lacks, run in groupby(text, self.lacks)
        )

    def all_marked(self, values: Any) -> Any:  # noqa: ANN401 (plain values of any kind)
        """Return plain values with every text in them marked so."""
        if isinstance(values, str):
            return self.marked(values)
        if isinstance(values, dict):
            return {key: self.all_marked(value) for key, value in values.items()}
        return list(map(self.all_marked, values)) if isinstance(values, list) else values


def _mark(run: str) -> str:
    return f"\u2039{' '.join(f'{ord(one):04X}' for one in run)}\u203a"


def face_path() -> Path:
    """Return the file of our own face."""
    found = find_spec("matplotlib")
    assert found is not None and found.origin is not None  # noqa: S101, PT018 (a dependency)
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" / FACE


def bold_path() -> Path:
    """Return the file of our own face in bold; it takes from the other what it lacks itself."""
    return face_path().with_name(BOLD)


@cache
def own_faces() -> Faces:
    """Return our own face alone."""
    return Faces(files=(), characters=_characters(face_path()))


def faces(design: Design) -> Faces:
    """Return our own face and the fonts that a design's lettering names.

    Parameters
    ----------
    design : Design
        No other font of the machine is used: the same design is the same card everywhere.

    Raises
    ------
    FileError
        A font cannot be read.
    """
    named = [layer.font for layer in design.layers if layer.font is not None]
    files = tuple(map(Path, dict.fromkeys(named)))
    characters = own_faces().characters.union(*map(_characters, files))
    return Faces(files=files, characters=characters)


def name_findings(made: Build) -> tuple[Finding, ...]:
    """Return a warning where a name holds what no face has; nothing where all can be printed.

    Parameters
    ----------
    made : Build
        Its names stand on card and drawing.
    """
    lacking = faces(made.design).lacking("".join(_names(made)))
    if not lacking:
        return ()
    named, more = " ".join(lacking[:MOST_NAMED]), len(lacking) - MOST_NAMED
    return (
        Finding(
            what=say("export.characters-lacking"),
            measured=say("export.characters-and-more", named=named, more=more)
            if more > 0
            else say("export.characters", named=named),
            limit=say("export.code-points-instead"),
            unit="",
            source=say("export.own-face"),
            verdict=Verdict.WARN,
        ),
    )


def _names(made: Build) -> Iterator[str]:
    yield made.design.name
    yield made.design.printer.material
    yield from (centre.name for centre in made.design.portion.centres)
    yield from made.meshes


def _characters(font: Path) -> frozenset[int]:
    """Return what a font can print; the typesetter passes over one without a PostScript name."""
    outlines = open_font(font).outlines
    named = outlines["name"].getDebugName(POSTSCRIPT_NAME) is not None
    return frozenset(outlines.getBestCmap() or ()) if named else frozenset()


LONG_WORD: Final = 12
"""Longer words may break anywhere [letters]."""


def breakable(text: str) -> str:
    """Return text whose long words may be broken at any letter; others break at their hyphens.

    Letters of alphabets that join them are left together, and so are marks with their letter.

    Examples
    --------
    >>> breakable("a chestnut cake")
    'a chestnut cake'
    >>> breakable("chestnutcakes") == "\u200b".join("chestnutcakes")
    True
    """
    pieces = re.split(r"(?<=[-\s])", text)
    return "".join(_broken(piece) if len(piece) > LONG_WORD else piece for piece in pieces)


def _broken(word: str) -> str:
    return word[:1] + "".join(
        f"\u200b{after}" if _may_part(before) and _may_part(after) else after
        for before, after in pairwise(word)
    )


def _may_part(letter: str) -> bool:
    """Return whether a letter stands alone: those of two cases, figures and stops do."""
    return letter.lower() != letter.upper() or unicodedata.category(letter)[0] in "NP"
