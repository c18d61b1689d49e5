"""What `moulddesign fit` prints: weights, windows, how well they are known, a ranked shelf."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from rich.console import Console
from rich.table import Table

from moulddesign.cli.console import out, table
from moulddesign.design import Design
from moulddesign.fit import Fit, Pressing, Ranked, Row, Window
from moulddesign.fit.measured import Measured
from moulddesign.units import ml_from_mm3

LETTERS = "abcdefgh"
WHOLE_FROM = 1000.0
MASSES = ("raw_g", "crust_g", "filling_g", "finished_g")
CENTRED_MASSES = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")


def print_fit(design: Design, made: Fit, pressed: Sequence[Pressing]) -> None:
    """Print the weights of each cavity, the window of a press mould, and what is to be said."""
    console = out()
    for note in made.notes:
        console.print(note)
    for numbers in made.alike:
        cavity, rows = made.cavities[numbers[0]]
        _print_cavity(console, _title(made, cavity, numbers), rows)
    window = made.window(design)
    if window is not None:
        console.print(_window_table(made.windows))
    if pressed:
        console.print(_pressed_table(pressed))
    _print_known(console, made.row(design))
    for sentence in _sentences(design, made):
        console.print(sentence)


def print_ranked(design: Design, found: Sequence[Ranked]) -> None:
    """Print the shelf, the mould that suits the portion best first."""
    console = out()
    remarks = _Footnotes(sentence for each in found for sentence in each.says)
    rows = [
        (
            each.name,
            "yes" if each.takes else "no",
            _tenths(each.volume_ml),
            f"{each.over_ratio:+.1%}",
            _tenths(each.height_mm),
            _tenths(each.crust_thickness_mm),
            _tenths(each.fills_raw_g),
            remarks.letters(each.says),
        )
        for each in found
    ]
    portion = design.portion
    title = f"Moulds for {portion.finished_weight_g:g} g finished, {portion.ratio}"
    heads = ("mould", "fits", "mL", "over", "mm high", "crust", "fills g", "see")
    console.print(table(title, heads, rows))
    for sentence in remarks.sentences():
        console.print(sentence)
    console.print("crust: its thickness, mm, in the mould when it is full or pressed so.")
    console.print("over: how much larger the portion is than what the mould takes.")
    console.print("fills: raw weight of this ratio that the mould is full with.")


class _Footnotes:
    """Letters for sentences, in the order in which they first come."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.letter = {s: LETTERS[n] for n, s in enumerate(dict.fromkeys(sentences))}

    def letters(self, sentences: Iterable[str]) -> str:
        return " ".join(self.letter[sentence] for sentence in sentences)

    def sentences(self) -> Iterator[str]:
        for sentence, letter in self.letter.items():
            yield f"{letter}: {sentence}"


def _title(made: Fit, cavity: Measured, numbers: Sequence[int]) -> str:
    which = ""
    if len(made.cavities) > 1:
        which = f", cavity {numbers[0] + 1}"
    if len(numbers) > 1:
        which = f", cavities {numbers[0] + 1} to {numbers[-1] + 1}, each"
    if cavity.bore is not None:
        which = f" at {cavity.bore.height_mm(cavity.volume_mm3):.1f} mm"
    spread = f" +- {2.0 * ml_from_mm3(cavity.volume_sd_mm3):.2g}" if cavity.doubts else ""
    return f"{made.mould.name}{which}: {ml_from_mm3(cavity.volume_mm3):.1f}{spread} mL"


def _print_cavity(console: Console, title: str, rows: Sequence[Row]) -> None:
    remarks = _Footnotes(sentence for row in rows for sentence in row.remarks)
    for centred, group in groupby(rows, key=lambda row: row.centred):
        # Without a centre the filling is the paste.
        masses = CENTRED_MASSES if centred else MASSES
        heads = [mass.removesuffix("_g") for mass in masses]
        cells = [_cells(row, masses, remarks) for row in group]
        kind = "with the centre" if centred else "no centre"
        console.print(table(f"{title}; {kind}, g", ("ratio", *heads, "crust mm", "see"), cells))
    for sentence in remarks.sentences():
        console.print(sentence)


def _cells(row: Row, masses: Sequence[str], remarks: _Footnotes) -> tuple[object, ...]:
    piece = row.piece
    shown = [_tenths(None if piece is None else getattr(piece, mass)) for mass in masses]
    return (
        row.ratio, *shown, _tenths(row.crust_thickness_mm), remarks.letters(row.remarks),
    )  # fmt: skip


def _window_table(windows: Sequence[Window]) -> Table:
    rows = [
        (
            w.design.portion.ratio,
            "yes" if w.design.portion.centres else "no",
            f"{w.least_mm:.1f} to {w.most_mm:.1f}",
            _span(w, "raw_g"),
            _span(w, "finished_g"),
        )
        for w in windows
    ]
    heads = ("ratio", "centre", "height mm", "raw g", "finished g")
    return table("What the press takes", heads, rows)


def _span(window: Window, mass: str) -> str:
    ends = (window.least, window.most)
    return " to ".join(_tenths(None if end is None else getattr(end, mass)) for end in ends)


def _pressed_table(pressed: Sequence[Pressing]) -> Table:
    rows = [
        (
            f"{p.height_mm:.2f} mm",
            p.piece.raw_g,
            p.piece.crust_g,
            p.piece.paste_g,
            p.piece.finished_g,
            "in the window" if p.inside else "outside",
        )
        for p in pressed
    ]
    heads = ("height", "raw g", "crust g", "paste g", "finished g", "")
    return table("Pressed", heads, rows)


def _print_known(console: Console, row: Row) -> None:
    if row.piece is None:
        return
    rows = [(c.name, c.volume_ml or "", c.raw_g) for c in row.known]
    rows.append(("all together", "", row.raw_g_sd))
    title = f"How well {row.ratio} is known (sd)"
    console.print(table(title, ("cause", "mL", "raw g"), rows))


def _sentences(design: Design, made: Fit) -> Iterator[str]:
    """Yield what does not fit the tables."""
    row = made.row(design)
    if row.piece is not None:
        yield (
            f"{row.ratio}: weigh {row.piece.raw_g:.1f} g raw, give or take "
            f"{2.0 * row.raw_g_sd:.1f} g (twice the sd); press one and weigh it to be sure."
        )
    if row.wrap_disc_mm is not None:
        yield f"A disc of its crust, {row.wrap_disc_mm:.0f} mm across, wraps the filling."
    yield from dict.fromkeys(said for cavity, _ in made.cavities for said in cavity.remarks)
    if not design.portion.centres:
        yield "Add --centre-mass 12 for rows with a whole centre in the filling."


def _tenths(value: float | None) -> str:
    """Return a figure for a narrow table: whole from 1000 on, tenths below."""
    if value is None:
        return "-"
    return f"{value:.{0 if abs(value) >= WHOLE_FROM else 1}f}"
