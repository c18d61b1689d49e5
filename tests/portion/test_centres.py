"""What a centre's name brings with it."""

from math import pi

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Centre, Design
from moulddesign.portion import allergen_list, figures, food, known_centre, portion
from moulddesign.portion.centres import food_of


def of(**values):
    return known_centre(Centre.of(values))


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("salted egg yolk", "salted egg yolk"),
        ("  Salted  YOLK ", "salted egg yolk"),
        ("whole salted yolk", "salted egg yolk"),
        ("half a walnut", "walnut"),
        ("walnuts", "walnut"),
        ("piece of date", "date"),
        ("roast chestnut", "cooked chestnut"),
        # A word that changes what it is keeps it from being taken for something else.
        ("date syrup jelly", None),
        ("egg white", None),
        ("centre", None),
        ("a piece of", None),
    ],
)
def test_a_name_finds_its_food_or_none(name, found):
    item = food_of(name)
    assert (None if item is None else item.name) == found


def test_a_yolk_has_the_density_that_is_remembered_of_yolks():
    # from memory: salted yolk 1.05-1.07 g/mL
    yolk = of(name="salted egg yolk", mass_g=12.0)
    assert yolk.density_g_per_ml == pytest.approx(1.06)
    assert yolk.density_g_per_ml - yolk.density_sd_g_per_ml >= 1.05
    assert "from memory" in yolk.density_source
    assert yolk.rigid is False  # cured yolks give way like wax; from memory


def test_a_date_has_the_density_of_what_it_consists_of():
    # Choi and Okos by CoolProp's coefficients at 20 deg C, for the shares of a date: 1.408 g/mL
    shares = {995.740: 0.21, 1319.532: 0.02, 917.239: 0.002, 1592.891: 0.67, 1304.182: 0.08,
              2418.187: 0.018}  # fmt: skip
    density = 1e-3 / sum(share / rho for rho, share in shares.items())
    assert of(name="date").density_g_per_ml == pytest.approx(density, rel=1e-3)
    assert of(name="date").rigid is False
    assert of(name="walnut").rigid is True


def test_what_is_given_comes_before_the_food():
    date = of(name="date", density_g_per_ml=1.2, stiffness="rigid")
    assert (date.density_g_per_ml, date.density_source, date.rigid) == (1.2, "the design", True)
    assert of(name="date", density_sd_g_per_ml=0.2).density_sd_g_per_ml == 0.2


def test_a_centre_without_a_name_is_a_guess_and_says_nothing_of_allergens():
    made = figures(Design.of({"portion": {"centres": [{"mass_g": 8.0}]}}))
    (centre,) = made.centres
    assert (centre.density_g_per_ml, centre.rigid, centre.food) == (1.06, None, None)
    assert centre.density_sd_g_per_ml >= 0.1
    said = " ".join(map(str, made.remarks))
    assert "does not know centre" in said
    assert "point to" not in said


def test_the_allergen_of_a_yolk_is_told_whatever_it_is_called():
    for name in ("salted egg yolk", "salted yolk", "half a yolk"):
        made = figures(Design.of({"portion": {"centres": [{"name": name}]}}))
        assert "point to: egg" in " ".join(map(str, made.remarks))
    assert allergen_list(["date", "half a yolk", "marble"]).unknown == ("marble",)


def test_a_ball_of_its_mass_and_density():
    # 4 / 3 pi r^3 = 6 mL at a diameter of 22.55 mm
    ball = of(name="x", mass_g=7.2, density_g_per_ml=1.2)
    assert pi / 6.0 * ball.diameter_mm**3 == pytest.approx(6000.0)


def test_the_piece_is_sized_by_the_densities_that_the_names_bring():
    table = Design.of({"portion": {"centres": [{"name": "date", "mass_g": 5.0}]}}).portion
    date = food("date")
    assert portion(table).centre_ml == pytest.approx(5.0 * date.specific_volume_ml_per_g(20.0))


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), 1400.0])
def test_a_density_that_no_food_has_is_refused(value):
    with pytest.raises(SpecError, match="density_g_per_ml"):
        of(name="date", density_g_per_ml=value)
