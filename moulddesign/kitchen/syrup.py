"""Syrup for a crust: what the pot weighs when it is done, and what a thermometer shows then.

The balance is the better measure: nothing but water leaves the pot. What a boiling point says of
the solids is disputed by some 3 points between the two families of figures that are published.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import exp, fsum, log1p, sqrt
from typing import Final

from moulddesign.core import Message, SpecError, halved, require_between, require_positive, say

INVERSION_GAIN: Final = 0.0526
"""Water that a gram of sucrose takes up where it is split into glucose and fructose: 18.015 over
342.30, of the molar masses [g]."""
SUCROSE_G_PER_MOL: Final = 342.30
"""Of maltose, lactose and trehalose as well."""
HEXOSE_G_PER_MOL: Final = 180.16
"""Of glucose and fructose."""
WATER_G_PER_MOL: Final = 18.015
SUCROSE_PER_WATER: Final = 2.04
"""Sucrose that a gram of water dissolves at 20 deg C, at most; published [g]."""

WEIGHED_SD: Final = 0.015
"""How sure solids are by weight: 1.5 points, of what a pot loses beside water and of inversion."""
READ_SD: Final = 0.03
"""How sure solids are by thermometer: 3 points, half of what the published families differ by."""

LEAST_SUGAR_G: Final = 1.0
MOST_SUGAR_G: Final = 1e6

LEAST_SOLIDS: Final = 0.63
MOST_SOLIDS: Final = 0.87
"""Of a target; with `READ_SD` on either side it stays within Brown's table."""

ALTITUDES_M: Final = (-500.0, 6000.0)
"""Heights of kitchens; our choice [m]."""
BOILS_AT_C: Final = (75.0, 102.0)
"""Where water boils at these heights, and a little beyond; our choice [deg C]."""

USUAL_SOLIDS: Final = (0.78, 0.82)
"""Of a syrup for a crust; a weak source."""

BROWN_C: Final = (
    (0.60, 103.0), (0.66, 104.8), (0.70, 106.5), (0.74, 108.4), (0.76, 109.4), (0.78, 110.6),
    (0.80, 112.0), (0.84, 116.3), (0.90, 127.8),
)  # fmt: skip
"""Solids and boiling point of sucrose at sea level; Brown 1912, published [deg C]."""

HEXOSE_K: Final = 2.2
"""Norrish's constant of glucose (2.25) and fructose (2.15), at 25 deg C; glucose's from memory."""
NORRISH_AT_K: Final = 298.15
SUCROSE_J_PER_MOL: Final = 17638.0
GAS_J_PER_MOL_K: Final = 8.314462618

SEA_LEVEL_PA: Final = 101_325.0
FREEZING_K: Final = 273.15


@dataclass(frozen=True, slots=True, kw_only=True)
class SyrupPot:
    """A pot of sugar, acid and water to be boiled down.

    Raises
    ------
    SpecError
        A mass, a share or a height is not one that a pot can have.
    """

    sugar_g: float
    solids: float
    """Target: what is not water, as a share of the syrup's mass."""
    inverted: float | None = None
    """Share of the sugar that is split. None is unknown where there is acid, and none without."""
    acid_g: float = 0.0
    """Dry acid."""
    altitude_m: float = 0.0
    boiling_c: float | None = None
    """At which water boils where the pot stands, measured; it replaces the altitude [deg C]."""

    def __post_init__(self) -> None:
        need = say("kitchen.syrup-sugar", most=MOST_SUGAR_G)
        require_between("sugar_g", self.sugar_g, least=LEAST_SUGAR_G, most=MOST_SUGAR_G, need=need)
        require_between(
            "solids", self.solids, least=LEAST_SOLIDS, most=MOST_SOLIDS,
            need=say("kitchen.syrup-solids", least=LEAST_SOLIDS, most=MOST_SOLIDS),
        )  # fmt: skip
        if self.inverted is not None:
            need = say("kitchen.syrup-share")
            require_between("inverted", self.inverted, least=0.0, most=1.0, need=need)
        most_g = self.sugar_g
        need = say("kitchen.syrup-acid", most=most_g)
        require_between("acid_g", self.acid_g, least=0.0, most=most_g, need=need)
        need = say("kitchen.syrup-altitude")
        low_m, high_m = ALTITUDES_M
        require_between("altitude_m", self.altitude_m, least=low_m, most=high_m, need=need)
        if self.boiling_c is not None:
            need = say("kitchen.syrup-boiling")
            low_c, high_c = BOILS_AT_C
            require_between("boiling_c", self.boiling_c, least=low_c, most=high_c, need=need)

    @property
    def inversions(self) -> tuple[float, float, float]:
        """Least, likely and greatest share that is split; acid without a share tells nothing."""
        if self.inverted is not None:
            return (self.inverted,) * 3
        return (0.0, 0.5, 1.0) if self.acid_g > 0.0 else (0.0, 0.0, 0.0)

    @property
    def pressure_pa(self) -> float:
        """Of the air, by the boiling point of water or by the altitude [Pa]."""
        if self.boiling_c is not None:
            return saturation_pa(self.boiling_c)
        return air_pressure_pa(self.altitude_m)

    def dry_g(self, inverted: float) -> float:
        """Return what is not water in the pot, with the water that inversion binds [g]."""
        return self.sugar_g * (1.0 + INVERSION_GAIN * inverted) + self.acid_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Syrup:
    """What a pot weighs and shows when its syrup is done."""

    pot: SyrupPot
    net_g: float
    """Of what is in the pot, without the pot."""
    net_g_range: tuple[float, float]
    reading_c: float
    """Midway between the two families [deg C], as the next four."""
    reading_c_range: tuple[float, float]
    formula_c: float
    brown_c: float
    water_boils_c: float
    least_inverted: float
    """Share of the sugar that has to be split, at least, or it crystallises at 20 deg C."""


def saturation_pa(at_c: float) -> float:
    """Return the vapour pressure of water.

    Parameters
    ----------
    at_c : float
        Temperature, 0 to 373 [deg C].

    Returns
    -------
    float
        By the auxiliary equation of IAPWS-95 [1]_ [Pa].

    References
    ----------
    .. [1] W. Wagner and A. Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387, eq. 2.5; coefficients
       from memory, and compared with the package `iapws`.
    """
    kelvin = at_c + FREEZING_K
    tau = 1.0 - kelvin / 647.096
    terms = (
        -7.85951783 * tau, 1.84408259 * tau**1.5, -11.7866497 * tau**3,
        22.6807411 * tau**3.5, -15.9618719 * tau**4, 1.80122502 * tau**7.5,
    )  # fmt: skip
    return 22.064e6 * exp(647.096 / kelvin * fsum(terms))


def air_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere at an altitude [Pa]."""
    return SEA_LEVEL_PA * exp(5.25588 * log1p(-2.25577e-5 * altitude_m))


def syrup_water_activity(solids: float, inverted: float, at_c: float) -> float:
    """Return the water activity of a hot syrup of sucrose, glucose and fructose.

    Parameters
    ----------
    solids, inverted : float
        Share of the mass that is not water; share of the sugar that is split.
    at_c : float
        Temperature [deg C].

    Returns
    -------
    float
        x_w exp(-e^2 (1 - 1.0038 x - 0.24653 x^2)), x the mole fraction of sucrose, and
        e = sqrt(17638 / R T) x + sqrt(2.2 298.15 / T) x_h with x_h that of both hexoses. Without
        hexoses it is the equation of Starzak and Peacock, without sucrose that of Norrish, and
        between them Norrish's mixture, for which there is no measured check.
    """
    kelvin = at_c + FREEZING_K
    sucrose = solids * (1.0 - inverted) / SUCROSE_G_PER_MOL
    hexoses = solids * inverted / HEXOSE_G_PER_MOL
    water = (1.0 - solids) / WATER_G_PER_MOL
    x, x_h, x_w = (each / (sucrose + hexoses + water) for each in (sucrose, hexoses, water))
    excess = sqrt(SUCROSE_J_PER_MOL / (GAS_J_PER_MOL_K * kelvin)) * x
    excess += sqrt(HEXOSE_K * NORRISH_AT_K / kelvin) * x_h
    return x_w * exp(-(excess**2) * (1.0 - 1.0038 * x - 0.24653 * x**2))


def syrup_boils_c(solids: float, inverted: float, pressure_pa: float) -> float:
    """Return the boiling point of a syrup: there water activity times vapour pressure is the air's.

    The formula lies below Brown's table by 0.1 K at 60 % solids, 2.4 K at 78 % and 5.4 K at 90 %,
    and agrees with the rule of syrup makers for 66 % (7.1 deg F above water) [deg C].
    """
    return _boils_c(lambda at_c: syrup_water_activity(solids, inverted, at_c), pressure_pa)


def brown_boils_c(solids: float, inverted: float, pressure_pa: float) -> float:
    """Return the boiling point by Brown's table of sucrose at sea level.

    Inversion changes its water activity by the same factor as the formula's, and pressure leaves it
    as it is: our choice, without a measured check [deg C].
    """
    sea_c = _brown_c(solids)
    activity = SEA_LEVEL_PA / saturation_pa(sea_c)
    activity *= syrup_water_activity(solids, inverted, sea_c)
    activity /= syrup_water_activity(solids, 0.0, sea_c)
    return _boils_c(lambda _: activity, pressure_pa)


def _brown_c(solids: float) -> float:
    least, most = BROWN_C[0][0], BROWN_C[-1][0]
    need = say("kitchen.syrup-solids", least=least, most=most)
    require_between("solids", solids, least=least, most=most, need=need)
    (low, low_c), (high, high_c) = next(pair for pair in pairwise(BROWN_C) if solids <= pair[1][0])
    return low_c + (high_c - low_c) * (solids - low) / (high - low)


def _boils_c(activity: Callable[[float], float], pressure_pa: float) -> float:
    """Return where activity times vapour pressure, which grows with heat, is the pressure."""
    return halved(lambda at_c: activity(at_c) * saturation_pa(at_c) > pressure_pa, 50.0, 200.0)


def syrup(pot: SyrupPot) -> Syrup:
    """Return what a pot weighs and what a thermometer in it shows at its target.

    Returns
    -------
    Syrup
        Net mass sugar (1 + 0.0526 i) / B with the acid, i the share inverted and B the solids; its
        range is that of B give or take 1.5 points, the reading's give or take 3.
    """
    least, likely, most = pot.inversions
    solids, pressure_pa = pot.solids, pot.pressure_pa

    def both_c(at: float, inverted: float) -> tuple[float, float]:
        return syrup_boils_c(at, inverted, pressure_pa), brown_boils_c(at, inverted, pressure_pa)

    formula_c, brown_c = both_c(solids, likely)
    # Sucrose (1 - i) has the water (1 + 0.0526 i) (1 - B) / B of each gram of sugar to lie in.
    room = SUCROSE_PER_WATER * (1.0 - solids) / solids
    return Syrup(
        pot=pot,
        net_g=pot.dry_g(likely) / solids,
        net_g_range=(
            pot.dry_g(least) / (solids + WEIGHED_SD), pot.dry_g(most) / (solids - WEIGHED_SD)
        ),
        reading_c=0.5 * (formula_c + brown_c),
        reading_c_range=(
            0.5 * sum(both_c(solids - READ_SD, least)), 0.5 * sum(both_c(solids + READ_SD, most))
        ),
        formula_c=formula_c,
        brown_c=brown_c,
        water_boils_c=_boils_c(lambda _: 1.0, pressure_pa),
        least_inverted=max(0.0, (1.0 - room) / (1.0 + INVERSION_GAIN * room)),
    )  # fmt: skip


def pot_solids(pot: SyrupPot, weighed_g: float) -> tuple[float, float, float]:
    """Return the solids of a pot that was weighed: likely, least and most.

    Parameters
    ----------
    weighed_g : float
        What is in the pot, without the pot [g].

    Raises
    ------
    SpecError
        It weighs no more than the sugar and acid that went in.
    """
    require_positive("pot_g", weighed_g, "g")
    least, likely, most = (pot.dry_g(inverted) / weighed_g for inverted in pot.inversions)
    if likely >= 1.0:
        raise SpecError("pot_g", weighed_g, say("kitchen.syrup-pot", dry_g=pot.dry_g(0.0)))
    return likely, least - WEIGHED_SD, min(most + WEIGHED_SD, 1.0)


def usual_crust_water(solids: float) -> float:
    """Return the water of a usual syrup crust dough, by the solids of its syrup.

    Returns
    -------
    float
        As a share of the dough of 100 g of flour (12 % water), 70 g of syrup, 25 g of oil and 2 g
        of lye water (78 % water); common practice, no source.
    """
    return (12.0 + 70.0 * (1.0 - solids) + 2.0 * 0.78) / 197.0


def syrup_sentences(found: Syrup, weighed_g: float | None = None) -> Iterator[Message]:
    """Yield what a syrup's figures say, with how sure they are and what to measure."""
    pot, (least_g, most_g) = found.pot, found.net_g_range
    percent = 100.0 * pot.solids
    yield say("kitchen.syrup-net", net_g=found.net_g, least=least_g, most=most_g, solids=percent)
    low_c, high_c = found.reading_c_range
    yield say("kitchen.syrup-reading", reading=found.reading_c, low=low_c, high=high_c)
    yield say(
        "kitchen.syrup-families", formula=found.formula_c, brown=found.brown_c,
        water=found.water_boils_c,
    )  # fmt: skip
    if weighed_g is not None:
        shares = [100.0 * each for each in pot_solids(pot, weighed_g)]
        percent = shares[0]
        yield say(
            "kitchen.syrup-pot-solids", weighed=weighed_g, solids=percent, low=shares[1],
            high=shares[2],
        )  # fmt: skip
        left_g = weighed_g - found.net_g
        if left_g > 0.0:
            yield say("kitchen.syrup-boil-off", left=left_g)
        else:
            yield say("kitchen.syrup-add-water", missing=-left_g)
    if pot.inverted is None and pot.acid_g > 0.0:
        yield say("kitchen.syrup-inversion-unknown")
    if (pot.inverted or 0.0) < found.least_inverted:
        yield say("kitchen.syrup-crystals", share=100.0 * found.least_inverted)
    usual = [100.0 * each for each in USUAL_SOLIDS]
    water = 100.0 * usual_crust_water(0.01 * percent)
    middle = 100.0 * usual_crust_water(0.01 * fsum(usual) / len(usual))
    yield say(
        "kitchen.syrup-crust", low=usual[0], high=usual[1], solids=percent, water=water,
        middle=middle,
    )  # fmt: skip
    if round(water, 1) != round(middle, 1):
        yield say("kitchen.syrup-wetter") if water > middle else say("kitchen.syrup-drier")
