"""How long a line of lettering is, and how it is made to fit."""

from functools import cache
from typing import Final

from PIL import ImageFont

from moulddesign.export.glyphs import face_path, own_faces

CAPITAL: Final = 0.729
"""Height of a capital of the face that lettering is measured with, as a share of its size."""

MEASURE_PX: Final = 200
"""Size at which lettering is measured [px]."""


def text_width_mm(text: str, capital_mm: float) -> float:
    """Return how long a line of text is in a wide sans-serif face, kerning left out.

    What the face lacks is counted as long as the code points that may stand in its place.

    Parameters
    ----------
    text : str
        The text.
    capital_mm : float
        Height of its capitals [mm].
    """
    return float(_face().getlength(own_faces().marked(text))) * capital_mm / (CAPITAL * MEASURE_PX)


def fitted(text: str, *, capital_mm: float, least_mm: float, room_mm: float) -> tuple[str, float]:
    """Return a text and its capitals' height so that it fits a width.

    Parameters
    ----------
    text : str
        The text.
    capital_mm, least_mm : float
        Height of the capitals as wished, and at the least [mm].
    room_mm : float
        Width that there is [mm].

    Returns
    -------
    text : str
        Cut with an ellipsis only where it is too long at the least height.
    capital_mm : float
        The height that fits [mm].
    """
    wide = text_width_mm(text, capital_mm)
    if wide <= room_mm:
        return text, capital_mm
    height = max(least_mm, capital_mm * room_mm / wide)
    while len(text) > 1 and text_width_mm(text, height) > room_mm * (1.0 + 1e-9):
        text = text.removesuffix("…")[:-1].rstrip() + "…"
    return text, height


@cache
def _face() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(face_path()), MEASURE_PX, layout_engine=ImageFont.Layout.BASIC)
