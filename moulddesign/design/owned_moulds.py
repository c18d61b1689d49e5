"""A mould that one owns: what is known of it, whichever way it was measured."""

from collections.abc import Mapping
from enum import StrEnum
from math import sqrt
from re import fullmatch
from typing import Any, Final, Self

from pydantic import (
    SerializerFunctionWrapHandler,
    ValidationError,
    field_validator,
    model_serializer,
    model_validator,
)

from moulddesign.core import LengthUnit, SpecError, both, say
from moulddesign.design.piece_tables import OUTLINE_KEYS, PastryTable
from moulddesign.design.relief_tables import Sense
from moulddesign.design.schema import (
    CHOICE,
    MEMORY,
    TRADE,
    FileKind,
    RefusedError,
    Table,
    as_one_line,
    given,
    spec_error,
)


class Tool(StrEnum):
    """What lengths were read off."""

    RULER = "ruler"
    CALIPER = "caliper"

    @property
    def reading_mm(self) -> float:
        """How far a reading may be off, either way [mm]."""
        return {"ruler": 0.5, "caliper": 0.05}[self.value]

    @property
    def sd_mm(self) -> float:
        """Standard uncertainty of a reading whose error is spread evenly [mm]."""
        return self.reading_mm / sqrt(3.0)


ID_SAYS: Final = "Short id of the mould, written on its parts where there is room: A, B, T2"


def as_mould_id(mould_id: str | None) -> str | None:
    """Return a short id, or refuse it in a validator."""
    if mould_id is not None and fullmatch("[A-Za-z0-9][A-Za-z0-9-]*", mould_id) is None:
        raise RefusedError(say("design.mould-id"))
    return mould_id


class OwnedMould(Table):
    """A mould that exists, known by its sizes, by water, by its mesh or by what it holds."""

    name: str = given("mould", "What it is called", min_length=1, max_length=40, main=True)
    id: str | None = given(None, ID_SAYS, min_length=1, max_length=6)
    marks: str | None = given(
        None, 'What it is kept for, such as "gluten-free only"; several with ; between them',
        min_length=1, max_length=80,
    )  # fmt: skip
    picture: str | None = given(
        None, "Photo of it, for the card: PNG or JPEG", min_length=1, file=FileKind.PHOTO
    )
    cavities: int = given(1, "Cavities in it that are alike", source=CHOICE, ge=1, le=60)
    copies: int = given(1, "How many of it there are", source=CHOICE, ge=1, le=1000)
    outline: str = given("round", "Shape of the mouth, as in [pastry]", **OUTLINE_KEYS["outline"])
    width_mm: float | None = given(
        None, "Inner width of the mouth along x, across the flats", **OUTLINE_KEYS["width_mm"]
    )
    height_mm: float | None = given(
        None, "Inside, from the table to the flat top of the piece", **OUTLINE_KEYS["height_mm"]
    )
    highest_mm: float | None = given(
        None, "To the highest place of a domed or carved top; height_mm is then to the edge of "
        "that top", unit="mm", gt=0, le=200,
    )  # fmt: skip
    corner_radius_mm: float = given(
        0.0,
        "Inner radius of the corners of a square, hexagon or octagon",
        main=True,
        **OUTLINE_KEYS["corner_radius_mm"],
    )
    lobes: int = given(12, "Lobes of a scalloped mouth", **OUTLINE_KEYS["lobes"])
    lobe_depth_mm: float = given(
        2.0,
        "How far the valleys of a scalloped mouth lie inside its lobes",
        **OUTLINE_KEYS["lobe_depth_mm"],
    )
    shoulder_radius_mm: float = given(
        0.0,
        "Radius of the rounded edge between side and flat top",
        **OUTLINE_KEYS["shoulder_radius_mm"],
    )
    draft_deg: float = given(
        0.0, "Lean of the side from upright, the mouth being the widest", unit="deg", ge=0, le=30
    )
    relief_depth_mm: float = given(0.0, "Depth of the relief", unit="mm", ge=0, le=20)
    relief_cover: float = given(
        0.5,
        "Share of the flat top that the relief covers, by eye; of a top with a highest place, "
        "what fills the space up to it",
        source=TRADE,
        ge=0,
        le=1,
    )
    sense: Sense = given(Sense.RAISED, "Whether the relief stands on the piece or sinks into it")
    tool: Tool = given(Tool.RULER, "What the sizes were read off")
    water_g: tuple[float, ...] = given(
        (), "Water that fills it, each weighing", unit="g", max_length=100, main=True
    )
    empty_g: float = given(0.0, "The empty mould, where the scale was not set to zero with it",
                           unit="g", ge=0, le=100_000)  # fmt: skip
    at_c: float = given(
        20.0, "Temperature of the water", unit="deg C", source=CHOICE, ge=0, le=100, main=True
    )
    mesh: str | None = given(
        None, "Mesh of it; with a stamp, of the sleeve", min_length=1, main=True, file=FileKind.MESH
    )
    stamp: str | None = given(
        None, "Mesh of a press mould's stamp", min_length=1, main=True, file=FileKind.MESH
    )
    unit: LengthUnit | None = given(
        None, "Unit of the meshes; millimetres where it is left out", main=True
    )
    volume_ml: float | None = given(
        None, "What one cavity holds, as `fit` found it in a mesh or as it says on the mould",
        unit="mL", gt=0, le=100_000,
    )  # fmt: skip
    volume_sd_ml: float = given(
        0.0, "How well that is known, standard uncertainty", unit="mL", ge=0, le=10_000
    )
    area_mm2: float | None = given(
        None, "Area of a press mould's bore, where volume_ml is what it holds at height_mm",
        unit="mm2", gt=0, le=1e6,
    )  # fmt: skip
    print_error_mm: float = given(
        0.1, "How far a printed wall lies from its mesh, standard uncertainty; 0 for a mesh that "
        "was scanned from the mould", unit="mm", source=MEMORY, ge=0, le=2,
    )  # fmt: skip
    up: str = given("+z", "Which way is up in the mesh when it is filled")
    mend: bool = given(default=False, says="Whether a broken mesh is mended")
    least_height_mm: float | None = given(
        None, "Lowest height a press mould presses; relief, centre and twice the least crust "
        "where it is left out", unit="mm", source=TRADE, gt=0, le=200, main=True,
    )  # fmt: skip
    most_height_mm: float | None = given(
        None, "Greatest height a press mould presses", unit="mm", gt=0, le=200, main=True
    )
    bore_length_mm: float | None = given(
        None, "Length of a press mould's bore", unit="mm", gt=0, le=400
    )
    guide_mm: float | None = given(
        None, "Length of the stamp that has to stay in the bore", unit="mm", gt=0, le=400,
        source=MEMORY,
    )  # fmt: skip

    _name_in_a_line = field_validator("name")(as_one_line)
    _id_to_engrave = field_validator("id")(as_mould_id)

    @field_validator("marks")
    @classmethod
    def _marks_in_a_line(cls, marks: str | None) -> str | None:
        return None if marks is None else as_one_line(marks)

    @model_serializer(mode="wrap")
    def _what_is_known(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Write what is known of it, and not what was left out."""
        usual = type(self).model_fields
        return {
            key: value
            for key, value in write(self).items()
            if key in {"kind", "name"} or getattr(self, key) != usual[key].default
        }

    @property
    def is_measured(self) -> bool:
        """Whether it is known what it holds."""
        return (
            self.mesh is not None
            or bool(self.water_g)
            or self.volume_ml is not None
            or (self.width_mm is not None and (self.height_mm is not None or self.is_press))
        )

    @property
    def is_press(self) -> bool:
        """Whether its piece is pressed to any height of a window."""
        limits = (
            self.least_height_mm, self.most_height_mm, self.bore_length_mm, self.stamp,
            self.area_mm2,
        )  # fmt: skip
        return any(limit is not None for limit in limits)

    @property
    def rise_mm(self) -> float:
        """Depth of the relief, or how far a domed or carved top rises over its edge."""
        if self.highest_mm is None or self.height_mm is None:
            return self.relief_depth_mm
        return self.highest_mm - self.height_mm

    @property
    def outline_table(self) -> PastryTable:
        """Its mouth as a design asks for an outline."""
        return PastryTable(
            outline=self.outline,
            width_mm=self.width_mm,
            corner_radius_mm=self.corner_radius_mm,
            lobes=self.lobes,
            lobe_depth_mm=self.lobe_depth_mm,
        )

    @model_validator(mode="after")
    def _known_one_way(self) -> Self:
        ways = {"water_g": self.water_g, "mesh": self.mesh, "volume_ml": self.volume_ml}
        known = [key for key, value in ways.items() if value]
        if len(known) > 1:
            raise RefusedError(say("design.known-twice", ways=both(known)))
        if self.stamp is not None and self.mesh is None:
            raise RefusedError(say("design.stamp-alone"))
        of_bore = self.volume_ml is not None and self.height_mm is not None
        if self.area_mm2 is not None and not of_bore:
            raise RefusedError(say("design.bore-without-volume"))
        if self.volume_ml is not None and self.is_press and self.area_mm2 is None:
            raise RefusedError(say("design.press-without-bore"))
        return self

    @model_validator(mode="after")
    def _top_over_its_edge(self) -> Self:
        if self.highest_mm is None:
            return self
        others = {
            "relief_depth_mm": self.relief_depth_mm > 0.0, "sense": self.sense is Sense.SUNK
        }  # fmt: skip
        for other in (key for key, is_given in others.items() if is_given):
            raise RefusedError(say("design.known-twice", ways=both(["highest_mm", other])))
        if self.height_mm is None or self.highest_mm <= self.height_mm:
            raise RefusedError(say("design.highest-over-edge"))
        return self

    @model_validator(mode="after")
    def _stands_upright(self) -> Self:
        if self.is_press and self.draft_deg > 0.0:
            raise RefusedError(say("design.drafted-press"))
        if self.bore_length_mm is not None and self.guide_mm is None and self.stamp is None:
            raise RefusedError(say("design.bore-without-guide"))
        return self

    @model_validator(mode="after")
    def _has_an_outline(self) -> Self:
        PastryTable.model_validate({"outline": self.outline})
        return self

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the mould of plain values.

        Raises
        ------
        SpecError
            A key is unknown, a value cannot be used, or it is not known how large the mould is.
        """
        try:
            return cls.model_validate(dict(values))
        except ValidationError as error:
            wrong = spec_error(error, cls)
            if error.errors()[0]["loc"]:
                raise wrong from error
            raise SpecError("mould", "as given", wrong.need) from error
