import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.portion import TrialMould, finished_filling_g, portion

CENTRES = [{"mass_g": 6.0, "density_g_per_ml": 1.1}, {"mass_g": 3.0, "counts_in": "apart"}]


@given(finished=st.floats(40.0, 500.0), loss=st.floats(0.0, 0.3), air=st.floats(0.0, 0.2))
@settings(max_examples=50)
def test_what_fills_a_piece_s_volume_is_the_piece(finished, loss, air):
    table = Design.of(
        {
            "portion": {
                "finished_weight_g": finished,
                "loss": loss,
                "trapped_air": air,
                "centres": CENTRES,
            }
        }
    ).portion
    filling = finished_filling_g(table, portion(table).volume_ml)
    assert filling == pytest.approx(finished, rel=1e-12)  # round-off only


def test_water_fills_its_volume():
    table = Design.of(
        {"portion": {"crust_density_g_per_ml": 1.0, "filling_density_g_per_ml": 1.0, "loss": 0.0}}
    ).portion
    assert finished_filling_g(table, 60.0) == pytest.approx(60.0, rel=1e-12)


@pytest.mark.parametrize("volume_ml", [0.0, -1.0, float("nan")])
def test_a_volume_that_cannot_be_is_refused(volume_ml):
    with pytest.raises(SpecError, match=r"volume_ml = .*above 0 mL"):
        finished_filling_g(Design().portion, volume_ml)


def test_a_volume_that_only_holds_the_centres_is_refused():
    table = Design.of({"portion": {"centres": [{"mass_g": 12.0}]}}).portion
    with pytest.raises(SpecError, match="must be more than the centres"):
        finished_filling_g(table, 14.0)


def test_prism_of_another_height():
    mould = TrialMould(volume_ml=60.0, height_mm=24.0, area_mm2=2500.0)
    assert mould.volume_at_ml(26.0) == pytest.approx(65.0, rel=1e-12)
    with pytest.raises(SpecError, match="height_mm = 1e-09: must be more than the relief"):
        TrialMould(volume_ml=10.0, height_mm=24.0, area_mm2=2500.0).volume_at_ml(1e-9)


@pytest.mark.parametrize("field", ["volume_ml", "height_mm", "area_mm2"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("inf")])
def test_a_mould_that_cannot_be_is_refused(field, value):
    with pytest.raises(SpecError, match=f"{field} = .*above 0"):
        TrialMould(**{"volume_ml": 60.0, "height_mm": 24.0, "area_mm2": 2500.0} | {field: value})
