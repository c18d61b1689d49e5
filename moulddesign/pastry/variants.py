"""The piece in figures, and further pieces of one outline: each has its own relief and height."""

from dataclasses import dataclass
from typing import Any, Final

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, ml_from_mm3, mm3_from_ml, say
from moulddesign.design import Design, EntryError, FurtherStamp
from moulddesign.geometry import Mesh
from moulddesign.pastry.interior import Interior, interior
from moulddesign.pastry.pastry import Pastry, pastry_of_width
from moulddesign.portion import Portion

RELIEF: Final = "relief."
FACE: Final = "face."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FurtherPastry:
    """A pastry that a further stamp presses in the same sleeve."""

    stamp_name: str
    """Name of the part among the files."""
    pastry_name: str
    """Name of its pastry among the files."""
    pastry: Pastry
    interior: Interior

    def report(self, first: Pastry, mesh: Mesh) -> dict[str, Any]:
        """Return it as plain values; its height also as the difference from the first's."""
        higher_mm = self.pastry.height_mm - first.height_mm
        names = {"name": self.pastry_name, "stamp": self.stamp_name}
        return names | pastry_report(self.pastry, mesh, self.interior) | {"higher_mm": higher_mm}


def further_pastries(design: Design, piece: Portion, outline: Outline) -> tuple[FurtherPastry, ...]:
    """Return the pastries that a design's further stamps press from the same portion.

    Parameters
    ----------
    outline : Outline
        The first pastry's, which all share: they leave the same sleeve.

    Raises
    ------
    SpecError
        A relief does not fit; the sentence names the stamp.
    FileError
        The artwork cannot be read.

    Notes
    -----
    Reliefs differ in volume, so with one portion and one outline the height is what differs.
    """
    return tuple(
        _further(design, place, outline, piece=piece) for place in range(len(design.further_stamps))
    )


def pastry_report(made: Pastry, mesh: Mesh, inside: Interior) -> dict[str, Any]:
    """Return a pressed piece as plain values, its volume measured on the mesh that is written."""
    return {
        "outline": made.outline.name,
        "width_mm": made.outline.width_mm,
        "height_mm": made.height_mm,
        "highest_mm": made.highest_mm,
        "volume_ml": ml_from_mm3(mesh.volume_mm3),
        "relief_ml": ml_from_mm3(made.relief_mm3),
        "crust_thickness_mm": inside.crust_mm if inside.is_filled else None,
    }


def _further(design: Design, place: int, outline: Outline, *, piece: Portion) -> FurtherPastry:
    stamp = design.further_stamps[place]
    own = design.under(stamp)
    try:
        made = pastry_of_width(own, outline.width_mm, mm3_from_ml(piece.volume_ml))
        inside = interior(own, made, piece)
    except SpecError as error:
        raise _of_the_stamp(error, place, stamp) from error
    return FurtherPastry(
        stamp_name=f"stamp-{stamp.name}",
        pastry_name=f"pastry-{stamp.name}",
        pastry=made,
        interior=inside,
    )


def _of_the_stamp(error: SpecError, place: int, stamp: FurtherStamp) -> SpecError:
    """Return an error with the stamp that it is about."""
    if error.field.startswith(RELIEF):
        field = f"further_stamps.{place}.{error.field.removeprefix(RELIEF)}"
        return EntryError(field, error.value, error.need)
    if error.field.startswith(FACE):
        return EntryError(f"further_stamps.{place}.{error.field}", error.value, error.need)
    need = say("pastry.under-stamp", need=error.need, stamp=stamp.name)
    return SpecError(error.field, error.value, need)
