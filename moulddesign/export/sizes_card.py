"""One card for all the sizes of a design: pictures in proportion, figures side by side."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Any, Final

from moulddesign.core import Message, read_json, say, word
from moulddesign.design import Design, Paper
from moulddesign.export.card import Card
from moulddesign.export.card_piece import grams, sheet_head
from moulddesign.export.fonts import breaking, fonts_of
from moulddesign.export.held_moulds import REPORT
from moulddesign.portion import cautions_of

SIZES_PDF: Final = "sizes.pdf"
PICTURE: Final = "pastry.png"


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSize:
    """What became of one size of a design."""

    weight_g: float
    folder: Path | None
    """Of its files; None where it was not written."""
    remarks: tuple[Message, ...] = ()
    """Why it was not written, or what is not good in it."""


def sizes_card(design: Design, sizes: Sequence[MadeSize], paper: Paper) -> Card:
    """Return the card of a design's sizes, from what their folders hold.

    Raises
    ------
    FileError
        A report cannot be read.
    """
    reports = {one.weight_g: _report(one.folder) for one in sizes if one.folder is not None}
    pictures = {
        f"{one.weight_g:g}.png": (one.folder / PICTURE).read_bytes()
        for one in sizes
        if one.folder is not None and (one.folder / PICTURE).is_file()
    }
    made = list(reports.values())
    # A name that follows from a design begins with its weight.
    is_named = "name" in design.model_fields_set
    title = design.name if is_named else design.name.partition("-")[2]
    cautions = design.printer.cautions
    return Card(
        figures={
            **sheet_head(design, title),
            "words": WORDS,
            "what": say("export.sizes-what", count=len(reports)),
            "heads": [f"{weight:g} g" for weight in reports],
            "pictures": _widths(reports, pictures),
            "rows": [
                [what, *cells]
                for what, figure in ROWS
                if any(cells := [figure(report) for report in made])
            ],
            "remarks": [
                [f"{one.weight_g:g} g", breaking(reduce(_and, one.remarks))]
                for one in sizes
                if one.remarks
            ],
            "cautions": [
                *(word(each) if isinstance(each, str) else each for each in cautions),
                *cautions_of(design.portion),
            ],
        },
        pictures=pictures,
        paper=paper,
        fonts=fonts_of(design),
        template="sizes.typ",
    )


def _report(folder: Path) -> dict[str, Any]:
    path = folder / REPORT
    report: dict[str, Any] = read_json(path, otherwise=say("export.report-unread"))
    return report


def _widths(
    reports: Mapping[float, dict[str, Any]], pictures: Mapping[str, bytes]
) -> list[list[Any]]:
    """Return the picture of each size with its share of the largest piece's width."""
    widths = {weight: report["pastry"]["width_mm"] for weight, report in reports.items()}
    return [
        [f"{weight:g}.png", width / max(widths.values())]
        for weight, width in widths.items()
        if f"{weight:g}.png" in pictures
    ]


def _and(some: Message, last: Message) -> Message:
    return say("core.and-phrase", some=some, last=last)


Figure = Callable[[Mapping[str, Any]], str]
"""Returns a cell from a report; empty where there is nothing to say."""


def _of(table: str, key: str, decimals: int) -> Figure:
    """Return what reads one number of a report."""

    def figure(report: Mapping[str, Any]) -> str:
        value = report[table].get(key)
        return "" if value is None else f"{value:.{decimals}f}"

    return figure


def _on_scale(key: str) -> Figure:
    return lambda report: grams(report["portion"]["scale"][key])


def _filling(report: Mapping[str, Any]) -> str:
    filling_g = report["portion"]["scale"]["filling_g"]
    return grams(filling_g) if filling_g else ""


def _sleeve(report: Mapping[str, Any]) -> str:
    return " - ".join(f"{weight:g}" for weight in report["mould"].get("sleeve_takes_g", ()))


def _filament(report: Mapping[str, Any]) -> str:
    return f"{sum(part['print_g'] for part in report['parts']):.0f}"


ROWS: Final[tuple[tuple[Message, Figure], ...]] = (
    (say("export.sizes-raw"), _on_scale("raw_g")),
    (say("export.sizes-crust"), _on_scale("crust_g")),
    (say("export.sizes-filling"), _filling),
    (say("export.sizes-width"), _of("pastry", "width_mm", 1)),
    (say("export.sizes-height"), _of("pastry", "height_mm", 1)),
    (say("export.sizes-highest"), _of("pastry", "highest_mm", 1)),
    (say("export.sizes-crust-mm"), _of("pastry", "crust_thickness_mm", 1)),
    (say("export.sizes-stop"), _of("mould", "stop_mm", 1)),
    (say("export.sizes-sleeve"), _sleeve),
    (say("export.sizes-silicone"), _of("mould", "silicone_g", 0)),
    (say("export.sizes-plastic"), _filament),
)
"""Rows of the table; one in which nothing is said is left out."""

WORDS: Final = {
    "page": say("export.card-page", number="NUMBER", count="COUNT"),
    "remarks": say("export.sizes-remarks"),
    "cautions": say("export.card-cautions"),
    "pastry_shown": say("export.card-pastry-shown"),
}
