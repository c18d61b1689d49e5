from itertools import product

import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.portion import Scatter, least_raw_g, share_below

N = 400_000


def test_normal_quantile_as_published():
    # z = 1.959964 for 2.5 % (tables of the normal distribution)
    found = least_raw_g(70.0, 0.025, Scatter(raw_sd_g=1.0, loss=0.0, loss_sd=0.0))
    assert found == pytest.approx(71.959964, abs=1e-6)


def test_normal_quantile_where_only_the_loss_scatters():
    # 1 - loss is normal too: raw (1 - 0.1 - 1.959964 x 0.01) = 70
    found = least_raw_g(70.0, 0.025, Scatter(raw_sd_g=0.0, loss=0.1, loss_sd=0.01))
    assert found == pytest.approx(70.0 / (0.9 - 0.01959964), rel=1e-7)


@pytest.mark.parametrize(
    ("raw_sd_g", "loss_sd"), list(product([0.0, 0.5, 3.0], [0.001, 0.01, 0.05]))
)
def test_share_is_that_of_a_large_sample(raw_sd_g, loss_sd):
    rng = np.random.default_rng(5)
    scatter = Scatter(raw_sd_g=raw_sd_g, loss=0.05, loss_sd=loss_sd)
    weights = (80.0 + raw_sd_g * rng.standard_normal(N)) * (0.95 - loss_sd * rng.standard_normal(N))
    for floor_g in (70.0, 73.0, 76.0, 78.0):
        share = share_below(floor_g, 80.0, scatter)
        noise = (share * (1.0 - share) / N) ** 0.5
        assert (weights < floor_g).mean() == pytest.approx(share, abs=4.0 * noise + 2.0 / N)


def test_without_scatter_the_floor_itself_will_do():
    sure = Scatter(raw_sd_g=0.0, loss=0.2, loss_sd=0.0)
    assert least_raw_g(80.0, 0.025, sure) == pytest.approx(100.0, rel=1e-9)


def test_a_loss_that_scatters_too_much_is_refused():
    wild = Scatter(raw_sd_g=1.0, loss=0.5, loss_sd=0.3)
    with pytest.raises(SpecError, match=r"loss_sd = 0\.3: must be smaller for a label"):
        least_raw_g(70.0, 0.0001, wild)


@pytest.mark.parametrize(
    ("field", "value"),
    [("raw_sd_g", -1.0), ("loss_sd", -0.1), ("loss", 1.0), ("loss", float("nan"))],
)
def test_a_scatter_that_cannot_be_is_refused(field, value):
    with pytest.raises(SpecError, match=field):
        Scatter(**{"raw_sd_g": 1.0, "loss": 0.1, "loss_sd": 0.0} | {field: value})


@pytest.mark.parametrize(
    ("floor_g", "share"), [(75.9, 0.0), (76.0, 0.0), (76.1, 1.0), (79.0, 1.0), (80.1, 1.0)]
)
def test_without_scatter_80_g_that_lose_a_twentieth_end_at_76_g(floor_g, share):
    # 80 g less 5 % is 76 g: below any floor above that, and at the floor it is not short.
    sure = Scatter(raw_sd_g=0.0, loss=0.05, loss_sd=0.0)
    assert share_below(floor_g, 80.0, sure) == share


@pytest.mark.parametrize("loss", [0.0, 0.3, 0.6, 0.9])
def test_half_of_the_pieces_lie_below_the_mean_whatever_they_lose(loss):
    # Only the raw mass scatters, and a normal distribution is symmetric about its mean.
    scatter = Scatter(raw_sd_g=5.0, loss=loss, loss_sd=0.0)
    assert share_below(200.0 * (1.0 - loss), 200.0, scatter) == pytest.approx(0.5, abs=1e-12)
