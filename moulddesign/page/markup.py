"""The figures, findings and files as HTML. Every text from outside is escaped here."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any, Final

from moulddesign.finding import with_unit
from moulddesign.page.piece import Piece
from moulddesign.page.texts import Texts

SIGNS: Final = {"good": "\u2713", "warn": "!", "fail": "\u2715"}
"""Beside each verdict's word, so that colour is never alone."""

ORDER: Final = ("fail", "warn", "good")


def figure(value: float | None) -> str:
    """Return a number for a table: two decimals below 10, one below 1000.

    Examples
    --------
    >>> figure(1.256), figure(76.53), figure(None)
    ('1.26', '76.5', '')
    """
    if value is None:
        return ""
    return f"{value:.{2 if abs(value) < 10 else 1}f}"  # noqa: PLR2004


def table(
    heads: Sequence[str], rows: Iterable[Sequence[str]], *, caption: str, kind: str = ""
) -> str:
    """Return a table whose first column names the row.

    Parameters
    ----------
    heads : sequence of str
        Column heads; the first may be empty.
    rows : iterable of sequence of str
        Cells, as plain text.
    caption : str
        What the table shows.
    kind : str
        Class of the table.
    """
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    body = "".join(_row(row) for row in rows)
    # A scrolling box must be reachable by keys.
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f'<table class="{kind}"><caption>{escape(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _row(row: Sequence[str]) -> str:
    first, *rest = row
    cells = "".join(f"<td>{escape(cell)}</td>" for cell in rest)
    return f'<tr><th scope="row">{escape(first)}</th>{cells}</tr>'


def paragraph(text: str, kind: str = "") -> str:
    """Return a sentence as a paragraph of a class."""
    return f'<p class="{kind}">{escape(text)}</p>'


def weights(words: Texts, shown: Piece) -> str:
    """Return what to weigh, and the sizes that follow."""
    made = shown.figures
    piece, split, balls = made.piece, made.split, made.balls
    rows = [
        (words["crust"], f"{split.crust_g:g}", figure(piece.crust_g), figure(balls.crust_mm)),
        (words["paste"], f"{split.paste_g:g}", figure(piece.paste_g), ""),
        (words["centres"], f"{split.centre_g:g}", figure(piece.centre_g), ""),
        (words["filled"], "", "", figure(balls.filling_mm)),
        (words["raw"], f"{split.raw_g:g}", figure(piece.raw_g), figure(balls.wrapped_mm)),
        (words["finished"], "", figure(piece.finished_g), ""),
    ]
    if not piece.centre_g:
        del rows[2]
    heads = ("", words["on_scale"], words["exact"], words["ball"])
    sizes = [
        (words["width"], f"{figure(shown.width_mm)} mm"),
        (words["height"], f"{figure(shown.height_mm)} mm"),
        (words["crust_thickness"], f"{figure(shown.crust_mm)} mm"),
        (words["volume"], f"{figure(piece.volume_ml)} mL"),
        (words["relief_volume"], f"{figure(shown.relief_ml)} mL"),
        (words["scatter"], f"{figure(made.spread.raw_g)} g"),
    ]
    says = [words["disc"].format(mm=f"{balls.disc_mm:.0f}", thick=f"{balls.shell_mm:.1f}")]
    if shown.roll is not None:
        across, length = f"{shown.roll.across_mm:.0f}", f"{shown.roll.length_mm:.0f}"
        says.append(words["roll"].format(across=across, length=length))
    if made.label is not None:
        least, label = f"{made.label.raw_g:.1f}", f"{made.label.label_g:g}"
        says.append(words["label_says"].format(label=label, raw=least))
    return (
        table(heads, rows, caption=words["one_piece"], kind="weights")
        + table(("", ""), sizes, caption=words["sizes"], kind="sizes")
        + "".join(paragraph(text) for text in says)
    )


def findings(words: Texts, report: Mapping[str, Any]) -> str:
    """Return the findings, those that did not come out well first, and the cautions."""
    found = report["findings"]
    groups = {verdict: [f for f in found if f["verdict"] == verdict] for verdict in ORDER}
    counts = ", ".join(
        f"{SIGNS[verdict]} {len(group)} {words[f'verdict_{verdict}']}"
        for verdict, group in groups.items()
        if group
    )
    wrong = [f for verdict in ("fail", "warn") for f in groups[verdict]]
    cautions = "".join(f"<li>{escape(words.said(text))}</li>" for text in report["cautions"])
    return (
        paragraph(counts, "counts")
        + "".join(_finding(words, f) for f in wrong)
        + f"<details><summary>{escape(words['what_holds'])}</summary>"
        + "".join(_finding(words, f) for f in groups["good"])
        + f"</details><details><summary>{escape(words['cautions'])}</summary>"
        + f"<ul>{cautions}</ul></details>"
    )


def _finding(words: Texts, found: Mapping[str, Any]) -> str:
    verdict = found["verdict"]
    measured = found["measured"]
    value = figure(measured) if isinstance(measured, float) else words.named(str(measured))
    unit = words.named(found["unit"]) if found["unit"] else ""
    return (
        f'<div class="finding {verdict}"><p><span class="sign" aria-hidden="true">'
        f"{SIGNS[verdict]}</span> <b>{escape(words[f'verdict_{verdict}'])}:</b> "
        f"{escape(words.said(found['name']))}</p><p>{escape(f'{value} {unit}'.rstrip())} "
        f'<span class="limit">({escape(words["limit"])}: '
        f"{escape(with_unit(words.said(found['limit']), unit))}; "
        f"{escape(words.named(found['source']))})</span></p></div>"
    )


def files(words: Texts, token: str, sizes: Mapping[str, int], *, whole: str) -> str:
    """Return links to the files of a set.

    Parameters
    ----------
    words : Texts
        The language.
    token : str
        Where they lie.
    sizes : mapping of str to int
        Size of each file, by name [bytes].
    whole : str
        Name of the file that holds them all.
    """
    links = "".join(
        f'<li><a download href="/files/{token}/{escape(name)}">{escape(name)}</a> '
        f"<span>{_size(size)}</span></li>"
        for name, size in sizes.items()
    )
    return (
        f'<p><a class="whole" download href="/files/{token}/{escape(whole)}">'
        f'{escape(words["whole_set"])}</a></p><ul class="files">{links}</ul>'
    )


def _size(count: int) -> str:
    """Return a file's size.

    Examples
    --------
    >>> _size(900), _size(2_500_000)
    ('1 kB', '2.5 MB')
    """
    return f"{count / 1e6:.1f} MB" if count >= 1e5 else f"{max(round(count / 1e3), 1)} kB"  # noqa: PLR2004
