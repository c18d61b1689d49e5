"""The relief: its layers, and what they share."""

from enum import StrEnum
from typing import Final, Self

from pydantic import model_validator

from moulddesign.core import both, say, word
from moulddesign.design.schema import (
    CHOICE,
    TRADE,
    FileKind,
    RefusedError,
    Table,
    given,
)


class Sense(StrEnum):
    """Which way the relief stands on the pastry."""

    RAISED = "raised"
    SUNK = "sunk"


class Profile(StrEnum):
    """How height follows from the distance to a stroke's edge."""

    FLAT = "flat"
    BEVEL = "bevel"
    PILLOW = "pillow"


class Motif(StrEnum):
    """A motif drawn by rule."""

    PETALS = "petals"
    RAYS = "rays"
    RINGS = "rings"
    LATTICE = "lattice"
    SCALES = "scales"
    SCALLOPS = "scallops"
    LEAF_RING = "leaf-ring"
    BRAID = "braid"
    ROPE = "rope"
    BEADS = "beads"


class Along(StrEnum):
    """What a line of text runs along."""

    STRAIGHT = "straight"
    UPPER_RIM = "upper-rim"
    LOWER_RIM = "lower-rim"
    OUTLINE = "outline"
    LOWER_OUTLINE = "lower-outline"


class LetterSet(StrEnum):
    """How the characters of a text are set."""

    ROW = "row"
    COLUMN = "column"
    SEAL = "seal"


SOURCES = ("pattern", "motif", "text")
ONLY_FOR = {
    "count": "motif", "stroke_mm": "motif", "band_mm": "motif", "font": "text", "along": "text",
    "radius_mm": "text", "set": "text", "font_name": "text", "font_sha256": "text",
    "threshold": "pattern",
}  # fmt: skip
"""Fields that say something of one source only."""


class Layer(Table):
    """One piece of artwork on the top: a pattern, a motif or a text."""

    pattern: str | None = given(
        None,
        "Name of a pattern, or an SVG, PNG or JPEG file",
        min_length=1,
        max_length=1000,
        main=True,
        file=FileKind.ARTWORK,
    )
    motif: Motif | None = given(None, "Motif drawn by rule", main=True)
    text: str | None = given(
        None,
        "Lettering; line breaks part its lines",
        min_length=1,
        max_length=400,
        main=True,
        lines=True,
    )
    size_mm: float | None = given(
        None,
        "Larger side of the artwork, or size of the letters on a rim; as large as the flat top "
        "takes where it is left out, 6 mm on a rim",
        unit="mm", gt=0, le=400, main=True,
    )  # fmt: skip
    x_mm: float = given(0.0, "Moved right of the middle", unit="mm", ge=-400, le=400)
    y_mm: float = given(0.0, "Moved up from the middle", unit="mm", ge=-400, le=400)
    turn_deg: float = given(0.0, "Turned counter-clockwise", unit="deg", ge=-360, le=360)
    copies: int = given(1, "Copies around the pastry's middle, itself counted", ge=1, le=60)
    mirrored: bool = given(False, "Add the mirror image, left to right")  # noqa: FBT003 (a default)
    sense: Sense | None = given(None, "Raised or sunk; as the whole relief where it is left out")
    depth_mm: float | None = given(
        None, "Height or depth; as the whole relief where it is left out", unit="mm", gt=0, le=20
    )
    profile: Profile | None = given(
        None, "Section of a stroke; as the whole relief where it is left out"
    )
    draft_deg: float | None = given(
        None, "Least draft of its walls; as the whole relief where it is left out",
        unit="deg", ge=1, le=60,
    )  # fmt: skip
    colour: str | None = given(
        None, "Colour of the dough that is pressed into its engraving first, where it is raised",
        min_length=1, max_length=40,
    )  # fmt: skip
    gap_mm: float = given(
        0.0, "Flat land kept free around it in earlier layers", unit="mm", source=CHOICE,
        ge=0, le=20,
    )  # fmt: skip
    least_stroke_mm: float | None = given(
        None, "Thinner strokes are thickened to this", unit="mm", ge=0.1, le=10
    )
    font: str | None = given(None, "TrueType or OpenType file", min_length=1, file=FileKind.FONT)
    font_name: str | None = given(
        None, "Full name of an installed font; where both are left out, the bundled one, or the "
        "boldest installed one that has the characters", min_length=1, max_length=100,
    )  # fmt: skip
    font_sha256: str | None = given(
        None, "SHA-256 digest of the font, as a build writes it: another font is refused",
        pattern="^[0-9a-f]{64}$",
    )  # fmt: skip
    along: Along | None = given(
        None, "What the text runs along: straight where it is left out; a rim is a circle, an "
        "outline has its corners", main=True,
    )  # fmt: skip
    set: LetterSet | None = given(
        None, "How a straight text is set, in rows where it is left out; columns are read "
        "downwards from the right, a seal has four characters", main=True,
    )  # fmt: skip
    radius_mm: float | None = given(
        None, "Base line's radius on a rim; as large as fits where it is left out", unit="mm",
        gt=0, le=200,
    )  # fmt: skip
    threshold: float | None = given(
        None, "Brightness below which a picture or drawing stands out fully; a picture's is found "
        "by itself where it is left out, and a drawing's greys are depths",
        gt=0, lt=1,
    )  # fmt: skip
    count: int | None = given(None, "Parts of the motif", ge=1, le=400, main=True)
    stroke_mm: float | None = given(
        None, "Strokes of the motif, or gaps between its parts", unit="mm", gt=0, le=20
    )
    band_mm: float | None = given(
        None, "Width of a border; radius left free in the middle of a field", unit="mm",
        gt=0, le=100,
    )  # fmt: skip

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        asked = [name for name in SOURCES if getattr(self, name) is not None]
        if len(asked) != 1:
            if not asked:
                raise RefusedError(say("design.layer-of-nothing"))
            words = both([word(name) for name in asked])
            raise RefusedError(say("design.layer-of-several", given=words))
        for name, source in ONLY_FOR.items():
            if getattr(self, name) is not None and source != asked[0]:
                raise RefusedError(say("design.key-of-a-source", key=name, source=word(source)))
        straight = self.along in {None, Along.STRAIGHT}
        if self.set not in {None, LetterSet.ROW} and not straight:
            raise RefusedError(say("design.set-along-a-line", set=word(self.set or "")))
        if self.radius_mm is not None and self.along in {Along.OUTLINE, Along.LOWER_OUTLINE}:
            raise RefusedError(say("design.radius-on-outline"))
        if self.font is not None and self.font_name is not None:
            raise RefusedError(say("design.two-fonts"))
        return self


USUAL_DEPTH_MM: Final = 1.5
"""Relief where no depth is given, before it is rounded to whole layers; from memory [mm]."""


class ReliefTable(Table):
    """The relief: what stands out of the pastry's top, or sinks into it."""

    # A design fills it in from its printer's layers.
    depth_mm: float = given(
        None,
        "Height of the relief above the flat top, or depth below it; where it is left out, "
        f"{USUAL_DEPTH_MM:g} mm in whole printed layers",
        unit="mm", source="from memory, press the sampler to find your own", gt=0, le=20, main=True,
    )  # fmt: skip
    sense: Sense = given(Sense.RAISED, "Raised above the flat top or sunk into it", main=True)
    profile: Profile = given(Profile.FLAT, "Section of a stroke", main=True)
    draft_deg: float = given(
        15.0,
        "Least angle between a wall of the relief and the pull direction",
        unit="deg",
        source="moulded parts want 0.5 deg and 1 deg more for each 0.025 mm of texture; "
        "layer lines ask for several; " + TRADE,
        ge=1,
        le=60,
    )
    margin_mm: float = given(
        2.0, "Least flat land between the relief and the edge of the top", unit="mm",
        source=CHOICE, ge=0.1, le=100,
    )  # fmt: skip
    layers: tuple[Layer, ...] = given(
        (Layer.model_construct(pattern="chestnut"),),
        "Artwork, later over earlier; none leaves the top plain",
        main=True,
    )
