"""`moulddesign inspect`: what is true of any mesh."""

import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from moulddesign.cli.console import bar_over, ends_at_once, err, figure, out, print_json, table
from moulddesign.cli.options import AsJson
from moulddesign.cli.saving import Overwrite, refuse_to_replace, save_bytes
from moulddesign.design import PrinterTable
from moulddesign.errors import KernelError, SpecError
from moulddesign.finding import Verdict, with_unit
from moulddesign.units import Unit

if TYPE_CHECKING:
    from moulddesign.check.facts import Facts
    from moulddesign.mesh import Mesh


STAGES: Final = ("reading", "mending", "checking", "overhang", "walls", "crossings")
"""What is told of the work, in order."""


def show(
    file: Annotated[Path, typer.Argument(help="Mesh: .stl, .3mf, .obj or .ply.")],
    *,
    unit: Annotated[
        Unit | None, typer.Option(help="Unit of the file; mm where it is left out.")
    ] = None,
    mend: Annotated[
        bool, typer.Option("--mend", help="Mend it before it is judged, and say what was done.")
    ] = False,
    target: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.stl", help="Save the mended mesh, in millimetres."),
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> int:
    """Size, volume, soundness and printability of any mesh.

    Example: moulddesign inspect old-mould.stl --unit inch

    Example: moulddesign inspect broken.stl --mend --out whole.stl
    """
    if target is not None:
        _refuse_target(file, target, mend=mend, overwrite=overwrite)
    with bar_over(STAGES) as stage:
        mesh, done = _read(file, unit, stage, mend=mend)
        found = _judged(mesh, stage)
    for sentence in done or (("Nothing needed mending.",) if mend else ()):
        err().print(f"Mended: {sentence}." if done else sentence)
    if target is not None:
        save_bytes(target, _stl(mesh), overwrite=overwrite)
        err().print(f"Written to {target}", soft_wrap=True)
    if as_json:
        print_json(asdict(found) | {"mended": list(done)})
    else:
        _print(file.name, found)
    return int(any(f.verdict is Verdict.FAIL for f in found.findings))


def _refuse_target(file: Path, target: Path, *, mend: bool, overwrite: bool) -> None:
    """Refuse a place for the mended mesh before anything is read."""
    if not mend:
        raise SpecError("out", str(target), "takes the mended mesh: add --mend")
    if target.suffix.lower() != ".stl":
        raise SpecError("out", str(target), "must end in .stl")
    if os.path.realpath(target) == os.path.realpath(file):
        raise SpecError("out", str(target), "is the mesh that is read; choose another name")
    refuse_to_replace(target, overwrite=overwrite)


def _read(
    file: Path, unit: Unit | None, stage: Callable[[str], None], *, mend: bool
) -> tuple["Mesh", tuple[str, ...]]:
    """Return the mesh, mended where that is asked for, and what was done."""
    with ends_at_once():
        from moulddesign.check.mending import mended  # noqa: PLC0415 (geometry libraries)
        from moulddesign.check.reading import read_mesh  # noqa: PLC0415

    stage("reading")
    mesh = read_mesh(file, unit)
    if not mend:
        return mesh, ()
    stage("mending")
    return mended(mesh)


def _judged(mesh: "Mesh", stage: Callable[[str], None]) -> "Facts":
    with ends_at_once():
        from moulddesign.check.facts import facts  # noqa: PLC0415 (geometry libraries)

    printer = PrinterTable()
    return facts(
        mesh,
        bed_mm=printer.bed_mm,
        line_mm=printer.line_width_mm,
        layer_mm=printer.layer_height_mm,
        stage=stage,
    )


def _stl(mesh: "Mesh") -> bytes:
    """Return a mended mesh as a file that is whole in its own precision, too."""
    with ends_at_once():
        from moulddesign.check.stl import parse_stl  # noqa: PLC0415 (geometry libraries)
        from moulddesign.check.topology import bounds_a_solid  # noqa: PLC0415
        from moulddesign.export.stl import stl_bytes  # noqa: PLC0415
        from moulddesign.settling import settled  # noqa: PLC0415

    made = settled(mesh)
    data = stl_bytes(made)
    # What collapses altogether in float32 leaves a file that holds no triangle.
    whole = len(made.triangles) > 0 and bounds_a_solid(
        parse_stl(data, most_triangles=len(mesh.triangles))
    )
    if not whole:
        raise KernelError("the mended file", "float32 cannot hold its finest facets; mend it in a "
                          "mesh editor")  # fmt: skip
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
        (f.name.removeprefix("mesh: "), f.measured, with_unit(f.limit, f.unit), f.verdict.value)
        for f in found.findings
    ]
    out().print(table("Findings", heads, judged))
