"""`inspect`: what is true of any mesh; `patterns`, `printers`: what there is to choose from."""

import errno
import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from moulddesign.cli.console import (
    Overwrite,
    bar_over,
    ends_at_once,
    err,
    figure,
    out,
    print_json,
    refuse_to_replace,
    save_bytes,
    table,
)
from moulddesign.cli.options import AsJson
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.core import (
    FileError,
    KernelError,
    LengthUnit,
    SpecError,
    Verdict,
    WriteError,
    say,
    with_unit,
)
from moulddesign.design import PrinterTable, library
from moulddesign.design.face_tables import bundled_face, face_names

if TYPE_CHECKING:
    from moulddesign.artwork.artwork_check import ArtworkCheck
    from moulddesign.geometry import Mesh
    from moulddesign.verify.soundness import Facts

STAGES: Final = ("reading", "mending", "checking", "overhang", "walls")
"""What is told of the work, in order."""


def run_inspect(
    file: Annotated[Path, typer.Argument(help="Mesh: .stl, .3mf, .obj or .ply.")],
    *,
    unit: Annotated[
        LengthUnit | None, typer.Option(help="Unit of the file; mm where it is left out.")
    ] = None,
    mend: Annotated[
        bool, typer.Option("--mend", help="Mend it before it is judged, and say what was done.")
    ] = False,
    target: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE.stl", help="Save the mended mesh, in millimetres."
        ),
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> int:
    """Check any mesh file: its size and volume, whether it is whole, and whether it prints.

    Of a file that was made larger for the shrinkage of its plastic, the figures are those of the
    print.

    Example: moulddesign inspect old-mould.stl --unit inch

    Example: moulddesign inspect broken.stl --mend --out whole.stl
    """
    if target is not None:
        _refuse_target(file, target, overwrite=overwrite)
    with bar_over(STAGES) as stage:
        mesh, larger, done = _read(file, unit, stage, mend=mend)
        found = _judged(mesh, stage)
    for sentence in done or (("Nothing needed mending.",) if mend else ()):
        err().print(f"Mended: {sentence}." if done else sentence)
    if larger != 1.0:
        err().print(str(say("fit.made-larger", name=file.name, larger=larger - 1.0)))
    if target is not None:
        save_bytes(target, _stl(mesh, larger), overwrite=overwrite)
        err().print(f"Written to {target}", soft_wrap=True)
    if as_json:
        print_json(found.report() | {"mended": list(done), "made_larger": larger})
    else:
        _print(file.name, found)
    return int(any(f.verdict is Verdict.FAIL for f in found.findings))


def _refuse_target(file: Path, target: Path, *, overwrite: bool) -> None:
    """Refuse a place for the mended mesh before anything is read."""
    if target.suffix.lower() != ".stl":
        raise SpecError("out", str(target), say("cli.must-end-in", endings=(".stl",)))
    if os.path.realpath(target) == os.path.realpath(file):
        raise SpecError("out", str(target), say("cli.mesh-that-is-read"))
    refuse_to_replace(target, overwrite=overwrite)


def _read(
    file: Path, unit: LengthUnit | None, stage: Callable[[str], None], *, mend: bool
) -> tuple["Mesh", float, tuple[str, ...]]:
    """Return the mesh as it prints, mended where that is asked for.

    With it, how much larger the file is, and what was mended.
    """
    with ends_at_once():
        from moulddesign.geometry.mending import mended  # noqa: PLC0415 (geometry libraries)
        from moulddesign.geometry.mesh_files import made_larger, read_mesh  # noqa: PLC0415

    stage("reading")
    mesh, larger = read_mesh(file, unit), made_larger(file)
    mesh = mesh.scaled(1.0 / larger)
    if not mend:
        return mesh, larger, ()
    stage("mending")
    mesh, done = mended(mesh)
    return mesh, larger, tuple(map(str, done))


def _judged(mesh: "Mesh", stage: Callable[[str], None]) -> "Facts":
    with ends_at_once():
        from moulddesign.verify.soundness import facts  # noqa: PLC0415 (geometry libraries)

    printer = PrinterTable()
    return facts(
        mesh,
        bed_mm=printer.bed_mm,
        line_mm=printer.line_width_mm,
        layer_mm=printer.layer_height_mm,
        stage=stage,
    )


def _stl(mesh: "Mesh", larger: float) -> bytes:
    """Return a mended mesh as a file that is whole in its own precision, as large as it was."""
    with ends_at_once():
        from moulddesign.export.formats import stl_bytes  # noqa: PLC0415
        from moulddesign.geometry.mending import in_float32  # noqa: PLC0415
        from moulddesign.geometry.mesh_files import parse_stl  # noqa: PLC0415 (geometry libraries)
        from moulddesign.geometry.topology import bounds_a_solid  # noqa: PLC0415

    made = in_float32(mesh.scaled(larger))
    data = stl_bytes(made, larger)
    # What collapses altogether in float32 leaves a file that holds no triangle.
    whole = len(made.triangles) > 0 and bounds_a_solid(
        parse_stl(data, most_triangles=len(mesh.triangles))
    )
    if not whole:
        raise KernelError(say("cli.mended-file"), say("cli.facets-too-fine"))
    return data


def _print(name: str, found: "Facts") -> None:
    size = " x ".join(figure(side) for side in found.size_mm)
    volume = "none: it bounds no solid" if found.volume_ml is None else figure(found.volume_ml)
    rows = [
        ("size, mm", size),
        ("volume, mL", volume),
        ("area, mm2", found.area_mm2),
        ("triangles", found.triangles),
        ("watertight", "yes" if found.watertight else "no"),
        ("bodies", found.bodies),
    ]
    out().print(table(name, ("fact", "value"), rows))
    heads = ("finding", "measured", "limit", "verdict")
    judged = [
        (str(f.what), f.measured, with_unit(str(f.limit), f.unit), f.verdict.value)
        for f in found.findings
    ]
    out().print(table("Findings", heads, judged))


patterns_app = typer.Typer(cls=VerbGroup, no_args_is_help=False, pretty_exceptions_enable=False)

Sheet = Annotated[
    Path | None,
    typer.Option("--sheet", metavar="FILE.png", help="Picture faces and patterns there."),
]
Size = Annotated[
    float, typer.Option("--size", metavar="MM", help="Larger side of the drawing's frame, mm.")
]


Thicken = Annotated[
    float | None, typer.Option("--thicken", metavar="MM", help="Thicken thinner strokes to this.")
]
Picture = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE.png", help="Ring thin strokes and gaps there."),
]


@patterns_app.callback(invoke_without_command=True)
def run_patterns(
    context: typer.Context,
    *,
    sheet: Sheet = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """List the bundled patterns and carved faces, or picture them on one sheet.

    Example: moulddesign patterns --sheet patterns.png
    """
    if context.invoked_subcommand is not None:
        return
    # The drawings are read late, so that the other verbs start without a geometry library.
    with ends_at_once():
        from moulddesign.artwork.bundled_patterns import titles  # noqa: PLC0415

    found = titles()
    carved = [(name, bundled_face(name).title) for name in face_names()]
    if sheet is not None:
        _refuse_path(sheet, overwrite=overwrite)
        with ends_at_once():
            from moulddesign.export.flat_pictures import CELL_PX, sheet_png  # noqa: PLC0415
            from moulddesign.face.carved_face import face_picture  # noqa: PLC0415

        faces = [
            (f"--face {name}", face_picture(bundled_face(name), CELL_PX)) for name in face_names()
        ]
        save_bytes(sheet, sheet_png(faces), overwrite=overwrite)
        err().print(f"Written: {sheet}", soft_wrap=True)
    if as_json:
        rows = [{"name": t.name, "title": t.title, "description": t.description} for t in found]
        named = [{"name": name, "title": title} for name, title in carved]
        print_json({"patterns": rows, "faces": named})
    else:
        shown = [(t.name, t.title) for t in found]
        out().print(table("Patterns", ("name", "what it shows"), shown))
        out().print(table("Carved faces, for --face", ("name", "what it shows"), carved))


def _refuse_path(path: Path, *, overwrite: bool) -> None:
    """Raise where a picture cannot go, before any work is done."""
    if path.suffix.lower() != ".png":
        raise FileError(str(path), say("cli.must-end-in", endings=(".png",)))
    if not path.parent.is_dir():
        reason = say("core.cannot-be-written", reason=os.strerror(errno.ENOENT))
        raise WriteError(str(path), reason)
    refuse_to_replace(path, overwrite=overwrite)


def _save_check(path: Path, found: "ArtworkCheck", *, overwrite: bool) -> None:
    with ends_at_once():
        from moulddesign.export.flat_pictures import check_png  # noqa: PLC0415

    save_bytes(path, check_png(found), overwrite=overwrite)
    err().print(f"Written: {path}", soft_wrap=True)


@patterns_app.command("check", cls=Verb)
def check(
    artwork: Annotated[str, typer.Argument(help="A pattern's name, or an SVG, PNG or JPEG file.")],
    *,
    size: Size = 60.0,
    thicken: Thicken = None,
    picture: Picture = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> int:
    """Check whether a drawing reads at a size; exit 1 where a stroke or a gap is too thin.

    Example: moulddesign patterns check my-drawing.svg --size 50 --picture thin.png
    """
    with ends_at_once():
        from moulddesign.artwork.artwork_check import GOOD_GAP_MM, GOOD_STROKE_MM, check_artwork  # noqa: PLC0415

    if picture is not None:
        _refuse_path(picture, overwrite=overwrite)
    found = check_artwork(artwork, Path(), size_mm=size, thicken_mm=thicken)
    if picture is not None:
        _save_check(picture, found, overwrite=overwrite)
    thin = {
        name: None
        if place is None
        else {"width_mm": place.width_mm, "x_mm": place.x_mm, "y_mm": place.y_mm}
        for name, place in (("thin_stroke", found.thin_stroke), ("thin_gap", found.thin_gap))
    }
    plain = {
        "artwork": artwork, "frame_mm": size, "size_mm": [found.width_mm, found.height_mm],
        "regions": found.regions, "points": found.points, "covered": found.covered,
        "depth_shares": list(found.depth_shares), "least_good_stroke_mm": GOOD_STROKE_MM,
        "least_good_gap_mm": GOOD_GAP_MM, "reads": found.reads,
        "least_size_mm": found.least_size_mm, **thin,
    }  # fmt: skip
    if as_json:
        print_json(plain)
    else:
        rows = [
            ("width and height, mm", f"{found.width_mm:.1f} x {found.height_mm:.1f}"),
            ("connected parts", found.regions),
            ("points", found.points),
            ("share of the square", f"{found.covered:.3f}"),
            ("shares of the depth", ", ".join(f"{share:g}" for share in found.depth_shares)),
            (f"stroke under {GOOD_STROKE_MM} mm", _place(thin["thin_stroke"])),
            (f"gap under {GOOD_GAP_MM} mm", _place(thin["thin_gap"])),
            ("reads from a size of, mm", f"{found.least_size_mm:.1f}"),
        ]
        out().print(table(f"{artwork} at {size:g} mm", ("", "value"), rows))
    return 0 if found.reads else 1


def _place(place: dict[str, float] | None) -> str:
    if place is None:
        return "none"
    return f"{place['width_mm']:.2f} mm at x {place['x_mm']:.1f}, y {place['y_mm']:.1f}"


def run_printers(
    *,
    file: Annotated[
        Path | None,
        typer.Option("--library", metavar="FILE", help="One's own printers and materials (TOML)."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List the printers and plastics that a design can name, with their figures.

    Example: moulddesign printers --library mine.toml
    """
    known = library(None if file is None else str(file))
    if as_json:
        print_json(
            {
                kind: [{"name": name} | asdict(each) for name, each in named.items()]
                for kind, named in (("printers", known.machines), ("materials", known.materials))
            }
        )
        return
    machines = [
        (name, " x ".join(f"{side:g}" for side in one.bed_mm), one.nozzle_mm, one.line_width_mm,
         one.layer_height_mm, one.flow_mm3_per_s)
        for name, one in known.machines.items()
    ]  # fmt: skip
    heads = ("printer", "bed mm", "nozzle mm", "line mm", "layer mm", "flow mm3/s")
    out().print(table("Printers", heads, machines))
    plastics = [
        (name, one.density_g_per_ml, one.softening_c, one.tensile_along_mpa, one.shrink)
        for name, one in known.materials.items()
    ]
    figures = ("material", "g/mL", "softens deg C", "strength MPa", "shrink")
    out().print(table("Materials", figures, plastics))
    for name, one in known.materials.items():
        out().print(f"{name}: {one.caution}")
