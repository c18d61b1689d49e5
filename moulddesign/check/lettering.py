"""Whether a part tells which mould it belongs to."""

from collections.abc import Sequence

from moulddesign.finding import Finding, Verdict, judged


def lettering_finding(*, name: str, written: str, wanted: Sequence[str]) -> Finding:
    """Return what is written on a part, and whether there was room for anything.

    Parameters
    ----------
    name : str
        The part.
    written : str
        What is written on it; empty where nothing is.
    wanted : sequence of str
        What may be written, the longest first.

    Examples
    --------
    >>> lettering_finding(name="sleeve", written="75 g", wanted=("75 g  3:7", "75 g")).verdict
    <Verdict.GOOD: 'good'>
    """
    return Finding(
        name=f"{name}: lettering",
        measured=written or "left out: no room",
        limit=f"{wanted[0]}, or as much of it as there is room for",
        unit="",
        source="the design",
        verdict=judged(good=written in wanted, otherwise=Verdict.WARN),
    )
