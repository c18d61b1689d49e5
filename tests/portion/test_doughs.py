"""Loss from the water of each part, and densities of named doughs, against other figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design, crusts, fillings
from moulddesign.portion import (
    Component,
    Drying,
    LossSource,
    component_density_g_per_ml,
    figures,
    finished_from_raw_g,
    loss_of_parts,
    portion,
)

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
    with pytest.raises(SpecError, match=r"portion.crust_dough = 'sirup': is not known; .* syrup"):
        Design.of({"portion": {"crust_dough": "sirup"}})


@pytest.mark.parametrize(
    ("before", "after"), [(0.1, 0.2), (1.0, 0.5), (-0.1, 0.0), (0.5, float("nan"))]
)
def test_water_that_cannot_be_is_refused(before, after):
    with pytest.raises(SpecError, match="water"):
        loss_of_parts([Drying(mass_share=0.5, water_before=before, water_after=after)])


CENTRES = st.lists(
    st.fixed_dictionaries(
        {
            "mass_g": st.floats(1.0, 10.0),
            "counts_in": st.sampled_from(["filling", "apart"]),
        }
    ),
    max_size=3,
)


@given(
    crust=st.sampled_from(sorted(crusts())),
    paste=st.sampled_from([None, *sorted(fillings())]),
    weight_g=st.floats(80.0, 300.0),
    centres=CENTRES,
)
def test_a_named_piece_keeps_its_dry_mass_and_its_centres(crust, paste, weight_g, centres):
    table = {"crust_dough": crust, "finished_weight_g": weight_g, "centres": centres}
    design = Design.of({"portion": table | ({} if paste is None else {"filling_paste": paste})})
    piece = portion(design.portion)
    rows = (crusts()[crust], fillings()[paste or "other"])
    left = [
        mass_g * (1.0 - row.water_before) / (1.0 - row.water_after)
        for mass_g, row in zip((piece.crust_g, piece.paste_g), rows, strict=True)
    ]
    assert sum(left) + piece.centre_g == pytest.approx(weight_g, rel=1e-12)
    assert piece.raw_g * (1.0 - piece.loss) == pytest.approx(weight_g, rel=1e-12)
    assert finished_from_raw_g(design.portion, piece.raw_g) == pytest.approx(weight_g, rel=1e-12)


def test_a_loss_that_nobody_measured_says_so():
    made = figures(Design())
    assert made.loss.source is LossSource.UNMEASURED
    assert (made.loss.ratio, made.loss.uncertainty) == (0.02, 0.015)
    assert made.report()["loss_source"] == "unmeasured"


def test_a_given_loss_comes_before_the_names():
    table = {"crust_dough": "flaky", "loss": 0.05, "loss_uncertainty": 0.01}
    made = figures(Design.of({"portion": table}))
    assert (made.piece.loss, made.loss.uncertainty) == (0.05, 0.01)
    assert made.loss.source is LossSource.GIVEN


def test_a_name_takes_the_place_of_the_figures_that_it_stands_for():
    table = {"crust_density_g_per_ml": 1.4, "loss": 0.05, "filling_density_g_per_ml": 1.3}
    design = Design.of({"portion": table}).with_values({"portion.crust_dough": "flaky"})
    assert design.portion.loss is None
    assert design.portion.crust_density.g_per_ml == crusts()["flaky"].density_g_per_ml
    assert design.portion.filling_density.g_per_ml == 1.3


def test_an_uncertainty_without_a_loss_is_refused():
    with pytest.raises(SpecError, match="must be left out where no loss is given"):
        Design.of({"portion": {"loss_uncertainty": 0.01}})
