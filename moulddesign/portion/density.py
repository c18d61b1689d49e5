"""Density of a dough or a paste, in whichever way a kitchen can find it."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import fsum, hypot, sqrt
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.portion.composition import (
    PER_100_G,
    Component,
    Composition,
    component_density_g_per_ml,
)
from moulddesign.portion.limits import not_negative, share

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

    Parameters
    ----------
    density_g_per_ml : float
        The density [g/mL].
    uncertainty_g_per_ml : float
        Its standard uncertainty: two times out of three the truth is within it [g/mL].
    at_c : float
        Temperature that it holds for [deg C].
    method : str
        How it was found, in words.

    Raises
    ------
    SpecError
        No food has such a density: something was mistyped.
    """

    density_g_per_ml: float
    uncertainty_g_per_ml: float
    at_c: float
    method: str

    def __post_init__(self) -> None:
        if not LEAST_G_PER_ML <= self.density_g_per_ml <= MOST_G_PER_ML:
            raise SpecError(
                "density",
                f"{self.density_g_per_ml:.4g} g/mL",
                f"must come out between {LEAST_G_PER_ML:g} and {MOST_G_PER_ML:g} g/mL as for any "
                "food; check the figures that it follows from",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NutritionLabel:
    """What a packet's nutrition label says about 100 g.

    Parameters
    ----------
    fat_g, carbohydrate_g, protein_g : float
        Grams in 100 g [g]. Sugars and saturates are parts of these and are not added.
    salt_g : float
        Grams of salt in 100 g, taken as ash [g].
    fibre_g : float
        Grams of fibre in 100 g; leave it out where carbohydrate includes it [g].

    Raises
    ------
    SpecError
        A figure is negative or not a number, or they add up to more than 100 g.
    """

    fat_g: float
    carbohydrate_g: float
    protein_g: float
    salt_g: float = 0.0
    fibre_g: float = 0.0

    def __post_init__(self) -> None:
        for field in ("fat_g", "carbohydrate_g", "protein_g", "salt_g", "fibre_g"):
            not_negative(field, getattr(self, field), "g in 100 g")
        if self.dry_g > PER_100_G:
            raise SpecError(
                "label",
                f"{self.dry_g:.4g} g in 100 g",
                "must not add up to more than 100 g; sugars and saturates are already in "
                "carbohydrate and fat, and a label for one serving has to be scaled to 100 g",
            )

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
    """First order: each share's error goes to water, which makes up the remainder."""
    volume = composition.specific_volume_ml_per_g(at_c)
    water = 1.0 / component_density_g_per_ml(Component.WATER, at_c)
    terms = (sd * (1.0 / component_density_g_per_ml(c, at_c) - water) for c, sd in sds.items())
    density = (1.0 - share("air", air)) / volume
    return Density(
        density_g_per_ml=density,
        uncertainty_g_per_ml=density * hypot(EQUATIONS_SPREAD, *(term / volume for term in terms)),
        at_c=at_c,
        method=method,
    )
