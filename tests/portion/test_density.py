import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.portion import (
    EQUATIONS_SPREAD,
    SHARE_SD,
    Component,
    Composition,
    Density,
    NutritionLabel,
    density_from_composition,
    density_from_label,
    label_sd,
)

SUCROSE = [  # CRC Handbook, aqueous solutions at 20 deg C: share, g/mL
    (0.10, 1.0381), (0.20, 1.0810), (0.30, 1.1270), (0.40, 1.1765), (0.50, 1.2295),
    (0.60, 1.2864), (0.66, 1.3224), (0.70, 1.3472), (0.76, 1.3855), (0.80, 1.4117),
]  # fmt: skip


def test_worked_value_of_a_dryer_exercise():
    # University course code, dryer example: 1045.8 kg/m3 at 22 deg C, five digits printed.
    food = Composition(protein=0.12, carbohydrate=0.05, water=0.83)
    found = density_from_composition(food, at_c=22.0)
    assert found.density_g_per_ml == pytest.approx(1.0458, abs=5e-5)


@pytest.mark.parametrize(
    ("share", "measured"),
    [pytest.param(*row, id=f"CRC Handbook, sucrose {row[0]:.0%}") for row in SUCROSE],
)
def test_sucrose_solutions_as_measured(share, measured):
    found = density_from_composition(Composition(water=1 - share, carbohydrate=share))
    assert found.density_g_per_ml == pytest.approx(measured, rel=0.01)
    assert abs(found.density_g_per_ml - measured) < 2.0 * found.uncertainty_g_per_ml


def test_soya_oil_as_measured_lies_within_the_uncertainty():
    # Kelkar, Boushey, Okos 2015, J. Food Eng. 159, Table 5: 0.925 g/mL, equations 0.9 % low.
    found = density_from_label(NutritionLabel(fat_g=100, carbohydrate_g=0, protein_g=0))
    assert found.density_g_per_ml == pytest.approx(0.925 * (1 - 0.009), abs=0.001)
    assert abs(found.density_g_per_ml - 0.925) < found.uncertainty_g_per_ml


def test_air_takes_its_share_of_the_volume():
    food = Composition(water=0.4, carbohydrate=0.6)
    solid = density_from_composition(food)
    airy = density_from_composition(food, air=0.25)
    assert airy.density_g_per_ml == pytest.approx(0.75 * solid.density_g_per_ml, rel=1e-12)


@pytest.mark.parametrize("air", [-0.1, 1.0, float("nan")])
def test_air_that_is_no_share_is_refused(air):
    with pytest.raises(SpecError, match=r"air = .*below 1"):
        density_from_composition(Composition(water=1.0), air=air)


def test_label_leaves_the_rest_to_water_and_salt_to_ash():
    label = NutritionLabel(fat_g=4, carbohydrate_g=55, protein_g=4, salt_g=0.5, fibre_g=3)
    composition = label.composition
    assert composition.water == pytest.approx(0.335, abs=1e-12)
    assert composition.ash == 0.005
    assert composition.total == pytest.approx(1.0, abs=1e-12)


def test_label_of_a_dry_food_has_no_water():
    label = NutritionLabel(fat_g=0, carbohydrate_g=100, protein_g=0)
    assert label.composition.water == 0.0


def test_label_above_100_g_is_refused():
    with pytest.raises(SpecError, match=r"119 g in 100 g.*must not add up to more than 100 g"):
        NutritionLabel(fat_g=60, carbohydrate_g=55, protein_g=4)


@pytest.mark.parametrize("value", [-0.1, float("nan"), float("inf")])
def test_label_with_an_impossible_figure_is_refused(value):
    with pytest.raises(SpecError, match=r"salt_g = .*at least 0 g in 100 g"):
        NutritionLabel(fat_g=1, carbohydrate_g=1, protein_g=1, salt_g=value)


@pytest.mark.parametrize(
    ("component", "share", "tolerance"),
    [
        pytest.param(Component.CARBOHYDRATE, 0.05, 0.02, id="from memory of the EU guidance 2012"),
        pytest.param(Component.FAT, 0.05, 0.015, id="from memory of the EU guidance 2012, fat"),
        pytest.param(Component.CARBOHYDRATE, 0.30, 0.06, id="from memory, a fifth"),
        pytest.param(Component.CARBOHYDRATE, 0.60, 0.08, id="from memory, 8 g"),
        pytest.param(Component.WATER, 0.60, 0.0, id="water is the remainder"),
    ],
)
def test_tolerance_of_a_label(component, share, tolerance):
    assert label_sd(component, share) == pytest.approx(tolerance / 3**0.5, rel=1e-12)


def test_label_is_trusted_less_than_a_composition():
    label = NutritionLabel(fat_g=4, carbohydrate_g=55, protein_g=4)
    exact = density_from_composition(label.composition)
    assert density_from_label(label).uncertainty_g_per_ml > exact.uncertainty_g_per_ml


@pytest.mark.parametrize("value", [0.19, 3.01, float("nan"), 38.0])
def test_a_density_of_no_food_is_refused(value):
    with pytest.raises(SpecError, match=r"between 0.2 and 3 g/mL"):
        Density(density_g_per_ml=value, uncertainty_g_per_ml=0.0, at_c=20.0, method="typed in")


def litres_per_kg(fluid):
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 (takes seconds to load)

    return 1000.0 / PropsSI("D", "T", 293.15, "P", 101325, f"INCOMP::{fluid}")


@pytest.mark.parametrize("way", ["composition", "label"])
def test_uncertainty_is_that_of_samples(way):
    rng = np.random.default_rng(8)
    n = 100_000
    label = NutritionLabel(fat_g=20, carbohydrate_g=50, protein_g=5)
    shares = {Component.FAT: 0.20, Component.CARBOHYDRATE: 0.50, Component.PROTEIN: 0.05}
    fluids = {"fat": "FoodFat", "carbohydrate": "FoodCarbohydrate", "protein": "FoodProtein"}
    sds = {c: SHARE_SD if way == "composition" else label_sd(c, x) for c, x in shares.items()}
    drawn = {c: x + sds[c] * rng.standard_normal(n) for c, x in shares.items()}
    volume = (1.0 - sum(drawn.values())) * litres_per_kg("FoodWater")
    volume = volume + sum(x * litres_per_kg(fluids[c]) for c, x in drawn.items())
    sampled = np.std((1.0 + EQUATIONS_SPREAD * rng.standard_normal(n)) / volume)
    if way == "label":
        found = density_from_label(label)
    else:
        found = density_from_composition(label.composition)
    # 0.7 % of sampling; the share of the water has an error of its own in a composition, which
    # the others' errors make up already; (0.03)^2 of second order
    assert found.uncertainty_g_per_ml == pytest.approx(sampled, rel=0.01)
