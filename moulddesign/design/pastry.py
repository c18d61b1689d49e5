"""The outline and size of the pastry, and the relief on its top."""

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final, Self

from pydantic import field_validator, model_validator

from moulddesign.design.layer import Layer, Profile, Sense
from moulddesign.design.quantity import CHOICE, PRACTICE, Table, given
from moulddesign.errors import SpecError

OUTLINES: Final = ("round", "square", "hexagon", "octagon", "scalloped")
"""Outlines that have a name; any other is drawn in an SVG file."""
SIZES: Final = ("width_mm", "height_mm", "height_to_width")
PROPORTION: Final = 0.55
"""Height to width where no size is given; common practice, no source."""


ROUNDED: Final = ("square", "hexagon", "octagon")
"""Outlines that have corners of a radius."""
MEANT_FOR: Final = {
    "corner_radius_mm": ROUNDED, "lobes": ("scalloped",), "lobe_depth_mm": ("scalloped",)
}  # fmt: skip
"""Outlines that a key shapes; the others leave it unread."""


def refuse_idle(outline: str, values: Mapping[str, Any]) -> None:
    """Refuse a value that does nothing for an outline.

    Files may hold it, for a design is written with all its keys; who asks for it wants it to count.

    Parameters
    ----------
    outline : str
        One of `OUTLINES`, or a drawing.
    values : mapping of str to object
        What is asked for, by its key, alone or after the table's name.

    Raises
    ------
    SpecError
        With the outlines that it is meant for.

    Examples
    --------
    >>> refuse_idle("square", {"corner_radius_mm": 5.0})
    """
    for field, value in values.items():
        outlines = MEANT_FOR.get(field.removeprefix("pastry."))
        if outlines is not None and outline not in outlines:
            others = _one_of(outlines)
            need = f"does nothing for the outline {outline}; leave it out, or take {others}"
            raise SpecError(field, value, need)


def _one_of(names: Sequence[str]) -> str:
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last


class PastryTable(Table):
    """Outline, one of three sizes, corner and shoulder."""

    outline: str = given(
        "round",
        f"Shape seen from above: {', '.join(OUTLINES)}, or an SVG file with one closed shape",
        min_length=1,
    )
    width_mm: float | None = given(
        None, "Width along x, across the flats; free where it is left out", unit="mm", gt=0, le=400
    )
    height_mm: float | None = given(
        None, "Height to the flat top; free where it is left out", unit="mm", gt=0, le=200
    )
    height_to_width: float | None = given(
        None,
        f"Height to width; {PROPORTION} where no size is given",
        ge=0.05,
        le=3,
        source=PRACTICE,
    )
    corner_radius_mm: float = given(
        6.0, "Radius of the corners of a square, hexagon or octagon", unit="mm", ge=0, le=200
    )
    lobes: int = given(12, "Lobes of a scalloped outline", ge=3, le=60)
    lobe_depth_mm: float = given(
        2.0, "How far the valleys of a scalloped outline lie inside its lobes", unit="mm",
        gt=0, le=50,
    )  # fmt: skip
    shoulder_radius_mm: float = given(
        0.0,
        "Radius of the rounded top edge, an arc from the flat top to 45 deg; 0 is sharp",
        unit="mm",
        ge=0,
        le=30,
    )

    @field_validator("outline")
    @classmethod
    def _known(cls, outline: str) -> str:
        if outline in OUTLINES or outline.lower().endswith(".svg"):
            return outline
        near = get_close_matches(outline, OUTLINES, n=1, cutoff=0.0)
        message = (
            f"must be {', '.join(OUTLINES)}, or a file that ends in .svg; the nearest is {near[0]}"
        )
        raise ValueError(message)

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        asked = [name for name in SIZES if getattr(self, name) is not None]
        if len(asked) > 1:
            message = (
                f"{' and '.join(asked)} are both given, and with the weight only one is free: "
                "leave one out"
            )
            raise ValueError(message)
        return self


class ReliefTable(Table):
    """The relief: what stands out of the pastry's top, or sinks into it."""

    depth_mm: float = given(
        1.5, "Height of the relief above the flat top, or depth below it", unit="mm",
        source="from memory, press the sampler to find your own", gt=0, le=20,
    )  # fmt: skip
    sense: Sense = given(Sense.RAISED, "Raised above the flat top or sunk into it")
    profile: Profile = given(Profile.FLAT, "Section of a stroke")
    draft_deg: float = given(
        15.0,
        "Least angle between a wall of the relief and the pull direction",
        unit="deg",
        source="moulded parts want 0.5 deg and 1 deg more for each 0.025 mm of texture; "
        "layer lines ask for several; " + PRACTICE,
        ge=1,
        le=60,
    )
    margin_mm: float = given(
        2.0, "Least flat land between the relief and the edge of the top", unit="mm",
        source=CHOICE, ge=0.1, le=100,
    )  # fmt: skip
    layers: tuple[Layer, ...] = given(
        (Layer(pattern="chestnut"),), "Artwork, later over earlier; none leaves the top plain"
    )
