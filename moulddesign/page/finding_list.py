"""Findings in a person's words: what they say together, each one, and the change that mends it."""

from collections.abc import Callable, Mapping, Sequence
from html import escape
from types import MappingProxyType
from typing import Any, Final

from moulddesign.core import Finding, Message, Verdict, with_unit, word
from moulddesign.page.markup import number_text, paragraph
from moulddesign.page.texts import Texts

VERDICT_MARKS: Final = {"good": "\u2713", "warn": "!", "fail": "\u2715"}
"""Beside each verdict's word, so that colour is never alone."""

CLAIMS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        "prints": frozenset(
            {
                "fits-bed", "lowest-point", "first-layer-share", "first-layer-stands-back",
                "height-by-foot", "warping", "steepest-overhang", "longest-bridge", "thinnest-wall",
                "layers-in-depth", "depth-in-whole-layers", "open-edges", "bodies",
                "crossing-facets",
            }
        ),
        "fits": frozenset(
            {
                "least-gap", "overlap-over-stroke", "foot-slides-in", "room-over-foot", "lugs-hold",
                "lip-before-foot", "gap-left-in-bore", "stop-in-lip", "room-over-stop",
                "stop-comes-off",
            }
        ),
        "lets_go": frozenset({"least-draft", "overlap-on-way-out"}),
        "holds": frozenset({"volume", "closed-cavity", "volume-as-printed"}),
    }
)  # fmt: skip
"""What can be said of a mould where none of these findings failed or warns, and one is there."""


def claims(found: Sequence[Finding]) -> tuple[str, ...]:
    """Return which of `CLAIMS` findings bear out."""
    ids = {verdict: {_short(f) for f in found if f.verdict is verdict} for verdict in Verdict}
    wrong = ids[Verdict.FAIL] | ids[Verdict.WARN]
    return tuple(
        claim for claim, named in CLAIMS.items() if named & ids[Verdict.GOOD] and not named & wrong
    )


def _short(found: Finding) -> str:
    return found.id.partition(".")[2]


Changes = Mapping[str, Any]
"""Values by dotted paths of a draft."""

MENDS: Final[Mapping[str, Callable[[dict[str, Any]], Changes]]] = MappingProxyType(
    {
        "building.more-crust": lambda known: {"portion.ratio": known["ratio"]},
        "building.higher-piece": lambda known: {
            "pastry.height_to_width": float(known["proportion"])
        },
        "building.lighter-centre": lambda known: {
            "portion.centres.0.mass_g": float(str(known["centre"]).split(":")[1])
        },
        "building.shallower-relief": lambda known: {"relief.depth_mm": float(known["depth_mm"])},
        "building.width-for-stop": lambda known: {"pastry.width_mm": float(known["width_mm"])},
        "verify.nearest-depths": lambda known: {"relief.depth_mm": round(known["high_mm"], 6)},
    }
)
"""What a remedy changes in a design, from its values, by its id."""


def mend(found: Finding) -> Changes | None:
    """Return the smallest change that mends a finding; None where the page cannot make it.

    Examples
    --------
    >>> from moulddesign.core import say
    >>> thin = Finding(what=say("verify.crust-thickness"), measured=0.9, limit=say("verify.x"),
    ...     unit="mm", source="", verdict=Verdict.WARN,
    ...     remedy=say("building.more-crust", ratio="4:6"))
    >>> mend(thin)
    {'portion.ratio': '4:6'}
    """
    if found.remedy is None or found.remedy.id not in MENDS:
        return None
    return MENDS[found.remedy.id](dict(found.remedy.values))


def wrong_ones(found: Sequence[Finding]) -> list[Finding]:
    """Return the findings that failed, then those that warn."""
    return [f for verdict in (Verdict.FAIL, Verdict.WARN) for f in found if f.verdict is verdict]


def findings_list(
    words: Texts, found: Sequence[Finding], cautions: Sequence[Message | str], *, raw_g: float
) -> str:
    """Return what the findings say, those that failed or warn, the rest folded, and the cautions.

    The mass of a raw piece is that of the scale [g]. A button of a change has the place of its
    finding among `wrong_ones` as `data-mend`.
    """
    wrong = wrong_ones(found)
    good = [f for f in found if f.verdict is Verdict.GOOD]
    listed = "".join(f"<li>{escape(words.said(text))}</li>" for text in cautions)
    return (
        paragraph(_sentence(words, found, raw_g), f"verdict-line {_worst(found)}")
        + "".join(_finding(words, f, place) for place, f in enumerate(wrong))
        + f"<details><summary>{escape(words['passed'])}</summary>"
        + "".join(_finding(words, f, None) for f in good)
        + f"</details><details><summary>{escape(words['cautions'])}</summary>"
        + f"<ul>{listed}</ul></details>"
    )


def _worst(found: Sequence[Finding]) -> str:
    wrong = wrong_ones(found)
    return (wrong[0].verdict if wrong else Verdict.GOOD).value


def _sentence(words: Texts, found: Sequence[Finding], raw_g: float) -> str:
    """Return "Prints, goes together, holds 77 g", and what is to be looked at."""
    said = ", ".join(words[f"claim_{claim}"].format(raw_g=f"{raw_g:g}") for claim in claims(found))
    said = f"{said[:1].upper()}{said[1:]}." if said else ""
    mark = VERDICT_MARKS[_worst(found)]
    counts = [
        words[f"to_{verdict.value}"].format(count=count)
        for verdict in (Verdict.FAIL, Verdict.WARN)
        if (count := sum(f.verdict is verdict for f in found))
    ]
    return " ".join(filter(None, [mark, said, *counts]))


def _finding(words: Texts, found: Finding, place: int | None) -> str:
    verdict, measured = found.verdict, found.measured
    shown = measured.text(words.language) if isinstance(measured, Message) else measured
    value = number_text(shown) if isinstance(shown, float) else str(shown)
    unit = word(found.unit).text(words.language)
    return (
        f'<div class="finding {verdict}"><p><span class="verdict-mark" aria-hidden="true">'
        f"{VERDICT_MARKS[verdict]}</span> <b>{escape(words[f'verdict_{verdict}'])}:</b> "
        f"{escape(found.title(words.language))}</p><p>{escape(f'{value} {unit}'.rstrip())} "
        f'<span class="limit">({escape(words["limit"])}: '
        f"{escape(with_unit(found.limit.text(words.language), unit))}; "
        f"{escape(words.said(found.source))})</span></p>{_remedy(words, found, place)}</div>"
    )


def _remedy(words: Texts, found: Finding, place: int | None) -> str:
    if found.remedy is None:
        return ""
    changes = mend(found)
    if changes is None or place is None:
        return paragraph(words["to_mend"].format(how=words.said(found.remedy)))
    ((path, value),) = changes.items()
    shown = f"{value:.4g}" if isinstance(value, float) else str(value)
    says = words[f"mend_{path.rpartition('.')[2]}"].format(value=shown)
    return f'<p><button type="button" data-mend="{place}">{escape(says)}</button></p>'
