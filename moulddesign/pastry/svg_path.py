"""SVG's path grammar: the text of a `d` attribute as absolute commands.

Source: W3C, "Scalable Vector Graphics (SVG) 2", section 9.3, Path data. picosvg's reader refuses
numbers that the grammar allows ("1.", "007"), so the text is read here.
"""

import re
from collections.abc import Iterator
from math import isfinite
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.pastry.curve import Command

NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
TOKEN: Final = re.compile(rf"[\s,]*(?:([MmZzLlHhVvCcSsQqTtAa])|({NUMBER.pattern}))")
FLAG: Final = re.compile(r"[\s,]*([01])")
COUNTS: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
Pair = tuple[float, float]


def path_commands(text: str) -> list[Command]:
    """Return the absolute commands (M L Q C A Z) of path data.

    Parameters
    ----------
    text : str
        A `d` attribute. As the specification asks, what stands before an error is drawn, and
        nothing after it.

    Raises
    ------
    SpecError
        A number is too large to compute with.

    Examples
    --------
    >>> path_commands("m1 1h2v-.5z")
    [('M', (1.0, 1.0)), ('L', (3.0, 1.0)), ('L', (3.0, 0.5)), ('Z', ())]
    """
    commands: list[Command] = []
    start = here = (0.0, 0.0)
    control: tuple[str, Pair] = ("", here)
    for letter, numbers in _segments(text):
        if not commands and letter not in "Mm":
            break
        name, values = _absolute(letter, numbers, here)
        name, values, control = _whole((name, values), here, control)
        if name == "Z":
            here = start
        else:
            here = (values[-2], values[-1])
            start = here if name == "M" else start
        commands.append((name, values))
    return commands


def _segments(text: str) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Yield one letter with its numbers for each segment, repeated letters written out."""
    place, letter = 0, ""
    while match := TOKEN.match(text, place):
        if match[1]:
            letter, place = match[1], match.end()
        elif letter in ("", "Z", "z"):
            return
        numbers, place = _numbers(text, place, letter.upper())
        if numbers is None:
            return
        yield letter, numbers
        letter = {"M": "L", "m": "l"}.get(letter, letter)


def _numbers(text: str, place: int, name: str) -> tuple[tuple[float, ...] | None, int]:
    """Return a segment's numbers and where the next begins; None where the text breaks off."""
    numbers: list[float] = []
    for index in range(COUNTS[name]):
        flag = name == "A" and index in (3, 4)
        match = (FLAG if flag else TOKEN).match(text, place)
        digits = match[1] if match and flag else match and match[2]
        if not match or not digits:
            return None, place
        numbers.append(_finite(digits))
        place = match.end()
    return tuple(numbers), place


def _finite(digits: str) -> float:
    number = float(digits)
    if not isfinite(number):
        raise SpecError("d", digits, "must be a number below 1e308; draw the path smaller")
    return number


def _absolute(letter: str, numbers: tuple[float, ...], here: Pair) -> tuple[str, tuple[float, ...]]:
    """Return a segment in absolute form, H and V written as L."""
    name = letter.upper()
    x, y = here if letter.islower() else (0.0, 0.0)
    if name == "H":
        return "L", (x + numbers[0], here[1])
    if name == "V":
        return "L", (here[0], y + numbers[0])
    if name == "A":
        return name, (*numbers[:5], x + numbers[5], y + numbers[6])
    return name, tuple(value + (x, y)[index % 2] for index, value in enumerate(numbers))


def _whole(
    command: Command, here: Pair, control: tuple[str, Pair]
) -> tuple[str, tuple[float, ...], tuple[str, Pair]]:
    """Return a smooth curve's segment with all control points, and the last of them."""
    name, values = command
    if name in "ST":
        name = {"S": "C", "T": "Q"}[name]
        mirrored = here
        if control[0] == name:
            mirrored = (2.0 * here[0] - control[1][0], 2.0 * here[1] - control[1][1])
        values = (*mirrored, *values)
    if name in "CQ":
        return name, values, (name, (values[-4], values[-3]))
    return name, values, ("", here)
