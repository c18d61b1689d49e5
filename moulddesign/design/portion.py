"""What the piece weighs and what it is made of."""

from enum import StrEnum
from math import isfinite, pi

from pydantic import field_validator

from moulddesign.design.quantity import CHOICE, MEMORY, PRACTICE, Table, given


class CountsIn(StrEnum):
    """Where a centre's mass belongs."""

    FILLING = "filling"
    APART = "apart"


class Centre(Table):
    """A whole thing inside the filling: a yolk, a nut, a cube of jelly."""

    name: str = given("centre", "What it is", min_length=1, max_length=40)
    mass_g: float = given(12.0, "Mass of one", unit="g", source=MEMORY, gt=0, le=500)
    density_g_per_ml: float = given(1.06, "Density of it", unit="g/mL", source=MEMORY, ge=0.2, le=3)
    mass_spread: float = given(
        0.12, "Standard deviation of the mass of one, as a share of it",
        source="salted yolks 10-15 g each, evenly spread; " + MEMORY, ge=0, le=1,
    )  # fmt: skip
    density_sd_g_per_ml: float = given(
        0.01, "Standard uncertainty of its density", unit="g/mL", source=MEMORY, ge=0, le=1
    )
    count: int = given(1, "How many of these in a piece", ge=1, le=12)
    counts_in: CountsIn = given(
        CountsIn.FILLING,
        "Whether the filling's share of the ratio includes it",
        source=PRACTICE,
    )

    @property
    def diameter_mm(self) -> float:
        """Diameter of a ball of its mass and density [mm]."""
        return float((6000.0 * self.mass_g / self.density_g_per_ml / pi) ** (1 / 3))


class PortionTable(Table):
    """Weights, ratio, densities."""

    finished_weight_g: float = given(
        75.0, "Weight of one piece when it is eaten", unit="g", source=CHOICE, gt=0, le=5000
    )
    ratio: str = given(
        "3:7", "Crust to filling by mass", source=PRACTICE, pattern=r"^\d+(\.\d+)?:\d+(\.\d+)?$"
    )
    loss: float = given(
        0.02,
        "Share of the raw mass that is lost by the end of resting",
        source="works weighing table: raw exceeds nominal by 0-9 % at 50 g, 0-3 % at 180 g; "
        + PRACTICE,
        ge=0,
        le=0.6,
    )
    loss_sd: float = given(
        0.01, "Standard deviation of the loss from piece to piece", source=MEMORY, ge=0, le=0.3
    )
    crust_density_g_per_ml: float = given(
        1.29, "Density of the raw crust dough", unit="g/mL", source=MEMORY, ge=0.2, le=3
    )
    filling_density_g_per_ml: float = given(
        1.25, "Density of the filling paste", unit="g/mL", source=MEMORY, ge=0.2, le=3
    )
    crust_density_sd_g_per_ml: float = given(
        0.023, "Standard uncertainty of the crust's density", unit="g/mL",
        source="syrup crusts 1.25-1.33 g/mL, evenly spread; " + MEMORY, ge=0, le=1,
    )  # fmt: skip
    filling_density_sd_g_per_ml: float = given(
        0.029, "Standard uncertainty of the filling paste's density", unit="g/mL",
        source="bean, seed and nut pastes 1.20-1.30 g/mL, evenly spread; " + MEMORY, ge=0, le=1,
    )  # fmt: skip
    trapped_air: float = given(
        0.0, "Share of the pressed volume that is air trapped in wrapping", ge=0, le=0.3
    )
    bore_room_mm: float = given(
        1.5, "Gap on each side between the rolled piece and the bore that it enters", unit="mm",
        source=PRACTICE, ge=0, le=20,
    )  # fmt: skip
    centres: tuple[Centre, ...] = given((), "Whole centres inside the filling", max_length=12)

    @field_validator("ratio")
    @classmethod
    def _both_parts_are_there(cls, ratio: str) -> str:
        crust, filling = _parts(ratio)
        if not (crust > 0.0 and filling > 0.0 and isfinite(crust + filling)):
            message = "both parts must be above 0 and finite, such as 3:7"
            raise ValueError(message)
        return ratio

    @property
    def crust_share(self) -> float:
        """Crust as a share of crust and filling together, by mass."""
        crust, filling = _parts(self.ratio)
        return crust / (crust + filling)


def _parts(ratio: str) -> tuple[float, float]:
    crust, filling = ratio.split(":")
    return float(crust), float(filling)
