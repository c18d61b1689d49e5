"""Density of water, by which a cup or a vessel is measured."""

from typing import Final

from moulddesign.portion.limits import between

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
    between(
        "at_c", at_c, least=FREEZES_C, most=BOILS_C,
        need="must be a temperature of liquid water, 0 to 100 deg C; at others it is ice or steam",
    )  # fmt: skip
    top = sum(factor * at_c**power for power, factor in enumerate(NUMERATOR))
    return top / (1.0 + DENOMINATOR * at_c) * KG_PER_M3_IN_G_PER_ML
