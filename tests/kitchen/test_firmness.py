"""Yield stress of dough and force of pressing, against figures worked out by hand elsewhere."""

from math import pi, sqrt

import pytest

from moulddesign.core import SpecError
from moulddesign.kitchen.firmness import (
    UNMEASURED,
    dough_yield,
    fill_force_n,
    squash_force_n,
    yield_stress,
)


@pytest.mark.parametrize(
    ("height_mm", "kpa"),
    # A ball of 20 mL under 1 kg; theory as in Meeten, Rheologica Acta 43:6, worked by hand.
    [(5.0, 0.38), (7.0, 0.75), (10.0, 1.44)],
)
def test_the_plate_test_gives_the_figures_worked_by_hand(height_mm, kpa):
    found = yield_stress(dough_ml=20.0, load_g=1000.0, height_mm=height_mm)
    assert found.kpa == pytest.approx(kpa, abs=0.005)
    assert (found.least_kpa, found.most_kpa) == pytest.approx((0.6 * found.kpa, 1.4 * found.kpa))


@pytest.mark.parametrize(
    ("yield_kpa", "squash_n", "fill_n"),
    # A round piece of 63 mm, 30 mm high, grooves 1.5 mm deep and 2 mm wide, worked by hand.
    [(1.4, 11.0, 29.0), (2.4, 18.0, 50.0), (4.0, 30.0, 83.0)],
)
def test_the_forces_are_those_worked_by_hand(yield_kpa, squash_n, fill_n):
    squash = squash_force_n(radius_mm=31.5, height_mm=30.0, yield_kpa=yield_kpa)
    area = pi * 31.5**2
    fill = fill_force_n(area_mm2=area, depth_mm=1.5, width_mm=2.0, yield_kpa=yield_kpa)
    assert squash == pytest.approx(squash_n, abs=0.55)
    assert fill == pytest.approx(fill_n, abs=0.55)


def test_the_load_of_the_plate_test_is_the_force_that_squashes():
    found = yield_stress(dough_ml=15.0, load_g=700.0, height_mm=6.5)
    radius = sqrt(15_000.0 / (pi * 6.5))
    force = squash_force_n(radius_mm=radius, height_mm=6.5, yield_kpa=found.kpa)
    assert force == pytest.approx(0.7 * 9.80665, rel=1e-12)  # round-off only


def test_a_tested_dough_is_known_to_40_percent():
    assert dough_yield(None) is UNMEASURED
    found = dough_yield(1.0)
    assert (found.least_kpa, found.kpa, found.most_kpa) == pytest.approx((0.6, 1.0, 1.4))
    assert found.measured


def test_an_untested_dough_lies_in_a_range_and_says_so():
    assert not UNMEASURED.measured
    assert UNMEASURED.least_kpa < UNMEASURED.kpa < UNMEASURED.most_kpa


@pytest.mark.parametrize("field", ["dough_ml", "load_g", "height_mm"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_what_is_no_measurement_is_refused(field, value):
    with pytest.raises(SpecError, match=field):
        yield_stress(**({"dough_ml": 20.0, "load_g": 1000.0, "height_mm": 7.0} | {field: value}))
