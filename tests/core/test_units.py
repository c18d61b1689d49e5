from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import G_PER_KG, MM3_PER_ML, ml_from_mm3, mm3_from_ml


@pytest.mark.parametrize(
    ("factor", "published"),
    [
        pytest.param(MM3_PER_ML, 1000.0, id="SI brochure, 9th edition, table 8: 1 L = 1 dm^3"),
        pytest.param(G_PER_KG, 1000.0, id="SI brochure, 9th edition, table 7: kilo is 1000"),
    ],
)
def test_factors_are_those_of_the_si(factor, published):
    assert factor == published


@given(st.floats(1e-9, 1e9))
def test_there_and_back_is_the_same(volume):
    # One division and one product, each rounded once: two steps of the last place.
    assert ml_from_mm3(mm3_from_ml(volume)) == pytest.approx(volume, rel=4.5e-16)


def test_a_cup_of_water_weighs_what_it_should():
    assert ml_from_mm3(60.0**3) == 216.0
    assert mm3_from_ml(inf) == inf
