"""When the middle of a piece is hot: conduction into a short cylinder or a box, stage by stage.

A body of one temperature that is set into air of another one follows, at its centre,

    (T - T_air) / (T_0 - T_air) = product of theta over its directions,

one theta for each pair of parallel faces and one for a round side. Each theta is the series
sum(A_n exp(-b_n^2 Fo)), with b_n the roots of b tan(b) = Bi for a slab and b J1(b) = Bi J0(b) for a
cylinder. A change of the air's temperature later on starts the same answer again from then, and the
answers add up (Duhamel). Water that leaves, sugar that melts and rising are left out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import fsum, pi, sqrt
from typing import TYPE_CHECKING, Final

from moulddesign.core import SpecError, mm3_from_ml, say
from moulddesign.design import BakeDayTable, PortionTable
from moulddesign.kitchen.recipe import Recipe, RecipePart, cooked_off
from moulddesign.portion import Component, Composition, component_density_g_per_ml

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CORE_C: Final = 90.0
"""Temperature of the middle that is asked for; common practice, no source [deg C]."""
START_C: Final = 25.0
"""Temperature of the pressed piece; our choice [deg C]."""
FILM_W_PER_M2K: Final = (20.0, 48.0)
"""Film coefficients of ovens, measured on cakes: Baik, Grabowski, Trigui, Marcotte and Castaigne,
J. Food Sci. 64 (1999) [W/m^2 K]."""
CORE_UNCERTAINTY: Final = 0.35
"""How far the minutes may be off, mostly by the film coefficient; our estimate."""
PROPERTIES_AT_C: Final = 60.0
"""Between the piece's start and its end: properties hold for it [deg C]."""

CONDUCTIVITY: Final = {
    Component.WATER: (0.57109, 1.7625e-3, -6.7036e-6),
    Component.PROTEIN: (0.17881, 1.1958e-3, -2.7178e-6),
    Component.FAT: (0.18071, -2.7604e-4, -1.7749e-7),
    Component.CARBOHYDRATE: (0.20141, 1.3874e-3, -4.3312e-6),
    Component.FIBRE: (0.18331, 1.2497e-3, -3.1683e-6),
    Component.ASH: (0.32962, 1.4011e-3, -2.9069e-6),
}
"""Choi and Okos 1986, rising powers of the temperature [W/m K, deg C]."""
SPECIFIC_HEAT: Final = {
    Component.WATER: (4176.2, -9.0864e-2, 5.4731e-3),
    Component.PROTEIN: (2008.2, 1.2089, -1.3129e-3),
    Component.FAT: (1984.2, 1.4733, -4.8008e-3),
    Component.CARBOHYDRATE: (1548.8, 1.9625, -5.9399e-3),
    Component.FIBRE: (1845.9, 1.8306, -4.6509e-3),
    Component.ASH: (1092.6, 1.8896, -3.6817e-3),
}
"""The same [J/kg K, deg C]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatProperties:
    """How a paste stores and conducts heat."""

    density_kg_per_m3: float
    specific_heat_j_per_kgk: float
    conductivity_w_per_mk: float

    @property
    def diffusivity_mm2_per_s(self) -> float:
        """Conductivity over stored heat [mm^2/s]."""
        stored = self.density_kg_per_m3 * self.specific_heat_j_per_kgk
        return 1e6 * self.conductivity_w_per_mk / stored


def heat_properties(parts: Composition, at_c: float = PROPERTIES_AT_C) -> HeatProperties:
    """Return how a food without air stores and conducts heat.

    Parameters
    ----------
    parts : Composition
        Shares of its mass.
    at_c : float
        Temperature, 0 to 100 [deg C].

    Returns
    -------
    HeatProperties
        Heat by mass, conductivity by volume (parallel model) [1]_; exact mixtures of their parts.

    References
    ----------
    .. [1] Y. Choi and M. R. Okos, Food Engineering and Process Applications 1 (1986) 93-101.
    """
    shares = {each: share / parts.total for each, share in parts.shares().items()}
    volumes = {each: x / component_density_g_per_ml(each, at_c) for each, x in shares.items()}
    whole = fsum(volumes.values())
    return HeatProperties(
        density_kg_per_m3=1000.0 / whole,
        specific_heat_j_per_kgk=fsum(
            share * _power_series(SPECIFIC_HEAT[each], at_c) for each, share in shares.items()
        ),
        conductivity_w_per_mk=fsum(
            volume / whole * _power_series(CONDUCTIVITY[each], at_c)
            for each, volume in volumes.items()
        ),
    )


def _power_series(factors: tuple[float, float, float], at_c: float) -> float:
    constant, slope, curve = factors
    return constant + slope * at_c + curve * at_c**2


def inside_composition(table: PortionTable, recipe: Recipe | None) -> Composition:
    """Return what the inside of a piece consists of, the crust's share being taken for the same.

    The recipe's filling, or its dough where there is no filling; without a recipe, or where it
    names a food of unknown composition, the water and fat of the named paste, and carbohydrate.
    """
    if recipe is not None:
        part = recipe.filling if table.is_filled else recipe.crust
        mixed = None if part is None else _mixed(part)
        if mixed is not None:
            return mixed
    dough = table.usual_filling if table.is_filled else table.usual_crust
    water, fat = dough.water_before, dough.fat
    return Composition(water=water, fat=fat, carbohydrate=1.0 - water - fat)


def _mixed(part: RecipePart) -> Composition | None:
    """Return what a part of a recipe consists of once it is cooked; None where a food hides it."""
    foods = [line.known.composition for line in part.ingredients]
    known = [each for each in foods if each is not None]
    if len(known) < len(foods):
        return None
    shares = {
        each: fsum(
            x * one.shares()[each] / one.total for x, one in zip(part.shares, known, strict=True)
        )
        for each in Component
    }
    lost = cooked_off(part)
    shares[Component.WATER] -= lost
    return Composition(**{str(each): max(x, 0.0) / (1.0 - lost) for each, x in shares.items()})


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreShape:
    """A short cylinder, or a box, that is as large as a piece."""

    thicknesses_mm: tuple[float, ...]
    """Between each pair of its parallel faces: one, or three for a box."""
    diameter_mm: float | None
    """None for a box."""

    @classmethod
    def of(cls, *, area_mm2: float, height_mm: float, is_square: bool) -> "CoreShape":
        """Return the box over a square, else the cylinder over a circle of the same area."""
        if is_square:
            side_mm = sqrt(area_mm2)
            return cls(thicknesses_mm=(side_mm, side_mm, height_mm), diameter_mm=None)
        return cls(thicknesses_mm=(height_mm,), diameter_mm=sqrt(4.0 * area_mm2 / pi))


AREA_RATIOS: Final = {
    "round": pi / 4.0,
    "square": 1.0,
    "hexagon": sqrt(3.0) / 2.0,
    "octagon": 2.0 * (sqrt(2.0) - 1.0),
}
"""Area of an outline with sharp corners over the square of its width across the flats."""


def sizes_without_relief(
    *, volume_ml: float, outline: str, width_mm: float | None, height_mm: float | None, ratio: float
) -> tuple[float, float] | None:
    """Return area and height of a piece from its volume and one size, relief and corners left out.

    Parameters
    ----------
    volume_ml : float
        Pressed volume [mL].
    outline : str
        Outline by name.
    width_mm, height_mm : float or None
        The size that is given, if one is [mm].
    ratio : float
        Height to width where neither is.

    Returns
    -------
    (float, float) or None
        Area [mm^2] and height [mm]; None for an outline whose area only its drawing tells.
    """
    volume_mm3 = mm3_from_ml(volume_ml)
    if height_mm is not None:
        return volume_mm3 / height_mm, height_mm
    if outline not in AREA_RATIOS:
        return None
    if width_mm is None:
        width_mm = (volume_mm3 / (AREA_RATIOS[outline] * ratio)) ** (1.0 / 3.0)
    area_mm2 = AREA_RATIOS[outline] * width_mm**2
    return area_mm2, volume_mm3 / area_mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenStage:
    """Air of one temperature around the piece, from some minute on."""

    from_min: float
    air_c: float


def oven_stages(day: BakeDayTable, room_c: float = START_C) -> tuple[OvenStage, ...]:
    """Return the stages of a bake day: into the oven, out of it for the wash, into it again."""
    first = OvenStage(from_min=0.0, air_c=day.oven_c)
    if day.set_minutes == 0.0:
        return (first,)
    finish_c = day.oven_c if day.finish_oven_c is None else day.finish_oven_c
    again_min = day.set_minutes + day.wash_minutes
    out = (OvenStage(from_min=day.set_minutes, air_c=room_c),) if day.wash_minutes > 0.0 else ()
    return (first, *out, OvenStage(from_min=again_min, air_c=finish_c))


LATEST_MIN: Final = 600.0
"""No piece is baked longer; our choice [min]."""
STEP_MIN: Final = 0.2
"""Step of the minutes between which the answer is interpolated [min]."""
TERMS: Final = 40
"""Terms of each series: at `EARLIEST_FOURIER` the next one is below 1e-30."""
EARLIEST_FOURIER: Final = 0.005
"""Up to this Fourier number the centre has not changed: erfc(1 / (2 sqrt(Fo))) is below 1e-22."""


def core_minutes(
    shape: CoreShape,
    paste: HeatProperties,
    stages: Sequence[OvenStage],
    *,
    film_w_per_m2k: float,
    start_c: float = START_C,
    core_c: float = CORE_C,
) -> float | None:
    """Return when the middle of a piece reaches a temperature, from when it first goes in.

    Parameters
    ----------
    shape : CoreShape
        The piece.
    paste : HeatProperties
        Of all of it.
    stages : sequence of OvenStage
        In their order; the last one goes on.
    film_w_per_m2k : float
        Film coefficient at every face, the same in all stages [W/m^2 K].
    start_c, core_c : float
        Temperature of the piece at first, and of its middle at last [deg C].

    Returns
    -------
    float or None
        None where it is not reached in 600 min [min].
    """
    import numpy as np  # noqa: PLC0415 (other light verbs need none)

    minutes = np.arange(0.0, LATEST_MIN, STEP_MIN)
    reached = np.full(minutes.shape, start_c)
    before_c = start_c
    for stage in stages:
        share = centre_share(shape, paste, minutes - stage.from_min, film_w_per_m2k=film_w_per_m2k)
        reached += (stage.air_c - before_c) * (1.0 - share)
        before_c = stage.air_c
    hot = np.flatnonzero(reached >= core_c)
    if not hot.size:
        return None
    last = int(hot[0])
    if last == 0:
        return 0.0
    low, high = reached[last - 1], reached[last]
    return float(minutes[last - 1] + STEP_MIN * (core_c - low) / (high - low))


def centre_share(
    shape: CoreShape, paste: HeatProperties, minutes: "NDArray[np.float64]", *,
    film_w_per_m2k: float,
) -> "NDArray[np.float64]":  # fmt: skip
    """Return how much of the first difference to the air is left at the centre; 1 before minute 0.

    Parameters
    ----------
    shape : CoreShape
        The piece.
    paste : HeatProperties
        Of all of it.
    minutes : ndarray of float64, shape (n,)
        Since the air changed; may be below 0 [min].
    film_w_per_m2k : float
        Film coefficient at every face [W/m^2 K].

    Returns
    -------
    ndarray of float64, shape (n,)
        Product of the series of its directions, 1 to 0.
    """
    import numpy as np  # noqa: PLC0415 (as above)

    left = np.ones_like(minutes)
    directions = [(mm / 2.0, slab_series) for mm in shape.thicknesses_mm]
    if shape.diameter_mm is not None:
        directions.append((shape.diameter_mm / 2.0, cylinder_series))
    for half_mm, series in directions:
        biot = film_w_per_m2k * half_mm / 1000.0 / paste.conductivity_w_per_mk
        roots, factors = series(biot)
        fourier = paste.diffusivity_mm2_per_s * 60.0 * minutes / half_mm**2
        later = fourier > EARLIEST_FOURIER
        left[later] *= np.exp(-np.outer(fourier[later], roots**2)) @ factors
    return left


Series = tuple["NDArray[np.float64]", "NDArray[np.float64]"]
"""Roots and factors of a series, each of shape (terms,)."""


def slab_series(biot: float) -> Series:
    """Return roots and factors of a slab: b tan(b) = Bi, A = 4 sin b / (2 b + sin 2 b).

    Parameters
    ----------
    biot : float
        Film coefficient times half the thickness, over the conductivity; above 0.
    """
    import numpy as np  # noqa: PLC0415 (as above)

    # b sin b - Bi cos b changes its sign once between (n - 1) pi and (n - 1/2) pi.
    low: NDArray[np.float64] = pi * np.arange(TERMS, dtype=np.float64)
    turn = np.cos(low)
    roots = _roots(lambda b: turn * (b * np.sin(b) - biot * np.cos(b)) > 0.0, low, low + pi / 2.0)
    return roots, 4.0 * np.sin(roots) / (2.0 * roots + np.sin(2.0 * roots))


def cylinder_series(biot: float) -> Series:
    """Return those of a long cylinder: b J1(b) = Bi J0(b), A = 2 J1 / (b (J0^2 + J1^2)).

    Parameters
    ----------
    biot : float
        Film coefficient times the radius, over the conductivity; above 0.
    """
    import numpy as np  # noqa: PLC0415 (as above)
    from scipy.special import j0, j1, jn_zeros  # noqa: PLC0415 (as above)

    # Between a zero of J1 and the next one of J0 there is one root.
    low = np.concatenate([[0.0], jn_zeros(1, TERMS - 1)])
    turn = np.sign(j0(low))
    roots = _roots(
        lambda b: turn * (b * j1(b) - biot * j0(b)) > 0.0, low, np.asarray(jn_zeros(0, TERMS))
    )
    factors = 2.0 * j1(roots) / (roots * (j0(roots) ** 2 + j1(roots) ** 2))
    return roots, np.asarray(factors, dtype=np.float64)


def _roots(
    is_beyond: "Callable[[NDArray[np.float64]], NDArray[np.bool_]]",
    low: "NDArray[np.float64]",
    high: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Return where each of some functions is passed, by halving what lies between two ends."""
    import numpy as np  # noqa: PLC0415 (as above)

    for _ in range(60):
        middle = (low + high) / 2.0
        beyond = is_beyond(middle)
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return np.asarray(low, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreTime:
    """When the middle of a piece is hot, over the film coefficients of ovens."""

    least_min: float
    most_min: float
    oven_c: float

    def __str__(self) -> str:
        share = 100.0 * CORE_UNCERTAINTY
        return f"{self.least_min:.0f}-{self.most_min:.0f} min ± {share:.0f} %"


def core_time(
    shape: CoreShape, paste: HeatProperties, day: BakeDayTable, *, start_c: float = START_C
) -> CoreTime:
    """Return when the middle of a piece reaches 90 deg C on a bake day.

    Raises
    ------
    SpecError
        The oven does not bring it there.
    """
    slow, quick = (
        core_minutes(shape, paste, oven_stages(day, START_C), film_w_per_m2k=film, start_c=start_c)
        for film in FILM_W_PER_M2K
    )
    if slow is None or quick is None:
        hottest = day.oven_c if day.finish_oven_c is None else day.finish_oven_c
        need = say("kitchen.oven-too-cold", core_c=CORE_C, hours=LATEST_MIN / 60.0)
        raise SpecError("bake_day.oven_c", hottest, need)
    return CoreTime(least_min=quick, most_min=slow, oven_c=day.oven_c)
