import pytest
from iapws import IAPWS95

from moulddesign.core import SpecError
from moulddesign.portion import DENOMINATOR, NUMERATOR, water_density_g_per_ml


@pytest.mark.parametrize("at_c", range(41))
def test_density_is_that_of_the_iapws_package(at_c):
    published = IAPWS95(T=273.15 + at_c, P=0.101325).rho / 1000.0
    assert water_density_g_per_ml(at_c) == pytest.approx(published, rel=1e-4)


@pytest.mark.parametrize(
    ("at_c", "published"),
    [
        pytest.param(4, 0.999975, id="IAPWS-95 at 101325 Pa, 4 deg C"),
        pytest.param(20, 0.998207, id="IAPWS-95 at 101325 Pa, 20 deg C"),
        pytest.param(40, 0.992216, id="IAPWS-95 at 101325 Pa, 40 deg C"),
    ],
)
def test_density_is_the_published_one(at_c, published):
    # Kell's own scatter against IAPWS-95 is 4e-6 g/mL; one more for the printed digits.
    assert water_density_g_per_ml(at_c) == pytest.approx(published, abs=5e-6)


def test_the_misprinted_denominator_fails():
    top = sum(factor * 20.0**power for power, factor in enumerate(NUMERATOR))
    assert DENOMINATOR == 16.879850e-3
    misprinted = top / (1.0 + 16.897850e-3 * 20.0) / 1000.0
    published = IAPWS95(T=293.15, P=0.101325).rho / 1000.0
    assert misprinted != pytest.approx(published, rel=1e-4)


@pytest.mark.parametrize("at_c", [-0.01, 100.01, -273.0, float("nan"), float("inf")])
def test_ice_and_steam_are_refused(at_c):
    with pytest.raises(SpecError, match="at others it is ice or steam"):
        water_density_g_per_ml(at_c)
