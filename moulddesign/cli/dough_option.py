"""`--dough`: what a dough of one's own book sets of a design, and the width before baking.

Apart from `doughs`, for every verb that weighs has these options, and few runs need the kitchen.
"""

from collections.abc import Mapping
from typing import Any

from moulddesign.cli.console import err
from moulddesign.core import SpecError, say
from moulddesign.design import Design, PieceComposition, crusts, read_dough_book


def with_dough(design: Design, given: dict[str, Any]) -> dict[str, Any]:
    """Return values of options with the figures of a named dough, and the width before baking.

    Parameters
    ----------
    design : Design
        As its file was read.
    given : dict of str to object
        Values by the design's keys; "dough.row" and "baked.width_mm" are taken out of it.

    Raises
    ------
    SpecError
        There is no dough of that name, or nobody knows how wide it bakes.
    """
    name, baked_mm = given.pop("dough.row", None), given.pop("baked.width_mm", None)
    if name is not None:
        given = _dough_values(name, design, given) | given
    if baked_mm is not None:
        ratio = given.get("dough.width_ratio", design.dough.width_ratio)
        if ratio is None:
            raise SpecError("--baked-width", baked_mm, say("cli.no-baked-ratio"))
        given["pastry.width_mm"] = round(baked_mm / ratio, 3)
    return given


def _dough_values(name: str, design: Design, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a dough of the book sets of a design, or the name of a crust dough."""
    book = read_dough_book()
    row = book.find(name)
    if row is None and name in crusts():
        return {"portion.crust_dough": name}
    if row is None:
        names = tuple(each.name for each in book.dough)
        need = say("cli.dough-unknown", names=names, crusts=tuple(crusts()))
        raise SpecError("--dough", name, need)
    composition = given.get("portion.composition", design.portion.composition.value)
    from moulddesign.kitchen.pooling import dough_values  # noqa: PLC0415 (only a named dough needs it)

    values = dough_values(row, PieceComposition(composition))
    said = ", ".join(f"{key} = {value}" for key, value in values.items() if key not in given)
    err().print(f"From the dough book: {said}.", soft_wrap=True, markup=False)
    ratio = given.get("portion.ratio", design.portion.ratio)
    if row.ratio not in {None, ratio} and "portion.loss" in values:
        note = say("cli.dough-of-another-ratio", ratio=row.ratio, own=ratio)
        err().print(str(note), soft_wrap=True, markup=False)
    return values
