"""`moulddesign inspect`: what is true of any mesh."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from moulddesign.cli.console import err, figure, out, print_json, table
from moulddesign.cli.options import AsJson
from moulddesign.design import PrinterTable
from moulddesign.finding import Verdict
from moulddesign.units import Unit

if TYPE_CHECKING:
    from moulddesign.check.facts import Facts


def show(
    file: Annotated[Path, typer.Argument(help="Mesh: .stl, .3mf, .obj or .ply.")],
    *,
    unit: Annotated[
        Unit | None, typer.Option(help="Unit of the file; mm where it is left out.")
    ] = None,
    mend: Annotated[
        bool, typer.Option("--mend", help="Mend it before it is judged, and say what was done.")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """Size, volume, soundness and printability of any mesh.

    Example: moulddesign inspect old-mould.stl --unit inch
    """
    from moulddesign.check.facts import facts  # noqa: PLC0415 (geometry libraries)
    from moulddesign.check.mending import mended  # noqa: PLC0415
    from moulddesign.check.reading import read_mesh  # noqa: PLC0415

    printer = PrinterTable()
    done: tuple[str, ...] = ()
    with err().status(f"Reading and measuring {file.name} ..."):
        mesh = read_mesh(file, unit)
        if mend:
            mesh, done = mended(mesh)
        found = facts(
            mesh,
            bed_mm=printer.bed_mm,
            line_mm=printer.line_width_mm,
            layer_mm=printer.layer_height_mm,
        )
    for sentence in done or (("Nothing needed mending.",) if mend else ()):
        err().print(f"Mended: {sentence}." if done else sentence)
    if as_json:
        print_json(asdict(found) | {"mended": list(done)})
    else:
        _print(file.name, found)
    return int(any(f.verdict is Verdict.FAIL for f in found.findings))


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
        (f.name.removeprefix("mesh: "), f.measured, f"{f.limit} {f.unit}", f.verdict.value)
        for f in found.findings
    ]
    out().print(table("Findings", heads, judged))
