"""The mould of a pastry, of whichever kind is asked for."""

from collections.abc import Sequence

from moulddesign.design import BlockTable, CastTable, Design, PressTable
from moulddesign.mould.block import BlockLayout, block
from moulddesign.mould.cast import CastLayout, cast
from moulddesign.mould.mould_set import MouldSet
from moulddesign.mould.part_lettering import inscribe_block, inscribe_cast, inscribe_press
from moulddesign.mould.press import press
from moulddesign.mould.press_layout import PressLayout
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.variants import FurtherPastry

Mould = MouldSet[PressLayout] | MouldSet[BlockLayout] | MouldSet[CastLayout]
"""A mould of any kind."""


def make_mould(
    design: Design,
    pastry: Pastry,
    further: Sequence[FurtherPastry] = (),
    *,
    low_mm: float = 0.0,
) -> Mould:
    """Return the mould of a pastry, of the design's kind, with what is written on it.

    Pieces under further stamps go with a press alone, and its stop lets the stamp go lower than the
    nominal height by `low_mm`. `SpecError` where the mould cannot be made:
    the sentence names the field and what to change.
    """
    printer = design.printer
    match design.mould:
        case PressTable() as table:
            stamps = {one.stamp_name: one.pastry for one in further}
            pressing = press(table, printer, pastry, further=stamps, low_mm=low_mm)
            return inscribe_press(design, pressing) if table.lettering else pressing
        case BlockTable() as table:
            board = block(table, printer, pastry)
            return inscribe_block(design, board) if table.lettering else board
        case CastTable() as table:
            return inscribe_cast(design, cast(table, printer, pastry))
