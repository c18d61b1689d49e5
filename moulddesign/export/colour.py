"""The colour of each part in pictures and in viewers."""

from typing import Final

PASTRY: Final = (0.87, 0.66, 0.38)
"""Baked crust."""

PARTS: Final = (
    (0.62, 0.72, 0.78),
    (0.80, 0.84, 0.72),
    (0.72, 0.66, 0.74),
    (0.84, 0.78, 0.70),
)
"""Plastic, so that neighbours can be told apart; sRGB shares."""


def colour_of(name: str, number: int) -> tuple[float, float, float]:
    """Return the colour of a part, sRGB shares from 0 to 1.

    Parameters
    ----------
    name : str
        `pastry`, and one that begins so, has its own.
    number : int
        Place of the part in its set.
    """
    return PASTRY if name.partition("-")[0] == "pastry" else PARTS[number % len(PARTS)]
