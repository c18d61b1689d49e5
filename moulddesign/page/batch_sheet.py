"""The sheet of a batch to print, with boxes to tick; and the batch of several moulds at once."""

from collections.abc import Iterable
from html import escape
from typing import Final

from moulddesign.design import CentresWeighed, Design
from moulddesign.kitchen.batch import Batch
from moulddesign.kitchen.joint_batch import JointBatch
from moulddesign.page.markup import allergen_notes, cost_notes, html_table, paragraph, times
from moulddesign.page.texts import Texts

MOST_TRAY_BOXES: Final = 40
"""More trays are told as a number; our choice."""


def batch_sheet(words: Texts, made: Batch, design: Design, picture: str) -> str:
    """Return the sheet; the address of the picture is empty where there is none yet."""
    split = made.split
    filled = design.portion.is_filled
    weights = [("crust" if filled else "dough", split.crust_g)]
    if filled and made.centres and design.portion.centres_weighed is CentresWeighed.WITH_PASTE:
        weights.append(("filled", split.filling_g))
    elif filled:
        weights.append(("paste", split.paste_g))
    weights.append(("raw", split.raw_g))
    shown = "".join(
        words.numbers(f"<span>{grams:g} g<small>{escape(words[key])}</small></span>")
        for key, grams in weights
    )
    image = "" if not picture else f'<img src="{escape(picture)}" alt="">'
    title = words["pieces"].format(count=made.pieces)
    day = design.batch.serving_date
    served = "" if day is None else f"<p>{escape(words['served_on'])} {day.isoformat()}</p>"
    title = f"{design.name}: {title}"
    return (
        f'<section class="sheet" aria-label="{escape(words["sheet"])}">'
        f'<div class="sheet-head">{image}<div><h3>{escape(title)}</h3>'
        f"{served}<p>{escape(words['each_weighs'])}</p>"
        f'<div class="sheet-weights">{shown}</div></div></div>'
        f"{_weigh_out(words, made)}{_trays(words, made)}{_times(words, made)}</section>"
    )


def joint_result(words: Texts, made: JointBatch, currency: str) -> str:
    """Return how many pieces of each design there are, and what is mixed once for all of them."""
    html = ""
    if made.left_over:
        counts = words["comma"].join(
            words["count_of"].format(count=each.pieces, name=name) for name, each in made.batches
        )
        left = words["comma"].join(
            f"{grams:.0f} g {words['crust' if part == 'crust' else 'paste']}"
            for part, grams in made.left_over.items()
        )
        html = paragraph(words["on_hand_makes"].format(counts=counts, left=left), "verdict-line")
    keys = ("pieces_head", "crust_head", "paste_head", "trays_head", "rounds_head")
    rows = [
        (
            name, f"{each.pieces}", f"{each.split.crust_g:g}", f"{each.split.paste_g:g}",
            f"{each.trays.count}", f"{often}",
        )
        for (name, each), often in zip(made.batches, made.rounds, strict=True)
    ]  # fmt: skip
    title = words["pieces"].format(count=made.pieces)
    html += html_table(("", *(words[key] for key in keys)), rows, caption=title)
    for dough in made.doughs:
        if dough.mixed_g > 0.0:
            part = words["crust" if dough.part == "crust" else "paste"]
            title = words["mix_for"].format(part=f"{part} ({words['comma'].join(dough.designs)})")
            lines = [(words.food(line.food), f"{line.scaled_g:g}") for line in dough.lines]
            lines = lines or [(part, f"{dough.mixed_g:.0f}")]
            html += html_table((words["ingredient"], "g"), lines, caption=title)
    notes = (*allergen_notes(words, made.allergens), *cost_notes(words, made.cost, currency))
    return html + "".join(map(paragraph, notes)) + times(words, made)


def _weigh_out(words: Texts, made: Batch) -> str:
    html = ""
    for key, part in (("crust", made.crust), ("paste", made.filling)):
        if part.pieces_g <= 0.0:
            continue
        title = words["mix_for"].format(part=words[key])
        lines = [
            f"{words.numbers(f'{each.scaled_g:g} g')} {words.food(each.food)}"
            for each in part.lines
        ]
        html += _boxes(title, lines or [f"{part.mixed_g:.0f} g"])
    centres = [f"{count} \u00d7 {words.word(name)}" for name, count in made.centres]
    return html + (_boxes(words["centres"].capitalize(), centres) if centres else "")


def _trays(words: Texts, made: Batch) -> str:
    count, each = made.trays.count, made.trays.each
    if count > MOST_TRAY_BOXES:
        return ""
    last = made.trays.last
    lines = [f"{n}: {last if n == count else each}" for n in range(1, count + 1)]
    return _boxes(words["trays_of"].format(each=each), lines, kind="trays")


def _times(words: Texts, made: Batch) -> str:
    html = ""
    if made.days:
        days = [f"{day.date.isoformat()}  {words.said(day.what)}" for day in made.days]
        html += _boxes(words["calendar"], days)
    if made.plan is not None:
        hours = [f"{at}  {words.said(what)}" for at, what in made.plan.hours]
        html += _boxes(words["bake_day"], hours)
    return html


def _boxes(title: str, lines: Iterable[str], kind: str = "") -> str:
    listed = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<h4>{escape(title)}</h4><ul class="{kind}">{listed}</ul>'
