"""Which files are asked for, by name, and on which paper."""

from difflib import get_close_matches
from enum import StrEnum
from typing import Final

from moulddesign.core import SpecError, say


class Paper(StrEnum):
    """The paper in the office printer."""

    A4 = "a4"
    LETTER = "letter"


class Format(StrEnum):
    """A kind of file, or a few that go together, in the order of writing."""

    STL = "stl"
    STEP = "step"
    DRAWING = "drawing"
    GLB = "glb"
    PICTURES = "pictures"
    THREEMF = "3mf"
    CARD = "card"
    APPROVAL = "approval"
    HEIGHTMAP = "heightmap"
    ENGRAVING = "engraving"
    TEMPLATES = "templates"


WORKSHOP_FORMATS: Final = (Format.HEIGHTMAP, Format.ENGRAVING, Format.TEMPLATES)
USUAL_FORMATS: Final = tuple(one for one in Format if one not in WORKSHOP_FORMATS)
"""What `all` stands for: what other workshops need is asked for by name."""


def parse_formats(text: str) -> tuple[Format, ...]:
    """Return the formats that a list with commas names, in the order of writing.

    `all` stands for the usual ones.

    Examples
    --------
    >>> [str(one) for one in parse_formats("3mf, step")]
    ['stl', 'step', '3mf']
    """
    every = tuple(Format)
    named = [name.strip().lower() for name in text.split(",")]
    names = [name for name in named if name != "all"]
    names += USUAL_FORMATS if "all" in named else ()
    for name in names:
        if name not in every:
            nearest = get_close_matches(name, every, n=1, cutoff=0.0)[0]
            need = say("export.unknown-format", formats=tuple(map(str, every)), nearest=nearest)
            raise SpecError("formats", name, need)
    return tuple(one for one in Format if one in names or one is Format.STL)


def parse_paper(text: str) -> Paper:
    """Return the paper of a name, in upper or lower case.

    Raises
    ------
    SpecError
        The name is unknown.

    Examples
    --------
    >>> str(parse_paper("Letter"))
    'letter'
    """
    try:
        return Paper(text.strip().lower())
    except ValueError as error:
        raise SpecError("paper", text, say("export.unknown-paper")) from error
