"""The packers' rules of prepackage law: which raw weight satisfies the weight on a label.

Three rules hold for a batch: the mean is at least the label; few packs are short by more than the
tolerable deficiency; none is by more than twice that. Each asks for a least raw weight, and the
largest of the three is the target. Where several pieces are declared as one pack, the rules hold
for the pack: what varies from piece to piece averages out. Guidance only: local law decides.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum
from math import exp, fsum, sqrt
from statistics import NormalDist
from typing import Final

from moulddesign.core import (
    SpecError,
    require_between,
    require_not_negative,
    require_positive,
    require_ratio,
    say,
)
from moulddesign.design import Design
from moulddesign.portion.portion import Portion
from moulddesign.portion.spread import Spread

DEVIATIONS: Final = tuple(step / 8.0 for step in range(-60, 61))
"""Deviations at which scatter is summed, in standard deviations."""

DEVIATION_WEIGHTS: Final = tuple(exp(-(t**2) / 2.0) for t in DEVIATIONS)
"""The normal density at these, without its factor, which the sum of the weights replaces."""

MOST_RAW_RATIO: Final = 64.0
"""Raw over least possible weight beyond which no target is sought; our choice."""

TARGET_TOLERANCE: Final = 1e-9
"""Where the search for a target ends, as a share of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How raw mass and loss scatter from piece to piece, each normally and by itself.

    Raises
    ------
    SpecError
        A standard deviation is negative, or the loss is not below 1.
    """

    raw_sd_g: float
    """Standard deviation of the raw mass."""
    loss: float
    """Mean share of the raw mass that is lost."""
    loss_sd: float
    """Standard deviation of that share."""

    def __post_init__(self) -> None:
        require_not_negative("raw_sd_g", self.raw_sd_g, "g")
        require_not_negative("portion.loss_sd", self.loss_sd, "as a share")
        require_ratio("portion.loss", self.loss)


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
    # A piece of raw mass M and loss L ends with M (1 - L). At a given loss it is short where
    # M < floor / (1 - L), at a given mass where L > 1 - floor / M. So with M normal about m
    #     P(short) = E_L[ Phi((floor / (1 - L) - m) / s_M) ],
    # and likewise the other way round. The one that scatters less is summed: then the step of Phi
    # is at least a standard deviation wide, and the trapezium rule over +-7.5 of these, in eighths,
    # is exact to 1e-12 (what is cut off is 2 Phi(-7.5) = 6e-14). Where both are sharp nothing is
    # summed, and a piece that just reaches the floor is not short.
    if raw_g * scatter.loss_sd > (1.0 - scatter.loss) * scatter.raw_sd_g:
        lost = NormalDist(scatter.loss, scatter.loss_sd)
        masses = [raw_g + scatter.raw_sd_g * t for t in DEVIATIONS]
        short = [1.0 - lost.cdf(1.0 - floor_g / m) if m > 0.0 else 1.0 for m in masses]
    elif scatter.raw_sd_g > 0.0:
        raw = NormalDist(raw_g, scatter.raw_sd_g)
        kept = [1.0 - scatter.loss - scatter.loss_sd * t for t in DEVIATIONS]
        short = [raw.cdf(floor_g / k) if k > 0.0 else 1.0 for k in kept]
    else:
        return float(raw_g * (1.0 - scatter.loss) < floor_g)
    summed = fsum(w * s for w, s in zip(DEVIATION_WEIGHTS, short, strict=True))
    return summed / fsum(DEVIATION_WEIGHTS)


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
    # The share below the floor falls as the raw mass rises. At floor / (1 - loss) about half of the
    # pieces are below, so the least mass lies above; it is doubled until few are, then halved in
    # on, and the upper end of the last interval is on the safe side.
    low = high = require_positive("floor_g", floor_g, "g") / (1.0 - scatter.loss)
    while share_below(floor_g, high, scatter) > most_below:
        high *= 2.0
        if high > MOST_RAW_RATIO * low:
            need = say("portion.loss-scatters-too-much")
            raise SpecError("portion.loss_sd", scatter.loss_sd, need)
    while high - low > TARGET_TOLERANCE * high:
        middle = (low + high) / 2.0
        if share_below(floor_g, middle, scatter) > most_below:
            low = middle
        else:
            high = middle
    return high


LEAST_LABEL_G: Final = 5.0
MOST_LABEL_G: Final = 10_000.0

DEFICIENCIES: Final = (
    # up to [g], share of the label, or grams
    (Decimal(50), Decimal("0.09"), None),
    (Decimal(100), None, Decimal("4.5")),
    (Decimal(200), Decimal("0.045"), None),
    (Decimal(300), None, Decimal(9)),
    (Decimal(500), Decimal("0.03"), None),
    (Decimal(1000), None, Decimal(15)),
    (Decimal(10_000), Decimal("0.015"), None),
)
"""Tolerable deficiencies, Directive 76/211/EEC, Annex I, 2.4 [g]."""

TENTH_G: Final = Decimal("0.1")


class PackerRule(StrEnum):
    """The three packers' rules."""

    MEAN = "the mean is at least the label"
    FEW_SHORT = "few packs are short by more than the tolerable deficiency"
    NONE_VERY_SHORT = "none is short by more than twice the tolerable deficiency"


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelTarget:
    """The least raw weight that satisfies the packers' rules. Guidance; local law decides."""

    label_g: float
    """Weight of one piece as the label declares it."""
    pieces_per_pack: int
    pack_g: float
    """What the label of a pack declares."""
    deficiency_g: float
    """Tolerable deficiency of the pack."""
    raw_g: float
    """Least raw target weight of a piece."""
    finished_g: float
    """Mean finished weight that follows from `raw_g`."""
    binding: PackerRule
    """The rule that asks for most."""
    least_raw_g: Mapping[PackerRule, float]
    """What each rule asks for."""


def tolerable_deficiency_g(label_g: float) -> float:
    """Return by how much a pack may be short of its label.

    Parameters
    ----------
    label_g : float
        Weight on the label, 5 to 10,000 [g].

    Returns
    -------
    float
        Directive 76/211/EEC, Annex I, 2.4; percentages rounded up to 0.1 g [g].

    Raises
    ------
    SpecError
        The label is outside the table.

    Examples
    --------
    >>> tolerable_deficiency_g(75.0), tolerable_deficiency_g(125.0)
    (4.5, 5.7)
    """
    need = say("portion.label-outside-table")
    require_between("label.weight_g", label_g, least=LEAST_LABEL_G, most=MOST_LABEL_G, need=need)
    exact = Decimal(repr(float(label_g)))
    ratio, grams = next((r, g) for most, r, g in DEFICIENCIES if exact <= most)
    if ratio is None:
        return float(grams or 0)
    return float((exact * ratio).quantize(TENTH_G, rounding=ROUND_CEILING))


def label_target(design: Design, piece: Portion, scatter: Spread) -> LabelTarget | None:
    """Return the least raw weight that satisfies the three packers' rules.

    Returns
    -------
    LabelTarget or None
        For normal scatter from piece to piece; None where no label weight is given. The mean loss
        is taken to be right, so measure it in a trial.

    Raises
    ------
    SpecError
        The pack is outside the table, or the loss scatters so much that no weight will do.
    """
    table, rules = design.portion, design.label
    if rules.weight_g is None:
        return None
    # A pack of n pieces of raw mass M_i and loss L_i weighs sum(M_i (1 - L_i)): its mean is n times
    # a piece's, and to first order its scatter sqrt(n) times, which is that of one body of mass n M
    # whose raw mass scatters by sqrt(n) s_M and whose loss by s_L / sqrt(n).
    count = rules.pieces_per_pack
    pack_g = count * rules.weight_g
    short_g = tolerable_deficiency_g(pack_g)
    packs = Scatter(
        raw_sd_g=sqrt(count) * scatter.raw_g, loss=piece.loss, loss_sd=table.loss_sd / sqrt(count)
    )
    of_pack = {
        PackerRule.MEAN: pack_g / (1.0 - piece.loss),
        PackerRule.FEW_SHORT: least_raw_g(pack_g - short_g, rules.most_short, packs),
        PackerRule.NONE_VERY_SHORT: least_raw_g(
            pack_g - 2.0 * short_g, rules.most_very_short, packs
        ),
    }
    least = {rule: raw_g / count for rule, raw_g in of_pack.items()}
    binding = max(least, key=lambda rule: least[rule])
    return LabelTarget(
        label_g=rules.weight_g,
        pieces_per_pack=count,
        pack_g=pack_g,
        deficiency_g=short_g,
        raw_g=least[binding],
        finished_g=least[binding] * (1.0 - piece.loss),
        binding=binding,
        least_raw_g=least,
    )
