"""The mould of a pastry, of whichever kind is asked for."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from types import MappingProxyType
from typing import Any, Final

from moulddesign.design import Design, Kind
from moulddesign.mould.block import BlockLayout, block
from moulddesign.mould.cast import CastLayout, cast
from moulddesign.mould.mould_set import MouldSet
from moulddesign.mould.part_lettering import lettered_block, lettered_press
from moulddesign.mould.press import press
from moulddesign.mould.press_layout import PressLayout
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.variants import Further

Mould = MouldSet[PressLayout] | MouldSet[BlockLayout] | MouldSet[CastLayout]
"""A mould of any kind."""

MOULDS: Final[Mapping[Kind, Callable[[Design, Pastry], Mould]]] = MappingProxyType(
    {Kind.PRESS: press, Kind.BLOCK: block, Kind.CAST: cast}
)
"""What makes each kind of mould."""

LETTERED: Final[Mapping[Kind, Callable[[Design, Any], Mould]]] = MappingProxyType(
    {Kind.PRESS: lettered_press, Kind.BLOCK: lettered_block}
)
"""What writes on a kind of mould; silicone over a master would cast the letters."""


def moulded(design: Design, pastry: Pastry, further: Sequence[Further] = ()) -> Mould:
    """Return the mould of a pastry, of the design's kind, with what is written on it.

    Parameters
    ----------
    design : Design
        What is asked for.
    pastry : Pastry
        The pressed piece.
    further : sequence of Further
        Pieces under further stamps, which only a press has.

    Raises
    ------
    SpecError
        The mould cannot be made; the sentence names the field and what to change.
    KernelError
        A geometry library could not do a step.
    """
    stamps = {one.stamp_name: one.pastry for one in further}
    make = partial(press, further=stamps) if stamps else MOULDS[design.mould.kind]
    plain = make(design, pastry)
    if not design.mould.lettering or design.mould.kind not in LETTERED:
        return plain
    return LETTERED[design.mould.kind](design, plain)
