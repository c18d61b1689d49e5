"""The mould and the printer it is made on."""

from enum import StrEnum

from pydantic import field_validator

from moulddesign.design.material import materials
from moulddesign.design.quantity import CHOICE, PRACTICE, Table, given


class Kind(StrEnum):
    """Which mould is made."""

    PRESS = "press"


class Joint(StrEnum):
    """How the plunger holds the stamp."""

    PEG = "peg"
    BOLT = "bolt"


class Bolt(StrEnum):
    """Thread of the bolt that holds the stamp."""

    M5 = "M5"
    M6 = "M6"


class MouldTable(Table):
    """A press mould: sleeve, stamp, plunger."""

    kind: Kind = given(Kind.PRESS, "Kind of mould")
    clearance_mm: float = given(
        0.3, "Gap between stamp and bore, each side", unit="mm",
        source="0.2-0.3 mm sliding, PLA 0.3, PETG 0.4; " + PRACTICE, ge=0.05, le=2,
    )  # fmt: skip
    wall_mm: float = given(
        2.8, "Wall of the sleeve", unit="mm",
        source="two lines at the least, better 1.2-1.6 mm, more for a lasting tool; " + PRACTICE,
        ge=0.8, le=20,
    )  # fmt: skip
    flange_width_mm: float = given(
        8.0, "Finger flange beyond the sleeve's wall", unit="mm", source=CHOICE, ge=0, le=40
    )
    flange_thickness_mm: float = given(
        4.0, "Thickness of the finger flange", unit="mm", source=CHOICE, ge=1, le=20
    )
    lead_in_mm: float = given(
        1.0, "Chamfer where the stamp enters the bore", unit="mm", source=CHOICE, ge=0.2, le=5
    )
    guide_to_width: float = given(
        0.7, "Length over which stamp and vanes guide, as a share of the width",
        source="the design's own tilt rule: drop = 2 clearance / this share", ge=0.2, le=3,
    )  # fmt: skip
    past_rim_mm: float = given(
        1.0, "How far the stamp comes out of the bore to free the pastry", unit="mm",
        source=CHOICE, ge=0, le=20,
    )  # fmt: skip
    height_band: float = given(
        0.1, "Share of the height between the nominal ring and the light and heavy ones",
        source="raw pieces exceed their nominal weight by 0-9 %; " + PRACTICE, ge=0.02, le=0.5,
    )  # fmt: skip
    joint: Joint = given(Joint.PEG, "How the plunger holds the stamp: peg or bolt")
    bolt: Bolt = given(Bolt.M5, "Thread of the bolt, where the joint is one")
    skin_mm: float = given(
        2.4, "Solid plastic between the deepest engraving and the pocket in the stamp's back",
        unit="mm", source="six lines or twelve layers; our choice, change it freely", ge=0.8, le=20,
    )  # fmt: skip
    bridge_mm: float = given(
        5.0, "Widest flat ceiling that is printed over air", unit="mm",
        source="bridges up to 10 mm; " + PRACTICE + "; half of it is our choice", ge=1, le=10,
    )  # fmt: skip
    disc_rim_mm: float = given(
        4.0, "How far the palm disc reaches beyond the bore", unit="mm", source=CHOICE, ge=1, le=40
    )
    disc_thickness_mm: float = given(
        5.0, "Thickness of the palm disc", unit="mm", source=CHOICE, ge=2, le=20
    )
    vane_thickness_mm: float = given(
        3.0, "Thickness of the guide vanes", unit="mm", source=CHOICE, ge=0.8, le=20
    )
    peg_diameter_mm: float | None = given(
        None,
        "Diameter of the plunger's peg where it enters the stamp; 0.3 of the width and at most "
        "18 mm where it is left out",
        unit="mm", source=CHOICE, ge=6, le=60,
    )  # fmt: skip
    peg_length_mm: float = given(7.0, "Length of the peg", unit="mm", source=CHOICE, ge=3, le=40)
    peg_taper_deg: float = given(
        4.0, "Slope of the peg against its axis", unit="deg",
        source="a shallow taper holds by friction, a steeper one seats less deep where the "
        "print is off; our choice, change it freely", ge=0.5, le=15,
    )  # fmt: skip
    peg_interference_mm: float = given(
        0.05, "How much wider the peg is than its pocket, on the diameter", unit="mm",
        source=CHOICE, ge=0, le=0.5,
    )  # fmt: skip


class PrinterTable(Table):
    """The printer and the plastic in it."""

    material: str = given("PETG", "Plastic that the parts are printed from")

    nozzle_mm: float = given(0.4, "Nozzle diameter", unit="mm", source=PRACTICE, ge=0.1, le=2)
    line_width_mm: float = given(
        0.42, "Width of one printed line", unit="mm", source=PRACTICE, ge=0.1, le=3
    )
    layer_height_mm: float = given(0.2, "Layer height", unit="mm", source=PRACTICE, ge=0.02, le=1)
    bed_mm: tuple[float, float, float] = given(
        (220.0, 220.0, 250.0), "Build volume: x, y, z", unit="mm", source=PRACTICE
    )

    @field_validator("bed_mm")
    @classmethod
    def _has_room(cls, bed_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        if min(bed_mm) <= 0.0:
            message = "must be three lengths above 0 mm: x, y, z"
            raise ValueError(message)
        return bed_mm

    @field_validator("material")
    @classmethod
    def _known(cls, material: str) -> str:
        if material not in materials():
            message = f"must be one of {', '.join(materials())}"
            raise ValueError(message)
        return material
