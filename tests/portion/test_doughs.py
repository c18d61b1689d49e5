"""Loss from the water of each part, and densities of named doughs, against other figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.portion import Component, component_density_g_per_ml
from moulddesign.portion.doughs import Drying, crusts, fillings, loss_of_parts, named

SYRUP, SHORT, FLAKY = 0.147, 0.17, 0.29


@pytest.mark.parametrize(
    ("crust_share", "before", "after", "per_cent"),
    # Dry-matter balance worked by hand for usual recipes of each dough, one decimal of a per cent.
    [
        (0.3, SYRUP, 0.10, 1.6), (0.3, SYRUP, 0.07, 2.5), (0.3, SYRUP, 0.04, 3.3),
        (0.4, SYRUP, 0.10, 2.1), (0.4, SYRUP, 0.07, 3.3), (0.4, SYRUP, 0.04, 4.5),
        (0.4, SHORT, 0.08, 3.9), (0.4, SHORT, 0.05, 5.1), (0.4, SHORT, 0.03, 5.8),
        (0.4, FLAKY, 0.12, 7.7), (0.4, FLAKY, 0.08, 9.1), (0.4, FLAKY, 0.05, 10.1),
    ],
)  # fmt: skip
def test_a_crust_that_dries_takes_its_share(crust_share, before, after, per_cent):
    found = loss_of_parts([Drying(mass_share=crust_share, water_before=before, water_after=after)])
    assert 100.0 * found.ratio == pytest.approx(per_cent, abs=0.051)


WATERS = st.floats(0.0, 0.9)


@given(crust=st.floats(0.05, 0.95), waters=st.tuples(WATERS, WATERS, WATERS, WATERS))
def test_dry_mass_stays_what_it_was(crust, waters):
    a, b, c, d = waters
    parts = [(crust, max(a, b), min(a, b)), (1.0 - crust, max(c, d), min(c, d))]
    found = loss_of_parts(
        Drying(mass_share=m, water_before=w0, water_after=w1) for m, w0, w1 in parts
    )
    # Each part keeps m (1 - w0) of dry mass, which is 1 - w1 of what is left of it.
    left = sum(m * (1.0 - w0) / (1.0 - w1) for m, w0, w1 in parts)
    assert 1.0 - found.ratio == pytest.approx(left, rel=1e-12)


@given(before=st.floats(0.2, 0.5), after=st.floats(0.05, 0.15), sd=st.floats(0.001, 0.003))
def test_the_uncertainty_is_the_change_that_a_little_water_makes(before, after, sd):
    part = {"mass_share": 0.4, "water_before": before}
    found = loss_of_parts([Drying(**part, water_after=after, water_after_sd=sd)])
    wetter, drier = (
        loss_of_parts([Drying(**part, water_after=after + way * sd)]).ratio for way in (1, -1)
    )
    # Central difference: its error is of the third order in sd.
    assert found.uncertainty == pytest.approx((drier - wetter) / 2.0, rel=1e-4)


def test_the_paste_makes_most_of_the_uncertainty():
    """Crust 3, paste 7: usual doubts of two points either way, evenly spread, give about 0.016."""
    usual = 0.0175
    crust = Drying(mass_share=0.3, water_before=0.147, water_after=0.07, water_after_sd=usual)
    paste = Drying(mass_share=0.7, water_before=0.22, water_after=0.20, water_after_sd=usual)
    assert loss_of_parts([crust, paste]).uncertainty == pytest.approx(0.016, abs=0.001)


@pytest.mark.parametrize(
    ("filling", "shares"),
    # Choi and Okos 1986 by hand; sugar and starch count as carbohydrate.
    [
        ("seed", {"water": 0.20, "fat": 0.18, "protein": 0.05, "carbohydrate": 0.57}),
        ("chestnut", {"water": 0.32, "fat": 0.08, "protein": 0.03, "carbohydrate": 0.57}),
    ],
)
def test_a_filling_s_density_is_its_composition_s(filling, shares):
    volume = sum(x / component_density_g_per_ml(Component(c), 20.0) for c, x in shares.items())
    row = fillings()[filling]
    assert row.density_g_per_ml == pytest.approx(1.0 / volume, abs=row.density_sd_g_per_ml)


def test_each_row_dries_and_has_a_source():
    for row in (*crusts().values(), *fillings().values()):
        assert 0.0 <= row.water_after <= row.water_before < 1.0
        assert row.density_source
        assert row.water_source


def test_an_unknown_dough_names_the_nearest():
    with pytest.raises(SpecError, match="syrup"):
        named("portion.crust", "sirup", crusts())


@pytest.mark.parametrize(
    ("before", "after"), [(0.1, 0.2), (1.0, 0.5), (-0.1, 0.0), (0.5, float("nan"))]
)
def test_water_that_cannot_be_is_refused(before, after):
    with pytest.raises(SpecError, match="water"):
        loss_of_parts([Drying(mass_share=0.5, water_before=before, water_after=after)])
