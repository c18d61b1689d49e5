"""The mould and the printer it is made on."""

from enum import StrEnum

from moulddesign.design.quantity import CHOICE, PRACTICE, Table, given


class Kind(StrEnum):
    """Which mould is made."""

    PRESS = "press"


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
    peg_diameter_mm: float = given(
        16.0, "Diameter of the plunger's peg where it enters the stamp", unit="mm",
        source=CHOICE, ge=6, le=60,
    )  # fmt: skip
    peg_length_mm: float = given(7.0, "Length of the peg", unit="mm", source=CHOICE, ge=3, le=40)
    peg_interference_mm: float = given(
        0.05, "How much wider the peg is than its pocket, on the diameter", unit="mm",
        source=CHOICE, ge=0, le=0.5,
    )  # fmt: skip


class PrinterTable(Table):
    """The printer."""

    nozzle_mm: float = given(0.4, "Nozzle diameter", unit="mm", source=PRACTICE, ge=0.1, le=2)
    line_width_mm: float = given(
        0.42, "Width of one printed line", unit="mm", source=PRACTICE, ge=0.1, le=3
    )
    layer_height_mm: float = given(0.2, "Layer height", unit="mm", source=PRACTICE, ge=0.02, le=1)
    bed_mm: tuple[float, float, float] = given(
        (220.0, 220.0, 250.0), "Build volume: x, y, z", unit="mm", source=PRACTICE
    )
