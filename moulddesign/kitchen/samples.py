"""What a few measured pieces tell: a mean with its interval, their spread, and who stands apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import cos, fsum, hypot, pi, sin, sqrt, tan
from statistics import NormalDist
from typing import Final

from moulddesign.core import SpecError, halved, require_not_negative, say

LEVEL: Final = 0.95
"""Probability that an interval holds the truth."""

FALSE_ALARMS: Final = 0.05
"""Share of samples without any outlier in which one is pointed at, at the most."""

FEWEST_TO_SPREAD: Final = 3
"""Pieces from which their own spread is used; one or two take the spread that was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A mean of measured pieces, and how sure it is."""

    value: float
    count: int
    sd: float
    """From piece to piece, without the noise of reading; as expected for one or two pieces."""
    seen_sd: float | None
    """Of the values as they were read; None for a single one."""
    uncertainty: float
    """Standard uncertainty of the mean."""
    low: float
    high: float
    """The interval that holds the true mean with a probability of 95 %."""
    outliers: tuple[int, ...]
    """Numbers of pieces, from 1, that stand apart; they are in the mean all the same."""


def estimate(values: Sequence[float], readings: Sequence[float], expected_sd: float) -> Estimate:
    """Return the mean of measured pieces with its interval.

    Parameters
    ----------
    values : sequence of float
        One for each piece, at least one.
    readings : sequence of float
        Standard uncertainty of reading each of them: the scale's step, a ruler.
    expected_sd : float
        Spread from piece to piece that is taken for one or two pieces.

    Returns
    -------
    Estimate
        From three pieces on mean +- t s / sqrt(n) by Student's distribution with n - 1 degrees of
        freedom; s holds the noise of reading too and is at least that. The spread of the pieces
        themselves is sqrt(s^2 - u^2), 0 where reading explains all of it.

    Raises
    ------
    SpecError
        There is no value.

    Examples
    --------
    >>> found = estimate([0.02, 0.03, 0.04], [0.0, 0.0, 0.0], 0.01)
    >>> round(found.value, 6), round(found.high - found.value, 4)  # t(2) = 4.303
    (0.03, 0.0248)
    """
    count = len(values)
    if not count:
        raise SpecError("pieces", 0, say("kitchen.no-pieces"))
    require_not_negative("expected_sd", expected_sd, "")
    mean = fsum(values) / count
    reading = sqrt(fsum(u * u for u in readings) / count)
    if count < FEWEST_TO_SPREAD:
        seen, times = hypot(expected_sd, reading), NormalDist().inv_cdf((1.0 + LEVEL) / 2.0)
        own = expected_sd
    else:
        seen, times = max(_sd(values, mean), reading), student(count - 1, (1.0 + LEVEL) / 2.0)
        own = sqrt(max(seen**2 - reading**2, 0.0))
    uncertainty = seen / sqrt(count)
    return Estimate(
        value=mean,
        count=count,
        sd=own,
        seen_sd=_sd(values, mean) if count > 1 else None,
        uncertainty=uncertainty,
        low=mean - times * uncertainty,
        high=mean + times * uncertainty,
        outliers=_outliers(values, readings),
    )


def _outliers(values: Sequence[float], readings: Sequence[float]) -> tuple[int, ...]:
    """Return the numbers, from 1, of values that stand apart from all the others.

    Each value is held against the mean and spread of the others alone, so that it cannot widen the
    spread that judges it; the limit is Student's at 5 % over the number of values, which makes the
    largest of them Grubbs' test [1]_. A scale in whole grams makes values equal that are not: the
    spread is therefore at least a reading's uncertainty, and a deviation smaller by half of it.
    False alarms then stay below 5 % from 3 to 30 pieces (simulated).

    References
    ----------
    .. [1] F. E. Grubbs, Sample Criteria for Testing Outlying Observations, Ann. Math. Stat. 21
       (1950).
    """
    count = len(values)
    if count < FEWEST_TO_SPREAD:
        return ()
    reading = sqrt(fsum(u * u for u in readings) / count)
    limit = student(count - 2, 1.0 - FALSE_ALARMS / (2.0 * count)) * sqrt(1.0 + 1.0 / (count - 1))
    apart = []
    for place, value in enumerate(values):
        others = [*values[:place], *values[place + 1 :]]
        mean = fsum(others) / len(others)
        if abs(value - mean) - reading / 2.0 > limit * max(_sd(others, mean), reading):
            apart.append(place + 1)
    return tuple(apart)


def _sd(values: Sequence[float], mean: float) -> float:
    return sqrt(fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


@cache
def student(freedom: int, probability: float) -> float:
    """Return a quantile of Student's distribution.

    Of whole degrees of freedom it is a finite sum [1]_ in the angle whose tangent is
    t / sqrt(freedom); the angle is sought by halving, so no library has to be loaded.

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.

    Examples
    --------
    >>> round(student(2, 0.975), 3), round(student(5, 0.975), 3)
    (4.303, 2.571)
    """
    angle = halved(
        lambda angle: (1.0 + _within_angle(freedom, angle)) / 2.0 > probability, -pi / 2.0, pi / 2.0
    )
    return sqrt(freedom) * tan(angle)


def _within_angle(freedom: int, angle: float) -> float:
    """Return the probability of lying between an angle and its opposite; negative below 0."""
    is_odd = freedom % 2
    term = cos(angle) if is_odd else 1.0
    terms = []
    for number in range(2 + is_odd, freedom + 1, 2):
        terms.append(term)
        term *= (number - 1) / number * cos(angle) ** 2
    total = sin(angle) * fsum(terms)
    return 2.0 / pi * (angle + total) if is_odd else total
