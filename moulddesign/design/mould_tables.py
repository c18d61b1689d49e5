"""The mould: a table for each kind, told apart by `kind`."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import ConfigDict, Field, field_validator

from moulddesign.design.owned_moulds import ID_SAYS, OwnedMould, as_mould_id
from moulddesign.design.printers import PrinterTable
from moulddesign.design.schema import CHOICE, MEMORY, TRADE, Table, given


class Kind(StrEnum):
    """Which mould is made."""

    PRESS = "press"
    BLOCK = "block"
    CAST = "cast"
    OWN = "own"
    """None is made: the mould exists."""


KIND_SAYS: Final = "Kind of mould; it decides which other keys count"
SIDE_DRAFT_SOURCE: Final = (
    "moulded parts want 0.5 deg at the least, 1 deg usually and 1 deg more for each 0.025 mm of "
    "surface texture; layer lines ask for several; " + TRADE
)

LEAST_BAND_DRAFT_DEG: Final = 0.5
"""Least lean of a side with bands; the least of `SIDE_DRAFT_SOURCE` [deg]."""

CAVITIES: Final[Mapping[str, Any]] = {"source": CHOICE, "ge": 1, "le": 60}
LAND: Final[Mapping[str, Any]] = {"unit": "mm", "source": CHOICE, "ge": 2, "le": 60}
FLOOR: Final[Mapping[str, Any]] = {"unit": "mm", "source": CHOICE, "ge": 0.8, "le": 40}
SIDE_DRAFT: Final[Mapping[str, Any]] = {
    "unit": "deg", "source": SIDE_DRAFT_SOURCE, "ge": 0, "le": 30
}  # fmt: skip
WALL: Final[Mapping[str, Any]] = {
    "unit": "mm",
    "source": "two lines at the least, better 1.2-1.6 mm, more for a lasting tool; " + TRADE,
    "ge": 0.8,
    "le": 20,
}
"""What keys that several kinds of mould have share: unit, source of the default, limits."""

KIND_IS_NEEDED: Final = ConfigDict(json_schema_extra={"required": ["kind"]})
"""For the JSON Schema: a table that names no kind is a press."""


LEAST_CLEARANCE_MM: Final = 0.05
"""Least gap that a stamp may be drawn with; our choice [mm]."""


class PressTable(Table):
    """A press mould: sleeve, stamp, plunger and stop."""

    retired_keys: ClassVar[frozenset[str]] = frozenset(
        {
            "flange_width_mm", "height_band", "joint", "bolt", "bridge_mm", "disc_rim_mm",
            "peg_diameter_mm", "peg_length_mm", "peg_taper_deg", "peg_interference_mm",
        }
    )  # fmt: skip
    """Keys of earlier versions, when the stamp sat on a peg or a bolt."""

    kind: Literal[Kind.PRESS] = given(Kind.PRESS, KIND_SAYS, main=True)
    clearance_mm: float | None = given(
        None,
        "Gap between stamp and bore, each side; where it is left out, twice the printer's error "
        "and 0.1 mm, so that nothing sticks",
        unit="mm", main=True, source=CHOICE, ge=LEAST_CLEARANCE_MM, le=2,
    )  # fmt: skip
    wall_mm: float | None = given(
        None,
        "Wall of the sleeve; where it is left out, 2.1 mm round a round bore, which does not bow, "
        "and 2.8 mm round others",
        **WALL,
    )
    flange_thickness_mm: float = given(
        6.0, "Thickness of the flange and its grip lobes", unit="mm", source=CHOICE, ge=2, le=20
    )
    lobe_mm: float = given(
        28.0, "How far each grip lobe of the flange reaches beyond the palm disc; 0 for none",
        unit="mm", source="two fingers side by side; " + CHOICE, ge=0, le=60,
    )  # fmt: skip
    lead_in_mm: float = given(
        1.2, "Chamfer where the stamp enters the bore", unit="mm", source=CHOICE, ge=0.4, le=5
    )
    guide_to_width: float | None = given(
        None,
        "Length over which stamp and vanes guide, as a share of the width; where it is left out, "
        "what lets the stamp lean by 0.95 mm across the piece",
        source="the design's own tilt rule: drop = 2 clearance / this share", ge=0.2, le=3,
    )  # fmt: skip
    past_rim_mm: float = given(
        1.6, "How far the stamp comes out of the bore to free the pastry, at the least", unit="mm",
        source=CHOICE, ge=0, le=20,
    )  # fmt: skip
    skin_mm: float = given(
        2.4, "Solid plastic between the deepest engraving and the slot in the stamp's back",
        unit="mm", source="six lines or twelve layers; our choice, change it freely", ge=0.8, le=20,
    )  # fmt: skip
    disc_thickness_mm: float = given(
        6.4, "Thickness of the palm disc", unit="mm", source=CHOICE, ge=2, le=20
    )
    vane_thickness_mm: float = given(
        4.0, "Thickness of the guide vanes", unit="mm", source=CHOICE, ge=0.8, le=20
    )
    lettering: bool = given(
        True,  # noqa: FBT003 (a default)
        "Sink weight, ratio and name into sleeve, plunger and stop",
    )
    id: str | None = given(None, ID_SAYS, min_length=1, max_length=6)

    _id_to_engrave = field_validator("id")(as_mould_id)

    def stamp_gap_mm(self, printer: PrinterTable) -> float:
        """Return the gap between the bore and the stamp's land, each side [mm]."""
        return printer.sliding_gap_mm if self.clearance_mm is None else self.clearance_mm

    @property
    def cavities(self) -> int:
        """A press has one bore."""
        return 1

    @property
    def side_lean_deg(self) -> float:
        """Lean of the pastry's side: none, for a press pushes the pastry out [deg]."""
        return 0.0


class BlockTable(Table):
    """A block with cavities, to press the piece into and knock it out of."""

    model_config = KIND_IS_NEEDED

    kind: Literal[Kind.BLOCK] = given(Kind.BLOCK, KIND_SAYS, main=True)
    cavities: int = given(1, "Cavities of a block", **CAVITIES)
    side_draft_deg: float | None = given(
        None,
        "Lean of the pastry's side from upright, widest where it leaves the mould; 5 deg where it "
        "is left out",
        **SIDE_DRAFT,
    )
    land_mm: float = given(8.0, "Flat rim of a block around its cavities", **LAND)
    floor_mm: float = given(3.6, "Plastic under the deepest engraving of a block", **FLOOR)
    handle_length_mm: float = given(
        80.0, "Handle of a block; 0 for none", unit="mm", source=CHOICE, ge=0, le=300
    )
    handle_width_mm: float = given(
        26.0, "Width of the handle", unit="mm", source=CHOICE, ge=10, le=80
    )
    handle_thickness_mm: float | None = given(
        None,
        "Thickness of the handle, at most the block's; where it is left out, 22 mm less than the "
        "block's for the knuckles under it, 12 to 18 mm",
        unit="mm", source=CHOICE, ge=4, le=80,
    )  # fmt: skip
    hole_mm: float = given(
        8.0, "Hole in the handle to hang it by; 0 for none", unit="mm", source=CHOICE, ge=0, le=40
    )
    vent_mm: float = given(
        1.2, "Vent through each cavity's floor, beside the strokes, that lets air in; 0 for none",
        unit="mm", source=CHOICE, ge=0, le=3,
    )  # fmt: skip
    lettering: bool = given(
        True,  # noqa: FBT003 (a default)
        "Sink weight, ratio and name into the handle",
    )
    id: str | None = given(None, ID_SAYS, min_length=1, max_length=6)

    _id_to_engrave = field_validator("id")(as_mould_id)

    @property
    def side_lean_deg(self) -> float:
        """Lean of the pastry's side: what was asked for, or 5 deg [deg]."""
        return 5.0 if self.side_draft_deg is None else self.side_draft_deg


class CastTable(Table):
    """A master with walls, to pour silicone over; the silicone is the mould."""

    model_config = KIND_IS_NEEDED

    kind: Literal[Kind.CAST] = given(Kind.CAST, KIND_SAYS, main=True)
    cavities: int = given(1, "Pastries on a casting master", **CAVITIES)
    side_draft_deg: float | None = given(
        None,
        "Lean of the pastry's side from upright, widest where it leaves the mould; 0 where it is "
        "left out, for silicone bends",
        **SIDE_DRAFT,
    )
    wall_mm: float = given(2.8, "Wall of the tray around a casting master", **WALL)
    land_mm: float = given(8.0, "Room for silicone around the pastries of a casting master", **LAND)
    floor_mm: float = given(3.6, "Plastic under a casting master", **FLOOR)
    cover_mm: float = given(
        10.0, "Silicone above the highest relief of a casting master, to the notch in its wall",
        unit="mm",
        source=CHOICE, ge=2, le=100,
    )  # fmt: skip
    tray_draft_deg: float = given(
        5.0, "Lean of a casting tray's wall, wider at the brim, so that the silicone comes out",
        unit="deg", source="as for a block's side; " + TRADE, ge=0, le=30,
    )  # fmt: skip
    silicone_shrink: float = given(
        0.001, "Share by which the silicone comes out smaller than it was poured; the master is "
        "larger by as much", source=MEMORY + "; its maker's sheet says it", ge=0, le=0.1,
    )  # fmt: skip
    silicone_density_g_per_ml: float = given(
        1.15, "Density of the mixed silicone", unit="g/mL",
        source=MEMORY + "; its maker's sheet says it", ge=0.8, le=2,
    )  # fmt: skip

    @property
    def side_lean_deg(self) -> float:
        """Lean of the pastry's side: what was asked for, or 0 [deg]."""
        return 0.0 if self.side_draft_deg is None else self.side_draft_deg


class OwnTable(OwnedMould):
    """A mould that exists: the piece is weighed, baked and tried, and none is made."""

    model_config = KIND_IS_NEEDED

    kind: Literal[Kind.OWN] = given(Kind.OWN, KIND_SAYS, main=True)

    @property
    def side_lean_deg(self) -> float:
        """Lean of the pastry's side as it is drawn, which is upright [deg]."""
        return 0.0


MadeTable = PressTable | BlockTable | CastTable
"""The table of a kind that is made."""

MADE_KINDS: Final = (Kind.PRESS, Kind.BLOCK, Kind.CAST)
"""Kinds that are made."""

MouldTable = Annotated[MadeTable | OwnTable, Field(discriminator="kind")]
"""The table of any kind."""

BY_KIND: Final[Mapping[str, type[MadeTable | OwnTable]]] = MappingProxyType(
    {Kind.PRESS: PressTable, Kind.BLOCK: BlockTable, Kind.CAST: CastTable, Kind.OWN: OwnTable}
)


def of_kind(mould: Mapping[str, Any], kind: object) -> dict[str, Any]:
    """Return a mould's plain values without the keys that only other kinds have.

    Unknown keys and an unknown kind stay, for the table to refuse.

    Examples
    --------
    >>> of_kind({"cavities": 3, "clearance_mm": 0.4, "wall_mm": 3.0}, "block")
    {'cavities': 3}
    """
    table = BY_KIND.get(str(kind))
    if table is None:
        return dict(mould)
    foreign = {key for other in BY_KIND.values() for key in other.model_fields}
    foreign -= table.model_fields.keys()
    return {key: value for key, value in mould.items() if key not in foreign}
