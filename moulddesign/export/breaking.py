"""Long words that may be broken, so that no name runs off the page."""

import re
import unicodedata
from itertools import pairwise
from typing import Final

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
