"""What a check found: a result, never an exception."""

from dataclasses import dataclass
from enum import StrEnum


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
