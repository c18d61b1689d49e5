"""Density of food from what it consists of: the equations of Choi and Okos."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import fsum
from typing import Final, Self

from moulddesign.errors import SpecError
from moulddesign.portion.limits import between, not_negative
from moulddesign.portion.water import BOILS_C, FREEZES_C, KG_PER_M3_IN_G_PER_ML

COLDEST_C: Final = -40.0
HOTTEST_C: Final = 150.0
"""Range of the equations, stated by their authors [deg C]."""

PER_100_G: Final = 100.0

SUM_TOLERANCE: Final = 0.01
"""How far shares may be from 1 in sum: six shares rounded to 0.3 per 100 g each."""


class Component(StrEnum):
    """What food consists of, as a laboratory reports it."""

    WATER = "water"
    PROTEIN = "protein"
    FAT = "fat"
    CARBOHYDRATE = "carbohydrate"
    FIBRE = "fibre"
    ASH = "ash"


COEFFICIENTS: Final[Mapping[Component, tuple[float, float, float]]] = {
    Component.WATER: (997.18, 3.1439e-3, -3.7574e-3),
    Component.PROTEIN: (1329.9, -0.51840, 0.0),
    Component.FAT: (925.59, -0.41757, 0.0),
    Component.CARBOHYDRATE: (1599.1, -0.31046, 0.0),
    Component.FIBRE: (1311.5, -0.36589, 0.0),
    Component.ASH: (2423.8, -0.28063, 0.0),
}
"""Choi and Okos 1986, rising powers of the temperature [kg/m^3, deg C].

Misprints are in circulation: 1322.9 for protein, a slope of 0.51757 for fat.
"""


def component_density_g_per_ml(component: Component, at_c: float) -> float:
    """Return the density of one component of food.

    Parameters
    ----------
    component : Component
        Water, protein, fat, carbohydrate, fibre or ash.
    at_c : float
        Temperature, -40 to 150 [deg C].

    Returns
    -------
    float
        Density, without air [1]_ [g/mL].

    Raises
    ------
    SpecError
        The temperature is outside the range of the equations.

    References
    ----------
    .. [1] Y. Choi and M. R. Okos, Food Engineering and Process Applications 1 (1986) 93-101.

    Examples
    --------
    >>> round(component_density_g_per_ml(Component.FAT, 20.0), 4)
    0.9172
    """
    between(
        "at_c", at_c, least=COLDEST_C, most=HOTTEST_C,
        need=f"must be {COLDEST_C:g} to {HOTTEST_C:g} deg C, the range of the equations",
    )  # fmt: skip
    constant, slope, curve = COEFFICIENTS[component]
    return (constant + slope * at_c + curve * at_c**2) * KG_PER_M3_IN_G_PER_ML


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """What a food consists of, as shares of its mass.

    Parameters
    ----------
    water, protein, fat, carbohydrate, fibre, ash : float
        Shares of the mass; together 1 within 0.01, which is what rounding leaves.
        Carbohydrate is without fibre.

    Raises
    ------
    SpecError
        A share is negative or not a number, or they do not sum to 1.
    """

    water: float = 0.0
    protein: float = 0.0
    fat: float = 0.0
    carbohydrate: float = 0.0
    fibre: float = 0.0
    ash: float = 0.0

    def __post_init__(self) -> None:
        for component, value in self.shares().items():
            not_negative(str(component), value, "as a share of the mass")
        if abs(self.total - 1.0) > SUM_TOLERANCE:
            raise SpecError("composition", f"{self.total:.4g} in sum", _SUM_NEED)

    @classmethod
    def of(cls, parts: Mapping[str, float]) -> Self:
        """Return the composition given as mass shares, or as grams in 100 g.

        Parameters
        ----------
        parts : mapping of str to float
            Component to its share (sum 1) or its grams in 100 g (sum 100) [g].

        Raises
        ------
        SpecError
            A part is negative or not a number, or they sum to neither.

        Examples
        --------
        >>> Composition.of({"water": 83, "protein": 12, "carbohydrate": 5}).water
        0.83
        """
        for component, value in parts.items():
            not_negative(component, value, "")
        total = sum(parts.values())  # fsum takes no sum beyond the largest float
        if abs(total - PER_100_G) <= SUM_TOLERANCE * PER_100_G:
            return cls(**{name: value / PER_100_G for name, value in parts.items()})
        if abs(total - 1.0) > SUM_TOLERANCE:
            raise SpecError("composition", f"{total:.4g} in sum", _SUM_NEED)
        return cls(**parts)

    def shares(self) -> dict[Component, float]:
        """Return each component's share, in a fixed order."""
        return {component: getattr(self, component) for component in Component}

    @property
    def total(self) -> float:
        """Sum of the shares, 1 but for rounding."""
        return fsum(self.shares().values())

    def specific_volume_ml_per_g(self, at_c: float) -> float:
        """Return the volume of one gram, without air.

        Parameters
        ----------
        at_c : float
            Temperature, -40 to 150; 0 to 100 where there is water in it [deg C].

        Returns
        -------
        float
            sum(x_i / rho_i) / sum(x_i): what rounding left out is like the rest [mL/g].

        Raises
        ------
        SpecError
            The temperature is outside the equations' range, or the water is ice or steam.
        """
        if self.water > 0.0:
            between(
                "at_c", at_c, least=FREEZES_C, most=BOILS_C,
                need="must be 0 to 100 deg C, for the water in it is ice or steam at others",
            )  # fmt: skip
        parts = self.shares().items()
        volume = fsum(x / component_density_g_per_ml(c, at_c) for c, x in parts)
        return volume / self.total


_SUM_NEED: Final = (
    "must sum to 1 as shares of the mass, or to 100 as grams in 100 g, within 1 %; "
    "add what is missing (water is often left out)"
)
