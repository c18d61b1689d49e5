"""Paper that a card or a drawing is printed on."""

from enum import StrEnum


class Paper(StrEnum):
    """What lies in the printer."""

    A4 = "a4"
    LETTER = "letter"
