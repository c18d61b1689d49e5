"""Further pastries of one outline: each has a relief of its own, and its own height for it."""

from moulddesign.design import Design, FurtherStamp
from moulddesign.design.sentences import EntryError
from moulddesign.errors import SpecError
from moulddesign.pastry.outline import Outline
from moulddesign.pastry.pastry import Pastry, pastry_of_width
from moulddesign.units import mm3_from_ml

RELIEF = "relief."


def further_pastry(design: Design, place: int, *, outline: Outline, volume_ml: float) -> Pastry:
    """Return the pastry that a further stamp presses from the same portion.

    Parameters
    ----------
    design : Design
        What is asked for.
    place : int
        Which of its further stamps.
    outline : Outline
        The first pastry's, which all share: they leave the same sleeve.
    volume_ml : float
        Volume of the pressed piece [mL].

    Raises
    ------
    SpecError
        The relief does not fit; the sentence names the stamp.
    FileError
        The artwork cannot be read.

    Notes
    -----
    Reliefs differ in volume, so with one portion and one outline the height is what differs.
    """
    stamp = design.further_stamps[place]
    own = design.model_copy(update={"relief": stamp.relief(design.relief)})
    try:
        return pastry_of_width(own, outline.width_mm, mm3_from_ml(volume_ml))
    except SpecError as error:
        raise _of_the_stamp(error, place, stamp) from error


def _of_the_stamp(error: SpecError, place: int, stamp: FurtherStamp) -> SpecError:
    """Return an error with the stamp that it is about."""
    if error.field.startswith(RELIEF):
        field = f"further_stamps.{place}.{error.field.removeprefix(RELIEF)}"
        return EntryError(field, error.value, error.need)
    return SpecError(error.field, error.value, f"{error.need} (under the stamp {stamp.name})")
