"""The bands around a side as a table on the drawing: rows as the bands lie, the highest first."""

from typing import Final

from moulddesign.building import Build
from moulddesign.core import Message, say, with_decimal_sign, word
from moulddesign.export.entities import Align, DrawingLayer, DrawnLine, Entity, Text, format_number
from moulddesign.export.fonts import fonts_of

COLUMN_MM: Final = 22.0
"""Width of a column [mm]."""
TABLE_ROW_MM: Final = 5.0
"""Height of a row [mm]."""
TABLE_CAPITAL_MM: Final = 2.0
"""Height of its capitals [mm]."""
TABLE_BASE_MM: Final = 1.5
"""From a row's lower rule to its base line [mm]."""


def side_band_table(build: Build) -> tuple[Entity, ...]:
    """Return a table of the bands around a build's side; nothing where it has none.

    It is as large on paper at any scale. Lengths are those of the design, which the piece has:
    height and depth of each band, and the plain side left below it.
    """
    fonts, bands = fonts_of(build.design), build.design.pastry.side_bands
    if not bands:
        return ()

    def length(value_mm: float) -> str:
        return with_decimal_sign(format_number(value_mm), fonts.language)

    heads: tuple[Message, ...] = (
        say("export.band-section"), say("export.band-height"), say("export.band-depth"),
        say("export.band-gap"),
    )  # fmt: skip
    rows = [tuple(map(fonts.text, heads))]
    rows += [
        (
            fonts.text(word(band.section.value)), length(band.height_mm), length(band.depth_mm),
            length(band.gap_mm),
        )
        for band in reversed(bands)
    ]  # fmt: skip
    entities: list[Entity] = [
        Text(
            text=fonts.text(say("export.side-bands")),
            at=(0.0, TABLE_ROW_MM * len(rows) + TABLE_BASE_MM),
            capital_mm=TABLE_CAPITAL_MM,
        )
    ]
    width = COLUMN_MM * len(heads)
    for down, row in enumerate(rows):
        low = TABLE_ROW_MM * (len(rows) - 1 - down)
        entities.append(_rule((0.0, low), (width, low)))
        entities += [
            Text(
                text=said,
                at=(COLUMN_MM * (place + 0.5), low + TABLE_BASE_MM),
                capital_mm=TABLE_CAPITAL_MM,
                align=Align.MIDDLE,
            )
            for place, said in enumerate(row)
        ]
    high = TABLE_ROW_MM * len(rows)
    entities.append(_rule((0.0, high), (width, high)))
    entities += [
        _rule((COLUMN_MM * place, 0.0), (COLUMN_MM * place, high))
        for place in range(len(heads) + 1)
    ]
    return tuple(entities)


def _rule(start: tuple[float, float], end: tuple[float, float]) -> DrawnLine:
    return DrawnLine(points=(start, end), layer=DrawingLayer.FRAME)
