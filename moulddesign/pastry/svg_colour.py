"""Colours of a drawing as shares of the relief's depth: dark stands out, white does not."""

import re
from colorsys import hls_to_rgb
from typing import Final

from PIL import ImageColor

from moulddesign.errors import SpecError

LUMA: Final = (0.299, 0.587, 0.114)
"""Weights of red, green and blue in brightness. Source: ITU-R BT.601, section 2.5.1; the same that
turn a picture to grey."""
STEPS: Final = 255.0
CALL: Final = re.compile(r"(rgba?|hsla?)\(([^)]*)\)")


def darkness(colour: str) -> tuple[float, float]:
    """Return how dark a colour is, and how opaque.

    Parameters
    ----------
    colour : str
        A CSS colour: a name, ``#rgb``, ``#rrggbb`` (with opacity too), ``rgb()`` or ``hsl()``.

    Returns
    -------
    tuple of float
        1 less its brightness, 0 for white and 1 for black, to a thousandth; opacity, 0 to 1.

    Raises
    ------
    SpecError
        It is not a colour.

    Examples
    --------
    >>> darkness("black"), darkness("#fff"), darkness("rgb(0 0 0 / 25%)")
    ((1.0, 1.0), (0.0, 1.0), (1.0, 0.25))
    """
    red, green, blue, opacity = _channels(colour.strip().lower())
    bright = LUMA[0] * red + LUMA[1] * green + LUMA[2] * blue
    return round(min(max(1.0 - bright, 0.0), 1.0), 3), opacity


def _channels(colour: str) -> tuple[float, float, float, float]:
    """Return red, green, blue and opacity, each 0 to 1."""
    if colour == "transparent":
        return 0.0, 0.0, 0.0, 0.0
    call = CALL.fullmatch(colour)
    try:
        if call:
            return _called(call[1], re.split(r"[\s,/]+", call[2].strip()))
        values = ImageColor.getrgb(colour)
    except ValueError as error:
        need = "must be a colour such as black, #804000 or rgb(128, 64, 0)"
        raise SpecError("fill or stroke", colour, need) from error
    red, green, blue, *rest = (value / STEPS for value in values)
    return red, green, blue, rest[0] if rest else 1.0


def _called(name: str, words: list[str]) -> tuple[float, float, float, float]:
    colours, opaque = words[:3], words[3:]
    if len(colours) < 3 or len(opaque) > 1:  # noqa: PLR2004 (three channels)
        raise ValueError(name)
    opacity = _share(opaque[0], 1.0) if opaque else 1.0
    if name.startswith("hsl"):
        hue = float(words[0].removesuffix("deg")) / 360.0
        return (*hls_to_rgb(hue % 1.0, _share(words[2], 100.0), _share(words[1], 100.0)), opacity)
    red, green, blue = (_share(word, STEPS) for word in colours)
    return red, green, blue, opacity


def _share(word: str, whole: float) -> float:
    """Return a number of `whole`, or a percentage, as a share that CSS clips to 0 and 1."""
    share = float(word[:-1]) / 100.0 if word.endswith("%") else float(word) / whole
    return min(max(share, 0.0), 1.0)
