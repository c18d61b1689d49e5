"""What was made: three cards, to print, to weigh, to keep, and each file with what it is for."""

import json
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, Final

from moulddesign.design import ZippedFiles
from moulddesign.export.card import duration
from moulddesign.export.order_sheet import ORDER_PDF
from moulddesign.export.press_steps import PressStep
from moulddesign.page.jobs import PieceFigures
from moulddesign.page.markup import weights_line
from moulddesign.page.texts import Texts

PRINT_FILE: Final = "set.3mf"
CARD: Final = "card.pdf"
CARD_PAGE: Final = "card-1.png"
KITCHEN_CARD: Final = "card.html"
REPORT: Final = "report.json"

STAGES: Final = ("piece", "mould", "checks", "files")
"""What is done one after the other until the files are there."""

LEAN: Final = 1.0
"""Parts with less infill than this are not solid."""


def progress_line(words: Texts, done: int) -> str:
    """Return the stages, of which so many are done and the next one is at work."""
    shown = []
    for place, stage in enumerate(STAGES):
        state = "done" if place < done else "now" if place == done else "left"
        says = words[f"stage_{stage}"]
        hidden = f'<span class="unseen">: {escape(words[f"stage_is_{state}"])}</span>'
        shown.append(f'<li class="{state}">{escape(says)}{hidden}</li>')
    return f'<ol class="stages">{"".join(shown)}</ol>'


def delivery(
    words: Texts, token: str, files: ZippedFiles, piece: PieceFigures, *, archive: str
) -> str:
    """Return the three cards of a set that was made, and its files folded.

    Parameters
    ----------
    files : ZippedFiles
        The set's.
    archive : str
        Name of the zip that holds them all.
    """
    cards = (
        _print_card(words, token, json.loads(files[REPORT])),
        _weigh_card(words, token, piece),
        _everything_card(words, token, sum(files.sizes.values()), archive),
    )
    return f'<div class="cards">{"".join(cards)}</div>' + _file_list(words, token, files)


def card_alone(words: Texts, token: str, files: ZippedFiles, piece: PieceFigures) -> str:
    """Return the card of what to weigh, for a piece whose mould exists, and its files folded."""
    card = _weigh_card(words, token, piece)
    return f'<div class="cards">{card}</div>' + _file_list(words, token, files)


def _card(title: str, body: str, link: str) -> str:
    return f'<section class="card"><h3>{escape(title)}</h3>{body}{link}</section>'


def _download(text: str, address: str, kind: str = "primary") -> str:
    return f'<a class="download {kind}" download href="{escape(address)}">{escape(text)}</a>'


def _print_card(words: Texts, token: str, report: Mapping[str, Any]) -> str:
    printer = report["printer"]
    if "process" in printer:
        body = f"<p>{escape(words['card_order_says'])}</p>"
        link = _download(words["download_order"], f"/files/{token}/{ORDER_PDF}")
        return _card(words["card_order"], body, link)
    parts = [part for part in report["parts"] if part["print_g"] > 0.0]
    grams = sum(
        part["lean_print_g"] if part["infill_ratio"] < LEAN else part["print_g"] for part in parts
    )
    low, high = (sum(part["likely_print_min"][end] for part in parts) for end in (0, 1))
    width, depth = printer["bed_mm"][:2]
    rows = (
        ("card_file", PRINT_FILE),
        ("card_filament", f"{grams:.0f} g {printer['material']}"),
        ("card_time", duration(low, high)),
        ("card_bed", f"{width:g} \u00d7 {depth:g} mm"),
    )
    listed = "".join(
        f"<li><span>{escape(words[key])}</span> <b>{escape(value)}</b></li>" for key, value in rows
    )
    lean = [part["infill_ratio"] for part in parts if part["infill_ratio"] < LEAN]
    settings = words["card_settings"].format(
        nozzle=f"{printer['nozzle_mm']:g}", layer=f"{printer['layer_height_mm']:g}"
    )
    if lean:
        infill = words["card_infill"].format(percent=f"{100.0 * min(lean):.0f}")
        settings = words.sentences(settings, infill)
    body = f"<ul>{listed}</ul><p>{escape(settings)}</p>"
    link = _download(words["download_print"], f"/files/{token}/{PRINT_FILE}")
    return _card(words["card_print"], body, link)


def _weigh_card(words: Texts, token: str, piece: PieceFigures) -> str:
    page = f'<img alt="{escape(words["card_page"])}" src="/files/{token}/{CARD_PAGE}">'
    body = f'{page}<div class="strip small">{weights_line(words, piece)}</div>'
    links = _download(words["download_card"], f"/files/{token}/{CARD}")
    links += f"<p>{escape(words['kitchen_card_says'])}</p>"
    links += _download(words["download_kitchen_card"], f"/files/{token}/{KITCHEN_CARD}", "more")
    return _card(words["card_weigh"], body, links)


def _everything_card(words: Texts, token: str, size: int, archive: str) -> str:
    body = f"<p>{escape(words['card_everything_says'])}</p>"
    link = _download(words["download_all"], f"/files/{token}/{archive}", "download-all")
    return _card(words["card_everything"], f"{body}<p>{_size(size)}</p>", link)


FILE_SAYS: Final = (
    (PRINT_FILE, "file_3mf"),
    (CARD, "file_card"),
    (KITCHEN_CARD, "file_kitchen_card"),
    ("card-", "file_card_page"),
    ("approval.pdf", "file_approval"),
    ("design.toml", "file_design"),
    (REPORT, "file_report"),
    (ORDER_PDF, "file_order"),
    ("drawing.", "file_drawing"),
    ("set.glb", "file_glb"),
    ("artwork-", "file_artwork"),
    ("relief", "file_relief"),
    ("heightmap", "file_heightmap"),
    ("parts.png", "file_parts_picture"),
    (".png", "file_picture"),
    ("pastry", "file_pastry"),
    (".stl", "file_stl"),
    (".step", "file_step"),
    ("", "file_other"),
)
"""How a file's name begins or ends, and the sentence that says what it is for; the first counts."""


def _file_list(words: Texts, token: str, files: ZippedFiles) -> str:
    listed = "".join(
        f'<li><a download href="/files/{token}/{escape(name)}">{escape(name)}</a> '
        f"<span>{_size(size)}</span><p>{escape(words[_says(name)])}</p></li>"
        for name, size in files.sizes.items()
    )
    return (
        f'<details class="every-file"><summary>{escape(words["every_file"])}</summary>'
        f'<ul class="files">{listed}</ul></details>'
    )


def _says(name: str) -> str:
    """Return the key of what a file is for.

    Examples
    --------
    >>> _says("stamp.stl"), _says("card-2.png"), _says("pastry-bee.stl")
    ('file_stl', 'file_card_page', 'file_pastry')
    """
    return next(key for mark, key in FILE_SAYS if name.startswith(mark) or name.endswith(mark))


def steps_list(words: Texts, token: str, steps: Sequence[PressStep]) -> str:
    """Return the steps of the work with a press, each with its picture, folded."""
    listed = "".join(
        f'<li><img alt="" src="/files/{token}/press-step-{number}.svg">'
        f"<p><b>{escape(words.said(step.name))}.</b> {escape(words.said(step.says))}</p></li>"
        for number, step in enumerate(steps)
    )
    return (
        f'<details class="how-to"><summary>{escape(words["how_to_use"])}</summary>'
        f'<ol class="press-steps">{listed}</ol></details>'
    )


def _size(count: int) -> str:
    """Return a file's size.

    Examples
    --------
    >>> _size(900), _size(2_500_000)
    ('1 kB', '2.5 MB')
    """
    return f"{count / 1e6:.1f} MB" if count >= 1e5 else f"{max(round(count / 1e3), 1)} kB"  # noqa: PLR2004
