"""Core time against printed roots, limiting cases, and minutes worked out elsewhere."""

from itertools import pairwise
from math import erfc, exp, pi, sqrt

import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.design import BakeDayTable, Design, crusts, fillings
from moulddesign.kitchen.oven import (
    CONDUCTIVITY,
    SPECIFIC_HEAT,
    CoreShape,
    HeatProperties,
    OvenStage,
    centre_share,
    core_minutes,
    core_time,
    cylinder_series,
    heat_properties,
    inside_composition,
    oven_stages,
    sizes_without_relief,
    slab_series,
)
from moulddesign.portion import Composition, portion

SEED = HeatProperties(
    density_kg_per_m3=1245.0, specific_heat_j_per_kgk=2251.0, conductivity_w_per_mk=0.339
)
"""A seed paste at 60 deg C, worked out by hand from Choi and Okos."""
AT_200 = (OvenStage(from_min=0.0, air_c=200.0),)


@pytest.mark.parametrize(
    ("series", "biot", "root", "factor"),
    [  # F. P. Incropera and D. P. DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1
        pytest.param(slab_series, 1.0, 0.8603, 1.1191, id="Incropera 5.1, slab"),
        pytest.param(cylinder_series, 1.0, 1.2558, 1.2071, id="Incropera 5.1, cylinder"),
    ],
)
def test_first_root_and_factor_are_the_printed_ones(series, biot, root, factor):
    roots, factors = series(biot)
    assert (roots[0], factors[0]) == pytest.approx((root, factor), abs=6e-5)


def test_roots_solve_their_equation_and_none_is_left_out():
    for biot in (0.01, 1.0, 50.0):
        roots, _ = slab_series(biot)
        assert np.allclose(roots * np.sin(roots), biot * np.cos(roots), atol=1e-9 * (1 + biot))
        assert np.array_equal(np.floor(roots / pi), np.arange(roots.size))
        # Factors of a complete series sum to 1 at time 0; they alternate, so the mean of two sums.
        for series in (slab_series, cylinder_series):
            sums = np.cumsum(series(biot)[1])
            assert (sums[-1] + sums[-2]) / 2.0 == pytest.approx(1.0, abs=0.02)


def test_heisler_chart_of_a_slab():
    # Bi = 1, Fo = 1: A exp(-b^2) from the printed root and factor, which is what the chart draws.
    wall = CoreShape(thicknesses_mm=(20.0,), diameter_mm=None)
    paste = HeatProperties(
        density_kg_per_m3=1000.0, specific_heat_j_per_kgk=1000.0, conductivity_w_per_mk=1.0
    )
    minutes = np.array([100.0 / paste.diffusivity_mm2_per_s / 60.0])
    share = centre_share(wall, paste, minutes, film_w_per_m2k=100.0)
    assert share[0] == pytest.approx(1.1191 * exp(-(0.8603**2)), rel=2e-4)


def test_a_short_time_is_that_of_a_half_space_from_both_sides():
    # Carslaw and Jaeger: with faces held at the air's temperature the centre loses
    # 2 erfc(1 / (2 sqrt(Fo))) at first; a film coefficient without end holds them there.
    wall = CoreShape(thicknesses_mm=(20.0,), diameter_mm=None)
    fourier = 0.05
    minutes = np.array([fourier * 100.0 / SEED.diffusivity_mm2_per_s / 60.0])
    share = centre_share(wall, SEED, minutes, film_w_per_m2k=1e9)
    assert 1.0 - share[0] == pytest.approx(2.0 * erfc(0.5 / sqrt(fourier)), rel=1e-3)


@pytest.mark.parametrize(
    ("diameter_mm", "height_mm", "minutes"),
    [  # Worked out elsewhere for h = 15, 20, 30, 48 W/m^2 K, from 25 to 90 deg C at 200 deg C.
        pytest.param(47.5, 23.5, (16.2, 13.9, 11.4, 9.4), id="52 g"),
        pytest.param(60.0, 30.0, (23.0, 19.9, 16.6, 13.9), id="106 g"),
    ],
)
def test_minutes_are_those_worked_out_elsewhere(diameter_mm, height_mm, minutes):
    shape = CoreShape.of(
        area_mm2=pi * diameter_mm**2 / 4.0, height_mm=height_mm, is_square=False
    )  # fmt: skip
    found = [
        core_minutes(shape, SEED, AT_200, film_w_per_m2k=film) for film in (15.0, 20.0, 30.0, 48.0)
    ]
    assert found == pytest.approx(minutes, abs=0.06)  # printed to a tenth


def test_a_box_is_its_three_slabs():
    minutes = np.array([4.0, 9.0])
    box = CoreShape.of(area_mm2=50.0**2, height_mm=28.0, is_square=True)
    slabs = [CoreShape(thicknesses_mm=(mm,), diameter_mm=None) for mm in (50.0, 50.0, 28.0)]
    shares = [centre_share(each, SEED, minutes, film_w_per_m2k=30.0) for each in slabs]
    whole = centre_share(box, SEED, minutes, film_w_per_m2k=30.0)
    assert whole == pytest.approx(np.prod(shares, axis=0), rel=1e-12)


def test_a_brushing_of_no_change_changes_nothing_and_one_in_the_cold_delays():
    shape = CoreShape.of(area_mm2=2400.0, height_mm=25.0, is_square=False)
    once, same, brushed = (
        core_minutes(shape, SEED, oven_stages(BakeDayTable.of(day)), film_w_per_m2k=30.0)
        for day in (
            {},
            {"set_minutes": 5, "finish_oven_c": 200},
            {"set_minutes": 5, "wash_minutes": 6},
        )
    )
    assert same == pytest.approx(once, rel=1e-12)
    assert once < brushed < once + 6.0 + 5.0  # what it keeps of the first stage is not lost


@pytest.mark.slow
def test_properties_are_those_of_the_coolprop_package():
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 (takes seconds to load)

    names = {"carbohydrate": "Carbohydrate", "fibre": "Fiber"}
    for ours, key in ((CONDUCTIVITY, "conductivity"), (SPECIFIC_HEAT, "C")):
        for part, (constant, slope, curve) in ours.items():
            fluid = f"INCOMP::Food{names.get(str(part), str(part).title())}"
            near = 1e-4
            if (str(part), key) == ("water", "C"):  # the package's constant is 1 % low there
                fluid, near = "Water", 2e-3
            theirs = PropsSI(key, "T", 273.15 + 60.0, "P", 101325.0, fluid)
            assert constant + slope * 60.0 + curve * 3600.0 == pytest.approx(theirs, rel=near)


def test_a_seed_paste_by_hand():
    # At 60 deg C by Choi and Okos: 1245 kg/m^3, 2251 J/kg K, 0.339 W/m K, to the figures given.
    found = heat_properties(Composition(water=0.2, fat=0.18, protein=0.05, carbohydrate=0.57))
    assert found.density_kg_per_m3 == pytest.approx(1245.0, rel=2e-3)
    assert found.specific_heat_j_per_kgk == pytest.approx(2251.0, rel=1e-3)
    assert found.conductivity_w_per_mk == pytest.approx(0.339, rel=2e-3)


def test_every_named_dough_has_a_composition_and_conducts_as_food_does():
    # Foods with 10 to 40 % water lie between 0.8e-7 and 1.6e-7 m^2/s; common practice, no source
    for key, rows in (("filling_paste", fillings()), ("crust_dough", crusts())):
        for name in rows:
            plain = {key: name} | ({} if key == "filling_paste" else {"composition": "solid"})
            table = Design.of({"portion": plain | ({"ratio": "1:0"} if len(plain) > 1 else {})})
            paste = heat_properties(inside_composition(table.portion, None))
            assert 0.08 < paste.diffusivity_mm2_per_s < 0.16, name


@pytest.mark.parametrize("outline", ["round", "square", "hexagon", "octagon"])
def test_sizes_hold_the_volume(outline):
    for size in ({"width_mm": 50.0}, {"height_mm": 25.0}, {}):
        plain = {"width_mm": None, "height_mm": None} | size
        area_mm2, height_mm = sizes_without_relief(
            volume_ml=60.0, outline=outline, ratio=0.5, **plain
        )
        assert area_mm2 * height_mm == pytest.approx(60_000.0, rel=1e-12)


def test_heavier_pieces_take_longer():
    times = []
    for weight_g in (30.0, 75.0, 250.0):
        table = Design.of({"portion": {"finished_weight_g": weight_g}}).portion
        area_mm2, height_mm = sizes_without_relief(
            volume_ml=portion(table).volume_ml, outline="round", width_mm=None, height_mm=None,
            ratio=0.55,
        )  # fmt: skip
        shape = CoreShape.of(area_mm2=area_mm2, height_mm=height_mm, is_square=False)
        times.append(core_time(shape, SEED, BakeDayTable()))
    for light, heavy in pairwise(times):
        assert light.least_min < heavy.least_min
        assert light.most_min < heavy.most_min
    assert times[0].least_min < times[0].most_min


def test_a_piece_that_no_oven_heats_in_time_is_refused():
    shape = CoreShape.of(area_mm2=1e6, height_mm=900.0, is_square=True)
    with pytest.raises(SpecError, match=r"bake_day.oven_c = 200.0: must be hot enough"):
        core_time(shape, SEED, BakeDayTable())
