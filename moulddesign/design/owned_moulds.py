"""Moulds that one owns: how each was measured, alone or on a shelf of several."""

from collections.abc import Mapping
from enum import StrEnum
from math import sqrt
from os import PathLike
from pathlib import Path
from typing import Any, Self

from pydantic import ValidationError, field_validator, model_validator

from moulddesign.core import FileError, LengthUnit, SpecError, say
from moulddesign.design.assets import resolve_files
from moulddesign.design.piece_tables import OUTLINE_KEYS, PastryTable
from moulddesign.design.reading import read_tables
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


class OwnedMould(Table):
    """A mould that exists, known by its sizes, by water or by its mesh."""

    name: str = given("mould", "What it is called", min_length=1, max_length=40, main=True)
    outline: str = given("round", "Shape of the mouth, as in [pastry]", **OUTLINE_KEYS["outline"])
    width_mm: float | None = given(
        None, "Inner width of the mouth along x, across the flats", **OUTLINE_KEYS["width_mm"]
    )
    height_mm: float | None = given(
        None, "Inside, from the table to the flat top of the piece", **OUTLINE_KEYS["height_mm"]
    )
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
        0.5, "Share of the flat top that the relief covers, by eye", source=TRADE, ge=0, le=1
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

    @property
    def is_press(self) -> bool:
        """Whether its piece is pressed to any height of a window."""
        limits = (self.least_height_mm, self.most_height_mm, self.bore_length_mm, self.stamp)
        return any(limit is not None for limit in limits)

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
        if self.mesh is not None and self.water_g:
            raise RefusedError(say("design.water-and-mesh"))
        if self.stamp is not None and self.mesh is None:
            raise RefusedError(say("design.stamp-alone"))
        if (
            self.mesh is None
            and not self.water_g
            and (self.width_mm is None or (self.height_mm is None and not self.is_press))
        ):
            raise RefusedError(say("design.unknown-mould"))
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


class Shelf(Table):
    """Several moulds, in a TOML file with one table [[mould]] each."""

    mould: tuple[OwnedMould, ...] = given((), "The moulds", max_length=200)

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the shelf in a TOML file; its files are sought beside it.

        Raises
        ------
        FileError
            The file cannot be read, is not TOML, or holds no mould.
        FileMistakesError
            Keys are unknown or values cannot be used.
        """
        folder = Path(path).parent
        shelf = read_tables(path, cls, lambda tree: cls.of(resolve_files(tree, cls, folder)))
        if not shelf.mould:
            raise FileError(str(path), say("design.no-moulds"))
        return shelf
