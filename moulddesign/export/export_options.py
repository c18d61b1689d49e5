"""What a build is written as: formats, paper, and the recipe that its card knows of."""

from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

from moulddesign.core import SpecError, say
from moulddesign.kitchen import Recipe


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportOptions:
    """Which files a folder gets; the defaults are all formats, on A4."""

    formats: tuple[Format, ...] = tuple(Format)
    """STL, the report and the design are always written."""
    paper: Paper = Paper.A4
    """Of card and drawing."""
    recipe: Recipe | None = None
    """Its ingredients tell the card's allergens."""


def parse_formats(text: str) -> tuple[Format, ...]:
    """Return the formats that a list with commas names, in the order of writing; `all` is all.

    Raises
    ------
    SpecError
        A name is unknown.

    Examples
    --------
    >>> [str(one) for one in parse_formats("3mf, step")]
    ['stl', 'step', '3mf']
    """
    every = tuple(Format)
    names = [name.strip().lower() for name in text.split(",")]
    if names == ["all"]:
        return every
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
