"""What a check found, and what can hurt someone: results, never exceptions."""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

NUMBERS: Final = re.compile(r"-?\d[\d.]*(?: [a-z]{1,3} \d[\d.]*)*")
"""A number, or several with a short word between: "2 x 3", "5 to 300"."""


class Verdict(StrEnum):
    """How a finding was judged."""

    GOOD = "good"
    WARN = "warn"
    FAIL = "fail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One measured value beside its limit.

    Parameters
    ----------
    name : str
        What was measured, in plain words and unique in a report: "pastry volume".
    measured : float or str
        The value, in `unit`.
    limit : str
        What it had to be, in words with numbers: "60.0 within 0.1 %".
    unit : str
        Unit of `measured`; empty for a pure number or a word.
    source : str
        Where the limit comes from: a published source, "common practice, no source",
        "from memory, measure your own", or "the design".
    verdict : Verdict
        The judgement.
    """

    name: str
    measured: float | str
    limit: str
    unit: str
    source: str
    verdict: Verdict


def judged(*, good: bool, otherwise: Verdict = Verdict.FAIL) -> Verdict:
    """Return `GOOD`, or the other verdict where the condition does not hold.

    Parameters
    ----------
    good : bool
        Whether the measured value keeps its limit.
    otherwise : Verdict
        The verdict where it does not.

    Examples
    --------
    >>> judged(good=3.0 > 2.0), judged(good=1.0 > 2.0, otherwise=Verdict.WARN)
    (<Verdict.GOOD: 'good'>, <Verdict.WARN: 'warn'>)
    """
    return Verdict.GOOD if good else otherwise


def with_unit(limit: str, unit: str) -> str:
    """Return a limit with the unit behind its first number, or behind all where they are one.

    Parameters
    ----------
    limit, unit : str
        As a finding has them, or translated.

    Examples
    --------
    >>> with_unit("at least 2 within 0.1", "mm"), with_unit("at most 2 x 3", "mm")
    ('at least 2 mm within 0.1', 'at most 2 x 3 mm')
    >>> with_unit("5 to 300, the sizes of moulds", "mm"), with_unit("yes", "")
    ('5 to 300 mm, the sizes of moulds', 'yes')
    """
    return NUMBERS.sub(lambda found: f"{found[0]} {unit}".rstrip(), limit, count=1)


CAUTIONS: Final = (
    (
        "Printed plastic is not food-safe by default: layer lines hold residue, brass nozzles "
        "carry lead, dyes and unknown additives migrate."
    ),
    (
        "Print with undyed filament that has a food-contact declaration, through a stainless "
        "nozzle kept for it; press through cling film, or cast a silicone mould from a master."
    ),
    (
        "Wash by hand in warm water below the plastic's softening point, never in a dishwasher "
        "unless the plastic allows it; never bake in a printed mould; replace it when scratched "
        "or after a season."
    ),
    "Silicone: food-grade, cured as its maker says; printed masters can inhibit the cure.",
    "Fingers: keep them out from between stamp, sleeve and palm disc.",
    "Kitchen: boiling syrup and lye water burn skin and eyes.",
    "Allergens: wheat, egg, nuts, sesame and soya are usual in these pastries; label them.",
    "Centre temperature and shelf life follow local food rules; selling may need a licence.",
    "All of this defers to local codes and licensed practice.",
)
"""Cautions that go with every build, in the order of printing, bench and shop."""
