"""Intervals and outliers of a few pieces: printed tables, and what is promised by simulation."""

import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.kitchen.samples import estimate

COUNTS = (1, 2, 3, 5, 8, 12, 30)


@pytest.mark.parametrize(
    ("count", "critical"),
    # Grubbs' two-sided table at 5 %, from memory; the formula is that of the NIST/SEMATECH
    # e-Handbook of Statistical Methods, 1.3.5.17.1, taken from another library below.
    [(4, 1.4812), (5, 1.7150), (10, 2.2900), (30, 2.9085)],
)
def test_without_reading_noise_the_rule_is_grubbs_test(count, critical):
    from scipy import stats  # noqa: PLC0415 (takes seconds to load)

    t = stats.t.isf(0.05 / (2 * count), count - 2)
    formula = (count - 1) / count**0.5 * (t**2 / (count - 2 + t**2)) ** 0.5
    assert formula == pytest.approx(critical, abs=1e-4)
    values = np.random.default_rng(count).normal(0.0, 1.0, (400, count))
    values[:, 0] += np.linspace(0.0, 12.0, 400)
    exact = [0.0] * count
    for row in values:
        largest = (np.abs(row - row.mean()) / row.std(ddof=1)).max()
        if abs(largest - formula) > 1e-9:
            assert bool(estimate(row, exact, 1.0).outliers) == (largest > formula)


@pytest.mark.parametrize("count", [3, 7, 20])
def test_the_interval_is_student_s(count):
    values = np.random.default_rng(count).normal(0.03, 0.01, count)
    found = estimate(values, [0.0] * count, 0.01)
    from scipy import stats  # noqa: PLC0415 (takes seconds to load)

    low, high = stats.t.interval(0.95, count - 1, values.mean(), stats.sem(values))
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)


def bakes(count, *, step_g, samples, loss=0.03, loss_sd=0.01):
    """Yield weighed losses of synthetic bakes, with the standard uncertainty of reading each."""
    rng = np.random.default_rng(count)
    raw = 76.5 + 0.5 * rng.standard_normal((samples, count))
    finished = raw * (1.0 - loss - loss_sd * rng.standard_normal((samples, count)))
    raw_read, finished_read = (np.round(mass / step_g) * step_g for mass in (raw, finished))
    off = step_g / np.sqrt(12.0) * np.hypot(1.0, finished_read / raw_read) / raw_read
    return zip(1.0 - finished_read / raw_read, off, strict=True)


@pytest.mark.parametrize("step_g", [1.0, 0.1])
@pytest.mark.parametrize("count", COUNTS)
def test_intervals_hold_the_truth_as_often_as_they_say(count, step_g):
    samples = 800
    held = 0
    for values, off in bakes(count, step_g=step_g, samples=samples):
        found = estimate(values, off, 0.01)
        held += found.low <= 0.03 <= found.high
    # 95 % within 3 points, and three standard deviations of 800 samples, 2.3 points.
    assert held / samples == pytest.approx(0.95, abs=0.03 + 0.023)


@pytest.mark.parametrize("step_g", [1.0, 0.1])
@pytest.mark.parametrize("count", [3, 4, 5, 8, 12, 30])
def test_pieces_that_are_all_alike_seldom_stand_apart(count, step_g):
    samples = 800
    alarms = sum(
        bool(estimate(values, off, 0.01).outliers)
        for values, off in bakes(count, step_g=step_g, samples=samples)
    )
    assert alarms / samples <= 0.05 + 0.023  # three standard deviations of 800 samples


def test_a_piece_that_stands_apart_is_pointed_at_and_kept():
    values = [0.030, 0.031, 0.029, 0.030, 0.032, 0.031, 0.090]
    found = estimate(values, [0.0005] * 7, 0.01)
    assert found.outliers == (7,)
    assert found.value == pytest.approx(sum(values) / 7)


def test_the_noise_of_reading_is_not_the_pieces_own_spread():
    found = estimate([0.02, 0.03, 0.02, 0.03], [0.006] * 4, 0.01)
    assert found.sd == 0.0
    rng = np.random.default_rng(4)
    noisy = rng.normal(0.03, 0.01, 2000) + rng.normal(0.0, 0.02, 2000)
    # Standard error of s^2 at 2,000 pieces is 3.2 % of 5e-4: the spread is right within 0.0008.
    assert estimate(noisy, [0.02] * 2000, 0.01).sd == pytest.approx(0.01, abs=0.0024)


def test_one_or_two_pieces_take_the_spread_that_was_expected():
    one = estimate([0.03], [0.0], 0.01)
    assert (one.sd, one.uncertainty) == (0.01, 0.01)
    assert one.high - one.value == pytest.approx(0.0196, abs=1e-5)
    assert estimate([0.03, 0.03], [0.0, 0.0], 0.01).uncertainty == pytest.approx(0.01 / 2**0.5)


def test_no_piece_tells_nothing():
    with pytest.raises(SpecError, match="pieces = 0"):
        estimate([], [], 0.01)
