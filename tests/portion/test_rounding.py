import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.portion import portion, rounded_keeping_total, split_on_scale

STEPS = st.sampled_from([0.01, 0.1, 0.5, 1.0, 2.0, 5.0])


@given(masses=st.lists(st.floats(0.0, 2000.0), min_size=1, max_size=12), step=STEPS)
@settings(max_examples=200)
def test_total_is_within_half_a_step_and_each_within_one(masses, step):
    rounded = rounded_keeping_total(masses, step)
    fuzz = 1e-6  # binary fractions
    assert abs(sum(rounded) - sum(masses)) <= step / 2 + fuzz
    assert all(abs(r - m) < step + fuzz for r, m in zip(rounded, masses, strict=True))
    assert all(abs(r / step - round(r / step)) < fuzz for r in rounded)


@given(count=st.integers(0, 5000), step=STEPS)
def test_what_is_on_the_scale_stays(count, step):
    assert rounded_keeping_total([count * step], step)[0] == pytest.approx(count * step, abs=1e-9)


@given(crust=st.floats(1.0, 300.0), paste=st.floats(1.0, 300.0))
def test_no_other_pair_on_the_scale_has_a_smaller_error(crust, paste):
    mine = rounded_keeping_total((crust, paste), 1.0)
    others = [(int(crust) + i, int(paste) + j) for i in (0, 1) for j in (0, 1)]
    error = abs(sum(mine) - crust - paste)
    assert all(abs(a + b - crust - paste) >= error - 1e-9 for a, b in others)


@given(crust=st.floats(1.0, 300.0), paste=st.floats(1.0, 300.0), step=STEPS, off=st.floats(0, 1))
def test_a_least_total_is_reached_by_less_than_a_step_more(crust, paste, step, off):
    least = crust + paste - off * step
    total = sum(rounded_keeping_total((crust, paste), step, least))
    fuzz = 1e-6  # binary fractions
    assert least - fuzz <= total < crust + paste + step + fuzz


def test_split_of_a_piece_with_a_counted_centre():
    # by hand: raw 75 / 0.98 = 76.53; crust 22.96, paste 45.57, centre 8: 69 g on the scale
    piece = {"centres": [{"mass_g": 8.0}], "finished_weight_g": 75.0, "loss": 0.02}
    design = Design.of({"portion": piece | {"centres_weighed": "counted"}})
    split = split_on_scale(portion(design.portion), design.portion, 1.0)
    assert (split.crust_g, split.paste_g, split.centre_g, split.raw_g) == (23.0, 46.0, 8.0, 77.0)
    assert split.paste_range_g == (46.0, 46.0)
    assert split.rounding_g == pytest.approx(77.0 - 75.0 / 0.98, abs=1e-9)
    assert split.ratio == "2.99:7.01"


def test_split_of_a_centre_that_is_weighed_with_its_paste():
    # by hand: crust 22.96, filling 53.57: 77 g on the scale; the paste follows the centre of 8.3 g
    piece = {"centres": [{"mass_g": 8.3}], "finished_weight_g": 75.0, "loss": 0.02}
    table = Design.of({"portion": piece}).portion
    split = split_on_scale(portion(table), table, 1.0)
    assert (split.crust_g, split.filling_g, split.raw_g) == (23.0, 54.0, 77.0)
    assert split.paste_g == pytest.approx(45.7)
    low, high = split.paste_range_g
    # 1.96 standard deviations of a mass spread of 12 %
    assert (45.7 - low, high - 45.7) == pytest.approx((1.952, 1.952), abs=0.001)


def test_a_scale_too_coarse_for_paste_beside_its_centre_is_refused():
    table = Design.of(
        {"portion": {"finished_weight_g": 60.0, "ratio": "4:6", "centres": [{"mass_g": 36.0}]}}
    ).portion
    with pytest.raises(SpecError, match=r"resolution_g = 35.0: must be finer, for the paste"):
        split_on_scale(portion(table), table, 35.0)


@pytest.mark.parametrize("step", [0.0, -1.0, float("nan")])
def test_a_step_that_cannot_be_is_refused(step):
    with pytest.raises(SpecError, match=r"resolution_g = .*above 0 g"):
        rounded_keeping_total([10.0], step)


def test_a_step_that_no_scale_has_is_refused():
    with pytest.raises(SpecError, match=r"resolution_g = 1e-308: must be at least 1e-09"):
        rounded_keeping_total([10.0], 1e-308)


def test_negative_mass_is_refused():
    with pytest.raises(SpecError, match=r"mass_g = -1.0"):
        rounded_keeping_total([-1.0], 1.0)


def test_a_scale_too_coarse_for_the_crust_is_refused():
    design = Design.of({"portion": {"finished_weight_g": 20.0}})
    with pytest.raises(SpecError, match=r"resolution_g = 50.0: must be finer, for the crust"):
        split_on_scale(portion(design.portion), design.portion, 50.0)
