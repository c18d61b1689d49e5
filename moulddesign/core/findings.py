"""What a check found, and what can hurt someone: results, never exceptions."""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from moulddesign.core.messages import LANGUAGES, Message, say, word

NUMBERS: Final = re.compile(r"-?\d[\d.]*(?: (?:[a-z]{1,3}|至) \d[\d.]*)*")
"""A number, or several with a short word between: "2 x 3", "5 to 300"."""


SEPARATOR: Final = ": "
"""Between a part and what was measured on it."""


class Verdict(StrEnum):
    """How a finding was judged."""

    GOOD = "good"
    WARN = "warn"
    FAIL = "fail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One measured value beside its limit."""

    what: Message
    """What was measured; its id is the finding's. With the part it is unique in a report."""
    part: str = ""
    """Where: "stamp", "stamp-bee", "mesh", or nested, "stamp-bee: sleeve"; empty for the whole."""
    measured: float | Message
    """The value, in `unit`, or a word that stands for it."""
    limit: Message
    """What it had to be, in words with numbers: "60.0 within 0.1 %"."""
    unit: str
    """Unit of `measured`; empty for a pure number or a word."""
    source: Message | str
    """Where the limit comes from; only a published title or a proper name is a plain string."""
    verdict: Verdict
    remedy: Message | None = None
    """The smallest change that mends it, where one is known."""

    @property
    def id(self) -> str:
        """What the finding is called in every language: "verify.open-edges"."""
        return self.what.id

    @property
    def name(self) -> str:
        """What was measured in English, with the part before it."""
        return self.title()

    @property
    def titled(self) -> Message:
        """What was measured, with the part before it."""
        titled = self.what
        for one in reversed(self.part.split(SEPARATOR)):
            titled = say("core.of-part", part=part_name(one), what=titled) if one else titled
        return titled

    @property
    def remark(self) -> Message:
        """What was measured, with what mends it behind."""
        if self.remedy is None:
            return self.titled
        return say("core.with-remedy", what=self.titled, remedy=self.remedy)

    def title(self, language: str = LANGUAGES[0]) -> str:
        """Return what was measured, in one of `LANGUAGES`, with the part before it."""
        return self.titled.text(language)

    def report(self) -> dict[str, Any]:
        """Return it as plain values in English, as in `report.json`."""
        remedy = {} if self.remedy is None else {"remedy": str(self.remedy)}
        return {
            "name": self.name,
            "measured": str(self.measured) if isinstance(self.measured, Message) else self.measured,
            "limit": str(self.limit),
            "unit": self.unit,
            "source": str(self.source),
            "verdict": self.verdict.value,
            "id": self.id,
        } | remedy


def part_name(name: str) -> Message:
    """Return the name of a part; its own name behind a hyphen stays as it is.

    Examples
    --------
    >>> part_name("stamp-bee").text("de")
    'Stempel-bee'
    """
    kind, hyphen, own = name.partition("-")
    return say("core.part", kind=word(kind), own=f"{hyphen}{own}") if own else word(kind)


PRACTICE: Final = say("core.common-practice")
DESIGN: Final = say("core.the-design")
OUR_CHOICE: Final = say("core.our-choice")
"""Where limits come from that no publication gives."""


def judged(*, good: bool, otherwise: Verdict = Verdict.FAIL) -> Verdict:
    """Return `GOOD` where a limit is kept, and the other verdict where it is not.

    Examples
    --------
    >>> judged(good=3.0 > 2.0), judged(good=1.0 > 2.0, otherwise=Verdict.WARN)
    (<Verdict.GOOD: 'good'>, <Verdict.WARN: 'warn'>)
    """
    return Verdict.GOOD if good else otherwise


def within_finding(  # noqa: PLR0913 (a finding has so many fields)
    what: Message,
    measured: float,
    asked: float,
    *,
    tolerance: float,
    unit: str,
    source: Message | str,
    part: str = "",
    round_off: float = 0.0,
) -> Finding:
    """Return whether a value is what was asked, within a tolerance; all are in `unit`.

    By `round_off` more it may be off, which the limit does not say.

    Examples
    --------
    >>> gap = say("verify.least-gap")
    >>> within_finding(gap, 0.31, 0.3, tolerance=0.02, unit="mm", source="").verdict
    <Verdict.GOOD: 'good'>
    """
    return Finding(
        what=what,
        part=part,
        measured=measured,
        limit=say("core.within", value=asked, tolerance=tolerance),
        unit=unit,
        source=source,
        verdict=judged(good=abs(measured - asked) <= tolerance + round_off),
    )


def with_unit(limit: str, unit: str) -> str:
    """Return a limit, in any language, with its unit behind the first number or group of numbers.

    Examples
    --------
    >>> with_unit("at least 2 within 0.1", "mm"), with_unit("at most 2 x 3", "mm")
    ('at least 2 mm within 0.1', 'at most 2 x 3 mm')
    >>> with_unit("5 to 300, the sizes of moulds", "mm"), with_unit("yes", "")
    ('5 to 300 mm, the sizes of moulds', 'yes')
    """
    return NUMBERS.sub(lambda found: f"{found[0]} {unit}".rstrip(), limit, count=1)


BENCH_CAUTIONS: Final = (
    say("core.caution-fingers"),
    say("core.caution-kitchen"),
    say("core.caution-allergens"),
    say("core.caution-selling"),
    say("core.caution-codes"),
)
"""Cautions of bench and shop, whatever the mould is made of."""

CAUTIONS: Final = (
    say("core.caution-plastic"),
    say("core.caution-filament"),
    say("core.caution-washing"),
    say("core.caution-silicone"),
    *BENCH_CAUTIONS,
)
"""Cautions that go with every build, in the order of printing, bench and shop."""

ORDERED_CAUTIONS: Final = (
    say("core.caution-plastic"),
    say("core.caution-ordered"),
    *CAUTIONS[2:],
)
"""The same where a printing service makes the parts."""
