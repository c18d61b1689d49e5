"""Findings in a person's words: what they say together, and each one with what can be done."""

from collections.abc import Mapping, Sequence
from html import escape
from types import MappingProxyType
from typing import Final

from moulddesign.core import Finding, Message, Verdict, with_unit, word
from moulddesign.design import Design
from moulddesign.page.finding_actions import mend, shown_place
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
                "layers-in-depth", "depth-in-whole-layers", "smallest-of-side-bands",
                "open-edges", "bodies", "crossing-facets",
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


def wrong_ones(found: Sequence[Finding]) -> list[Finding]:
    """Return the findings that failed, then those that warn."""
    return [f for verdict in (Verdict.FAIL, Verdict.WARN) for f in found if f.verdict is verdict]


def in_order(found: Sequence[Finding]) -> list[Finding]:
    """Return the findings as they are listed: wrong ones first."""
    return [*wrong_ones(found), *(f for f in found if f.verdict is Verdict.GOOD)]


def part_names(found: Sequence[Finding]) -> frozenset[str]:
    """Return the names of the mould's parts: each of them has to fit on the bed."""
    return frozenset(f.part for f in found if f.id == "verify.fits-bed")


def findings_list(
    words: Texts,
    found: Sequence[Finding],
    cautions: Sequence[Message | str],
    *,
    raw_g: float,
    design: Design,
) -> str:
    """Return what the findings say, those that failed or warn, the rest folded, and the cautions.

    The mass of a raw piece is that of the scale [g]. A button has the place of its finding among
    `in_order`: `data-mend` where it changes the design, `data-place` where it shows the place.
    """
    parts, wrong = part_names(found), len(wrong_ones(found))
    shown = [
        _finding(words, f, number, design=design, placed=shown_place(f, parts) is not None)
        for number, f in enumerate(in_order(found))
    ]
    listed = "".join(f"<li>{escape(words.said(text))}</li>" for text in cautions)
    return (
        paragraph(_sentence(words, found, raw_g), f"verdict-line {_worst(found)}")
        + "".join(shown[:wrong])
        + f"<details><summary>{escape(words['passed'])}</summary>"
        + "".join(shown[wrong:])
        + f"</details><details><summary>{escape(words['cautions'])}</summary>"
        + f"<ul>{listed}</ul></details>"
    )


def _worst(found: Sequence[Finding]) -> str:
    wrong = wrong_ones(found)
    return (wrong[0].verdict if wrong else Verdict.GOOD).value


def _sentence(words: Texts, found: Sequence[Finding], raw_g: float) -> str:
    """Return "Prints, goes together, holds 77 g", and what is to be looked at."""
    said = words["comma"].join(
        words[f"claim_{claim}"].format(raw_g=f"{raw_g:g}") for claim in claims(found)
    )
    said = f"{said[:1].upper()}{said[1:]}{words['full_stop']}" if said else ""
    mark = VERDICT_MARKS[_worst(found)]
    counts = [
        words[f"to_{verdict.value}"].format(count=count)
        for verdict in (Verdict.FAIL, Verdict.WARN)
        if (count := sum(f.verdict is verdict for f in found))
    ]
    return " ".join(filter(None, [mark, said, *counts]))


def _finding(words: Texts, found: Finding, number: int, *, design: Design, placed: bool) -> str:
    verdict, measured = found.verdict, found.measured
    shown = measured.text(words.language) if isinstance(measured, Message) else measured
    value = number_text(shown) if isinstance(shown, float) else str(shown)
    unit, colon = word(found.unit).text(words.language), words["colon"]
    title = escape(found.title(words.language))
    if placed:
        title = (
            f'<button type="button" class="place" data-place="{number}">{title} '
            f'<span aria-hidden="true">\u2316</span><span class="unseen">, '
            f"{escape(words['show_place'])}</span></button>"
        )
    return (
        f'<div class="finding {verdict}"><p><span class="verdict-mark" aria-hidden="true">'
        f"{VERDICT_MARKS[verdict]}</span> <b>{escape(words[f'verdict_{verdict}'])}{colon}</b>"
        f"{title}</p><p>{escape(f'{value} {unit}'.rstrip())} "
        f'<span class="limit">({escape(words["limit"])}{colon}'
        f"{escape(with_unit(found.limit.text(words.language), unit))}; "
        f"{escape(words.said(found.source))})</span></p>"
        f"{_remedy(words, found, number, design)}</div>"
    )


SHORT: Final = {
    "portion.ratio": "mend_ratio",
    "portion.finished_weight_g": "mend_weight",
    "pastry.height_to_width": "mend_height_to_width",
    "portion.centres.0.mass_g": "mend_mass_g",
    "relief.depth_mm": "mend_depth_mm",
    "pastry.width_mm": "mend_width_mm",
    "relief.layers": "mend_layers",
}
"""Texts of changes that have one of their own."""


def _remedy(words: Texts, found: Finding, number: int, design: Design) -> str:
    if found.remedy is None:
        return ""
    how = words.said(found.remedy)
    changes = mend(found, design)
    if changes is None:
        return paragraph(words["to_mend"].format(how=how))
    says = words["comma"].join(_change(words, path, value) for path, value in changes.items())
    return (
        f'<p><button type="button" data-mend="{number}" title="{escape(how)}">'
        f"{escape(says)}</button></p>"
    )


def _change(words: Texts, path: str, value: object) -> str:
    shown = f"{value:.4g}" if isinstance(value, float) else words.word(str(value))
    if path in SHORT:
        return words[SHORT[path]].format(value=shown)
    label = words.label_at(path)
    if value is None:
        return words["mend_leave_out"].format(label=label)
    unit = " mm" if path.endswith("_mm") else ""
    return f"{label}{words['colon']}{shown}{unit}"
