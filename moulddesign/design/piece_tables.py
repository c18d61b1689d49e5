"""The piece, its outline and size, and what weighing, selling and running a batch need."""

from collections.abc import Mapping
from difflib import get_close_matches
from enum import StrEnum
from math import isfinite
from typing import Any, Final, Self

from pydantic import field_validator, model_validator

from moulddesign.core import SpecError, both, either, read_ratio, say, word
from moulddesign.design.doughs import (
    UNNAMED_CRUST,
    UNNAMED_FILLING,
    Dough,
    PartDensity,
    crusts,
    density_of,
    fillings,
    known_name,
)
from moulddesign.design.face_tables import BandSection
from moulddesign.design.schema import (
    CHOICE,
    MEMORY,
    TRADE,
    FileKind,
    RefusedError,
    Table,
    as_one_line,
    given,
)


class CountsIn(StrEnum):
    """Where a centre's mass belongs."""

    FILLING = "filling"
    APART = "apart"


class Stiffness(StrEnum):
    """Whether a centre keeps its shape when the piece is pressed."""

    RIGID = "rigid"
    SOFT = "soft"


class PieceComposition(StrEnum):
    """What a piece is made up of."""

    WRAPPED = "wrapped"
    SOLID = "solid"
    POURED = "poured"


class Purpose(StrEnum):
    """Whether a piece is eaten."""

    FOOD = "food"
    NOT_FOOD = "not-food"


class Finish(StrEnum):
    """What happens to a pressed piece before it is eaten."""

    BAKED = "baked"
    UNBAKED = "unbaked"
    FROZEN = "frozen"
    SET = "set"


class CentresWeighed(StrEnum):
    """How centres come to their weight."""

    WITH_PASTE = "with-the-paste"
    COUNTED = "counted"


class Centre(Table):
    """A whole thing inside the filling: a yolk, a nut, a cube of jelly."""

    name: str = given(
        "centre", "What it is; the name of a food brings its density and its allergens",
        min_length=1, max_length=40, main=True,
    )  # fmt: skip
    mass_g: float = given(12.0, "Mass of one", unit="g", source=MEMORY, gt=0, le=500, main=True)
    density_g_per_ml: float | None = given(
        None, "Density of it; where it is left out that of the food of its name, else a guess",
        unit="g/mL", source="the table of foods, or " + MEMORY, ge=0.2, le=3,
    )  # fmt: skip
    mass_spread: float = given(
        0.12, "Standard deviation of the mass of one, as a share of it",
        source="salted yolks of 10-15 g, evenly spread, and others alike; " + MEMORY, ge=0, le=1,
    )  # fmt: skip
    density_sd_g_per_ml: float | None = given(
        None, "Standard uncertainty of its density; it goes with the density where it is left out",
        unit="g/mL", source="the table of foods, or " + MEMORY, ge=0, le=1,
    )  # fmt: skip
    stiffness: Stiffness | None = given(
        None, "Whether it keeps its shape in pressing; as the food of its name does",
        source=MEMORY,
    )  # fmt: skip
    count: int = given(1, "How many of these in a piece", ge=1, le=12, main=True)
    counts_in: CountsIn = given(
        CountsIn.FILLING,
        "Whether the filling's share of the ratio includes it",
        source=TRADE,
    )
    price: float | None = given(
        None, "Price of one; the batch's price of a centre where it is left out", ge=0, le=1e6
    )

    _name_in_a_line = field_validator("name")(as_one_line)


NAMED_FIGURES: Final = {
    "crust_dough": (
        "crust_density_g_per_ml", "crust_density_sd_g_per_ml", "loss", "loss_uncertainty",
    ),
    "filling_paste": ("filling_density_g_per_ml", "filling_density_sd_g_per_ml"),
}  # fmt: skip
"""Figures that a named dough or paste stands for."""


UNFILLED_RATIO: Final = "1:0"
"""Crust to filling of a piece without any."""


class PortionTable(Table):
    """Weights, ratio, densities."""

    finished_weight_g: float = given(
        75.0,
        "Weight of one piece when it is eaten",
        unit="g",
        source=CHOICE,
        gt=0,
        le=5000,
        main=True,
    )
    ratio: str = given(
        "3:7",
        "Crust to filling by mass",
        source=TRADE,
        main=True,
    )
    composition: PieceComposition = given(
        PieceComposition.WRAPPED,
        "A crust wrapped around a filling, one solid dough, or a mass that is poured; the last two "
        "have no filling, and the crust's figures are those of the whole",
    )
    purpose: Purpose = given(
        Purpose.FOOD, "Whether the piece is eaten; what is not is cast in silicone of its own"
    )
    finish: Finish = given(
        Finish.BAKED,
        "Whether the piece is baked, eaten unbaked, frozen, or left to set in the cold; what is "
        "not baked loses no water in an oven",
    )
    crust_dough: str | None = given(
        None, "Crust dough by name: density, and the loss from its water", source=TRADE, main=True
    )
    filling_paste: str | None = given(
        None, "Filling paste by name: density, and what it loses where the crust dough is named",
        source=TRADE, main=True,
    )  # fmt: skip
    loss: float | None = given(
        None,
        "Share of the raw mass that is lost by the end of resting; that of the named dough where "
        "it is left out, and without a name 0.02 give or take 0.015, unmeasured",
        source="weigh a trial",
        ge=0,
        le=0.6,
        main=True,
    )
    loss_sd: float = given(
        0.01, "Standard deviation of the loss from piece to piece", source=MEMORY, ge=0, le=0.3
    )
    loss_uncertainty: float = given(
        0.0, "Standard uncertainty of a loss that is given, which shifts all pieces alike; a trial "
        "finds it", source=CHOICE, ge=0, le=0.3,
    )  # fmt: skip
    crust_density_g_per_ml: float | None = given(
        None, "Density of the raw crust dough; the named one's where it is left out", unit="g/mL",
        source=MEMORY, ge=0.2, le=3,
    )  # fmt: skip
    filling_density_g_per_ml: float | None = given(
        None, "Density of the filling paste; the named one's where it is left out", unit="g/mL",
        source=MEMORY, ge=0.2, le=3,
    )  # fmt: skip
    crust_density_sd_g_per_ml: float | None = given(
        None, "Standard uncertainty of the crust's density; the named dough's where it is left out",
        unit="g/mL", source=MEMORY, ge=0, le=1,
    )  # fmt: skip
    crust_yield_kpa: float | None = given(
        None, "Yield stress of the crust dough, as `moulddesign firmness` finds it; 1.4 to 4 kPa "
        "are taken where it is left out", unit="kPa", source=MEMORY, gt=0, le=1000,
    )  # fmt: skip
    filling_density_sd_g_per_ml: float | None = given(
        None, "Standard uncertainty of the paste's density; the named one's where it is left out",
        unit="g/mL", source=MEMORY, ge=0, le=1,
    )  # fmt: skip
    trapped_air: float = given(
        0.0, "Share of the pressed volume that is air trapped in wrapping", ge=0, le=0.3
    )
    bore_room_mm: float = given(
        1.5, "Gap on each side between the rolled piece and the bore that it enters", unit="mm",
        source=TRADE, ge=0, le=20,
    )  # fmt: skip
    centres: tuple[Centre, ...] = given(
        (), "Whole centres inside the filling", max_length=12, main=True
    )
    centres_weighed: CentresWeighed = given(
        CentresWeighed.WITH_PASTE,
        "Whether a centre is weighed together with its paste, or counted and not weighed",
        source=TRADE,
    )

    @field_validator("ratio", mode="before")
    @classmethod
    def _as_typed_ratio(cls, ratio: object) -> object:
        """Read "3/7" and the crust's share in per cent, too."""
        if not isinstance(ratio, str):
            return ratio
        try:
            return read_ratio("ratio", ratio)
        except SpecError as error:
            raise RefusedError(RefusedError.of(error).need) from error

    @field_validator("ratio")
    @classmethod
    def _both_parts_are_there(cls, ratio: str) -> str:
        crust, filling = _parts(ratio)
        if not (crust > 0.0 and isfinite(crust + filling)):
            raise RefusedError(say("design.ratio-of-nothing"))
        return ratio

    @field_validator("crust_dough")
    @classmethod
    def _a_crust(cls, name: str | None) -> str | None:
        return None if name is None else known_name(name, crusts())

    @field_validator("filling_paste")
    @classmethod
    def _a_filling(cls, name: str | None) -> str | None:
        return None if name is None else known_name(name, fillings())

    @model_validator(mode="after")
    def _uncertain_where_given(self) -> Self:
        if self.loss is None and self.loss_uncertainty > 0.0:
            need = say("design.uncertainty-of-no-loss")
            raise SpecError("portion.loss_uncertainty", self.loss_uncertainty, need)
        return self

    @property
    def is_loss_unmeasured(self) -> bool:
        """Whether nobody measured the loss or named what it follows from."""
        named = self.crust_dough is not None and self.finish is Finish.BAKED
        return self.loss is None and not named

    @property
    def usual_crust(self) -> Dough:
        """What is usual of the crust's dough; of a syrup crust where nobody named it."""
        return crusts()[self.crust_dough or UNNAMED_CRUST]

    @property
    def usual_filling(self) -> Dough:
        """What is usual of the filling paste; of any where nobody named it."""
        return fillings()[self.filling_paste or UNNAMED_FILLING]

    @property
    def crust_density(self) -> PartDensity:
        """Density of the crust: as given, of its named dough, or of a usual one."""
        return density_of(
            self.usual_crust,
            density_g_per_ml=self.crust_density_g_per_ml,
            density_sd_g_per_ml=self.crust_density_sd_g_per_ml,
        )

    @property
    def filling_density(self) -> PartDensity:
        """Density of the filling paste: as given, of the named one, or of any."""
        return density_of(
            self.usual_filling,
            density_g_per_ml=self.filling_density_g_per_ml,
            density_sd_g_per_ml=self.filling_density_sd_g_per_ml,
        )

    @model_validator(mode="after")
    def _filled_where_there_is_a_filling(self) -> Self:
        if self.is_filled:
            if _parts(self.ratio)[1] == 0.0:
                raise SpecError("portion.ratio", self.ratio, say("design.ratio-of-no-filling"))
            return self
        need = say("design.no-filling", composition=word(self.composition))
        usual = type(self).model_fields["ratio"].default
        if _parts(self.ratio)[1] > 0.0 and self.ratio != usual:
            raise SpecError("portion.ratio", self.ratio, need)
        if self.filling_paste is not None:
            raise SpecError("portion.filling_paste", self.filling_paste, need)
        if self.centres:
            raise SpecError("portion.centres", self.centres[0].name, need)
        return self

    @property
    def is_filled(self) -> bool:
        """Whether there is a filling inside a crust."""
        return self.composition is PieceComposition.WRAPPED

    @property
    def crust_share(self) -> float:
        """Crust as a share of crust and filling together, by mass."""
        crust, filling = _parts(self.ratio)
        return crust / (crust + filling) if self.is_filled else 1.0


def _parts(ratio: str) -> tuple[float, float]:
    crust, filling = ratio.split(":")
    return float(crust), float(filling)


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
            others = either([word(name) for name in outlines])
            need = say("design.idle-for-outline", outline=word(outline), others=others)
            raise SpecError(field, value, need)


OUTLINE_KEYS: Final[Mapping[str, Mapping[str, Any]]] = {
    "outline": {"min_length": 1, "main": True, "file": FileKind.OUTLINE},
    "width_mm": {"unit": "mm", "ge": 1, "le": 400, "main": True},
    "height_mm": {"unit": "mm", "ge": 1, "le": 200, "main": True},
    "corner_radius_mm": {"unit": "mm", "ge": 0, "le": 200},
    "lobes": {"ge": 3, "le": 60},
    "lobe_depth_mm": {"unit": "mm", "gt": 0, "le": 50},
    "shoulder_radius_mm": {"unit": "mm", "ge": 0, "le": 30},
}
"""Units and limits of the keys by which a pastry is shaped, and a mould that exists measured."""


BAND_LENGTH: Final[Mapping[str, Any]] = {"unit": "mm", "main": True, "gt": 0, "le": 60}


class SideForm(StrEnum):
    """What runs down the side of a piece."""

    PLAIN = "plain"
    FLUTED = "fluted"
    REEDED = "reeded"


class SideBandTable(Table):
    """One band around the side; bands follow each other from the table upwards."""

    section: BandSection = given(
        BandSection.STEP, "Round, hollow, ogee, fillet, which is straight, or step, which ends in "
        "a level ledge", main=True,
    )  # fmt: skip
    height_mm: float = given(4.0, "Height of the band", source=CHOICE, **BAND_LENGTH)
    depth_mm: float = given(
        1.5, "How much narrower the piece is above it, on each side", source=CHOICE, **BAND_LENGTH
    )
    gap_mm: float = given(
        1.0, "Plain side left free below it", unit="mm", main=True, source=CHOICE, ge=0, le=100
    )


class PastryTable(Table):
    """Outline, one of three sizes, corner, side and shoulder."""

    outline: str = given(
        "round",
        f"Shape seen from above: {', '.join(OUTLINES)}, or an SVG file with one closed shape",
        **OUTLINE_KEYS["outline"],
    )
    width_mm: float | None = given(
        None,
        "Width along x, across the flats, or of the circle around lobes; free where it is left out",
        **OUTLINE_KEYS["width_mm"],
    )
    height_mm: float | None = given(
        None, "Height to the flat top; free where it is left out", **OUTLINE_KEYS["height_mm"]
    )
    height_to_width: float | None = given(
        None,
        f"Height to width; {PROPORTION} where no size is given",
        ge=0.05,
        le=3,
        source=TRADE,
        main=True,
    )
    corner_radius_mm: float = given(
        6.0,
        "Radius of the corners of a square, hexagon or octagon",
        **OUTLINE_KEYS["corner_radius_mm"],
    )
    lobes: int = given(12, "Lobes of a scalloped outline", **OUTLINE_KEYS["lobes"])
    lobe_depth_mm: float = given(
        2.0,
        "How far the valleys of a scalloped outline lie inside its lobes",
        **OUTLINE_KEYS["lobe_depth_mm"],
    )
    shoulder_radius_mm: float = given(
        0.0,
        "Radius of the rounded top edge, an arc from the flat top to 45 deg; 0 is sharp",
        **OUTLINE_KEYS["shoulder_radius_mm"],
    )
    side: SideForm = given(
        SideForm.PLAIN, "Side of the piece: plain, with upright hollows or with upright ribs"
    )
    side_count: int | None = given(
        None, "Flutes or reeds all around, the same number on each side; where it is left out, "
        "about 36, on a round piece in step with the petals of its face", ge=6, le=240,
    )  # fmt: skip
    side_depth_mm: float = given(
        0.8, "Depth of flutes or reeds", unit="mm",
        source="two printed lines of a usual nozzle; " + CHOICE, gt=0, le=6,
    )  # fmt: skip
    side_bands: tuple[SideBandTable, ...] = given(
        (), "Bands around the side of a block or a master, from the table upwards: above each the "
        "piece is narrower, so it always comes out", max_length=12,
    )  # fmt: skip

    @model_validator(mode="after")
    def _side_that_has_room(self) -> Self:
        if self.side is not SideForm.PLAIN and self.outline not in (*ROUNDED, "round"):
            names = tuple(map(word, ("round", *ROUNDED)))
            error = SpecError("outline", self.outline, say("design.side-outline", names=names))
            raise RefusedError.of(error)
        return self

    @field_validator("outline")
    @classmethod
    def _known(cls, outline: str) -> str:
        if outline in OUTLINES or outline.lower().endswith(".svg"):
            return outline
        near = get_close_matches(outline, OUTLINES, n=1, cutoff=0.0)
        names = tuple(map(word, OUTLINES))
        raise RefusedError(say("design.unknown-outline", names=names, near=word(near[0])))

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        asked = [name for name in SIZES if getattr(self, name) is not None]
        if len(asked) > 1:
            raise RefusedError(say("design.several-sizes", sizes=both(asked)))
        return self


class ScaleTable(Table):
    """The scale that portions are weighed on, and the hand that uses it."""

    resolution_g: float = given(
        1.0, "Smallest step of the scale", unit="g",
        source="kitchen scales show whole grams; " + TRADE, gt=0, le=50, main=True,
    )  # fmt: skip
    hand_error_g: float = given(
        0.5, "Standard deviation of one portion weighed in haste, beyond the scale's step",
        unit="g", source=MEMORY, ge=0, le=50,
    )  # fmt: skip


class LabelTable(Table):
    """The weight on the label and how the packers' rules are read; local law decides."""

    weight_g: float | None = given(
        None, "Weight of one piece as the label declares it; no label is looked after without it",
        unit="g", ge=5, le=10_000, main=True,
    )  # fmt: skip
    pieces_per_pack: int = given(
        1, "Pieces that are declared together as one pack; 1 where each is declared by itself",
        source=CHOICE, ge=1, le=200,
    )  # fmt: skip
    most_short: float = given(
        0.025, "Largest share of packs that may be short by more than the tolerable deficiency",
        source="Directive 76/211/EEC and the texts that follow it; Germany has 0.02",
        gt=0, le=0.1,
    )  # fmt: skip
    most_very_short: float = given(
        0.0001, "Share of packs that is taken as none where none may be short by twice as much",
        source=CHOICE, gt=0, le=0.01,
    )  # fmt: skip
