"""The sheet of a batch to print: name, picture, weights, boxes to tick, days and hours."""

from collections.abc import Iterable
from html import escape
from typing import Final

from moulddesign.design import CentresWeighed, Design
from moulddesign.kitchen import Batch
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
