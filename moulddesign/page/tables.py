"""What fits a mould, what a trial taught and what a batch needs, as HTML."""

from collections.abc import Mapping
from html import escape
from itertools import groupby
from typing import Any, Final

from moulddesign.page.markup import figure, paragraph, table
from moulddesign.page.texts import Texts
from moulddesign.portion import Batch, Mean

MASSES: Final = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")


def fitting(words: Texts, report: Mapping[str, Any], plot: str) -> str:
    """Return the weights that fit a mould.

    Parameters
    ----------
    words : Texts
        The language.
    report : mapping
        Of `moulddesign.fit.Fit`.
    plot : str
        Address of the plot of the window; empty where there is none.
    """
    made = [paragraph(words.said(note)) for note in report["notes"]]
    for number, cavity in enumerate(report["cavities"], start=1):
        title = words["cavity"].format(number=number, ml=figure(cavity["volume_ml"]))
        made.append(f"<h3>{escape(title)}</h3>")
        made += [_rows(words, cavity["rows"])]
        made += [paragraph(words.said(text)) for text in cavity["remarks"]]
    window = report["window"]
    if window is not None:
        made.append(_window(words, window))
        if plot:
            made.append(f'<img class="plot" src="{plot}" alt="{escape(words["plot_says"])}">')
    if report["pressed"]:
        made.append(_pressed(words, report["pressed"]))
    return "".join(made)


def _pressed(words: Texts, pressed: list[Mapping[str, Any]]) -> str:
    heads = (words["pressed_to"], words["raw_g"], words["finished_g"], "")
    rows = [
        (
            f"{each['height_mm']:.2f}",
            figure(each["raw_g"]),
            figure(each["finished_g"]),
            words["in_window" if each["inside_window"] else "out_of_window"],
        )
        for each in pressed
    ]
    return f"<h3>{escape(words['pressed'])}</h3>" + table(heads, rows, caption=words["pressed"])


def ranking(words: Texts, found: list[Mapping[str, Any]]) -> str:
    """Return several moulds beside the portion, the best first.

    Parameters
    ----------
    words : Texts
        The language.
    found : list of mapping
        Of each `moulddesign.fit.Ranked`.
    """
    heads = ("mould", "takes_it", "holds_ml", "over", "high_mm", "crust_mm", "full_g", "remarks")
    rows = [
        (
            each["name"],
            words["takes" if each["takes"] else "takes_not"],
            figure(each["volume_ml"]),
            f"{100.0 * each['over_ratio']:+.1f} %",
            *(figure(each[k]) or "-" for k in ("height_mm", "crust_thickness_mm", "fills_raw_g")),
            " ".join(map(words.said, each["says"])),
        )
        for each in found
    ]
    return table([words[key] for key in heads], rows, caption=words["shelf"], kind="fits")


def _rows(words: Texts, rows: list[Mapping[str, Any]]) -> str:
    made = ""
    for centred, group in groupby(rows, key=lambda row: bool(row["with_centre"])):
        masses = MASSES if centred else tuple(m for m in MASSES if m not in {"paste_g", "centre_g"})
        heads = (words["ratio"], *(words[m] for m in masses), words["crust_mm"], words["remarks"])
        cells = [
            (
                row["ratio"],
                *(figure(row[mass]) or "-" for mass in masses),
                figure(row["crust_thickness_mm"]) or "-",
                " ".join(map(words.said, row["remarks"])),
            )
            for row in group
        ]
        caption = words["with_centre" if centred else "without_centre"]
        made += f"<h4>{escape(caption)}</h4>" + table(heads, cells, caption=caption, kind="fits")
    return made


def _window(words: Texts, window: Mapping[str, Any]) -> str:
    heads = (words["ratio"], words["least_mm"], words["most_mm"], words["least_g"], words["most_g"])
    keys = ("least_height_mm", "most_height_mm", "least_raw_g", "most_raw_g")
    rows = [
        (
            row["ratio"] + (f", {words['with_centre']}" if row["with_centre"] else ""),
            *(figure(row[key]) for key in keys),
        )
        for row in window["rows"]
    ]
    return f"<h3>{escape(words['window'])}</h3>" + table(heads, rows, caption=words["window"])


def trying(words: Texts, found: Mapping[str, Any]) -> str:
    """Return what a trial taught, and the weights before and after.

    Parameters
    ----------
    words : Texts
        The language.
    found : mapping
        As the job tells it.
    """
    means = [(words["loss"], Mean(**found["loss"]))]
    if found["density"] is not None:
        means.append((words["density"], Mean(**found["density"])))
    taught = [
        (name, f"{m.value:.4f}", f"{m.uncertainty:.4f}", "" if m.sd is None else f"{m.sd:.4f}")
        for name, m in means
    ]
    apart = [
        paragraph(words["outlier"].format(pieces=", ".join(map(str, m.outliers)), what=name))
        for name, m in means
        if m.outliers
    ]
    heads = ("", words["mean"], words["plus_minus"], words["sd"])
    masses = ("", words["crust"], words["paste"], words["raw"], words["finished"], "mL")
    weights = [
        (
            words[name],
            f"{made.split.crust_g:g}",
            f"{made.split.paste_g:g}",
            f"{made.split.raw_g:g}",
            figure(made.piece.finished_g),
            figure(made.piece.volume_ml),
        )
        for name, made in found["weights"].items()
    ]
    return (
        table(heads, taught, caption=words["taught"])
        + "".join(apart)
        + table(masses, weights, caption=words["corrected"])
    )


def batching(words: Texts, made: Batch, currency: str) -> str:
    """Return the totals of a batch, its ingredients, trays, boxes, cost and days.

    Parameters
    ----------
    words : Texts
        The language.
    made : Batch
        The batch.
    currency : str
        As printed.
    """
    parts = ((words["crust"], made.crust), (words["paste"], made.filling))
    one_g = (made.split.crust_g, made.split.paste_g)
    rows = [
        (name, f"{each:g}", f"{part.pieces_g:.0f}", f"{part.ready_g:.0f}", f"{part.mixed_g:.0f}")
        for (name, part), each in zip(parts, one_g, strict=True)
    ]
    heads = ("", *(words[key] for key in ("each_g", "all_g", "ready_g", "mix_g")))
    title = words["pieces"].format(count=made.pieces)
    html = f"<h3>{escape(title)}</h3>" + table(heads, rows, caption=title)
    for name, part in parts:
        if part.lines:
            lines = [
                (line.food, f"{line.percent:.1f}", f"{line.scaled_g:g}", figure(line.price))
                for line in part.lines
            ]
            title = words["mix_for"].format(part=name)
            heads = (words["ingredient"], "%", "g", words["price"])
            html += f"<h4>{escape(title)}</h4>" + table(heads, lines, caption=title)
    return html + "".join(paragraph(text) for text in _said(words, made, currency))


def _said(words: Texts, made: Batch, currency: str) -> list[str]:
    says = [words["centres_say"].format(count=count, name=name) for name, count in made.centres]
    if made.runs_short is not None:
        says.append(words["runs_short"].format(what=words.named(made.runs_short)))
    for key, packed in (("trays_say", made.trays), ("boxes_say", made.boxes)):
        mass = f"{packed.mass_g:.0f}"
        says.append(words[key].format(count=packed.count, each=packed.each, mass=mass))
    if made.cost is not None:
        total, each = f"{made.cost.total:.2f}", f"{made.cost.each:.2f}"
        says.append(words["cost_says"].format(total=total, each=each, coin=currency))
    return says + [f"{day.isoformat()}: {what}" for day, what in made.days]
