"""The carved face: a ground, bands along the outline, crowns of petals, parts and a medallion."""

import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, Self

from pydantic import (
    SerializerFunctionWrapHandler,
    field_validator,
    model_serializer,
    model_validator,
)

from moulddesign.core import SpecError, say
from moulddesign.design.relief_tables import Layer, Profile, Sense
from moulddesign.design.schema import FileKind, RefusedError, Table, given


class GroundForm(StrEnum):
    """Form of the ground on which everything else stands."""

    FLAT = "flat"
    DOMED = "domed"
    DISHED = "dished"
    STEPPED = "stepped"


class FaceEdge(StrEnum):
    """How the face ends at the outline."""

    LAND = "land"
    RUN_OVER = "run-over"


class BandSection(StrEnum):
    """Section of a band across its width."""

    ROUND = "round"
    HOLLOW = "hollow"
    OGEE = "ogee"
    FILLET = "fillet"
    STEP = "step"


class Fill(StrEnum):
    """What a band repeats along itself."""

    LEAVES = "leaves"
    BEADS = "beads"
    ROPE = "rope"
    BRAID = "braid"
    WAVE = "wave"
    KEY = "key"
    RINGS = "rings"
    FLUTES = "flutes"
    TEXT = "text"


class Corners(StrEnum):
    """How the repeats of a band meet at the outline's corners."""

    MIRRORED = "mirrored"
    MITRED = "mitred"
    LEAF = "leaf"


class Tip(StrEnum):
    """End of a petal."""

    ROUND = "round"
    POINTED = "pointed"
    NOTCHED = "notched"
    OPEN = "open"


class Meets(StrEnum):
    """How a part meets what lies under it."""

    OVER = "over"
    ON = "on"
    INTO = "into"
    INSTEAD = "instead"


class Figure(StrEnum):
    """A part that is carved by itself."""

    LEAF = "leaf"
    DROP = "drop"
    BALL = "ball"
    STEM = "stem"
    BURR = "burr"
    STAR = "star"
    CRESCENT = "crescent"


HEIGHT: Final[Mapping[str, Any]] = {"unit": "mm", "gt": 0, "le": 8}
LENGTH: Final[Mapping[str, Any]] = {"unit": "mm", "gt": 0, "le": 200}


class PartialTable(Table):
    """A table that is written with what was given alone: the rest is a bundled face's."""

    @model_serializer(mode="wrap")
    def _given_alone(self, whole: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return {key: value for key, value in whole(self).items() if key in self.model_fields_set}


class GroundTable(PartialTable):
    """The ground of a face."""

    form: GroundForm = given(GroundForm.FLAT, "Flat, domed, dished or stepped")
    rise_mm: float = given(
        2.0, "Height of the middle above the edge, or depth below it; of all steps together",
        unit="mm", gt=0, le=12,
    )  # fmt: skip
    steps: int = given(3, "Steps of a stepped ground", ge=1, le=8)
    run_mm: float = given(3.0, "Width of a step", unit="mm", gt=0, le=40)


class BandTable(PartialTable):
    """One band along the outline; bands follow each other from the edge inwards."""

    section: BandSection = given(BandSection.ROUND, "Round, hollow, ogee, fillet or step")
    width_mm: float = given(1.6, "Width of the band", **LENGTH)
    height_mm: float = given(0.9, "Height, or depth of what is sunk", **HEIGHT)
    sunk: bool = given(False, "A step leads down from the edge instead of up")  # noqa: FBT003
    fill: Fill | None = given(None, "What it repeats; nothing where it is left out")
    pitch_mm: float | None = given(
        None, "Length of one repeat; as the width asks where it is left out. Repeats are whole, so "
        "it gives a little", **LENGTH,
    )  # fmt: skip
    count: int | None = given(
        None, "Repeats around the whole outline, in place of their length", ge=1, le=400
    )
    text: str | None = given(
        None, "Lettering along the outline, for the fill text; once, or as often as count says",
        min_length=1, max_length=80,
    )  # fmt: skip
    font: str | None = given(None, "TrueType or OpenType file", min_length=1, file=FileKind.FONT)
    corners: Corners = given(
        Corners.MIRRORED, "Repeats turn round at corners and middles of sides, go one way, or turn "
        "round with a leaf on each corner",
    )  # fmt: skip
    gap_mm: float = given(0.5, "Ground left free inside of it", unit="mm", ge=0, le=100)

    @model_validator(mode="after")
    def _text_where_it_is_filled_with_it(self) -> Self:
        if (self.fill is Fill.TEXT) != (self.text is not None):
            raise RefusedError(say("design.band-text"))
        return self


class CrownTable(PartialTable):
    """A row of petals around the middle; `from_ratio` and `to_ratio` are shares of the way."""

    count: int | None = given(
        None, "Petals; as many as the fold where it is left out", ge=2, le=120
    )
    per_fold: float = given(
        1.0, "Petals for each part of the fold, where there is no count", gt=0, le=8
    )
    from_ratio: float = given(
        0.3, "Where petals begin, as a share of the way from the middle to the bands", ge=0, le=1.2
    )
    to_ratio: float = given(1.0, "Where they end, as a share of the same way", gt=0, le=1.3)
    height_mm: float = given(1.4, "Height above the ground", **HEIGHT)
    width_ratio: float = given(
        1.0, "Width as a share of what a petal has beside its neighbours", gt=0.1, le=2.5
    )
    tip: Tip = given(Tip.ROUND, "End: round, pointed, notched or open")
    cup: float = given(
        0.5, "Fall from the middle of a petal to its sides as a share of the height; below 0 it is "
        "scooped out", ge=-0.9, le=0.95,
    )  # fmt: skip
    rise: float = given(
        0.0, "Rise from base to tip as a share of the height; below 0 it falls", ge=-0.9, le=0.9
    )
    veins: int = given(0, "Grooves that run from the base outwards", ge=0, le=9)
    tuck: float = given(
        0.0, "Tilt that lays one side under the next petal, as a share of the height",
        ge=-0.9, le=0.9,
    )  # fmt: skip
    turn: float = given(
        0.0, "Turned by this share of the way to the next petal: 0.5 stands in the gaps",
        ge=-1, le=1,
    )  # fmt: skip
    meets: Meets = given(Meets.OVER, "Over what is there, or cut into it")

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> Self:
        if self.to_ratio <= self.from_ratio:
            error = SpecError(
                "to_ratio", self.to_ratio, say("design.crown-ends", begins=self.from_ratio)
            )
            raise RefusedError.of(error)
        return self


class PartTable(PartialTable):
    """One carved part, or a ring of its copies."""

    figure: Figure = given(..., "Leaf, drop, ball, stem, burr, star or crescent")
    at_ratio: float = given(
        0.0, "Distance of its foot from the middle, as a share of the way to the bands", ge=0, le=1
    )
    towards_deg: float = given(
        90.0, "Direction from the middle, counter-clockwise from the right",
        unit="deg", ge=-360, le=360,
    )  # fmt: skip
    heading_deg: float = given(
        0.0, "Turned from pointing outwards, counter-clockwise", unit="deg", ge=-360, le=360
    )
    length_ratio: float = given(0.3, "Length, as a share of the same way", gt=0, le=2)
    width_ratio: float = given(0.4, "Width as a share of its length", gt=0, le=4)
    bend: float = given(
        0.0, "Sideways bend, as a share of its length; above 0 to the left", ge=-0.6, le=0.6
    )
    height_mm: float = given(1.4, "Height above the ground", **HEIGHT)
    cup: float = given(
        0.6, "Fall from its middle to its sides as a share of the height; below 0 it is scooped "
        "out", ge=-0.9, le=1,
    )  # fmt: skip
    veins: int = given(0, "Grooves beside the middle one of a leaf, points of a star", ge=0, le=16)
    copies: int = given(1, "Copies around the middle, itself counted", ge=1, le=60)
    mirrored: bool = given(False, "Add the mirror image, left to right")  # noqa: FBT003
    meets: Meets = given(Meets.OVER, "Over what is there, or cut into it")


class HeldTable(PartialTable):
    """What a medallion holds: a drawing or lettering."""

    pattern: str | None = given(
        None, "Name of a pattern, or an SVG, PNG or JPEG file", min_length=1, max_length=1000,
        file=FileKind.ARTWORK,
    )  # fmt: skip
    text: str | None = given(
        None, "Lettering; line breaks part its lines", min_length=1, max_length=40, lines=True
    )
    font: str | None = given(None, "TrueType or OpenType file", min_length=1, file=FileKind.FONT)
    font_name: str | None = given(
        None, "Full name of an installed font, as a build writes it", min_length=1, max_length=100
    )
    font_sha256: str | None = given(
        None, "SHA-256 digest of the font, as a build writes it: another font is refused",
        pattern="^[0-9a-f]{64}$",
    )  # fmt: skip
    depth_mm: float = given(1.0, "Height or depth", **HEIGHT)
    sense: Sense = given(Sense.RAISED, "Raised or sunk")
    profile: Profile = given(Profile.FLAT, "Section of a stroke")
    size_ratio: float = given(
        0.9, "Larger side as a share of what the medallion takes", gt=0.1, le=1
    )
    turn_deg: float = given(0.0, "Turned counter-clockwise", unit="deg", ge=-360, le=360)

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.pattern is None) == (self.text is None):
            raise RefusedError(say("design.held-one-source"))
        return self

    @property
    def layer(self) -> Layer:
        """It as a layer of artwork."""
        keys = ("pattern", "text", "font", "font_name", "font_sha256", "turn_deg")
        return Layer(**{key: getattr(self, key) for key in keys})


class MedallionTable(PartialTable):
    """A disc in the middle, sunk or raised, with a ring around it."""

    radius_ratio: float = given(
        0.4, "Radius, as a share of the way from the middle to the bands", gt=0.05, le=1
    )
    ground: Sense = given(Sense.SUNK, "Raised above the ground or sunk into it")
    height_mm: float = given(0.6, "Height above the ground in the middle, or depth", **HEIGHT)
    dome_mm: float = given(0.0, "Rise of its middle above its edge", unit="mm", ge=0, le=6)
    ring_width_mm: float = given(1.8, "Width of the ring; 0 is none", unit="mm", ge=0, le=20)
    ring_height_mm: float = given(1.6, "Height of the ring above the ground", **HEIGHT)
    lobes: int = given(0, "Lobes of its edge; 0 is a circle", ge=0, le=24)
    beads: int = given(0, "Beads outside of the ring; 0 is none", ge=0, le=120)
    holds: HeldTable | None = given(None, "Drawing or lettering on it")


class CarvingTable(PartialTable):
    """A sculpted relief from a file: a grey picture as heights, or a mesh seen from above."""

    file: str = given(
        ..., "16-bit PNG or TIFF, or a mesh", min_length=1, max_length=1000, file=FileKind.CARVING
    )
    depth_mm: float = given(2.0, "Height from its lowest to its highest point", **HEIGHT)
    keep_detail: float = given(
        0.0, "How much of the depth goes to detail instead of to the large forms", ge=0, le=1
    )
    meets: Meets = given(Meets.OVER, "Over, on, into or instead of what is there")
    size_mm: float | None = given(
        None, "Larger side; as large as the face takes where it is left out", **LENGTH
    )
    x_mm: float = given(0.0, "Moved right of the middle", unit="mm", ge=-400, le=400)
    y_mm: float = given(0.0, "Moved up from the middle", unit="mm", ge=-400, le=400)
    turn_deg: float = given(0.0, "Turned counter-clockwise", unit="deg", ge=-360, le=360)


class FaceTable(PartialTable):
    """A carved face: what is left out comes from the bundled face that it names, if it does."""

    name: str | None = given(
        None, "Bundled face, which the other keys change", max_length=40, main=True
    )
    title: str = given("", "What it shows, in a few words", max_length=80)
    drawn_for_mm: float | None = given(
        None, "Width of the piece that lengths are drawn for: they scale with the largest circle "
        "in the outline. As they are where it is left out", unit="mm", gt=10, le=400,
    )  # fmt: skip
    fold: int | None = given(
        None, "Parts around the middle: lobes of the outline, or 12, where it is left out",
        ge=3, le=60,
    )  # fmt: skip
    ground: GroundTable = GroundTable.model_construct()
    edge: FaceEdge = given(FaceEdge.LAND, "Ends at a flat land, or runs over the shoulder")
    land_mm: float | None = given(
        None, "Flat land between the edge of the top and the first band; as the rim of the stamp "
        "needs where it is left out", unit="mm", ge=0, le=40,
    )  # fmt: skip
    shoulder_mm: float | None = given(
        None, "Radius of the shoulder; as [pastry] where it is left out", unit="mm", ge=0, le=12
    )
    bands: tuple[BandTable, ...] = given((), "Bands from the edge inwards", max_length=12)
    crowns: tuple[CrownTable, ...] = given((), "Rows of petals, lowest first", max_length=12)
    parts: tuple[PartTable, ...] = given((), "Parts, lowest first", max_length=60)
    medallion: MedallionTable | None = given(None, "Disc in the middle")
    carvings: tuple[CarvingTable, ...] = given((), "Reliefs from files", max_length=8)

    @field_validator("name")
    @classmethod
    def _is_bundled(cls, name: str | None) -> str | None:
        if name is not None and name not in face_names():
            (near,) = get_close_matches(name, face_names(), n=1, cutoff=0.0)
            raise RefusedError(say("design.unknown-face", near=near))
        return name

    def whole(self) -> Self:
        """Return the face with what it leaves out taken from the bundled face that it names.

        A list takes the place of the bundled one; keys of a table change that table's.
        """
        if self.name is None:
            return self
        own = self.model_dump(mode="json", exclude_unset=True)
        return type(self).of(_changed(_bundled(self.name), own))


def _changed(tree: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Return nested values with some replaced."""
    both = {
        key: _changed(tree[key], value)
        if isinstance(value, Mapping) and isinstance(tree.get(key), Mapping)
        else value
        for key, value in own.items()
    }
    return dict(tree) | both


FACES: Final = Path(str(files("moulddesign"))) / "data" / "faces"
"""One TOML file a bundled face."""


@cache
def face_names() -> tuple[str, ...]:
    """Return the names of the bundled faces, in the order of the alphabet."""
    return tuple(sorted(path.stem for path in FACES.glob("*.toml")))


@cache
def _bundled(name: str) -> Mapping[str, Any]:
    with (FACES / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


def bundled_face(name: str) -> FaceTable:
    """Return a bundled face with all its keys.

    Raises
    ------
    SpecError
        There is none of that name.
    """
    return FaceTable.of({"name": name}).whole()
