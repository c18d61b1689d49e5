"""Fonts of card and drawing: which characters they have, and where long words may break."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.font_files import font_of, font_with, open_font, regular_font
from moulddesign.building import Build
from moulddesign.core import (
    LANGUAGES,
    Finding,
    Message,
    Verdict,
    in_words,
    letters_of,
    say,
    word,
)
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
    """The bundled fonts, those that a design's text layers are drawn with, and what they write."""

    files: tuple[Path, ...]
    """Fonts that the design names; they print what the bundled ones lack."""
    characters: frozenset[int]
    """Code points that some font has."""
    language: str = LANGUAGES[0]
    """Of card and drawing: the design's where they have its letters, else English."""

    def text(self, message: Message) -> str:
        """Return a message as these fonts write it."""
        return self.with_code_points(str(in_words(message, self.language)))

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

    No other font of the machine is used, so that the same design is the same card everywhere; but
    for a language whose letters they lack, one that is installed and has them all.
    """
    drawn = [font_of(layer, Path()) for layer in design.layers if layer.text is not None]
    files = tuple(dict.fromkeys(path for path in drawn if path is not None))
    characters = bundled_fonts().characters.union(*map(_characters, files))
    language = design.sheet_language
    missing = letters_of(language) - characters
    found = font_with(missing) if missing else None
    if found is not None:
        files, characters = (*files, found), characters | _characters(found)
    is_written = letters_of(language) <= characters
    return Fonts(
        files=files, characters=characters, language=language if is_written else LANGUAGES[0]
    )


def unprintable_findings(build: Build) -> tuple[Finding, ...]:
    """Return warnings where a name holds what no font has, and where the language has no font."""
    fonts = fonts_of(build.design)
    found = []
    if fonts.language != (asked := build.design.sheet_language):
        found.append(
            Finding(
                what=say("export.language-of-sheets"),
                measured=word(fonts.language),
                limit=say("export.language-asked", language=word(asked)),
                unit="",
                source=say("export.bundled-font"),
                verdict=Verdict.WARN,
                remedy=say("export.card-no-letters"),
            )
        )
    missing = fonts.missing("".join(_names(build)))
    if not missing:
        return tuple(found)
    named, more = " ".join(missing[:MOST_NAMED]), len(missing) - MOST_NAMED
    return (
        *found,
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


def breaking(message: Message) -> Message:
    """Return a message whose names, its values of text, may break as `with_word_breaks` says."""
    values = [
        (key, breaking(value) if isinstance(value, Message) else _breaking_name(value))
        for key, value in message.values
    ]
    return replace(message, values=tuple(values))


def _breaking_name(value: object) -> object:
    return with_word_breaks(value) if isinstance(value, str) else value


def _with_breaks(word: str) -> str:
    return word[:1] + "".join(
        f"{ZERO_WIDTH_SPACE}{after}" if _stands_alone(before) and _stands_alone(after) else after
        for before, after in pairwise(word)
    )


def _stands_alone(letter: str) -> bool:
    """Return whether no script joins a letter: it has two cases, or is a digit or punctuation."""
    return letter.lower() != letter.upper() or unicodedata.category(letter)[0] in "NP"
