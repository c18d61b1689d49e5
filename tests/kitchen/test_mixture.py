import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import PortionTable
from moulddesign.kitchen import (
    Recipe,
    RecipePart,
    part_density,
    part_water,
    recipe_loss,
    scaled,
)
from moulddesign.portion import Composition, density_from_composition


def part(*lines, **more):
    """Return a part of lines of food, mass and further figures."""
    rows = [{"food": food, "mass_g": mass, **figures} for food, mass, figures in lines]
    return RecipePart.model_validate({"ingredients": rows, **more})


SYRUP = part(("white sugar", 66.0, {}), ("water", 34.0, {}))


def test_syrup_from_sugar_and_water_is_as_dense_as_measured():
    found = part_density(SYRUP)
    # CRC Handbook, sucrose 66 % at 20 deg C; the equations lie within 1 % there
    assert found.density_g_per_ml == pytest.approx(1.3224, rel=0.01)
    assert abs(found.density_g_per_ml - 1.3224) < 2.0 * found.uncertainty_g_per_ml


def test_cooking_off_water_makes_the_thicker_syrup():
    # 50 g sugar in 100 g, a third of it cooked off: 75 % sugar (CRC Handbook at 76 %: 1.3855)
    cooked = part(("white sugar", 50.0, {}), ("water", 50.0, {}), cooking_loss=1 / 3)
    direct = density_from_composition(Composition(carbohydrate=0.75, water=0.25))
    found = part_density(cooked)
    assert found.density_g_per_ml == pytest.approx(direct.density_g_per_ml, rel=1e-12)
    assert part_water(cooked) == pytest.approx(0.25, abs=1e-12)


def test_measured_densities_add_up_by_volume():
    # 142 g honey and 91.4 g oil are 100 mL each (honey measured; FAO/INFOODS 2012)
    found = part_density(part(("honey", 142.0, {}), ("peanut oil", 91.4, {})))
    assert found.density_g_per_ml == pytest.approx((142.0 + 91.4) / 200.0, rel=1e-12)
    # each alone, by volume: hypot(0.01, 0.003) / 2
    assert found.uncertainty_g_per_ml == pytest.approx(
        found.density_g_per_ml * (0.25 * ((0.01 / 1.42) ** 2 + (0.003 / 0.914) ** 2)) ** 0.5,
        rel=1e-9,
    )


def litres_per_kg(fluid):
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 (takes seconds to load)

    return 1000.0 / PropsSI("D", "T", 293.15, "P", 101325, f"INCOMP::{fluid}")


def test_uncertainty_of_a_cooked_part_is_that_of_samples():
    rng = np.random.default_rng(9)
    n = 100_000
    moist = {"water": 40.0, "carbohydrate": 60.0}
    measured = {"density_g_per_ml": 1.3, "density_sd_g_per_ml": 0.04}
    cooked = part(("mine", 70.0, moist), ("syrup", 30.0, measured), cooking_loss=0.2)
    water, dry = litres_per_kg("FoodWater"), litres_per_kg("FoodCarbohydrate")
    share = 0.4 + 0.02 * rng.standard_normal(n)  # a food's water scatters by 2 % of its mass
    moist_volume = (share * water + (1 - share) * dry) * (1 + 0.01 * rng.standard_normal(n))
    syrup_volume = 1.0 / (1.3 + 0.04 * rng.standard_normal(n))
    sampled = np.std(0.8 / (0.7 * moist_volume + 0.3 * syrup_volume - 0.2 * water))
    # 0.7 % of sampling, (0.03)^2 of second order
    assert part_density(cooked).uncertainty_g_per_ml == pytest.approx(sampled, rel=0.01)


def test_crust_dough_lies_where_the_trade_remembers_it():
    crust = part(
        ("wheat flour", 500.0, {}),
        ("invert syrup", 350.0, {}),
        ("peanut oil", 125.0, {}),
        ("lye water", 8.0, {}),
    )
    assert 1.25 <= part_density(crust).density_g_per_ml <= 1.33  # from memory


def test_kneaded_air_makes_it_lighter():
    airy = SYRUP.model_copy(update={"air": 0.1})
    light, solid = part_density(airy), part_density(SYRUP)
    assert light.density_g_per_ml == pytest.approx(0.9 * solid.density_g_per_ml, rel=1e-12)


def test_more_water_than_there_is_cannot_cook_off():
    with pytest.raises(SpecError, match=r"cooking_loss = 0.5: must be at most 0.34"):
        part_density(SYRUP, cooking_loss=0.5)


def test_water_is_unknown_where_an_ingredient_has_only_a_density():
    mixed = part(("date", 50.0, {}), ("mine", 50.0, {"density_g_per_ml": 1.2}))
    assert part_water(mixed) is None
    recipe = Recipe(crust=SYRUP, filling=mixed)
    with pytest.raises(SpecError, match=r"filling.ingredients = .*dry-matter balance"):
        recipe_loss(recipe, PortionTable(), finished_water=0.1)


def test_loss_of_a_recipe_is_the_dry_matter_balance():
    recipe = Recipe(crust=SYRUP, filling=part(("white sugar", 80.0, {}), ("water", 20.0, {})))
    # by hand: 0.5 (0.34 + 0.20) = 0.27 water; 1 - 0.73 / 0.90
    loss = recipe_loss(recipe, PortionTable(ratio="5:5"), finished_water=0.10)
    assert loss.ratio == pytest.approx(1.0 - 0.73 / 0.90, abs=1e-12)


def test_a_centre_brings_its_own_water():
    recipe = Recipe(crust=SYRUP, filling=part(("white sugar", 80.0, {}), ("water", 20.0, {})))
    table = PortionTable.of({"centres": [{"name": "date", "mass_g": 10.0}]})
    found = recipe_loss(recipe, table, finished_water=0.15).ratio
    # 75 g finished are 63.75 g dry, 7.947 g of them the date's (20.53 % water); each g of crust and
    # paste has 0.3 x 0.66 + 0.7 x 0.80 = 0.758 g, less the 10 g of paste that the date replaces.
    raw_g = (63.75 - 7.947 + 8.0) / 0.758
    assert found == pytest.approx(1.0 - 75.0 / raw_g, abs=1e-12)


def test_a_loss_is_as_uncertain_as_samples_show():
    rng = np.random.default_rng(8)
    n = 200_000
    recipe = Recipe(
        crust=part(("wheat flour", 60.0, {}), ("invert syrup", 40.0, {})),
        filling=part(("cooked chestnut", 70.0, {}), ("white sugar", 30.0, {}), cooking_loss=0.1),
    )
    table = PortionTable.of({"centres": [{"name": "date", "mass_g": 10.0}]})
    asked = {"finished_water": 0.15, "finished_water_sd": 0.01}
    found = recipe_loss(recipe, table, **asked)

    def about(water):
        return water + 0.02 * rng.standard_normal(n)  # a food's water scatters by 2 % of its mass

    crust = 0.6 * about(0.1201) + 0.4 * about(0.20)
    paste = (0.7 * about(0.4048) - 0.1) / 0.9
    raw_g = 75.0 / (1.0 - found.ratio)
    masses = (0.3 * raw_g, 0.7 * raw_g - 10.0, 10.0)
    water = sum(m * w for m, w in zip(masses, (crust, paste, about(0.2053)), strict=True)) / raw_g
    sampled = 1.0 - (1.0 - water) / (1.0 - (0.15 + 0.01 * rng.standard_normal(n)))
    assert found.ratio == pytest.approx(np.mean(sampled), abs=2e-4)
    assert found.uncertainty == pytest.approx(np.std(sampled), rel=0.01)


def test_a_centre_of_unknown_water_is_refused():
    table = PortionTable.of({"centres": [{"name": "marble", "mass_g": 5.0}]})
    with pytest.raises(SpecError, match="is no food of known water"):
        recipe_loss(Recipe(crust=SYRUP, filling=SYRUP), table, finished_water=0.1)


def test_bakers_exercise():
    # A bakers' exercise: 24 pieces of 35 g finished, 7 % loss, formula 176 % of flour: 513 g flour
    dough = RecipePart.model_validate(
        {
            "ingredients": [
                {"food": "bread flour", "percent": 100.0},
                {"food": "water", "percent": 60.0},
                {"food": "butter", "percent": 14.0},
                {"food": "salt", "percent": 2.0},
            ]
        }
    )
    flour = scaled(dough, 24 * 35.0 / (1.0 - 0.07), 1.0)[0]
    assert flour.scaled_g == 513.0
    assert flour.percent == 100.0


@given(total=st.floats(50.0, 50_000.0), step=st.sampled_from([0.1, 1.0, 5.0]))
@settings(max_examples=50)
def test_scaled_masses_keep_total_and_proportion(total, step):
    lines = scaled(
        part(("wheat flour", 5.0, {}), ("honey", 3.5, {}), ("oil", 1.25, {})), total, step
    )
    assert abs(sum(line.scaled_g for line in lines) - total) <= step / 2 + 1e-6
    assert lines[1].exact_g == pytest.approx(0.7 * lines[0].exact_g, rel=1e-12)
    assert [round(line.percent, 9) for line in lines] == [100.0, 70.0, 25.0]


def test_what_the_scale_cannot_show_is_said():
    lines = scaled(part(("wheat flour", 100.0, {}), ("salt", 0.4, {})), 100.4, 1.0)
    assert [line.wants_finer_scale for line in lines] == [False, True]


def test_price_is_of_what_is_weighed():
    lines = scaled(part(("honey", 1.0, {"price_per_kg": 12.0}), ("oil", 1.0, {})), 100.0, 1.0)
    assert [line.price for line in lines] == [0.6, None]
