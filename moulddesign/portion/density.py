"""Density of a dough or a paste, by whatever a kitchen has to find it.

Water by Kell's equation; food from its composition by the equations of Choi and Okos, from a
nutrition label, from a cup weighed full of water and full of dough, or from the water that a piece
displaces. Each comes with its standard uncertainty.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import fsum, hypot, sqrt
from typing import Final, Self

from moulddesign.core import (
    SpecError,
    require_between,
    require_not_negative,
    require_positive,
    require_ratio,
    say,
)

KG_PER_M3_IN_G_PER_ML: Final = 1e-3
"""Grams in a millilitre of one kilogram in a cubic metre, exact."""

FREEZES_C: Final = 0.0
BOILS_C: Final = 100.0
"""Between these two water is a liquid at sea level [deg C]."""

NUMERATOR: Final = (
    999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12,
)  # fmt: skip
"""Kell 1975, rising powers of the temperature [kg/m^3, deg C]."""

DENOMINATOR: Final = 16.879850e-3
"""Kell 1975 [1/deg C]; copies with 16.897850e-3 are misprinted (997.94 at 20 deg C)."""


def water_density_g_per_ml(at_c: float) -> float:
    """Return the density of air-free water at one atmosphere.

    Parameters
    ----------
    at_c : float
        Temperature, 0 to 100 [deg C].

    Returns
    -------
    float
        Kell's equation [1]_, within 0.01 % of IAPWS-95 from 0 to 40 deg C [g/mL].

    Raises
    ------
    SpecError
        Water is ice or steam at that temperature.

    References
    ----------
    .. [1] G. S. Kell, J. Chem. Eng. Data 20 (1975) 97.

    Examples
    --------
    >>> round(water_density_g_per_ml(20.0), 4)
    0.9982
    """
    need = say("portion.water-not-liquid")
    require_between("at_c", at_c, least=FREEZES_C, most=BOILS_C, need=need)
    top = sum(factor * at_c**power for power, factor in enumerate(NUMERATOR))
    return top / (1.0 + DENOMINATOR * at_c) * KG_PER_M3_IN_G_PER_ML


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
    """Return the density of one component of food, -40 to 150 deg C.

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
    need = say("portion.temperature-outside-equations", coldest=COLDEST_C, hottest=HOTTEST_C)
    require_between("at_c", at_c, least=COLDEST_C, most=HOTTEST_C, need=need)
    constant, slope, curve = COEFFICIENTS[component]
    return (constant + slope * at_c + curve * at_c**2) * KG_PER_M3_IN_G_PER_ML


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """What a food consists of, as shares of its mass.

    Raises
    ------
    SpecError
        A share is negative or not a number, or they do not sum to 1.
    """

    water: float = 0.0
    """Shares of the mass; together 1 within 0.01, which is what rounding leaves."""
    protein: float = 0.0
    fat: float = 0.0
    carbohydrate: float = 0.0
    """Without fibre."""
    fibre: float = 0.0
    ash: float = 0.0

    def __post_init__(self) -> None:
        for component, value in self.shares().items():
            require_not_negative(str(component), value, "as a share of the mass")
        if abs(self.total - 1.0) > SUM_TOLERANCE:
            raise SpecError(
                "composition", f"{self.total:.4g} in sum", say("portion.composition-sum")
            )

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
            require_not_negative(component, value, "")
        total = sum(parts.values())  # fsum takes no sum beyond the largest float
        if abs(total - PER_100_G) <= SUM_TOLERANCE * PER_100_G:
            return cls(**{name: value / PER_100_G for name, value in parts.items()})
        if abs(total - 1.0) > SUM_TOLERANCE:
            raise SpecError("composition", f"{total:.4g} in sum", say("portion.composition-sum"))
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
            need = say("portion.food-water-not-liquid")
            require_between("at_c", at_c, least=FREEZES_C, most=BOILS_C, need=need)
        parts = self.shares().items()
        volume = fsum(x / component_density_g_per_ml(c, at_c) for c, x in parts)
        return volume / self.total


ROOM_C: Final = 20.0
"""Temperature of a kitchen, at which dough is pressed; common practice, no source [deg C]."""

EQUATIONS_SPREAD: Final = 0.01
"""Standard uncertainty of Choi and Okos's equations as a share of the density.

Measured sucrose solutions (CRC Handbook) lie within 0.8 % up to 80 %, soya oil 0.9 % above.
"""

SHARE_SD: Final = 0.003
"""Of a share rounded to a whole percent: half a percent over sqrt(3)."""

LEAST_G_PER_ML: Final = 0.2
MOST_G_PER_ML: Final = 3.0
"""No food without a lot of air, and none at all, lies outside these [g/mL]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """A density, how far to trust it, and where it comes from.

    Raises
    ------
    SpecError
        No food has such a density: something was mistyped.
    """

    density_g_per_ml: float
    uncertainty_g_per_ml: float
    """Standard uncertainty: two times out of three the truth is within it."""
    at_c: float
    """Temperature that it holds for [deg C]."""
    method: str
    """How it was found, in words."""

    def __post_init__(self) -> None:
        if not LEAST_G_PER_ML <= self.density_g_per_ml <= MOST_G_PER_ML:
            raise SpecError(
                "density",
                f"{self.density_g_per_ml:.4g} g/mL",
                say("portion.density-not-food", least=LEAST_G_PER_ML, most=MOST_G_PER_ML),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NutritionLabel:
    """What a packet's nutrition label says about 100 g.

    Raises
    ------
    SpecError
        A figure is negative or not a number, or they add up to more than 100 g.
    """

    fat_g: float
    """Grams in 100 g, as all others. Saturates and sugars are parts of fat and carbohydrate and are
    not added."""
    carbohydrate_g: float
    protein_g: float
    salt_g: float = 0.0
    """Taken as ash."""
    fibre_g: float = 0.0
    """Left out where carbohydrate includes it."""

    def __post_init__(self) -> None:
        for field in ("fat_g", "carbohydrate_g", "protein_g", "salt_g", "fibre_g"):
            require_not_negative(field, getattr(self, field), "g in 100 g")
        if self.dry_g > PER_100_G:
            given = f"{self.dry_g:.4g} g in 100 g"
            raise SpecError("label", given, say("portion.label-over-100"))

    @property
    def dry_g(self) -> float:
        """Everything but water in 100 g [g]."""
        return fsum((self.fat_g, self.carbohydrate_g, self.protein_g, self.salt_g, self.fibre_g))

    @property
    def composition(self) -> Composition:
        """Shares of the mass: salt stands for all ash, water is what remains."""
        return Composition(
            water=(PER_100_G - self.dry_g) / PER_100_G,
            protein=self.protein_g / PER_100_G,
            fat=self.fat_g / PER_100_G,
            carbohydrate=self.carbohydrate_g / PER_100_G,
            fibre=self.fibre_g / PER_100_G,
            ash=self.salt_g / PER_100_G,
        )


def density_from_composition(
    composition: Composition, *, at_c: float = ROOM_C, air: float = 0.0
) -> Density:
    """Return the density of a food from what it consists of.

    Parameters
    ----------
    composition : Composition
        Shares of the mass, each taken to be rounded to a whole percent.
    at_c : float
        Temperature, 0 to 100 where there is water in it [deg C].
    air : float
        Share of the volume that is air, below 1, taken as exact.

    Returns
    -------
    Density
        (1 - air) / sum(x_i / rho_i) [1]_.

    Raises
    ------
    SpecError
        The temperature or the air is out of range.

    References
    ----------
    .. [1] Y. Choi and M. R. Okos, Food Engineering and Process Applications 1 (1986) 93-101.

    Examples
    --------
    >>> curd = Composition(water=0.83, protein=0.12, carbohydrate=0.05)
    >>> round(density_from_composition(curd, at_c=22.0).density_g_per_ml, 4)
    1.0458
    """
    known = {c: SHARE_SD for c, x in composition.shares().items() if x > 0.0}
    return _from_shares(
        composition, known, at_c=at_c, air=air, method="composition (Choi and Okos 1986)"
    )


def density_from_label(label: NutritionLabel, *, at_c: float = ROOM_C, air: float = 0.0) -> Density:
    """Return the density of a food from its packet's nutrition label.

    Parameters
    ----------
    label : NutritionLabel
        Grams in 100 g; what remains is water.
    at_c : float
        Temperature, 0 to 100 [deg C].
    air : float
        Share of the volume that is air, below 1, taken as exact.

    Returns
    -------
    Density
        With the uncertainty that the tolerances of labels leave.

    Raises
    ------
    SpecError
        The temperature or the air is out of range.

    Examples
    --------
    >>> paste = NutritionLabel(fat_g=4, carbohydrate_g=60, protein_g=4, salt_g=0.1)
    >>> round(density_from_label(paste).density_g_per_ml, 2)
    1.3
    """
    known = {c: label_sd(c, x) for c, x in label.composition.shares().items() if x > 0.0}
    return _from_shares(
        label.composition,
        known,
        at_c=at_c,
        air=air,
        method="nutrition label (water as the remainder)",
    )


def label_sd(component: Component, mass_share: float) -> float:
    """Return the standard uncertainty of a share that a nutrition label gives.

    Parameters
    ----------
    component : Component
        What the label gives; water, which it does not give, has none of its own.
    mass_share : float
        The share of the mass.

    Returns
    -------
    float
        The tolerance over sqrt(3). Tolerances, from memory of the EU's guidance of 2012: 0.02
        below 0.1 (fat 0.015), a fifth of the share up to 0.4, 0.08 above.
    """
    if component is Component.WATER:
        return 0.0
    small = 0.015 if component is Component.FAT else 0.02
    tolerance = small if mass_share < 0.1 else min(0.2 * mass_share, 0.08)  # noqa: PLR2004 (above)
    return tolerance / sqrt(3.0)


def _from_shares(
    composition: Composition,
    sds: Mapping[Component, float],
    *,
    at_c: float,
    air: float,
    method: str,
) -> Density:
    """Return the density of mixed components, and its uncertainty to first order."""
    # Volumes add: one gram takes v = sum(x_i / rho_i). Water is what the other shares leave, so
    # an error of x_i takes as much from the water: dv/dx_i = 1 / rho_i - 1 / rho_water. The
    # density is 1 / v (times what is not air), so both have the same relative uncertainty; that
    # of the equations themselves comes on top.
    volume = composition.specific_volume_ml_per_g(at_c)
    water = 1.0 / component_density_g_per_ml(Component.WATER, at_c)
    terms = (sd * (1.0 / component_density_g_per_ml(c, at_c) - water) for c, sd in sds.items())
    density = (1.0 - require_ratio("air", air)) / volume
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * hypot(EQUATIONS_SPREAD, *(term / volume for term in terms)),
        at_c=at_c,
        method=method,
    )


LEVEL_SPREAD: Final = 0.005
"""Of a cup levelled with water, as a share of its volume; from memory, measure your own."""

PACKING_VOIDS: Final = 0.02
"""Most by which voids in a cup packed by hand lower its density, as a share; from memory, measure
your own. They never raise it, and are pressed out in a mould."""

WATER_LINE_G: Final = 0.5
"""Of the water that a hand-held piece displaces [g]; from memory, measure your own."""


def density_from_cup(
    *,
    water_g: float,
    filled_g: float,
    resolution_g: float,
    empty_g: float = 0.0,
    at_c: float = ROOM_C,
) -> Density:
    """Return the density of dough from a cup weighed full of water and full of dough.

    Parameters
    ----------
    water_g, filled_g, empty_g : float
        Cup full of water, full of dough, and empty (0 where the scale was set to zero with it)
        [g].
    resolution_g : float
        Smallest step of the scale [g].
    at_c : float
        Temperature of the water, 0 to 100 [deg C].

    Returns
    -------
    Density
        (filled - empty) / (water - empty) times the density of water; the buoyancy of air cancels.
        The truth is no lower for voids in the packing, and their share is taken as evenly spread
        from 0 to `PACKING_VOIDS`: its root mean square is that over sqrt(3).

    Raises
    ------
    SpecError
        A mass is not a number or negative, a cup is lighter full than empty, or the water is
        ice or steam.

    Examples
    --------
    >>> cup = density_from_cup(water_g=200.0, filled_g=250.0, resolution_g=1.0)
    >>> round(cup.density_g_per_ml, 4), round(cup.uncertainty_g_per_ml, 3)
    (1.2478, 0.016)
    """
    require_not_negative("empty_g", empty_g, "g")
    step = require_positive("resolution_g", resolution_g, "g") / sqrt(12.0)
    water = _content_g("water_g", water_g, empty_g)
    dough = _content_g("filled_g", filled_g, empty_g)
    cup = step * abs(1.0 / water - 1.0 / dough) if empty_g > 0.0 else 0.0
    spread = hypot(step / water, step / dough, cup, LEVEL_SPREAD, PACKING_VOIDS / sqrt(3.0))
    density = water_density_g_per_ml(at_c) * dough / water
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * spread,
        at_c=at_c,
        method="cup full of water and full of dough",
    )


def density_from_displacement(
    *, mass_g: float, displaced_g: float, resolution_g: float, at_c: float = ROOM_C
) -> Density:
    """Return the density of a wrapped piece from the water that it displaces.

    Parameters
    ----------
    mass_g : float
        Mass of the piece [g].
    displaced_g : float
        Mass of the water that ran over; or by how much a bowl of water on the scale grew heavier
        while the piece was held under without touching it [g].
    resolution_g : float
        Smallest step of the scale [g].
    at_c : float
        Temperature of the water, 0 to 100 [deg C].

    Returns
    -------
    Density
        mass / displaced times the density of water; the film's volume is left out.

    Raises
    ------
    SpecError
        A mass is not above 0, or the water is ice or steam.

    Examples
    --------
    >>> piece = density_from_displacement(mass_g=75.0, displaced_g=60.0, resolution_g=0.1)
    >>> round(piece.density_g_per_ml, 3)
    1.248
    """
    mass = require_positive("mass_g", mass_g, "g")
    displaced = require_positive("displaced_g", displaced_g, "g")
    step = require_positive("resolution_g", resolution_g, "g") / sqrt(12.0)
    spread = hypot(step / mass, step / displaced, WATER_LINE_G / displaced)
    density = water_density_g_per_ml(at_c) * mass / displaced
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * spread,
        at_c=at_c,
        method="water displaced by a wrapped piece",
    )


def _content_g(field: str, full_g: float, empty_g: float) -> float:
    require_positive(field, full_g, "g")
    if full_g <= empty_g:
        raise SpecError(field, full_g, say("portion.cup-not-full", empty_g=empty_g))
    return full_g - empty_g
