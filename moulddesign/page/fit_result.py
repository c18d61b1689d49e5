"""HTML of what fits a mould that one owns: weights, the recommended row, windows, a ranking."""

from collections.abc import Mapping
from html import escape
from itertools import groupby
from typing import Any, Final

from moulddesign.page.markup import html_table, number_text, paragraph
from moulddesign.page.texts import Texts

MASSES: Final = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")


Row = tuple[str, bool]
"""A row of the table: its ratio, and whether it has the centres."""


def rows_to_take(report: Mapping[str, Any]) -> tuple[Row, ...]:
    """Return the rows that can be taken as a design, in the order of their buttons.

    Of a press those of its window, of another mould those of its largest cavity.
    """
    window = report["window"]
    if window is not None:
        return tuple((row["ratio"], row["with_centre"]) for row in window["rows"])
    rows = report["cavities"][0]["rows"]
    return tuple((r["ratio"], r["with_centre"]) for r in rows if r["raw_g"] is not None)


def fit_result(words: Texts, report: Mapping[str, Any], plot: str) -> str:
    """Return the weights that fit a mould, from a report of `moulddesign.fit.Fit`.

    The address of the window's plot is empty where there is none. The button that takes a row has
    its place among `rows_to_take` as `data-take`.
    """
    made = [paragraph(words.said(note)) for note in report["notes"]]
    takes = _take_cells(words, report)
    window = report["window"]
    if window is not None:
        made.append(_window(words, window, takes))
        if plot:
            made.append(f'<img class="plot" src="{plot}" alt="{escape(words["plot_label"])}">')
    for number, cavity in enumerate(report["cavities"], start=1):
        title = words["cavity"].format(number=number, ml=number_text(cavity["volume_ml"]))
        made.append(f"<h3>{escape(title)}</h3>")
        made += [paragraph(words.said(text)) for text in cavity["remarks"]]
        made += [_rows(words, cavity["rows"], takes if number == 1 and window is None else {})]
    if report["pressed"]:
        made.append(_pressed(words, report["pressed"]))
    return "".join(made)


def _take_cells(words: Texts, report: Mapping[str, Any]) -> dict[Row, str]:
    """Return the HTML of the buttons that take a row; the recommended one says so."""
    best = report["recommended"]
    if report["window"] is not None:
        best = {"ratio": report["window"]["ratio"], "with_centre": report["window"]["with_centre"]}
    made = {}
    for place, row in enumerate(rows_to_take(report)):
        is_best = best is not None and row == (best["ratio"], best["with_centre"])
        says = f"<strong>{escape(words['recommended'])}</strong> " if is_best else ""
        kind = ' class="primary"' if is_best else ""
        label = escape(words["take_label"].format(ratio=row[0]))
        made[row] = (
            f'{says}<button type="button"{kind} data-take="{place}" aria-label="{label}">'
            f"{escape(words['take'])}</button>"
        )
    return made


def _pressed(words: Texts, pressed: list[Mapping[str, Any]]) -> str:
    heads = (words["pressed_to"], words["raw_g"], words["finished_g"], "")
    rows = [
        (
            f"{each['height_mm']:.2f}",
            number_text(each["raw_g"]),
            number_text(each["finished_g"]),
            words["in_window" if each["inside_window"] else "out_of_window"],
        )
        for each in pressed
    ]
    return f"<h3>{escape(words['pressed'])}</h3>" + html_table(
        heads, rows, caption=words["pressed"]
    )


def ranking_table(words: Texts, shelf: Mapping[str, Any]) -> str:
    """Return several moulds, the best first, and what is nearest where none takes the piece.

    Parameters
    ----------
    shelf : mapping
        `ranked`, reports of `moulddesign.fit.RankedMould`, and `nearest`, a message or None.
    """
    found, nearest = shelf["ranked"], shelf["nearest"]
    heads = (
        "mould",
        "fits",
        "holds_ml",
        "over_capacity",
        "fit_height_mm",
        "crust_mm",
        "full_g",
        "remarks",
    )
    rows = [
        (
            each["name"],
            words["fits_yes" if each["takes"] else "fits_no"],
            number_text(each["volume_ml"]),
            f"{100.0 * each['over_ratio']:+.1f} %",
            *(
                number_text(each[k]) or "-"
                for k in ("height_mm", "crust_thickness_mm", "fills_raw_g")
            ),
            " ".join(map(words.said, each["says"])),
        )
        for each in found
    ]
    made = html_table(
        [words[key] for key in heads], rows, caption=words["ranking"], kind="fit-table"
    )
    return made if nearest is None else paragraph(words.said(nearest)) + made


def _rows(words: Texts, rows: list[Mapping[str, Any]], takes: Mapping[Row, str]) -> str:
    made, kind = "", "fit-table takes" if takes else "fit-table"
    for centred, group in groupby(rows, key=lambda row: bool(row["with_centre"])):
        masses = MASSES if centred else tuple(m for m in MASSES if m not in {"paste_g", "centre_g"})
        alike = tuple(group)
        heads = (words["ratio"], *(words[m] for m in masses), words["crust_mm"], words["remarks"])
        cells = [
            (
                row["ratio"],
                *(number_text(row[mass]) or "-" for mass in masses),
                number_text(row["crust_thickness_mm"]) or "-",
                " ".join(map(words.said, row["remarks"])),
            )
            for row in alike
        ]
        caption = words["with_centre" if centred else "without_centre"]
        buttons = [takes.get((row["ratio"], row["with_centre"]), "") for row in alike]
        made += f"<h4>{escape(caption)}</h4>" + html_table(
            heads, cells, caption=caption, kind=kind, last=buttons if takes else ()
        )
    return made


def _window(words: Texts, window: Mapping[str, Any], takes: Mapping[Row, str]) -> str:
    heads = (words["ratio"], words["least_mm"], words["most_mm"], words["least_g"], words["most_g"])
    keys = ("least_height_mm", "most_height_mm", "least_raw_g", "most_raw_g")
    rows = [
        (
            row["ratio"] + (f", {words['with_centre']}" if row["with_centre"] else ""),
            *(number_text(row[key]) for key in keys),
        )
        for row in window["rows"]
    ]
    return f"<h3>{escape(words['window'])}</h3>" + html_table(
        heads, rows, caption=words["window"], kind="window", last=list(takes.values())
    )
