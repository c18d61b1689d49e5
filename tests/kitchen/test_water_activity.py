"""Water activity: solutions and isotherms against published tables, mixtures against hand sums."""

from math import fsum

import pytest

from moulddesign.core import SpecError
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.water_activity import (
    SALT,
    SOLUTES,
    WaterMix,
    common_activity,
    glucose_syrup,
    held_water_g,
    part_mix,
    solution_activity,
    water_activity,
    wheat_water,
)

SUCROSE, GLUCOSE, FRUCTOSE = (SOLUTES[name] for name in ("sucrose", "glucose", "fructose"))


@pytest.mark.parametrize(
    ("solute", "solute_g", "water_g", "published", "within"),
    [
        *[  # 25 deg C, Robinson and Stokes, from memory
            pytest.param(SUCROSE, 342.30 * molality, 1000.0, activity, 0.001, id=f"{molality} m")
            for molality, activity in enumerate(
                (0.9806, 0.9581, 0.9328, 0.9057, 0.8776, 0.8493), start=1
            )
        ],
        pytest.param(SUCROSE, 55.0, 45.0, 0.91, 0.01, id="sucrose 55 %, Beuchat"),
        pytest.param(SUCROSE, 65.0, 35.0, 0.87, 0.01, id="sucrose 65 %, Beuchat"),
        # Water to 100 g; Sloan and Labuza print two digits of the activity.
        pytest.param(SOLUTES["sorbitol"], 100.0, 110.0, 0.90, 0.02, id="sorbitol 0.90, Sloan"),
        pytest.param(SOLUTES["sorbitol"], 100.0, 55.0, 0.80, 0.02, id="sorbitol 0.80, Sloan"),
        pytest.param(SOLUTES["sorbitol"], 100.0, 35.0, 0.70, 0.02, id="sorbitol 0.70, Sloan"),
        pytest.param(glucose_syrup(42.0), 100.0, 54.0, 0.90, 0.02, id="corn syrup 0.90, Sloan"),
        pytest.param(glucose_syrup(42.0), 100.0, 30.0, 0.80, 0.02, id="corn syrup 0.80, Sloan"),
        pytest.param(glucose_syrup(42.0), 100.0, 20.0, 0.70, 0.02, id="corn syrup 0.70, Sloan"),
        pytest.param(SALT, 3.0 * 58.44, 1000.0, 0.8932, 1e-4, id="salt 3 mol/kg, published"),
        pytest.param(SALT, 2000.0, 1000.0, 0.7598, 1e-9, id="salt, no further than 6 mol/kg"),
        pytest.param(SUCROSE, 300.0, 100.0, 0.85, 0.005, id="sucrose, saturated: 2.04 g a gram"),
    ],
)
def test_a_solution_has_the_published_activity(solute, solute_g, water_g, published, within):
    assert solution_activity(water_g, {solute: solute_g}) == pytest.approx(published, abs=within)


@pytest.mark.parametrize("dry_g", [0.0, 3.0, 30.0])
@pytest.mark.parametrize("water_g", [0.001, 2.0, 5.0, 25.0, 3000.0])
def test_one_mixture_is_in_equilibrium_as_several_are(water_g, dry_g):
    for solutes_g in ({}, {SUCROSE: 40.0}, {SUCROSE: 20.0, FRUCTOSE: 15.0, SALT: 1.0}):
        mix = WaterMix(water_g=water_g, solutes_g=solutes_g, dry_g=dry_g)
        assert water_activity(mix) == pytest.approx(common_activity([mix]), abs=1e-8)


def test_the_higher_of_ross_and_the_mixture_is_taken():
    # Half-inverted syrup of 75 %: Ross's product 0.758, Norrish's mixture 0.723, worked by hand.
    half = {SUCROSE: 37.5, GLUCOSE: 18.75, FRUCTOSE: 18.75}
    assert solution_activity(25.0, half) == pytest.approx(0.758, abs=0.001)


@pytest.mark.parametrize("activity", [0.7, 0.75, 0.8])
def test_wheat_holds_about_the_water_that_pasta_does(activity):
    # Oswin's isotherm of pasta at 25 deg C, published; another food, so to 1.5 points.
    pasta = (0.176 - 0.001748 * 25.0) * (activity / (1.0 - activity)) ** (0.182 + 0.006946 * 25.0)
    assert wheat_water(activity) == pytest.approx(pasta, abs=0.015)


def test_solution_and_starch_share_the_water():
    # At 0.80 glucose has x = 0.1554, for ln(1 - x) - 2.25 x^2 = -0.2232: 30 g are 0.1665 mol, which
    # go with 0.1665 * 0.8446 / 0.1554 = 0.905 mol or 16.30 g of water. Starch holds
    # -ln(0.22314 * 118.213 / 610.34) / 15.526 = 0.2023 of itself, 6.07 g of 30: 22.37 g together.
    mix = WaterMix(water_g=22.37, solutes_g={GLUCOSE: 30.0}, dry_g=30.0)
    assert water_activity(mix) == pytest.approx(0.80, abs=5e-4)
    assert held_water_g(mix, 0.80) == pytest.approx(22.37, abs=0.02)


def test_water_moves_until_both_are_equal_and_none_is_lost():
    wet = WaterMix(water_g=30.0, solutes_g={FRUCTOSE: 40.0}, dry_g=20.0)
    dry = WaterMix(water_g=8.0, solutes_g={SUCROSE: 10.0}, dry_g=40.0)
    common = common_activity([wet, dry])
    assert water_activity(dry) < common < water_activity(wet)
    held_g = fsum(held_water_g(mix, common) for mix in (wet, dry))
    assert held_g == pytest.approx(38.0, rel=1e-6)  # to where the search ends


def test_dough_without_sugar_and_syrup_without_starch_have_one_too():
    assert wheat_water(water_activity(WaterMix(water_g=0.2, solutes_g={}, dry_g=1.0))) == (
        pytest.approx(0.2, rel=1e-6)
    )
    syrup = WaterMix(water_g=1000.0, solutes_g={SUCROSE: 342.30})
    assert water_activity(syrup) == pytest.approx(0.9806, abs=0.001)


def test_a_part_is_what_dissolves_what_holds_water_and_the_rest():
    dough = Recipe.of(
        {
            "crust": {
                "ingredients": [
                    {"food": "wheat flour", "mass_g": 50, "water": 12, "carbohydrate": 88},
                    {"food": "white sugar", "mass_g": 30},
                    {"food": "orchard jelly", "mass_g": 20, "water": 50, "carbohydrate": 50},
                    {"food": "my jam", "mass_g": 20, "water": 50, "carbohydrate": 50, "sugars": 40},
                ]
            }
        }
    ).crust
    # Dry matter: 44 + 30 + 10 + 10 g; 8 g of the jam are sugars of unknown kind, sucrose then.
    mix = part_mix(dough, mass_g=94.0 / 0.9, water=0.1)
    assert mix.solutes_g[SUCROSE] == pytest.approx(38.0, rel=0.01)
    assert mix.dry_g == pytest.approx(56.0, rel=0.01)  # jelly of unknown sugars counts as starch
    assert mix.unknown == ("orchard jelly",)
    other = part_mix(dough, mass_g=94.0 / 0.9, water=0.1, unknown_as=SUCROSE)
    assert other.solutes_g[SUCROSE] == pytest.approx(48.0, rel=0.01)
    assert other.dry_g == pytest.approx(46.0, rel=0.01)


def test_what_has_no_water_or_no_composition_is_refused():
    with pytest.raises(SpecError, match="water"):
        WaterMix(water_g=0.0, solutes_g={})
    with pytest.raises(SpecError, match="dry_g"):
        WaterMix(water_g=1.0, solutes_g={}, dry_g=-1.0)
    jam = {"food": "orchard jam", "mass_g": 100, "density_g_per_ml": 1.3}
    with pytest.raises(SpecError, match="orchard jam"):
        part_mix(Recipe.of({"crust": {"ingredients": [jam]}}).crust, mass_g=1.0, water=0.3)
