import numpy as np
import pytest
from iapws import IAPWS95

from moulddesign.core import SpecError
from moulddesign.portion import (
    LEVEL_SPREAD,
    PACKING_VOIDS,
    density_from_cup,
    density_from_displacement,
)

CUP_ML = 236.588


def water_g_per_ml(at_c):
    return IAPWS95(T=273.15 + at_c, P=0.101325).rho / 1000.0


@pytest.mark.parametrize(
    "published",
    [
        pytest.param(1.433, id="USDA volume weight, honey"),
        pytest.param(1.014, id="USDA volume weight, sesame paste"),
        pytest.param(0.960, id="USDA volume weight, butter"),
    ],
)
@pytest.mark.parametrize("at_c", [4.0, 20.0, 35.0])
def test_cup_gives_the_published_density(published, at_c):
    found = density_from_cup(
        empty_g=80.0,
        water_g=80.0 + CUP_ML * water_g_per_ml(at_c),
        filled_g=80.0 + CUP_ML * published,
        resolution_g=0.1,
        at_c=at_c,
    )
    assert found.density_g_per_ml == pytest.approx(published, rel=1e-4)  # Kell against IAPWS-95


def test_displacement_of_a_litre():
    found = density_from_displacement(
        mass_g=1250.0, displaced_g=1000.0 * water_g_per_ml(25.0), resolution_g=1.0, at_c=25.0
    )
    assert found.density_g_per_ml == pytest.approx(1.25, rel=1e-4)  # Kell against IAPWS-95


@pytest.mark.parametrize("empty_g", [0.0, 80.0])
@pytest.mark.parametrize("step_g", [1.0, 10.0])
def test_uncertainty_of_a_cup_is_that_of_samples(empty_g, step_g):
    rng = np.random.default_rng(4)
    n = 100_000
    reading = rng.uniform(-step_g / 2, step_g / 2, (3, n))
    empty = empty_g + (reading[0] if empty_g else 0.0)  # a scale set to zero reads no cup
    water = 180.0 * (1 + LEVEL_SPREAD * rng.standard_normal(n)) + empty_g + reading[1]
    dough = 380.0 + empty_g + reading[2]
    packed = (dough - empty) / (water - empty) * (1.0 + PACKING_VOIDS * rng.random(n))
    # Around what the scale says, not around the mean: nothing is added for voids.
    sampled = water_g_per_ml(20.0) * np.sqrt(np.mean((packed - 380.0 / 180.0) ** 2))
    found = density_from_cup(
        empty_g=empty_g, water_g=180.0 + empty_g, filled_g=380.0 + empty_g, resolution_g=step_g
    )
    # 3 / sqrt(2 n) = 0.7 % of sampling; voids of 1 % on average enlarge the scatter by as much.
    assert found.uncertainty_g_per_ml == pytest.approx(sampled, rel=0.017)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"filled_g": 70.0}, "filled_g = 70.0: must be above the empty cup's 80 g"),
        ({"water_g": 80.0}, "water_g = 80.0: must be above the empty cup's 80 g"),
        ({"water_g": -1.0}, "water_g = -1.0: must be a finite number above 0 g"),
        ({"empty_g": float("nan")}, "empty_g = nan: must be a finite number of at least 0 g"),
        ({"resolution_g": 0.0}, "resolution_g = 0.0: must be a finite number above 0 g"),
        ({"at_c": 101.0}, "it is ice or steam"),
        ({"filled_g": 5000.0}, "between 0.2 and 3 g/mL"),
    ],
)
def test_a_cup_that_cannot_be_is_refused(changes, sentence):
    cup = {"empty_g": 80.0, "water_g": 280.0, "filled_g": 330.0, "resolution_g": 1.0}
    with pytest.raises(SpecError, match=sentence):
        density_from_cup(**cup | changes)


@pytest.mark.parametrize("field", ["mass_g", "displaced_g", "resolution_g"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_displacement_that_cannot_be_is_refused(field, value):
    piece = {"mass_g": 75.0, "displaced_g": 60.0, "resolution_g": 1.0}
    with pytest.raises(SpecError, match=f"{field} = .*above 0 g"):
        density_from_displacement(**piece | {field: value})
