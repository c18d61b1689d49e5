"""Fonts of card and drawing: which characters they have, and where long words may break."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.font_files import font_of, open_font, regular_font
from moulddesign.building import Build
from moulddesign.core import Finding, Verdict, say
from moulddesign.design import Design

INVISIBLE: Final = frozenset({"Cc", "Cf", "Zl", "Zp", "Zs"})
"""Unicode categories that print no box where a font lacks them: spaces, joiners, directions."""

VARIATION_SELECTORS: Final = frozenset({*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)})
"""Code points that choose a form of the character before them."""

RIGHT_TO_LEFT: Final = frozenset({"R", "AL"})
"""Bidirectional classes of letters that run from right to left."""

LEFT_TO_RIGHT_MARK: Final = "\N{LEFT-TO-RIGHT MARK}"
"""Keeps the digits of a code point in order beside such letters."""

POSTSCRIPT_NAME: Final = 6
"""Number of that name in a font's table of names, by the OpenType specification."""

MOST_NAMED: Final = 20
"""Characters that a finding names one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fonts:
    """The bundled fonts, and those that a design's text layers are drawn with."""

    files: tuple[Path, ...]
    """Fonts that the design names; they print what the bundled ones lack."""
    characters: frozenset[int]
    """Code points that some font has."""

    def lacks(self, character: str) -> bool:
        """Return whether a character would be printed as an empty box."""
        invisible = (
            unicodedata.category(character) in INVISIBLE or ord(character) in VARIATION_SELECTORS
        )
        return not invisible and ord(character) not in self.characters

    @property
    def families(self) -> tuple[str, ...]:
        """Names of the fonts that the design names."""
        return tuple(
            open_font(file).outlines["name"].getBestFamilyName() or "" for file in self.files
        )

    def missing(self, text: str) -> tuple[str, ...]:
        """Return the characters of a text that no font has, each once, in their order."""
        return tuple(dict.fromkeys(filter(self.lacks, text)))

    def with_code_points(self, text: str) -> str:
        """Return a text with code points in angle quotes in place of what no font has.

        Examples
        --------
        >>> bundled_fonts().with_code_points("kuri \u6817\u5b50, roasted")
        'kuri \u20396817 5B50\u203a, roasted'
        """
        mixed = any(unicodedata.bidirectional(one) in RIGHT_TO_LEFT for one in text)
        mark = LEFT_TO_RIGHT_MARK if mixed else ""
        return "".join(
            f"{mark}\u2039{' '.join(f'{ord(one):04X}' for one in run)}\u203a{mark}"
            if lacks
            else "".join(run)
            for lacks, run in groupby(text, self.lacks)
        )

    def all_with_code_points(self, values: Any) -> Any:  # noqa: ANN401 (plain values of any kind)
        """Return plain values with every text in them treated so."""
        if isinstance(values, str):
            return self.with_code_points(values)
        if isinstance(values, dict):
            return {key: self.all_with_code_points(value) for key, value in values.items()}
        if isinstance(values, list):
            return [self.all_with_code_points(value) for value in values]
        return values


@cache
def bundled_fonts() -> Fonts:
    """Return the bundled fonts alone."""
    return Fonts(files=(), characters=_characters(regular_font()))


def fonts_of(design: Design) -> Fonts:
    """Return the bundled fonts and those that a design's text layers are drawn with.

    No other font of the machine is used, so that the same design is the same card everywhere.
    """
    drawn = [font_of(layer, Path()) for layer in design.layers if layer.text is not None]
    files = tuple(dict.fromkeys(path for path in drawn if path is not None))
    characters = bundled_fonts().characters.union(*map(_characters, files))
    return Fonts(files=files, characters=characters)


def unprintable_findings(build: Build) -> tuple[Finding, ...]:
    """Return a warning where a name holds what no font has; nothing where all can be printed."""
    missing = fonts_of(build.design).missing("".join(_names(build)))
    if not missing:
        return ()
    named, more = " ".join(missing[:MOST_NAMED]), len(missing) - MOST_NAMED
    return (
        Finding(
            what=say("export.characters-lacking"),
            measured=say("export.characters-and-more", named=named, more=more)
            if more > 0
            else say("export.characters", named=named),
            limit=say("export.code-points-instead"),
            unit="",
            source=say("export.bundled-font"),
            verdict=Verdict.WARN,
        ),
    )


def _names(build: Build) -> Iterator[str]:
    yield build.design.name
    yield build.design.printer.material
    yield from (centre.name for centre in build.design.portion.centres)
    yield from build.meshes


def _characters(font: Path) -> frozenset[int]:
    """Return what a font can print: nothing without a PostScript name, for Typst skips such."""
    outlines = open_font(font).outlines
    named = outlines["name"].getDebugName(POSTSCRIPT_NAME) is not None
    return frozenset(outlines.getBestCmap() or ()) if named else frozenset()


LONG_WORD: Final = 12
"""Longer words may break between any two letters [letters]."""

ZERO_WIDTH_SPACE: Final = "\u200b"
"""Where a line may break."""


def with_word_breaks(text: str) -> str:
    """Return text whose long words may break between any two letters; others break at hyphens.

    Letters of scripts that join them stay together, and so do combining marks and their letter.

    Examples
    --------
    >>> with_word_breaks("a chestnut cake")
    'a chestnut cake'
    >>> with_word_breaks("chestnutcakes") == "\u200b".join("chestnutcakes")
    True
    """
    pieces = re.split(r"(?<=[-\s])", text)
    return "".join(_with_breaks(piece) if len(piece) > LONG_WORD else piece for piece in pieces)


def _with_breaks(word: str) -> str:
    return word[:1] + "".join(
        f"{ZERO_WIDTH_SPACE}{after}" if _stands_alone(before) and _stands_alone(after) else after
        for before, after in pairwise(word)
    )


def _stands_alone(letter: str) -> bool:
    """Return whether no script joins a letter: it has two cases, or is a digit or punctuation."""
    return letter.lower() != letter.upper() or unicodedata.category(letter)[0] in "NP"
