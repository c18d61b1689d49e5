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
    PrintedUnits,
    UnitSystem,
    bar_over,
    ends_at_once,
    err,
    ounces,
    out,
    print_json,
    refuse_to_replace,
    save_bytes,
    save_text,
    systems,
    table,
    tenths,
)
from moulddesign.cli.options import (
    RECIPE,
    WEIGHING,
    WEIGHTS,
    AsJson,
    Override,
    PaperName,
    with_design,
)
from moulddesign.cli.usage import UsageError
from moulddesign.core import (
    FileError,
    LengthUnit,
    Message,
    SpecError,
    WriteError,
    ml_from_mm3,
    say,
)
from moulddesign.design import (
    DESIGN_FILE,
    Design,
    OwnedMould,
    Register,
    Tool,
    Units,
    collect_drawings,
    parse_paper,
    read_register,
    refuse_idle,
    register_path,
)

if TYPE_CHECKING:  # the room loads the geometry libraries, which light verbs do without
    from moulddesign.fit import Fit, FittingPiece, MeasuredCavity, Pressing, RankedMould, Window
    from moulddesign.kitchen import Recipe

LETTERS = "abcdefgh"
MASSES = ("raw_g", "crust_g", "filling_g", "finished_g")
CENTRED_MASSES = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")


def print_fit(
    design: Design, made: "Fit", pressed: Sequence["Pressing"], units: Units | None
) -> None:
    """Print the weights of each cavity, the window of a press mould, and what is to be said."""
    console = out()
    for note in made.notes:
        console.print(str(note))
    for numbers in made.equal_cavities:
        cavity, rows = made.cavities[numbers[0]]
        title = _title(made, cavity, numbers)
        if design.portion.is_filled:
            _print_cavity(console, title, rows, units)
        else:
            _print_unfilled(console, title, rows[-1], design, units)
    for system in systems(units):
        if made.own_window(design) is not None:
            console.print(_window_table(made.windows, system))
        if pressed:
            console.print(_pressed_table(pressed, system))
    _print_uncertainties(console, design, made.own_piece(design))
    for sentence in _sentences(design, made, units):
        console.print(sentence)


def print_ranked(design: Design, found: Sequence["RankedMould"], units: Units | None) -> None:
    """Print the shelf, the mould that suits the portion best first."""
    from moulddesign.fit import nearest_remark  # noqa: PLC0415 (loaded: the moulds were ranked by it)

    console = out()
    remarks = _Footnotes(sentence for each in found for sentence in each.remarks)
    portion = design.portion
    unsure = ", by a loss that nobody measured" if portion.is_loss_unmeasured else ""
    for system in systems(units):
        rows = [
            (
                each.name,
                "yes" if each.fits else "no",
                tenths(each.volume_ml)
                + (f" +- {tenths(each.tolerance_ml)}" if each.tolerance_ml > 0.0 else ""),
                f"{each.over_ratio:+.1%}",
                _shown(each.height_mm, system.of_mm),
                _shown(each.crust_thickness_mm, system.of_mm),
                _shown(each.fills_raw_g, system.of_grams),
                remarks.letters(each.remarks),
            )
            for each in found
        ]
        weight = f"{system.of_grams(portion.finished_weight_g)} {system.mass}"
        title = f"Moulds for {weight} finished, {portion.ratio}{unsure}"
        heads = (
            *("mould", "fits", "mL", "over", f"{system.length} high", f"crust {system.length}"),
            *(f"fills {system.mass}", "see"),
        )
        console.print(table(title, heads, rows))
    for sentence in remarks.sentences():
        console.print(sentence)
    instead = nearest_remark(found)
    if instead is not None:
        console.print(str(instead))
    console.print("mL: what it holds, and how far the portion may be from that.")
    console.print("crust: its thickness in the mould when it is full or pressed so.")
    console.print("over: how much larger the portion is than what the mould takes.")
    console.print("fills: raw weight of this ratio that the mould is full with.")


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


def _print_cavity(
    console: Console, title: str, rows: Sequence["FittingPiece"], units: Units | None
) -> None:
    remarks = _Footnotes(sentence for row in rows for sentence in row.remarks)
    for centred, group in groupby(rows, key=lambda row: row.has_centres):
        # Without a centre the filling is the paste.
        masses = CENTRED_MASSES if centred else MASSES
        heads = [mass.removesuffix("_g") for mass in masses]
        kind, alike = "with the centre" if centred else "no centre", tuple(group)
        for system in systems(units):
            cells = [_cells(row, masses, remarks, system) for row in alike]
            made = table(
                f"{title}; {kind}, {system.mass}",
                ("ratio", *heads, f"crust {system.length}", "see"),
                cells,
            )
            console.print(made)
    for sentence in remarks.sentences():
        console.print(sentence)


def _print_unfilled(
    console: Console, title: str, row: "FittingPiece", design: Design, units: Units | None
) -> None:
    """Print the weights of a piece of one dough, or of a mass that is poured."""
    if row.piece is None:
        return
    for system in systems(units):
        masses = (system.of_grams(row.piece.raw_g), system.of_grams(row.piece.finished_g))
        heads = ("piece", f"raw {system.mass}", f"finished {system.mass}")
        console.print(table(title, heads, [(_kind_of_piece(design), *masses)]))


def _cells(
    row: "FittingPiece", masses: Sequence[str], remarks: _Footnotes, system: UnitSystem
) -> tuple[object, ...]:
    piece = row.piece
    grams = [None if piece is None else getattr(piece, mass) for mass in masses]
    shown = [_shown(each, system.of_grams) for each in grams]
    thickness = _shown(row.crust_thickness_mm, system.of_mm)
    return (row.ratio, *shown, thickness, remarks.letters(row.remarks))


def _window_table(windows: Sequence["Window"], system: UnitSystem) -> Table:
    rows = [
        (
            _kind_of_piece(w.design),
            "yes" if w.design.portion.centres else "no",
            f"{system.of_mm(w.least_mm)} to {system.of_mm(w.most_mm)}",
            _span(w, "raw_g", system),
            _span(w, "finished_g", system),
        )
        for w in windows
    ]
    mass, length = system.mass, system.length
    heads = ("ratio", "centre", f"height {length}", f"raw {mass}", f"finished {mass}")
    return table("What the press takes", heads, rows)


def _span(window: "Window", mass: str, system: UnitSystem) -> str:
    ends = (window.least, window.most)
    grams = [None if end is None else getattr(end, mass) for end in ends]
    return " to ".join(_shown(each, system.of_grams) for each in grams)


def _pressed_table(pressed: Sequence["Pressing"], system: UnitSystem) -> Table:
    masses = ("raw_g", "crust_g", "paste_g", "finished_g")
    rows = [
        (
            system.of_mm(p.height_mm),
            *(system.of_grams(getattr(p.piece, mass)) for mass in masses),
            "in the window" if p.inside else "outside",
        )
        for p in pressed
    ]
    heads = [f"{mass.removesuffix('_g')} {system.mass}" for mass in masses]
    return table("Pressed", (f"height {system.length}", *heads, ""), rows)


def _kind_of_piece(design: Design) -> str:
    """Return the ratio, or what a piece without a filling is."""
    portion = design.portion
    return portion.ratio if portion.is_filled else portion.composition.value


def _print_uncertainties(console: Console, design: Design, row: "FittingPiece") -> None:
    if row.piece is None:
        return
    rows = [(c.name, c.volume_ml or "", c.raw_g) for c in row.uncertainties]
    rows.append(("all together", "", row.raw_g_sd))
    title = f"How well {_kind_of_piece(design)} is known (sd)"
    console.print(table(title, ("cause", "mL", "raw g"), rows))


def _sentences(design: Design, made: "Fit", units: Units | None) -> Iterator[str]:
    """Yield what does not fit the tables."""
    from moulddesign.fit import ABOUT_CRUST  # noqa: PLC0415 (loaded: the mould was fitted by it)

    row = made.own_piece(design)
    if row.piece is not None:
        doubt_g = 2.0 * row.raw_g_sd
        us = ""
        if units is Units.US:
            us = f", in ounces {ounces(row.piece.raw_g)} give or take {ounces(doubt_g)}"
        yield (
            f"{_kind_of_piece(design)}: weigh {row.piece.raw_g:.1f} g raw, give or take "
            f"{doubt_g:.1f} g (twice the sd){us}; press one and weigh it to be sure."
        )
    if row.wrap_disc_mm is not None:
        yield f"A disc of its crust, {row.wrap_disc_mm:.0f} mm across, wraps the filling."
    filled = design.portion.is_filled
    remarks = (remark for cavity, _ in made.cavities for remark in cavity.remarks)
    yield from dict.fromkeys(str(r) for r in remarks if filled or r.id not in ABOUT_CRUST)
    if filled and not design.portion.centres:
        yield 'Add --centre "salted egg yolk:12" for rows with a whole centre in the filling.'
    if design.portion.is_loss_unmeasured:
        yield "Finished weights follow from a loss that nobody measured: --loss gives yours."


def _shown(value: float | None, show: Callable[[float], str]) -> str:
    """Return a figure of a table, a dash where it is not known."""
    return "-" if value is None else show(value)


PORTION: Final = (
    *(override for override in WEIGHTS if override.flag not in {"--name", "--ratio"}),
    *WEIGHING,
    RECIPE,
)
"""Options for the portion, which set fields of the Design; name and ratio are the verb's own."""

OWNED: Final = (
    Override("--name", "name", str, "NAME", "What the mould is called."),
    Override("--outline", "outline", str, "NAME|FILE", "Mouth: round, square, ... or an SVG."),
    Override("--width", "width_mm", float, "MM", "Inner width of the mouth, across the flats."),
    Override("--height", "height_mm", float, "MM", "Inside, from the table to the flat top."),
    Override("--highest", "highest_mm", float, "MM", "To the highest place of a domed top."),
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
    Override("--volume", "volume_ml", float, "ML", "What it holds, as it says on it."),
    Override("--volume-sd", "volume_sd_ml", float, "ML", "How well that is known, sd."),
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


@with_design(*PORTION, bare=Design)
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
    my_moulds: Annotated[
        bool,
        typer.Option("--my-moulds", help="Rank the moulds of your register; see `moulds`."),
    ] = False,
    save_as: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            metavar="DIR|FILE.toml",
            help="Write the design of what fits it; into a folder, its bench card too.",
        ),
    ] = None,
    paper: PaperName = None,
    units: PrintedUnits = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Weights that fit a mould that exists: by its sizes, by water, by its mesh, or by mL.

    With --out the piece that fits goes on as a design to batch and trial, with the mould in it as
    measured; make gives it a card and no mould. A folder gets its bench card at once, on paper and
    for a tablet. A press mould takes many weights: --weight says which.

    Example: moulddesign fit --outline square --width 50 --height 25 --corner-radius 6

    Example: moulddesign fit --water 61.5 --water 62 --at 20

    Example: moulddesign fit --mesh mould.stl --unit inch --up=-z

    Example: moulddesign fit --shelf moulds.toml --weight 75 --ratio 3:7

    Example: moulddesign fit --my-moulds --weight 75

    Example: moulddesign fit --name tin --width 60 --height 25 --ratio 3:7 --out tin
    """
    if paper is not None and (save_as is None or save_as.suffix == ".toml"):
        raise UsageError(say("cli.idle-without", option="--paper", needs="--out"))
    if ratio:
        design = design.with_values({"portion.ratio": ratio[0]})
    if shelf is not None or my_moulds:
        option = "--my-moulds" if shelf is None else "--shelf"
        if context.params.get("design_file") is None and not context.params.get("weight"):
            raise UsageError(say("cli.idle-without", option=option, needs="--weight"))
        moulds = _registered() if shelf is None else Register.read(shelf).mould
        _rank(design, moulds, units, as_json=as_json)
        return
    mould = OwnedMould.of(given)
    refuse_idle(mould.outline, given)
    asked = (tuple(pressed_weight or ()), tuple(pressed_height or ()))
    made, pressings = _fitted(design, mould, ratio or (), asked)
    if plot is not None:
        _plot(design, made, pressings, plot, overwrite=overwrite)
    if save_as is not None:
        _save(design, made, save_as, context.params, overwrite=overwrite)
    _print(design, made, pressings, units, as_json=as_json)


def _save(
    design: Design, made: "Fit", path: Path, asked: Mapping[str, Any], *, overwrite: bool
) -> None:
    """Write the design of the piece that fits, under the mould's name where it has no other.

    A folder gets its bench card too, unless it holds a mould that was made.
    """
    from moulddesign.fit import fitted_design  # noqa: PLC0415 (loaded: the mould was fitted by it)

    found = fitted_design(design, made, asked.get("weight"))
    file = asked.get("design_file")
    if file is None:
        found = found.with_values({"name": made.mould.name})
    if path.suffix == ".toml":
        save_text(path, found.toml(), overwrite=overwrite)
    else:
        from moulddesign.kitchen import recipe_of  # noqa: PLC0415 (where a card is written)

        recipe = recipe_of(design, file)
        save_own(path, found, made, recipe, asked.get("paper"), overwrite=overwrite)
    err().print(f"Written to {path}", soft_wrap=True)


def save_own(
    folder: Path,
    design: Design,
    made: "Fit | None",
    recipe: "Recipe | None",
    paper: str | None,
    *,
    overwrite: bool,
) -> tuple[str, ...]:
    """Write design and card of a piece whose mould exists into a folder; return the files."""
    with ends_at_once():
        from moulddesign.export.owned_card import owned_files  # noqa: PLC0415 (typesetting)

    written = owned_files(design, made, recipe, parse_paper(paper or "a4"))
    beside, copies = collect_drawings(design)
    files = {DESIGN_FILE: beside.toml().encode()} | written
    files |= {name: path.read_bytes() for name, path in copies.items()}
    _save_all(folder, files, overwrite=overwrite)
    return tuple(files)


def _save_all(folder: Path, files: Mapping[str, bytes], *, overwrite: bool) -> None:
    """Write files into a folder, made where it is missing, if none of them is in the way."""
    from moulddesign.export import REPORT, refuse_to_lose  # noqa: PLC0415 (loaded for the card)

    refuse_to_lose(None, folder)
    if (folder / REPORT).exists():
        raise FileError(str(folder), say("cli.folder-of-build"))
    for name in files:
        refuse_to_replace(folder / name, overwrite=overwrite)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = say("core.cannot-be-written", reason=error.strerror)
        raise WriteError(str(folder), reason) from error
    for name, content in files.items():
        save_bytes(folder / name, content, overwrite=True)


def _registered() -> Sequence[OwnedMould]:
    moulds = read_register()
    if not moulds:
        raise FileError(str(register_path()), say("design.no-moulds"))
    return moulds


def _rank(
    design: Design, moulds: Sequence[OwnedMould], units: Units | None, *, as_json: bool
) -> None:
    with ends_at_once():
        from moulddesign.fit import nearest_remark, ranked_moulds  # noqa: PLC0415 (the same)

    with bar_over([mould.name for mould in moulds]) as stage:
        found = ranked_moulds(design, moulds, stage)
    if as_json:
        ranked = [each.report() for each in found]
        print_json({"design": design.report(), "ranked": ranked, "nearest": nearest_remark(found)})
    else:
        print_ranked(design, found, units)


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
        from moulddesign.fit import plot  # noqa: PLC0415 (no geometry for other verbs)

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


def _print(
    design: Design,
    made: "Fit",
    pressed: Sequence["Pressing"],
    units: Units | None,
    *,
    as_json: bool,
) -> None:
    if as_json:
        print_json(made.report(design) | {"pressed": [p.report() for p in pressed]})
    else:
        print_fit(design, made, pressed, units)
