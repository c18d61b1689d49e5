import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.portion import Component, Composition, component_density_g_per_ml

FLUIDS = {
    Component.WATER: "FoodWater",
    Component.PROTEIN: "FoodProtein",
    Component.FAT: "FoodFat",
    Component.CARBOHYDRATE: "FoodCarbohydrate",
    Component.FIBRE: "FoodFiber",
    Component.ASH: "FoodAsh",
}
MISPRINTS = {  # in circulation: constant of protein, slope of fat
    Component.PROTEIN: (1322.9, -0.51840),
    Component.FAT: (925.59, -0.51757),
}


def coolprop_g_per_ml(component, at_c):
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 (takes seconds to load)

    return PropsSI("D", "T", 273.15 + at_c, "P", 101325, f"INCOMP::{FLUIDS[component]}") / 1000.0


@pytest.mark.parametrize("component", Component)
@pytest.mark.parametrize("at_c", range(-39, 150, 9))
def test_component_is_that_of_the_coolprop_package(component, at_c):
    # CoolProp holds the same equations in kelvin with rounded coefficients: 6 digits.
    ours = component_density_g_per_ml(component, at_c)
    assert ours == pytest.approx(coolprop_g_per_ml(component, at_c), rel=1e-5)


@pytest.mark.parametrize("component", MISPRINTS)
def test_misprinted_coefficients_fail(component):
    constant, slope = MISPRINTS[component]
    misprinted = (constant + slope * 60.0) / 1000.0
    assert misprinted != pytest.approx(coolprop_g_per_ml(component, 60.0), rel=1e-3)


@pytest.mark.parametrize(
    ("component", "published"),
    [
        pytest.param(Component.WATER, 0.995740, id="Choi and Okos 1986, water at 20 deg C"),
        pytest.param(Component.PROTEIN, 1.319532, id="Choi and Okos 1986, protein at 20 deg C"),
        pytest.param(Component.FAT, 0.917239, id="Choi and Okos 1986, fat at 20 deg C"),
        pytest.param(Component.CARBOHYDRATE, 1.592891, id="Choi and Okos 1986, carbohydrate"),
        pytest.param(Component.FIBRE, 1.304182, id="Choi and Okos 1986, fibre at 20 deg C"),
        pytest.param(Component.ASH, 2.418187, id="Choi and Okos 1986, ash at 20 deg C"),
    ],
)
def test_component_at_twenty_degrees(component, published):
    assert component_density_g_per_ml(component, 20.0) == pytest.approx(published, abs=5e-7)


@pytest.mark.parametrize("at_c", [-40.1, 150.1, float("nan"), float("-inf")])
def test_temperature_outside_the_equations_is_refused(at_c):
    with pytest.raises(SpecError, match="the range of the equations"):
        component_density_g_per_ml(Component.FAT, at_c)


@pytest.mark.parametrize("at_c", [-1.0, 101.0, float("nan")])
def test_ice_or_steam_in_a_food_is_refused(at_c):
    with pytest.raises(SpecError, match="the water in it is ice or steam"):
        Composition(water=0.5, fat=0.5).specific_volume_ml_per_g(at_c)


def test_food_without_water_has_the_whole_range():
    assert Composition(fat=1.0).specific_volume_ml_per_g(150.0) > 1.0


def test_grams_in_100_g_and_shares_are_the_same():
    per_100 = Composition.of({"water": 83, "protein": 12, "carbohydrate": 5})
    assert per_100 == Composition.of({"water": 0.83, "protein": 0.12, "carbohydrate": 0.05})


@pytest.mark.parametrize(
    "parts",
    [
        pytest.param({"water": 0.80, "protein": 0.12}, id="shares sum to 0.92"),
        pytest.param({"water": 80, "protein": 12}, id="grams sum to 92"),
        pytest.param({"water": 80, "fat": 40}, id="grams sum to 120"),
        pytest.param({"water": 1e308, "fat": 1e308}, id="grams sum to no float"),
        pytest.param({}, id="nothing"),
        pytest.param({"water": 0.0}, id="zero"),
    ],
)
def test_what_does_not_sum_is_refused(parts):
    with pytest.raises(SpecError, match=r"must sum to 1 .* or to 100"):
        Composition.of(parts)


@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf")])
def test_a_share_that_is_no_share_is_refused(value):
    with pytest.raises(SpecError, match=r"protein = .*at least 0"):
        Composition.of({"water": 100.0 - value, "protein": value} | {"water": 101.0})


@given(fat=st.floats(0.0, 1.0), cut=st.floats(0.0, 1.0), at_c=st.floats(0.0, 100.0))
@settings(max_examples=50)
def test_volume_lies_between_those_of_its_components(fat, cut, at_c):
    food = Composition(fat=fat, water=(1 - fat) * cut, ash=(1 - fat) * (1 - cut))
    volumes = [1.0 / component_density_g_per_ml(c, at_c) for c in ("fat", "water", "ash")]
    volume = food.specific_volume_ml_per_g(at_c)
    assert min(volumes) * (1 - 1e-12) <= volume <= max(volumes) * (1 + 1e-12)
