"""The mould of a pastry, of whichever kind is asked for."""

from collections.abc import Sequence
from typing import Final

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, mm3_from_ml, say
from moulddesign.design import BlockTable, CastTable, Design, OwnTable, PressTable
from moulddesign.mould.block import BlockLayout, block, grids
from moulddesign.mould.cast import CastLayout, cast, layout_on_bed
from moulddesign.mould.mould_set import MouldSet, Part
from moulddesign.mould.part_lettering import (
    inscribe_block,
    inscribe_cast,
    inscribe_press,
    inscribe_stop,
)
from moulddesign.mould.press import at_its_place, press, stop_part
from moulddesign.mould.press_layout import HEAVY, PressLayout, press_layout
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.variants import FurtherPastry

LIGHTEST_HEIGHT: Final = 0.6
"""Least height of a lighter portion in a press, as a share of the nominal; our choice."""

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
            pressing = press(
                table, printer, pastry, further=stamps, low_mm=low_mm, kept=design.kept
            )
            return at_its_place(inscribe_press(design, pressing) if table.lettering else pressing)
        case BlockTable() as table:
            board = block(table, printer, pastry)
            return inscribe_block(design, board) if table.lettering else board
        case CastTable() as table:
            return inscribe_cast(design, cast(table, printer, pastry))
        case OwnTable() as table:
            raise SpecError("mould.kind", table.kind.value, say("building.mould-exists"))


def refuse_full_bed(design: Design, outline: Outline, volume_ml: float) -> None:
    """Refuse a block or a master that the bed does not take, whatever is on the pastry.

    Parameters
    ----------
    outline : Outline
        Of the pastry.
    volume_ml : float
        Of the pastry [mL].

    Raises
    ------
    SpecError
        As `make_mould`. A master that is too large by the height of its relief alone is left to it.
    """
    match design.mould:
        case BlockTable() as table:
            grids(table, design.printer, outline)
        case CastTable() as table:
            volume_mm3 = mm3_from_ml(volume_ml)
            # The outline is where a piece is widest, so its peak is no lower than this.
            least_mm = volume_mm3 / outline.area_mm2
            layout_on_bed(table, design.printer, outline, peak_mm=least_mm, volume_mm3=volume_mm3)
        case _:
            return


def stop_for(other: Design, layout: PressLayout) -> Part:
    """Return the stop of a layout, with the weight that it is for written on it."""
    return inscribe_stop(other, layout, stop_part(layout, other.printer))


def stop_layout_for(
    design: Design,
    pastry: Pastry,
    further: Sequence[FurtherPastry],
    *,
    other: Design,
    low_mm: float,
) -> PressLayout:
    """Return the press of a design with the stop that lets another portion be pressed in it.

    Parameters
    ----------
    design : Design
        With a press.
    pastry : Pastry
        Of the design.
    further : sequence of FurtherPastry
        Pieces under its further stamps.
    other : Design
        The same with the weight that the stop is for.
    low_mm : float
        How much lower than the design's nominal height the stop lets the stamp go [mm].

    Raises
    ------
    SpecError
        The mould is no press, or its stamp does not reach that height, or leaves its guide.
    """
    if not isinstance(design.mould, PressTable):
        raise SpecError("mould.kind", design.mould.kind.value, say("mould.stop-of-a-press"))
    stamps = tuple(one.pastry for one in further)
    layout = press_layout(
        design.mould, design.printer, pastry, further=stamps, low_mm=low_mm, kept=design.kept
    )
    least, most = LIGHTEST_HEIGHT * pastry.height_mm, (1.0 + HEAVY) * pastry.height_mm
    if not least <= layout.stopped_height_mm <= most:
        need = say(
            "mould.no-stop-for",
            height_mm=layout.stopped_height_mm,
            least_mm=least,
            most_mm=most,
        )
        raise SpecError("--stop-for", other.portion.finished_weight_g, need)
    return layout
