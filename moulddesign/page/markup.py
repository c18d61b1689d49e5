"""HTML of the page: plain elements, our browser components, figures and answers.

Every text from outside is escaped here.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from html import escape
from itertools import repeat
from typing import Any, Final

from nicegui import ui
from nicegui.elements import scene as _stock  # its three.js is what our own view draws with
from nicegui.elements.mixins.text_element import TextElement

from moulddesign.kitchen.batch import Batch, Cost
from moulddesign.kitchen.joint_batch import JointBatch
from moulddesign.kitchen.samples import Estimate
from moulddesign.page.jobs import PieceFigures
from moulddesign.page.texts import Texts
from moulddesign.portion import AllergenList, Figures, LossSource

assert _stock  # noqa: S101 (imported so that its script is served)


class FormElement(ui.element, component="form.js"):
    """A form that is drawn from its sections, with the words of its own buttons.

    `start` holds values by path, lengths of lists, and errors by path. `prefix` begins every id, so
    that two forms can stand on a page.
    """

    def __init__(
        self,
        *,
        sections: list[dict[str, Any]],
        texts: dict[str, str],
        start: dict[str, Any],
        prefix: str,
    ) -> None:
        super().__init__()
        self._props.update(sections=sections, texts=texts, start=start, prefix=prefix)

    def set_state(self, state: dict[str, Any]) -> None:
        """Show other values."""
        self.run_method("setState", state)

    def set_errors(self, errors: dict[str, str]) -> None:
        """Show what is wrong, at its fields."""
        self.run_method("setErrors", errors)


class ChoicesElement(ui.element, component="choices.js"):
    """The choices of the first screen: what is offered, what is chosen, and what is wrong."""

    def __init__(
        self,
        *,
        options: dict[str, list[dict[str, str]]],
        texts: dict[str, str],
        start: dict[str, Any],
        own: dict[str, Any],
    ) -> None:
        super().__init__()
        self._props.update(options=options, texts=texts, start=start, own=own)

    def set_state(self, state: dict[str, Any], errors: dict[str, str]) -> None:
        """Show what is chosen, and what is wrong."""
        self.run_method("setState", state, errors)

    def set_crust(self, text: str) -> None:
        """Show how thick the crust is."""
        self.run_method("setCrust", text)


def element(tag: str, kind: str = "", **attributes: str) -> ui.element:
    """Return an element of a class with attributes; `_` in their names stands for `-`."""
    made = ui.element(tag)
    if kind:
        made.classes(kind)
    made._props.update({name.rstrip("_").replace("_", "-"): v for name, v in attributes.items()})  # noqa: SLF001
    return made


def text_element(tag: str, text: str, kind: str = "", **attributes: str) -> TextElement:
    """Return an element that holds a text."""
    made = TextElement(tag=tag, text=text)
    if kind:
        made.classes(kind)
    made._props.update({name.rstrip("_").replace("_", "-"): v for name, v in attributes.items()})  # noqa: SLF001
    return made


def button(text: str, on_click: Callable[[], Any], kind: str = "", **attributes: str) -> ui.element:
    """Return a button that does something on the server."""
    made = text_element("button", text, kind, type="button", **attributes)
    made.on("click", lambda _: on_click(), js_handler="() => emit()")
    return made


def set_visible(element: ui.element, *, shown: bool) -> None:
    """Show an element, or not."""
    element._props["hidden"] = not shown  # noqa: SLF001
    element.update()


def set_enabled(element: ui.element, *, can: bool) -> None:
    """Let a button be pressed, or not."""
    element._props["disabled"] = not can  # noqa: SLF001
    element.update()


def link(text: str, href: str, kind: str = "", **attributes: str) -> ui.element:
    """Return a link."""
    return text_element("a", text, kind, href=href, **attributes)


def html_area(kind: str = "") -> ui.html:
    """Return an element for HTML of our own making, whose texts are escaped already."""
    return ui.html("", sanitize=False).classes(kind)


def number_text(value: float | None) -> str:
    """Return a number for a table: two decimals below 10, one below 1000.

    Examples
    --------
    >>> number_text(1.256), number_text(76.53), number_text(None)
    ('1.26', '76.5', '')
    """
    if value is None:
        return ""
    return f"{value:.{2 if abs(value) < 10 else 1}f}"  # noqa: PLR2004


def html_table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    caption: str,
    kind: str = "",
    last: Sequence[str] = (),
) -> str:
    """Return a table whose first column names the row; `last` is HTML for one more column."""
    # Over names of rows stands nothing: a heading without words is none.
    head = "".join(
        f'<th scope="col">{escape(text)}</th>' if text else "<td></td>" for text in heads
    )
    head += "<td></td>" if last else ""
    ends = [f"<td>{cell}</td>" for cell in last] if last else repeat("")
    body = "".join(_row(row, end) for row, end in zip(rows, ends, strict=False))
    # A scrolling box must be reachable by keys.
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f'<table class="{kind}"><caption>{escape(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _row(row: Sequence[str], end: str) -> str:
    first, *rest = row
    cells = "".join(f"<td>{escape(cell)}</td>" for cell in rest)
    return f'<tr><th scope="row">{escape(first)}</th>{cells}{end}</tr>'


def paragraph(text: str, kind: str = "") -> str:
    """Return a sentence, or one a line, as a paragraph of a class."""
    lines = "<br>".join(map(escape, text.split("\n")))
    return f'<p class="{kind}">{lines}</p>'


def weights_and_sizes(words: Texts, shown: PieceFigures) -> str:
    """Return what to weigh, and the sizes that follow."""
    made = shown.figures
    piece, split, balls = made.piece, made.split, made.balls
    rows = [
        (
            words["crust" if made.is_filled else "dough"],
            f"{split.crust_g:g}",
            number_text(piece.crust_g),
            number_text(balls.crust_mm),
        ),
        *_filling_rows(words, made),
        (words["raw"], f"{split.raw_g:g}", number_text(piece.raw_g), number_text(balls.wrapped_mm)),
        (words["finished"], "", number_text(piece.finished_g), ""),
    ]
    heads = ("", words["on_scale"], words["exact"], words["ball"])
    sizes = [
        (words["width"], f"{number_text(shown.width_mm)} mm"),
        *_height_rows(words, shown),
        *(
            [(words["crust_thickness"], f"{number_text(shown.crust_mm)} mm")]
            if shown.crust_mm is not None
            else []
        ),
        *(
            (words[f"eaten_{name}"], f"{number_text(size_mm)} \u00b1 {number_text(sd_mm)} mm")
            for name, (size_mm, sd_mm) in shown.eaten.items()
        ),
        (words["volume"], f"{number_text(piece.volume_ml)} mL"),
        (words["relief_volume"], f"{number_text(shown.relief_ml)} mL"),
        (words["scatter"], f"{number_text(made.spread.raw_g)} g"),
    ]
    says = []
    if balls.disc_mm is not None:
        disc, thick = f"{balls.disc_mm:.0f}", f"{balls.shell_mm:.1f}"
        says.append(words["crust_disc"].format(mm=disc, thick=thick))
    if shown.roll is not None:
        across, length = f"{shown.roll.across_mm:.0f}", f"{shown.roll.length_mm:.0f}"
        says.append(words["rolled_piece"].format(across=across, length=length))
    if made.label is not None:
        finished, label = f"{made.piece.finished_g:.1f}", f"{made.label.label_g:g}"
        says.append(words["label_weight"].format(label=label, finished=finished))
    said = [] if shown.rounding is None else [shown.rounding]
    says.append(
        words[f"loss_{made.loss.source.name.lower()}"].format(
            loss=f"{made.loss.ratio:.3f}",
            uncertainty=f"{made.loss.uncertainty:.3f}",
            moved=number_text(made.spread.common_finished_g),
        )
    )
    caption = words[
        "one_piece_unmeasured" if made.loss.source is LossSource.UNMEASURED else "one_piece"
    ]
    return (
        html_table(heads, rows, caption=caption, kind="weights")
        + html_table(("", ""), sizes, caption=words["sizes"], kind="sizes")
        + "".join(paragraph(text) for text in [*map(words.said, said), *says])
    )


def piece_remarks(words: Texts, shown: PieceFigures) -> str:
    """Return what has to be known of a piece, its allergens among it."""
    return "".join(paragraph(words.said(each)) for each in (*shown.figures.remarks, *shown.inlays))


def weights_line(words: Texts, shown: PieceFigures) -> str:
    """Return what to weigh, as one line: the figures of the scale, and the size."""
    made = shown.figures
    split = made.split
    figures = [("crust" if made.is_filled else "dough", f"{split.crust_g:g}", "g", "pastry")]
    if made.is_filled and made.together:
        figures.append(("filling", f"{split.filling_g:g}", "g", "filling"))
    elif made.is_filled:
        figures.append(("paste", f"{split.paste_g:g}", "g", "filling"))
        if made.centres:
            figures.append(("centres", f"{split.centre_g:g}", "g", "centre"))
    size = f"{shown.width_mm:.0f} \u00d7 {shown.highest_mm or shown.height_mm:.0f}"
    figures += [
        ("raw", f"{split.raw_g:g}", "g", ""),
        ("finished", f"{round(made.piece.finished_g, 1):g}", "g", ""),
        ("wide_high", size, "mm", ""),
    ]
    return "".join(
        f"<p><b>{escape(value)}<small> {unit}</small></b><span>{_swatch(colour)}"
        f"{escape(words[key])}</span></p>"
        for key, value, unit, colour in figures
    )


def _height_rows(words: Texts, shown: PieceFigures) -> list[tuple[str, str]]:
    """Return how high a piece is: to its flat top, or to ground and highest point of its face."""
    height = f"{number_text(shown.height_mm)} mm"
    if shown.highest_mm is None:
        return [(words["height"], height)]
    highest = f"{number_text(shown.highest_mm)} mm"
    return [(words["height_ground"], height), (words["highest"], highest)]


def _swatch(colour: str) -> str:
    return f'<i class="swatch {colour}"></i>' if colour else ""


def _filling_rows(words: Texts, made: Figures) -> list[tuple[str, ...]]:
    """Return what is inside the crust: one number to weigh where centres lie with their paste."""
    if not made.is_filled:
        return []
    piece, split = made.piece, made.split
    filling_g = number_text(piece.paste_g + piece.centre_g)
    ball = number_text(made.balls.filling_mm)
    paste, centres = number_text(piece.paste_g), number_text(piece.centre_g)
    if made.together:
        return [
            (words["filled"], f"{split.filling_g:g}", filling_g, ball),
            (words["of_paste"], "", paste, ""),
            (words["of_centres"], "", centres, ""),
        ]
    if not made.centres:
        return [(words["paste"], f"{split.paste_g:g}", paste, ball)]
    return [
        (words["paste"], f"{split.paste_g:g}", paste, ""),
        (words["centres"], f"{split.centre_g:g}", centres, ""),
        (words["filled"], "", "", ball),
    ]


MEANS: Final = ("loss", "density", "springback", "width_ratio", "height_ratio", "relief_ratio")
"""What a trial finds, as the page's texts call it."""


def trial_result(words: Texts, found: Mapping[str, Any]) -> str:
    """Return the means of a trial, and the weights before and after."""
    means = [(words[name], Estimate(**found[name])) for name in MEANS if found[name] is not None]
    taught = [
        (name, f"{m.value:.4f}", f"{m.low:.4f} \u2013 {m.high:.4f}", f"{m.sd:.4f}")
        for name, m in means
    ]
    apart = [
        paragraph(words["outlier"].format(pieces=", ".join(map(str, m.outliers)), what=name))
        for name, m in means
        if m.outliers
    ]
    heads = ("", words["mean"], words["uncertainty"], words["sd"])
    together = any(made.together for made in found["weights"].values())
    filling = words["filled" if together else "paste"]
    masses = ("", words["crust"], filling, words["raw"], words["finished"], "mL")
    weights = [
        (
            words[name],
            f"{made.split.crust_g:g}",
            f"{made.weighed_g:g}",
            f"{made.split.raw_g:g}",
            number_text(made.piece.finished_g),
            number_text(made.piece.volume_ml),
        )
        for name, made in found["weights"].items()
    ]
    return (
        html_table(heads, taught, caption=words["trial_result"])
        + "".join(paragraph(words.said(remark)) for remark in found["remarks"])
        + "".join(apart)
        + _pressed_again(words, found["pressed_mm"])
        + html_table(masses, weights, caption=words["trial_weights"])
    )


def _pressed_again(words: Texts, pressed_mm: float | None) -> str:
    """Return to what height the same weight presses in the same mould."""
    if pressed_mm is None:
        return ""
    return paragraph(words["pressed_again"].format(mm=f"{pressed_mm:.1f}"))


def batch_result(words: Texts, made: Batch, currency: str) -> str:
    """Return the totals of a batch, its ingredients, trays, boxes, cost and days."""
    parts = [(words["crust"], made.crust)]
    if made.filling.pieces_g > 0.0:
        parts.append((words["paste"], made.filling))
    one_g = (made.split.crust_g, made.split.paste_g)[: len(parts)]
    rows = [
        (name, f"{each:g}", f"{part.pieces_g:.0f}", f"{part.ready_g:.0f}", f"{part.mixed_g:.0f}")
        for (name, part), each in zip(parts, one_g, strict=True)
    ]
    heads = ("", *(words[key] for key in ("each_g", "all_g", "ready_g", "mix_g")))
    title = words["pieces"].format(count=made.pieces)
    html = f"<h3>{escape(title)}</h3>" + html_table(heads, rows, caption=title)
    for name, part in parts:
        if part.lines:
            lines = [
                (
                    words.food(line.food),
                    f"{line.percent:.1f}",
                    f"{line.scaled_g:g}",
                    number_text(line.price),
                )
                for line in part.lines
            ]
            title = words["mix_for"].format(part=name)
            heads = (words["ingredient"], "%", "g", words["price"])
            html += f"<h4>{escape(title)}</h4>" + html_table(heads, lines, caption=title)
    html += "".join(paragraph(text) for text in _batch_notes(words, made, currency))
    return html + _batch_prices(words, made, currency) + times(words, made)


def _batch_prices(words: Texts, made: Batch, currency: str) -> str:
    if not made.prices:
        return ""
    keys = ("ingredients", "work", "energy", "mould", "cost_sold", "shelf_price")
    heads = ("", *(words[f"price_{key}"] for key in keys))
    rows = [
        (
            words["pieces"].format(count=f"{each.pieces:g}"),
            *(f"{getattr(each, key):.2f}" for key in keys),
        )
        for each in made.prices
    ]
    title = words["price_of_a_piece"].format(coin=currency).strip()
    html = f"<h4>{escape(title)}</h4>" + html_table(heads, rows, caption=title)
    if made.cost is None or made.cost.unpriced:
        html += paragraph(words["price_incomplete"])
    return html


def times(words: Texts, made: Batch | JointBatch) -> str:
    """Return the calendar and the hours of the bake day."""
    html = ""
    if made.days:
        title = words["calendar"]
        rows = [(day.date.isoformat(), words.said(day.what)) for day in made.days]
        heads = (words["day"], words["what_to_do"])
        html += f"<h4>{escape(title)}</h4>" + html_table(heads, rows, caption=title, kind="plan")
    if made.plan is None:
        return html + paragraph(words["no_plan"])
    title = words["bake_day"]
    rows = [(at, words.said(what)) for at, what in made.plan.hours]
    heads = (words["at_time"], words["what_to_do"])
    html += f"<h4>{escape(title)}</h4>" + html_table(heads, rows, caption=title, kind="plan")
    return html + "".join(paragraph(words.said(remark)) for remark in made.plan.remarks)


def cost_notes(words: Texts, cost: Cost | None, currency: str) -> list[str]:
    """Return what the ingredients cost, and which have no price."""
    if cost is None:
        return []
    total, each = f"{cost.total:.2f}", f"{cost.each:.2f}"
    says = [words["cost_total"].format(total=total, each=each, coin=currency)]
    if cost.unpriced:
        says.append(words["unpriced"].format(what=words["comma"].join(cost.unpriced)))
    return says


def allergen_notes(words: Texts, listed: AllergenList) -> list[str]:
    """Return which allergens the ingredients' names point to, and which names are unknown."""
    named = (("allergens_found", listed.found), ("allergens_unknown", listed.unknown))
    return [
        words[key].format(names=words["comma"].join(map(words.said, names)))
        for key, names in named
        if names
    ]


def _batch_notes(words: Texts, made: Batch, currency: str) -> list[str]:
    says = [
        words["centres_needed"].format(count=count, name=words.food(name))
        for name, count in made.centres
    ]
    if made.runs_short is not None:
        says.append(words["runs_short"].format(what=words.said(made.runs_short)))
    for key, packed in (("trays_needed", made.trays), ("boxes_needed", made.boxes)):
        mass = f"{packed.mass_g:.0f}"
        says.append(words[key].format(count=packed.count, each=packed.each, mass=mass))
    says += cost_notes(words, made.cost, currency)
    if made.packs is not None:
        says.append(words["packs"].format(**{k: f"{v:g}" for k, v in asdict(made.packs).items()}))
    says += allergen_notes(words, made.allergens)
    return says
