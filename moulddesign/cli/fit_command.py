"""`moulddesign fit`: the weights that fit a mould that one owns already."""

import functools
import inspect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from rich.console import Console
from rich.table import Table

from moulddesign.cli.console import (
    Overwrite,
    bar_over,
    ends_at_once,
    err,
    out,
    print_json,
    save_bytes,
    save_text,
    table,
)
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.cli.usage import UsageError
from moulddesign.core import LengthUnit, Message, SpecError, ml_from_mm3, say
from moulddesign.design import Design, OwnedMould, Shelf, Tool, refuse_idle

if TYPE_CHECKING:  # the room loads the geometry libraries, which light verbs do without
    from moulddesign.fit import Fit, FittingPiece, MeasuredCavity, Pressing, RankedMould, Window

LETTERS = "abcdefgh"
WHOLE_FROM = 1000.0
MASSES = ("raw_g", "crust_g", "filling_g", "finished_g")
CENTRED_MASSES = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")


def print_fit(design: Design, made: "Fit", pressed: Sequence["Pressing"]) -> None:
    """Print the weights of each cavity, the window of a press mould, and what is to be said."""
    console = out()
    for note in made.notes:
        console.print(str(note))
    for numbers in made.equal_cavities:
        cavity, rows = made.cavities[numbers[0]]
        _print_cavity(console, _title(made, cavity, numbers), rows)
    window = made.own_window(design)
    if window is not None:
        console.print(_window_table(made.windows))
    if pressed:
        console.print(_pressed_table(pressed))
    _print_uncertainties(console, made.own_piece(design))
    for sentence in _sentences(design, made):
        console.print(sentence)
    if design.portion.is_loss_unmeasured:
        console.print(
            "Finished weights follow from a loss that nobody measured: --loss gives yours."
        )


def print_ranked(design: Design, found: Sequence["RankedMould"]) -> None:
    """Print the shelf, the mould that suits the portion best first."""
    console = out()
    remarks = _Footnotes(sentence for each in found for sentence in each.remarks)
    rows = [
        (
            each.name,
            "yes" if each.fits else "no",
            _tenths(each.volume_ml)
            + (f" +- {_tenths(each.tolerance_ml)}" if each.tolerance_ml > 0.0 else ""),
            f"{each.over_ratio:+.1%}",
            _tenths(each.height_mm),
            _tenths(each.crust_thickness_mm),
            _tenths(each.fills_raw_g),
            remarks.letters(each.remarks),
        )
        for each in found
    ]
    portion = design.portion
    title = f"Moulds for {portion.finished_weight_g:g} g finished, {portion.ratio}"
    heads = ("mould", "fits", "mL", "over", "mm high", "crust", "fills g", "see")
    console.print(table(title, heads, rows))
    for sentence in remarks.sentences():
        console.print(sentence)
    if not any(each.fits for each in found):
        console.print(_nearest(found))
    console.print("mL: what it holds, and how far the portion may be from that.")
    console.print("crust: its thickness, mm, in the mould when it is full or pressed so.")
    console.print("over: how much larger the portion is than what the mould takes.")
    console.print("fills: raw weight of this ratio that the mould is full with.")


def _nearest(found: Sequence["RankedMould"]) -> str:
    """Return what to weigh instead where no mould takes the portion."""
    from moulddesign.fit import nearest_mould  # noqa: PLC0415 (loaded: the moulds were ranked by it)

    best = nearest_mould(found)
    if best is None or best.fills_raw_g is None or best.fills_finished_g is None:
        return "No mould takes this piece at any weight: its centre needs more room."
    return (
        f"No mould takes this weight. The nearest that one does: {best.fills_finished_g:.1f} g "
        f"finished, {best.fills_raw_g:.1f} g raw, in {best.name}."
    )


class _Footnotes:
    """Letters for sentences, in the order in which they first come."""

    def __init__(self, sentences: Iterable[Message]) -> None:
        self.letter = {s: LETTERS[n] for n, s in enumerate(dict.fromkeys(sentences))}

    def letters(self, sentences: Iterable[Message]) -> str:
        return " ".join(self.letter[sentence] for sentence in sentences)

    def sentences(self) -> Iterator[str]:
        for sentence, letter in self.letter.items():
            yield f"{letter}: {sentence}"


def _title(made: "Fit", cavity: "MeasuredCavity", numbers: Sequence[int]) -> str:
    which = ""
    if len(made.cavities) > 1:
        which = f", cavity {numbers[0] + 1}"
    if len(numbers) > 1:
        which = f", cavities {numbers[0] + 1} to {numbers[-1] + 1}, each"
    if cavity.bore is not None:
        which = f" at {cavity.bore.height_mm(cavity.volume_mm3):.1f} mm"
    spread = f" +- {2.0 * ml_from_mm3(cavity.volume_sd_mm3):.2g}" if cavity.uncertainties else ""
    return f"{made.mould.name}{which}: {ml_from_mm3(cavity.volume_mm3):.1f}{spread} mL"


def _print_cavity(console: Console, title: str, rows: Sequence["FittingPiece"]) -> None:
    remarks = _Footnotes(sentence for row in rows for sentence in row.remarks)
    for centred, group in groupby(rows, key=lambda row: row.has_centres):
        # Without a centre the filling is the paste.
        masses = CENTRED_MASSES if centred else MASSES
        heads = [mass.removesuffix("_g") for mass in masses]
        cells = [_cells(row, masses, remarks) for row in group]
        kind = "with the centre" if centred else "no centre"
        console.print(table(f"{title}; {kind}, g", ("ratio", *heads, "crust mm", "see"), cells))
    for sentence in remarks.sentences():
        console.print(sentence)


def _cells(row: "FittingPiece", masses: Sequence[str], remarks: _Footnotes) -> tuple[object, ...]:
    piece = row.piece
    shown = [_tenths(None if piece is None else getattr(piece, mass)) for mass in masses]
    return (
        row.ratio, *shown, _tenths(row.crust_thickness_mm), remarks.letters(row.remarks),
    )  # fmt: skip


def _window_table(windows: Sequence["Window"]) -> Table:
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


def _span(window: "Window", mass: str) -> str:
    ends = (window.least, window.most)
    return " to ".join(_tenths(None if end is None else getattr(end, mass)) for end in ends)


def _pressed_table(pressed: Sequence["Pressing"]) -> Table:
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


def _print_uncertainties(console: Console, row: "FittingPiece") -> None:
    if row.piece is None:
        return
    rows = [(c.name, c.volume_ml or "", c.raw_g) for c in row.uncertainties]
    rows.append(("all together", "", row.raw_g_sd))
    title = f"How well {row.ratio} is known (sd)"
    console.print(table(title, ("cause", "mL", "raw g"), rows))


def _sentences(design: Design, made: "Fit") -> Iterator[str]:
    """Yield what does not fit the tables."""
    row = made.own_piece(design)
    if row.piece is not None:
        yield (
            f"{row.ratio}: weigh {row.piece.raw_g:.1f} g raw, give or take "
            f"{2.0 * row.raw_g_sd:.1f} g (twice the sd); press one and weigh it to be sure."
        )
    if row.wrap_disc_mm is not None:
        yield f"A disc of its crust, {row.wrap_disc_mm:.0f} mm across, wraps the filling."
    remarks = (str(remark) for cavity, _ in made.cavities for remark in cavity.remarks)
    yield from dict.fromkeys(remarks)
    if not design.portion.centres:
        yield 'Add --centre "salted egg yolk:12" for rows with a whole centre in the filling.'


def _tenths(value: float | None) -> str:
    """Return a figure for a narrow table: whole from 1000 on, tenths below."""
    if value is None:
        return "-"
    return f"{value:.{0 if abs(value) >= WHOLE_FROM else 1}f}"


WEIGHED: Final = (
    "--weight", "--loss", "--crust-density", "--filling-density", "--centre", "--centre-mass",
    "--centre-density",
)  # fmt: skip
PORTION: Final = (
    *(override for override in PIECE if override.flag in WEIGHED),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)
"""Options for the portion, which set fields of the Design."""

OWNED: Final = (
    Override("--name", "name", str, "NAME", "What the mould is called."),
    Override("--outline", "outline", str, "NAME|FILE", "Mouth: round, square, ... or an SVG."),
    Override("--width", "width_mm", float, "MM", "Inner width of the mouth, across the flats."),
    Override("--height", "height_mm", float, "MM", "Inside, from the table to the flat top."),
    Override("--corner-radius", "corner_radius_mm", float, "MM", "Inner radius of corners."),
    Override("--lobes", "lobes", int, "N", "Lobes of a scalloped mouth."),
    Override("--lobe-depth", "lobe_depth_mm", float, "MM", "Depth of the valleys between them."),
    Override("--shoulder", "shoulder_radius_mm", float, "MM", "Radius of the rounded top edge."),
    Override("--side-draft", "draft_deg", float, "DEG", "Lean of the side; the mouth is widest."),
    Override("--relief-depth", "relief_depth_mm", float, "MM", "Depth of the relief."),
    Override("--relief-cover", "relief_cover", float, "X", "Share of the flat top it covers."),
    Override("--sense", "sense", str, "raised|sunk", "Which way the relief stands on the piece."),
    Override("--tool", "tool", Tool, "ruler|caliper", "What the sizes were read off."),
    Override("--water", "water_g", list[float], "G", "Water that fills it; repeatable."),
    Override("--empty", "empty_g", float, "G", "The empty mould, where it was not zeroed."),
    Override("--at", "at_c", float, "C", "Temperature of the water, deg C."),
    Override("--mesh", "mesh", str, "FILE", "Its mesh: .stl, .3mf, .obj or .ply."),
    Override("--stamp", "stamp", str, "FILE", "Stamp of the press whose sleeve is --mesh."),
    Override("--print-error", "print_error_mm", float, "MM", "Printed walls off the mesh, sd."),
    Override("--unit", "unit", LengthUnit, "mm|inch|cm|m", "Unit of the meshes."),
    Override("--up", "up", str, "+z", "Way up when filled: +x -x +y -y +z -z."),
    Override("--mend", "mend", bool, "", "Mend broken meshes, and tell what was done."),
    Override("--least-height", "least_height_mm", float, "MM", "Lowest that the press presses."),
    Override("--most-height", "most_height_mm", float, "MM", "Highest that the press presses."),
    Override("--bore-length", "bore_length_mm", float, "MM", "Length of a press mould's bore."),
    Override("--guide", "guide_mm", float, "MM", "Length of the stamp that stays in the bore."),
)
"""Options for the mould, which set fields of an OwnedMould."""

STAGES: Final = (
    "reading", "mending", "checking", "catchments", "cavities", "crust", "weights",
)  # fmt: skip
"""What `fit` tells of itself, in order."""


def with_mould(verb: Callable[..., Any]) -> Callable[..., Any]:
    """Give a verb the options for the mould; it is called with the design and what was given."""
    own = list(inspect.signature(verb, eval_str=True).parameters.values())

    @functools.wraps(verb)
    def run(design: Design, **values: Any) -> Any:  # noqa: ANN401 (any verb)
        asked = {o.field: values.pop(o.parameter.name) for o in OWNED}
        given = {field: value for field, value in asked.items() if value not in (None, [])}
        return verb(design, given, **values)

    run.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
        [own[0], *(o.parameter for o in OWNED), *own[2:]]
    )
    return run


@with_design(*PORTION)
@with_mould
def run_fit(
    design: Design,
    given: Mapping[str, Any],
    *,
    context: typer.Context,
    ratio: Annotated[
        list[str] | None, typer.Option(metavar="C:F", help="Ratio to add; repeatable.")
    ] = None,
    pressed_weight: Annotated[
        list[float] | None, typer.Option(metavar="G", help="Raw weight -> height; repeatable.")
    ] = None,
    pressed_height: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="Height -> weight; repeatable.")
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Plot of a press's height over weight: .svg or .png."),
    ] = None,
    shelf: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Moulds (TOML) to rank for the portion.")
    ] = None,
    save_as: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.toml", help="Write the design of what fits it."),
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Weights that fit a mould that exists: by its sizes, by water, or by its mesh.

    With --out the piece that fits goes on as a design to batch and trial; make refuses it, for its
    mould exists. A press mould takes many weights: --weight says which.

    Example: moulddesign fit --outline square --width 50 --height 25 --corner-radius 6

    Example: moulddesign fit --water 61.5 --water 62 --at 20

    Example: moulddesign fit --mesh mould.stl --unit inch --up=-z

    Example: moulddesign fit --shelf moulds.toml --weight 75 --ratio 3:7

    Example: moulddesign fit --name tin --width 60 --height 25 --ratio 3:7 --out tin.toml
    """
    design = _of_no_demo(design, context.params)
    if ratio:
        design = design.with_values({"portion.ratio": ratio[0]})
    if shelf is not None:
        if context.params.get("design_file") is None and not context.params.get("weight"):
            raise UsageError(say("cli.idle-without", option="--shelf", needs="--weight"))
        _rank(design, shelf, as_json=as_json)
        return
    mould = OwnedMould.of(given)
    refuse_idle(mould.outline, given)
    asked = (tuple(pressed_weight or ()), tuple(pressed_height or ()))
    made, pressings = _fitted(design, mould, ratio or (), asked)
    if plot is not None:
        _plot(design, made, pressings, plot, overwrite=overwrite)
    if save_as is not None:
        _save(design, made, save_as, context.params, overwrite=overwrite)
    _print(design, made, pressings, as_json=as_json)


def _save(
    design: Design, made: "Fit", path: Path, asked: Mapping[str, Any], *, overwrite: bool
) -> None:
    """Write the design of the piece that fits, under the mould's name where it has no other."""
    from moulddesign.fit import fitted_design  # noqa: PLC0415 (loaded: the mould was fitted by it)

    found = fitted_design(design, made, asked.get("weight"))
    if asked.get("design_file") is None:
        found = found.with_values({"name": made.mould.name})
    save_text(path, found.toml(), overwrite=overwrite)
    err().print(f"Written to {path}", soft_wrap=True)


def _of_no_demo(design: Design, asked: Mapping[str, Any]) -> Design:
    """Return the design without the demo's centre, where neither file nor option named one."""
    keys = ("design_file", "centre", "centre_mass", "centre_density")
    if any(asked.get(key) not in (None, (), []) for key in keys):
        return design
    return design.with_values({"portion.centres": []})


def _rank(design: Design, shelf: Path, *, as_json: bool) -> None:
    with ends_at_once():
        from moulddesign.fit import ranked_moulds  # noqa: PLC0415 (the same)

    moulds = Shelf.read(shelf).mould
    with bar_over([mould.name for mould in moulds]) as stage:
        found = ranked_moulds(design, moulds, stage)
    if as_json:
        print_json({"design": design.report(), "ranked": [each.report() for each in found]})
    else:
        print_ranked(design, found)


def _fitted(
    design: Design,
    mould: OwnedMould,
    ratios: Sequence[str],
    asked: tuple[Sequence[float], Sequence[float]],
) -> tuple["Fit", tuple["Pressing", ...]]:
    with ends_at_once():
        from moulddesign.fit import fit, pressings  # noqa: PLC0415 (no geometry for other verbs)

    with bar_over(STAGES) as stage:
        made = fit(design, mould, ratios=ratios, stage=stage)
    weights_g, heights_mm = asked
    return made, pressings(made.own_window(design), raw_g=weights_g, heights_mm=heights_mm)


def _plot(
    design: Design, made: "Fit", pressed: Sequence["Pressing"], path: Path, *, overwrite: bool
) -> None:
    with ends_at_once():
        from moulddesign.fit import plot  # noqa: PLC0415 (matplotlib)

    window = made.own_window(design)
    if window is None:
        raise SpecError("plot", str(path), say("cli.plot-needs-press"))
    draw = {".svg": plot.window_svg, ".png": plot.window_png}.get(path.suffix.lower())
    if draw is None:
        raise SpecError("plot", str(path), say("cli.must-end-in", endings=(".svg", ".png")))
    pieces = [p.piece for p in pressed]
    picture = draw(made.mould.name, window, sd_g=made.own_piece(design).raw_g_sd, pieces=pieces)
    save_bytes(path, picture, overwrite=overwrite)
    err().print(f"Written to {path}", soft_wrap=True)


def _print(design: Design, made: "Fit", pressed: Sequence["Pressing"], *, as_json: bool) -> None:
    if as_json:
        print_json(made.report(design) | {"pressed": [p.report() for p in pressed]})
    else:
        print_fit(design, made, pressed)
