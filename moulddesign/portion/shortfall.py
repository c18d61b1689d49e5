"""How many pieces end below a weight, and how heavy to make them so that few do."""

from dataclasses import dataclass
from math import exp, fsum
from statistics import NormalDist
from typing import Final

from moulddesign.errors import SpecError
from moulddesign.portion.limits import not_negative, positive, share

NODES: Final = tuple(step / 8.0 for step in range(-60, 61))
"""Deviations at which scatter is summed, in standard deviations: the sum is exact to 1e-12."""

WEIGHTS: Final = tuple(exp(-(t**2) / 2.0) for t in NODES)

MOST_TIMES: Final = 64.0
"""Times the weight itself beyond which no target is sought."""

CLOSE: Final = 1e-9
"""Where the search for a target ends, as a share of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How raw mass and loss scatter from piece to piece, each normally and by itself.

    Parameters
    ----------
    raw_sd_g : float
        Standard deviation of the raw mass [g].
    loss, loss_sd : float
        Mean share of the raw mass lost, and its standard deviation.

    Raises
    ------
    SpecError
        A standard deviation is negative, or the loss is not below 1.
    """

    raw_sd_g: float
    loss: float
    loss_sd: float

    def __post_init__(self) -> None:
        not_negative("raw_sd_g", self.raw_sd_g, "g")
        not_negative("portion.loss_sd", self.loss_sd, "as a share")
        share("portion.loss", self.loss)


def share_below(floor_g: float, raw_g: float, scatter: Scatter) -> float:
    """Return the share of pieces whose finished weight is below a floor.

    Parameters
    ----------
    floor_g : float
        Finished weight [g].
    raw_g : float
        Mean raw mass [g].
    scatter : Scatter
        How pieces scatter around it.

    Returns
    -------
    float
        P(raw (1 - loss) < floor), summed over the one that scatters less and exact in the other.

    Examples
    --------
    >>> round(share_below(75.0, 80.0, Scatter(raw_sd_g=2.0, loss=0.0625, loss_sd=0.0)), 12)
    0.5
    """
    if raw_g * scatter.loss_sd > (1.0 - scatter.loss) * scatter.raw_sd_g:
        lost = NormalDist(scatter.loss, scatter.loss_sd)
        masses = [raw_g + scatter.raw_sd_g * t for t in NODES]
        short = [1.0 - lost.cdf(1.0 - floor_g / m) if m > 0.0 else 1.0 for m in masses]
    elif scatter.raw_sd_g > 0.0:
        raw = NormalDist(raw_g, scatter.raw_sd_g)
        kept = [1.0 - scatter.loss - scatter.loss_sd * t for t in NODES]
        short = [raw.cdf(floor_g / k) if k > 0.0 else 1.0 for k in kept]
    else:
        return float(raw_g * (1.0 - scatter.loss) < floor_g)
    return fsum(w * s for w, s in zip(WEIGHTS, short, strict=True)) / fsum(WEIGHTS)


def least_raw_g(floor_g: float, most_below: float, scatter: Scatter) -> float:
    """Return the least raw mass at which few pieces end below a floor.

    Parameters
    ----------
    floor_g : float
        Finished weight that few may fall below [g].
    most_below : float
        Share that may, above 0 and below 0.5.
    scatter : Scatter
        How pieces scatter.

    Returns
    -------
    float
        Found by bisection, on the safe side by a billionth at most [g].

    Raises
    ------
    SpecError
        The loss scatters so much that no weight will do.

    Examples
    --------
    >>> round(least_raw_g(70.0, 0.025, Scatter(raw_sd_g=1.0, loss=0.0, loss_sd=0.0)), 2)
    71.96
    """
    low = high = positive("floor_g", floor_g, "g") / (1.0 - scatter.loss)
    while share_below(floor_g, high, scatter) > most_below:
        high *= 2.0
        if high > MOST_TIMES * low:
            raise SpecError(
                "portion.loss_sd",
                scatter.loss_sd,
                "must be smaller for a label: with such scatter no raw weight keeps the rule; "
                "bake a trial and measure the loss",
            )
    while high - low > CLOSE * high:
        middle = (low + high) / 2.0
        if share_below(floor_g, middle, scatter) > most_below:
            low = middle
        else:
            high = middle
    return high
