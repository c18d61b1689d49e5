import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.portion import portion


def table(**values):
    return Design.of({"portion": values}).portion


def test_volume_is_the_sum_of_masses_over_densities():
    # by hand: raw 100; crust 30 / 1.2, paste 60 / 1.25, centre 10 / 1.0; a tenth of air
    piece = portion(
        table(
            finished_weight_g=90.0,
            loss=0.1,
            ratio="3:7",
            crust_density_g_per_ml=1.2,
            filling_density_g_per_ml=1.25,
            trapped_air=0.1,
            centres=[{"mass_g": 5.0, "count": 2, "density_g_per_ml": 1.0}],
        )
    )
    assert piece.raw_g == pytest.approx(100.0, rel=1e-12)
    assert (piece.crust_g, piece.filling_g) == pytest.approx((30.0, 70.0), rel=1e-12)
    assert piece.volume_ml == pytest.approx((25.0 + 48.0 + 10.0) / 0.9, rel=1e-12)
    assert piece.filled_ml == pytest.approx(58.0, rel=1e-12)


@given(weight=st.floats(20.0, 500.0), loss=st.floats(0.0, 0.6), crust=st.integers(1, 9))
def test_masses_add_up(weight, loss, crust):
    piece = portion(table(finished_weight_g=weight, loss=loss, ratio=f"{crust}:{10 - crust}"))
    assert piece.crust_g + piece.filling_g == pytest.approx(piece.raw_g, rel=1e-12)
    assert piece.raw_g * (1 - loss) == pytest.approx(weight, rel=1e-12)


def test_a_centre_that_stands_apart_comes_off_first():
    piece = portion(
        table(finished_weight_g=110.0, loss=0.0, centres=[{"mass_g": 10.0, "counts_in": "apart"}])
    )
    assert (piece.crust_g, piece.paste_g) == pytest.approx((30.0, 70.0), rel=1e-12)


@pytest.mark.parametrize("counts_in", ["filling", "apart"])
def test_centres_too_heavy_are_refused(counts_in):
    with pytest.raises(SpecError, match=r"portion.centres = '80 g': must weigh less than the"):
        portion(table(centres=[{"mass_g": 80.0, "counts_in": counts_in}]))
