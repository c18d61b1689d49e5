"""What a build is written as: formats, paper, and the recipe that its card knows of."""

from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from typing import Final

from moulddesign.core import SpecError
from moulddesign.kitchen import Recipe


class Paper(StrEnum):
    """What lies in the printer."""

    A4 = "a4"
    LETTER = "letter"


class Format(StrEnum):
    """A kind of file, or a few that go together."""

    STL = "stl"
    STEP = "step"
    DRAWING = "drawing"
    GLB = "glb"
    PICTURES = "pictures"
    THREEMF = "3mf"
    CARD = "card"


ALL: Final = tuple(Format)
"""Every format, in the order of writing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked of a folder.

    Parameters
    ----------
    formats : tuple of Format
        Kinds of files; STL, the report and the design are always written.
    paper : Paper
        For the card and the drawing.
    recipe : Recipe or None
        Its ingredients tell the card's allergens.
    """

    formats: tuple[Format, ...] = ALL
    paper: Paper = Paper.A4
    recipe: Recipe | None = None


EVERYTHING: Final = Wanted()
"""Every format, on A4."""


def formats(text: str) -> tuple[Format, ...]:
    """Return the formats that a list names, in the order of writing.

    Parameters
    ----------
    text : str
        Names with commas between, or `all`.

    Raises
    ------
    SpecError
        A name is unknown.

    Examples
    --------
    >>> [str(kind) for kind in formats("3mf, step")]
    ['stl', 'step', '3mf']
    """
    names = [name.strip().lower() for name in text.split(",")]
    if names == ["all"]:
        return ALL
    for name in names:
        if name not in ALL:
            near = get_close_matches(name, ALL, n=1, cutoff=0.0)
            need = f"must name some of {', '.join(ALL)}, or all; the nearest is {near[0]}"
            raise SpecError("formats", name, need)
    return tuple(kind for kind in Format if kind in names or kind is Format.STL)


def paper(text: str) -> Paper:
    """Return the paper of a name.

    Raises
    ------
    SpecError
        The name is unknown.

    Examples
    --------
    >>> str(paper("Letter"))
    'letter'
    """
    try:
        return Paper(text.strip().lower())
    except ValueError as error:
        raise SpecError("paper", text, f"must be {' or '.join(Paper)}") from error
