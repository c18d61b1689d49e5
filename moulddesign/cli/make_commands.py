"""`make`: from a finished weight to a verified mould; `coupon`: what to print before it."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table

from moulddesign.cli.console import (
    OverwriteMould,
    PrintedUnits,
    ends_at_once,
    err,
    figure,
    inches,
    out,
    print_json,
    save_bytes,
    table,
)
from moulddesign.cli.fit_command import save_own
from moulddesign.cli.options import (
    BAKED_WIDTH,
    MOULD,
    PIECE,
    RELIEF,
    SHEETS,
    STAMPS,
    WEIGHING,
    AsJson,
    Override,
    PaperName,
    paper_for,
    with_design,
)
from moulddesign.cli.set_parts import parts_to_write, refuse_the_set
from moulddesign.cli.sizes_command import make_sizes, read_sizes
from moulddesign.cli.weight_commands import weight_sentences, weight_table
from moulddesign.core import Finding, Message, SpecError, Verdict, say, with_unit
from moulddesign.core.concurrency import Submit, Task, deferred
from moulddesign.design import Design, Format, Units, parse_formats
from moulddesign.kitchen import recipe_of
from moulddesign.portion import figures

if TYPE_CHECKING:
    from moulddesign.building import Build
    from moulddesign.export import BuildFiles, ExportOptions
    from moulddesign.export.build_files import Makers

STAGES = ("portion", "pastry", "mould", "checks", "files")
SIGNS = {Verdict.GOOD: "good", Verdict.WARN: "! warn", Verdict.FAIL: "x fail"}


KEEPING: Final = (
    Override(
        "--for",
        "kept.set",
        str,
        "FOLDER|FILE",
        "Set that a new stamp and stop have to fit: its folder, or the sizes of a sleeve.",
    ),
    Override(
        "--lower-stop",
        "kept.lower_stop_mm",
        float,
        "MM",
        "Make the stop of --for lower by this, as `measured` says.",
    ),
)
"""Options for parts of a set that is there already."""


@with_design(*PIECE, BAKED_WIDTH, *WEIGHING, *RELIEF, *STAMPS, *MOULD, *SHEETS, *KEEPING)
def run_make(
    design: Design,
    *,
    context: typer.Context,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="DIR", rich_help_panel="Output", help="Default: exports/NAME."
        ),
    ] = None,
    keep_failing: Annotated[
        bool,
        typer.Option(
            "--keep-failing", rich_help_panel="Output", help="Publish in spite of a failed finding."
        ),
    ] = False,
    formats: Annotated[
        str,
        typer.Option(
            "--formats",
            metavar="LIST",
            rich_help_panel="Output",
            help="Files besides STL and report: step, drawing, glb, pictures, 3mf, card, "
            "approval; all for these; for other workshops heightmap, engraving, templates.",
        ),
    ] = "all",
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            metavar="PART",
            rich_help_panel="Output",
            help="Write this part alone, as often as wanted: stamp, stop, shim, plunger, sleeve.",
        ),
    ] = None,
    paper: PaperName = None,
    stop_for: Annotated[
        float | None,
        typer.Option(
            "--stop-for",
            metavar="G",
            rich_help_panel="Output",
            help="Make a stop for pieces of another finished weight in this press, and no more.",
        ),
    ] = None,
    sizes: Annotated[
        str | None,
        typer.Option(
            "--sizes",
            metavar="G,G,G",
            rich_help_panel="Output",
            help="The same piece in several finished weights: a folder each, one card for all.",
        ),
    ] = None,
    slicer: Annotated[
        str | None,
        typer.Option(
            "--slicer",
            metavar="PROGRAM",
            rich_help_panel="Output",
            help="Slicer that says grams and time of each part; options may follow in quotes.",
        ),
    ] = None,
    cutter: Annotated[
        str | None,
        typer.Option(
            "--cutter",
            metavar="FORM:MM",
            rich_help_panel="Output",
            help="Engraving as a router's cutter leaves it: ball:3, flat:2, v:60 (angle).",
        ),
    ] = None,
    overwrite: OverwriteMould = False,
    units: PrintedUnits = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the design file's JSON Schema; make nothing.")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """Make a mould for a piece: files to print, checked, with weights, card and pictures.

    Without file and options it makes the demo. What is not asked for has a default.

    Where the mould exists (kind = "own") the folder gets the bench card and the design alone.

    A mould of the same geometry in the folder is refreshed; another one is never lost without
    --overwrite.

    With --for, stamp and stop are made for the sleeve and the plunger of a set that is there.

    Example: moulddesign make --weight 75 --ratio 3:7 --pattern lantern --out exports/mine

    Example: moulddesign make --for exports/mine --only stamp

    Example: moulddesign make --for exports/mine --pattern blossom
    """
    if schema:
        print_json(Design.file_schema())
        return 0
    weights_g = () if sizes is None else read_sizes(sizes)
    parts = parts_to_write(design, only, formats)
    target = Path("exports") / "-".join([design.name, *(only or ())]) if folder is None else folder
    refuse_the_set(context.params.get("for_"), target)
    if design.own_mould is not None:
        idle = keep_failing or stop_for is not None or sizes is not None or slicer is not None
        idle |= cutter is not None
        if idle or formats not in {"all", "card"}:
            raise SpecError("mould.kind", design.mould.kind.value, say("building.mould-exists"))
        _make_card(design, context.params, target, units, overwrite=overwrite, as_json=as_json)
        return 0
    _refuse_idle_cutter(cutter, only, stop_for)
    if stop_for is not None:
        _make_stop(design, stop_for, target, overwrite=overwrite, as_json=as_json)
        return 0
    asked = formats if cutter is None else f"{formats},engraving"
    kinds = parse_formats("stl" if only else asked)
    with (
        _progress() as stage,
        _beside(design, pays=not weights_g and Format.STEP in kinds) as submit,
    ):
        with ends_at_once(stage.end):
            from moulddesign import export  # noqa: PLC0415 (light verbs load no geometry)
            from moulddesign.export.slicing import slicer_words  # noqa: PLC0415 (the same)
            from moulddesign.relief.cutter import read_cutter  # noqa: PLC0415 (the same)

            options = export.ExportOptions(
                slicer=() if slicer is None else slicer_words(slicer),
                formats=kinds,
                paper=paper_for(kinds, paper),
                recipe=recipe_of(design, context.params.get("design_file")),
                overwrite=overwrite,
                only=parts,
                cutter=None if cutter is None else read_cutter(cutter),
            )
            if weights_g:
                stage.bar.stop()
                return make_sizes(
                    design, weights_g, target, options, keep_failing=keep_failing, as_json=as_json
                )
            export.check_replaceable(target)  # before a build takes its time
            if not overwrite:
                export.refuse_to_lose(design, target)
            made, files = _built(design, options, stage, submit)
        if made.failed and not keep_failing:
            _show(made, units, as_json=as_json)
        stage("files")
        write = export.publish_failing if keep_failing else export.publish
        made = write(made, target, options, progress=stage.file, files=files)
    _show(made, units, as_json=as_json)
    err().print(f"Written to {target}", soft_wrap=True)
    return int(bool(made.failed))


@contextmanager
def _beside(design: Design, *, pays: bool) -> Iterator[Submit]:
    """Give what hands tasks to a second process where that pays, which loads libraries first.

    A carved face has work for it at once and leaves it idle then: the kernel is loaded there.
    """
    from moulddesign.workers import second_process  # noqa: PLC0415 (processes)

    export, kernel = ("moulddesign.export",), ("moulddesign.mould.kernel_shapes",)
    first, later = ((*export, *kernel), ()) if design.face is None else (export, kernel)
    with second_process(*first, later=later) if pays else nullcontext(deferred) as submit:
        yield submit


def _built(
    design: Design, options: "ExportOptions", stage: "_Stage", submit: Submit
) -> "tuple[Build, BuildFiles]":
    """Return a build and its files, of which some are being made already."""
    from moulddesign.building import build  # noqa: PLC0415 (light verbs load no geometry)
    from moulddesign.export import BuildFiles, face_makers, sendable_makers  # noqa: PLC0415 (the same)

    begun: dict[str, Task] = {}

    def begin(makers: "Makers") -> None:
        begun.update(zip(makers, submit(tuple(makers.values())), strict=True))

    made = build(
        design,
        stage,
        pressed=lambda piece: begin(face_makers(piece, options)),
        drawn=lambda drawn: begin(sendable_makers(drawn, options)),
        submit=submit,
    )
    return made, BuildFiles(made, options, begun)


def _refuse_idle_cutter(cutter: str | None, only: list[str] | None, stop_for: float | None) -> None:
    if cutter is not None and (only or stop_for is not None):
        raise SpecError("--cutter", cutter, say("cli.cutter-of-no-engraving"))


def _make_card(
    design: Design,
    asked: Mapping[str, Any],
    folder: Path,
    units: Units | None,
    *,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Write the bench card of a piece whose mould exists, and say its weights."""
    with ends_at_once():
        from moulddesign.fit import fit_of_own  # noqa: PLC0415 (light verbs load no geometry)

    made, recipe = fit_of_own(design), recipe_of(design, asked.get("design_file"))
    files = save_own(folder, design, made, recipe, asked.get("paper"), overwrite=overwrite)
    weights = figures(design)
    if as_json:
        print_json({"design": design.report(), "portion": weights.report(), "files": files})
    else:
        out().print(weight_table(design.name, weights, units))
        for sentence in weight_sentences(design, weights, None):
            out().print(sentence)
    err().print(f"Written to {folder}", soft_wrap=True)


def _make_stop(
    design: Design, weight_g: float, folder: Path, *, overwrite: bool, as_json: bool
) -> None:
    """Write one stop beside what a folder holds, and say what it is for."""
    with ends_at_once():
        from moulddesign.building import stop_for_weight  # noqa: PLC0415 (light verbs load no geometry)
        from moulddesign.export import check_no_file_in_place  # noqa: PLC0415 (the same)
        from moulddesign.export.formats import stl_bytes  # noqa: PLC0415 (the same)

        check_no_file_in_place(folder)
        part, layout = stop_for_weight(design, weight_g)
    path = folder / f"stop-{weight_g:.4g}g.stl"
    made = {
        "file": str(path),
        "finished_g": weight_g,
        "stop_mm": layout.stop_height_mm,
        "stopped_height_mm": layout.stopped_height_mm,
    }
    folder.mkdir(parents=True, exist_ok=True)
    save_bytes(path, stl_bytes(part.printed, part.pose.scale), overwrite=overwrite)
    if as_json:
        print_json(made)
        return
    out().print(
        f"A stop {layout.stop_height_mm:.1f} mm high ends the press at "
        f"{layout.stopped_height_mm:.1f} mm: for pieces of {weight_g:g} g."
    )
    err().print(f"Written to {path}", soft_wrap=True)


@contextmanager
def _progress() -> Iterator["_Stage"]:
    """Show a bar over the stages on stderr, where that is a terminal."""
    columns = (TextColumn("{task.description:16}"), BarColumn(), MofNCompleteColumn())
    console = err()
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        yield _Stage(bar)


class _Stage:
    """Moves the bar when a stage begins."""

    def __init__(self, bar: Progress) -> None:
        self.bar = bar
        self.task = bar.add_task("", total=len(STAGES))

    def __call__(self, name: str) -> None:
        self.bar.update(self.task, description=name, completed=STAGES.index(name))

    def file(self, name: str) -> None:
        """Name the file in the making."""
        self.bar.update(self.task, description=name)

    def end(self) -> None:
        """Leave the terminal as it was, and no process at work."""
        from multiprocessing import active_children  # noqa: PLC0415 (light verbs start none)

        self.bar.stop()
        for process in active_children():
            process.kill()


def _show(made: "Build", units: Units | None, *, as_json: bool) -> None:
    report = made.report()
    if as_json:
        print_json(report)
        return
    out().print(weight_table(made.design.name, made.portion, units))
    for sentence in _piece_sentences(made, report, units):
        out().print(sentence)
    rows = [
        (part["name"], *part["size_mm"], part["volume_ml"], part["print_g"] or "")
        for part in report["parts"]
    ]
    out().print(table("Parts", ("part", "x mm", "y mm", "z mm", "mL", "print g"), rows))
    if made.sliced:
        rows = [
            (part["name"], part["slicer_print_g"], part["slicer_print_min"])
            for part in report["parts"]
            if part["name"] in made.sliced
        ]
        total = ("together", *(sum(row[column] for row in rows) for column in (1, 2)))
        heads = ("part, with its own infill", "g", "min")
        out().print(table("By the slicer", heads, [*rows, total]))
    out().print(_findings_table(made.findings))
    for found in made.findings:
        if found.remedy is not None:
            out().print(f"To mend {found.name}: {found.remedy}.", markup=False)
    for caution in report["cautions"]:
        out().print(f"- {caution}")


def _piece_sentences(
    made: "Build", report: Mapping[str, Any], units: Units | None
) -> Iterator[str]:
    """Yield what is to be said of the piece beside its weights."""
    pastry = report["pastry"]
    yield from weight_sentences(made.design, made.portion, made.pastry.outline.width_mm)
    rounding = made.portion.rounding(made.design.mould.kind, made.pastry.outline.area_mm2)
    if rounding is not None:
        yield str(rounding)
    thick = pastry["crust_thickness_mm"]
    crust = "" if thick is None else f"; crust {figure(thick)} mm all round"
    yield (
        f"Pastry: {pastry['outline']}, {figure(pastry['width_mm'])} mm wide, "
        f"{_high(pastry)}, {figure(pastry['volume_ml'])} mL of which "
        f"{figure(pastry['relief_ml'])} mL are relief{crust}."
    )
    yield from map(str, (*made.stop_sentences, *made.inlay_sentences))
    yield from (each["says"] for each in made.height_maps.values() if "says" in each)
    if units is Units.US:
        yield f"In inches: {inches(pastry['width_mm'])} wide, {inches(pastry['height_mm'])} high."
    for one in report["further_pastries"]:
        yield (
            f"Under {one['stamp']}: {_high(one)}, "
            f"{one['higher_mm']:+.2f} mm from the first, for the same portion."
        )


def _high(pastry: Mapping[str, Any]) -> str:
    """Return how high a piece is; with a carved face to what, and at its highest."""
    if pastry["face"] is None:
        return f"{figure(pastry['height_mm'])} mm high"
    ground, highest = figure(pastry["height_mm"]), figure(pastry["highest_mm"])
    return f"{ground} mm high to the face's ground and {highest} mm at the highest"


def _findings_table(findings: Iterable[Finding]) -> Table:
    """Return the findings that are not good, and a row that counts the others."""
    rows = [
        (
            SIGNS[f.verdict],
            f.name,
            _measured(f.measured, f.unit),
            with_unit(str(f.limit), f.unit),
            str(f.source),
        )
        for f in findings
        if f.verdict is not Verdict.GOOD
    ]
    good = sum(f.verdict is Verdict.GOOD for f in findings)
    made = Table(title="Findings", title_justify="left", title_style="bold")
    for head in ("verdict", "finding", "measured", "limit", "source"):
        made.add_column(head)
    for row in [*rows, ("good", f"{good} findings, all in report.json", "", "", "")]:
        made.add_row(*row)
    return made


def _measured(value: float | Message, unit: str) -> str:
    return f"{figure(value) if isinstance(value, float) else value} {unit}".rstrip()


FOLDER: Final = Path("exports") / "coupons"

FLAGS: Final = {"--printer", "--material", "--bed", "--draft", "--shrink"}
"""Options of `make` that change a coupon."""

OPTIONS: Final[tuple[Override, ...]] = tuple(
    option for option in (*RELIEF, *MOULD) if option.flag in FLAGS
)


@with_design(*OPTIONS)
def run_coupon(
    design: Design,
    *,
    folder: Annotated[
        Path, typer.Option("--out", "-o", metavar="DIR", help="Where the files go.")
    ] = FOLDER,
    overwrite: OverwriteMould = False,
    as_json: AsJson = False,
) -> None:
    """Three small prints to make first: they measure the printer and what a dough can show.

    Example: moulddesign coupon --printer small-bed --material PLA
    """
    with ends_at_once():
        from moulddesign.export import check_replaceable, refuse_to_lose  # noqa: PLC0415 (the same)
        from moulddesign.export.publishing import made_coupons, publish_coupons  # noqa: PLC0415 (light verbs load no geometry)

    check_replaceable(folder)  # before they take their time
    if not overwrite:
        refuse_to_lose(None, folder)
    made = publish_coupons(made_coupons(design), folder, overwrite=overwrite)
    report = made.report()
    if as_json:
        print_json(report)
    else:
        rows = [(p["name"], *p["size_mm"], p["print_g"]) for p in report["parts"]]
        out().print(table("Coupons", ("part", "x mm", "y mm", "z mm", "print g"), rows))
        for step, sentence in enumerate(report["how"], start=1):
            out().print(f"{step}. {sentence}")
    err().print(f"Written to {folder}", soft_wrap=True)
