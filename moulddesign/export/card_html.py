"""The bench card for a screen: one HTML file that asks nobody, for a tablet in the kitchen."""

import base64
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from html import escape
from importlib.resources import files
from string import Template
from typing import Any, Final

from PIL import Image, ImageChops

from moulddesign.core import in_words, say, with_decimal_sign
from moulddesign.design import MOST_PIECES
from moulddesign.export.card import Card
from moulddesign.export.card_piece import grams
from moulddesign.export.fonts import ZERO_WIDTH_SPACE

CARD_HTML: Final = "card.html"

PICTURE_PX: Final = 560
"""Longest side of the piece and of the parts [px]."""
SMALL_PX: Final = 260
"""Of the pieces under further stamps [px]."""
JPEG_QUALITY: Final = 82
"""Every browser shows JPEG files; older ones no WebP."""

MIXING_LEFT: Final = 0.05
"""Dough to mix differs from dough in the pieces if it shows on a scale of a tenth of a gram [g]."""


def card_html(card: Card) -> bytes:
    """Return a bench card as one HTML file, which is well-formed XML too.

    It says what the card on paper says of piece and kitchen, from the same figures, totals any
    number of pieces, and keeps ticks where the browser lets it. It holds its pictures, and no
    address.
    """
    # A browser has fonts of its own, so the language is the one that was asked for.
    shown = _without_breaks(card.in_words(card.figures["language"]))
    digest = sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()[:12]
    content = "\n".join(filter(None, _sections(shown, card.pictures)))
    template = (files("moulddesign") / "data" / CARD_HTML).read_text("utf-8")
    return Template(template).substitute(
        title=escape(shown["title"]), key=digest, content=content, program=escape(shown["program"]),
        language=shown["language"], decimal=with_decimal_sign("0.1", shown["language"])[1],
    ).encode()  # fmt: skip


def _without_breaks(values: Any) -> Any:  # noqa: ANN401 (plain values of any kind)
    """Return plain values without places to break a line at: a browser breaks by itself."""
    if isinstance(values, str):
        return values.replace(ZERO_WIDTH_SPACE, "")
    if isinstance(values, dict):
        return {key: _without_breaks(value) for key, value in values.items()}
    if isinstance(values, list):
        return [_without_breaks(value) for value in values]
    return values


def _sections(shown: Mapping[str, Any], pictures: Mapping[str, bytes]) -> Iterator[str]:
    words = shown["words"]
    yield f"<h1>{escape(shown['title'])}</h1>"
    yield f"<p>{escape(shown['what'])}</p>"
    if shown["failed"]:
        names = escape("; ".join(shown["failed"]))
        yield f'<p class="failed"><b>{escape(words["failed"])}</b> {names}</p>'
    yield _weights(shown, pictures)
    yield _section("batch", words["for_batch"], _batch(shown["each"], words, shown["language"]))
    yield _section("shape", words["shape"], _rows(shown["shapes"], "shapes"))
    yield _work(shown, pictures)
    if shown["others"]:
        yield _section("others", words["others"], _others(shown, pictures))
    yield _section("cautions", words["cautions"], _list(shown["cautions"]))
    yield _section("allergens", words["allergens"], f"<p>{escape(shown['allergens'])}</p>")
    if shown["water"]:
        yield _section("water", words["water"], f"<p>{escape(shown['water'])}</p>")
    if shown.get("remarks"):
        yield _section("remarks", words["remarks"], _list(shown["remarks"]))


def _section(name: str, title: str, body: str) -> str:
    head = f'<h2 id="{name}-title">{escape(title)}</h2>'
    return f'<section id="{name}" aria-labelledby="{name}-title">{head}{body}</section>'


def _weights(shown: Mapping[str, Any], pictures: Mapping[str, bytes]) -> str:
    """Return what to put on the scale for one piece, large, beside its picture."""
    rows = "".join(
        f'<tr><th scope="row">{escape(name)}<span class="soft">{escape(exact)}</span></th>'
        f"<td>{escape(mass)}\u00a0g</td></tr>"
        for name, mass, exact in shown["weights"]
    )
    words = shown["words"]
    raw = (
        f'<tr class="raw"><th scope="row">{escape(words["raw"] + shown["loss"])}</th>'
        f"<td>{escape(shown['raw_g'])}\u00a0g</td></tr>"
    )
    table = f'<table class="weights"><tbody>{rows}{raw}</tbody></table>'
    inlays = f" <b>{escape(shown['inlays'])}</b>" if shown["inlays"] else ""
    beside = f'<p class="soft">{escape(shown["beside"])}{inlays}</p>'
    picture = _picture(pictures, "pastry.png", words["pastry_shown"])
    body = table + beside
    if picture:
        body = (
            f'<div class="beside"><div class="narrow">{picture}</div>'
            f'<div class="wide">{body}</div></div>'
        )
    return _section("weights", words["weigh"], body)


def _batch(each: Mapping[str, Any], words: Mapping[str, str], language: str) -> str:
    """Return what a number of pieces takes, with a box for each thing that is ready."""
    pieces = each["pieces"]
    lines = []
    for name, one_g, mixed_g in each["doughs"]:
        line = f"{escape(name)}: {_total(one_g, pieces, 'g', language)}"
        if mixed_g - one_g > MIXING_LEFT / pieces:
            mixed = _total(mixed_g, pieces, "g", language)
            line += f' <span class="soft">{escape(words["mix"])}</span> {mixed}'
        lines.append(line)
    lines += [
        f"{escape(name)}: {_total(one, pieces, '', language)}" for name, one in each["centres"]
    ]
    range_ = in_words(say("export.card-range", most=MOST_PIECES), language)
    fewer, more = escape(words["fewer"]), escape(words["more"])
    stepper = (
        f'<div class="pieces"><label for="pieces">{escape(words["pieces"])}</label> '
        f'<button type="button" id="fewer" aria-label="{fewer}">\u2212</button> '
        f'<input id="pieces" type="number" inputmode="numeric" min="1" max="{MOST_PIECES}" '
        f'step="1" value="{pieces}" data-first="{pieces}" aria-describedby="range"/> '
        f'<button type="button" id="more" aria-label="{more}">+</button></div>'
        f'<p id="range" class="hidden" role="alert">{escape(range_)}</p>'
    )
    clear = (
        f'<p class="clear"><button type="button" id="clear">{escape(words["clear"])}</button></p>'
    )
    totals = _ticks("total", lines, "totals", tag="ul", more='aria-live="polite"')
    return f'{stepper}{totals}<p class="soft">{escape(words["mixing"])}</p>{clear}'


def _total(one: float, pieces: int, unit: str, language: str) -> str:
    """Return what a number of pieces takes, and what one does for the script."""
    mass = with_decimal_sign(grams(pieces * one), language)
    shown = f"{mass}\u00a0g" if unit else f"{pieces * one}"
    return f'<b data-each="{one!r}" data-unit="{unit}">{shown}</b>'


def _ticks(name: str, lines: Sequence[str], kind: str, *, tag: str = "ol", more: str = "") -> str:
    """Return lines of HTML, each with a box to tick."""
    listed = "".join(
        f'<li aria-atomic="true"><label for="{name}-{number}"><input type="checkbox" '
        f'id="{name}-{number}"/>{line}</label></li>'
        for number, line in enumerate(lines)
    )
    return f'<{tag} class="ticks {kind}" {more}>{listed}</{tag}>'


def _rows(rows: Sequence[Sequence[str]], kind: str) -> str:
    listed = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{escape(value)}</td></tr>'
        for name, value in rows
    )
    return f'<table class="{kind}"><tbody>{listed}</tbody></table>'


def _work(shown: Mapping[str, Any], pictures: Mapping[str, bytes]) -> str:
    """Return the steps of the work, with pictures where a press has them."""
    words, steps = shown["words"], shown.get("steps", ())
    if not steps:
        picture = _picture(pictures, "parts.png", words["parts_shown"])
        moves = _ticks("step", [escape(move) for move in shown["moves"]], "plain")
        if mix := shown.get("silicone"):
            moves += f"<p>{escape(words['silicone'])}: <b>{escape(mix)}</b></p>"
        return _section("work", words["use"], picture + moves)
    lines = [
        f"<b>{number + 1}. {escape(name)}</b>"
        f'<img alt="" src="{_address(pictures[f"step-{number}.svg"], "image/svg+xml")}"/>'
        f"{escape(says)}"
        for number, (name, says) in enumerate(steps)
    ]
    stop = f'<p class="soft">{escape(shown["stop"])}</p>'
    return _section("work", words["steps"], _ticks("step", lines, "steps") + stop)


def _others(shown: Mapping[str, Any], pictures: Mapping[str, bytes]) -> str:
    listed = "".join(
        f'<li><img alt="{escape(shown["words"]["other_shown"])} {escape(stamp)}" '
        f'src="{_photo(pictures[f"other-{number}.png"], SMALL_PX)}"/>{escape(stamp)}</li>'
        for number, stamp in enumerate(shown["others"])
    )
    return f'<ul class="others">{listed}</ul>'


def _list(said: Sequence[str]) -> str:
    return f'<ul class="said">{"".join(f"<li>{escape(one)}</li>" for one in said)}</ul>'


def _picture(pictures: Mapping[str, bytes], name: str, says: str) -> str:
    """Return a picture of the card; nothing where it has none."""
    if name not in pictures:
        return ""
    source = _photo(pictures[name], PICTURE_PX)
    return f'<img class="picture" alt="{escape(says)}" src="{source}"/>'


def _photo(png: bytes, most_px: int) -> str:
    """Return the address of a picture that was made small, with itself inside."""
    target = io.BytesIO()
    with Image.open(io.BytesIO(png)) as image:
        small = image.convert("RGB")
        # Without the empty margin; a picture that is white all over stays as it is.
        small = small.crop(ImageChops.invert(small).getbbox())
        small.thumbnail((most_px, most_px), Image.Resampling.LANCZOS)
        small.save(target, format="JPEG", quality=JPEG_QUALITY, optimize=True)
    return _address(target.getvalue(), "image/jpeg")


def _address(content: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
