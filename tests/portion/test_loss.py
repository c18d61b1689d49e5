import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import Design, Finish, PortionTable
from moulddesign.portion import (
    LossSource,
    cautions_of,
    figures,
    loss_from_water,
    loss_from_weighing,
    mixed_water,
    raw_from_finished_g,
)

SHARES = st.floats(0.0, 0.95)


@pytest.mark.parametrize(
    ("raw", "finished", "published"),
    [
        pytest.param(0.99, 0.98, 0.5, id="the potato paradox"),
        # 1000 kg at 14 % solids less 8 % peel make 138.5 kg at 93 %: of 920 kg, 781.5 go
        pytest.param(0.86, 0.07, 781.5 / 920, id="Earle, Unit Operations, from memory"),
    ],
)
def test_dry_matter_balance(raw, finished, published):
    assert loss_from_water(raw, finished) == pytest.approx(published, abs=1e-4)


@given(raw=SHARES, cut=st.floats(0.0, 1.0))
def test_dry_matter_stays(raw, cut):
    finished = raw * cut
    kept = 1.0 - loss_from_water(raw, finished)
    assert kept * (1.0 - finished) == pytest.approx(1.0 - raw, rel=1e-12)


def test_more_water_afterwards_is_refused():
    with pytest.raises(SpecError, match=r"finished_water = 0.3: must be at most the raw water"):
        loss_from_water(0.2, 0.3)


@pytest.mark.parametrize("water", [-0.1, 1.0, float("nan"), 17.0])
def test_water_that_is_no_share_is_refused(water):
    with pytest.raises(SpecError, match="must be a share of at least 0 and below 1"):
        loss_from_water(0.3, water)


def test_water_of_parts_by_mass():
    assert mixed_water([(30.0, 0.20), (60.0, 0.26)]) == pytest.approx(0.24, abs=1e-12)


def test_water_of_nothing_is_refused():
    with pytest.raises(SpecError, match="at least one mass"):
        mixed_water([])


@given(finished=st.floats(1.0, 500.0), loss=st.floats(0.0, 0.6))
def test_weighing_finds_the_loss_that_the_raw_mass_was_made_with(finished, loss):
    raw = raw_from_finished_g(PortionTable(loss=loss), finished)
    assert loss_from_weighing(raw, finished) == pytest.approx(loss, abs=1e-12)


@pytest.mark.parametrize(
    ("raw", "finished", "sentence"),
    [
        (60.0, 61.0, "does not gain weight"),
        (0.0, 0.0, "raw_g = 0.0: must be a finite number above 0 g"),
        (60.0, -1.0, "finished_g = -1.0: must be a finite number above 0 g"),
        (float("inf"), 60.0, "raw_g = inf: must be"),
    ],
)
def test_a_weighing_that_cannot_be_is_refused(raw, finished, sentence):
    with pytest.raises(SpecError, match=sentence):
        loss_from_weighing(raw, finished)


@pytest.mark.parametrize("finish", ["unbaked", "frozen", "set"])
def test_what_is_not_baked_loses_nothing_in_an_oven(finish):
    made = figures(Design.of({"portion": {"finish": finish, "crust_dough": "flaky"}}))
    assert made.piece.raw_g == made.piece.finished_g
    assert made.loss.source is LossSource.UNMEASURED
    assert 0.0 < made.loss.uncertainty < 0.015
    assert len(cautions_of(PortionTable(finish=Finish(finish)))) == 1


def test_a_weighed_loss_counts_for_what_is_not_baked_too():
    made = figures(Design.of({"portion": {"finish": "set", "loss": 0.01}}))
    assert made.piece.loss == 0.01
