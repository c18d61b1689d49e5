"""Coupons in a folder of their own: printed before a mould, to find out what it needs."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from moulddesign import __version__
from moulddesign.core import Finding, Verdict, ml_from_mm3
from moulddesign.design import Design
from moulddesign.export.folder import DESIGN, REPORT, put_whole
from moulddesign.export.formats import stl_bytes, threemf_bytes
from moulddesign.export.pictures import Artist, row_scene
from moulddesign.geometry import Mesh
from moulddesign.mould import CLEARANCES_MM, DEPTHS_MM, STROKES_MM, coupons, filament
from moulddesign.verify.block_checks import gap_findings
from moulddesign.verify.printing import printing_findings
from moulddesign.verify.soundness import soundness, written_findings

PICTURE: Final = "parts.png"

HOW: Final = (
    "Print gauge, peg and sampler as they lie, with the settings of the mould, without supports.",
    (
        "Gauge: the smallest hole in which the peg slides by its own weight is your clearance; "
        "write its figure as clearance_mm of the mould."
    ),
    (
        "Sampler: oil it, press it into a rolled sheet of your crust dough and peel the dough "
        "off. Columns are stroke widths, rows are depths, in mm."
    ),
    (
        "The narrowest pair of strokes that the dough shows apart is your least_stroke_mm of a "
        "layer of the relief; the deepest row that comes out whole is your depth_mm."
    ),
)
"""What to do with them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupons:
    """Coupons and what was found of them.

    Parameters
    ----------
    design : Design
        Whose printer they are for.
    meshes : mapping of str to Mesh
        As they are printed.
    findings : tuple of Finding
        All that was measured.
    """

    design: Design
    meshes: Mapping[str, Mesh]
    findings: tuple[Finding, ...]

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the findings that failed."""
        return tuple(found.name for found in self.findings if found.verdict is Verdict.FAIL)

    def report(self) -> dict[str, Any]:
        """Return everything as plain values, as in `report.json`."""
        return {
            "moulddesign": __version__,
            "design": self.design.plain(),
            "clearances_mm": list(CLEARANCES_MM),
            "strokes_mm": list(STROKES_MM),
            "depths_mm": list(DEPTHS_MM),
            "how": list(HOW),
            "parts": [
                {
                    "name": name,
                    "files": [f"{name}.stl"],
                    "size_mm": mesh.size_mm.tolist(),
                    "volume_ml": ml_from_mm3(mesh.volume_mm3),
                    "print_g": filament(mesh.volume_mm3, self.design.printer).mass_g,
                }
                for name, mesh in self.meshes.items()
            ],
            "findings": [finding.report() for finding in self.findings],
        }


def made_coupons(design: Design) -> Coupons:
    """Return the coupons of a design's printer, measured.

    Parameters
    ----------
    design : Design
        Printer, and the draft of its relief.

    Raises
    ------
    SpecError
        The bed is too small.
    KernelError
        A boolean failed.
    """
    printer, mould = design.printer, coupons(design)
    meshes = {part.name: part.printed for part in mould.parts}
    pose = mould.part("gauge").pose
    dx, dy, _ = pose.shift_mm
    gaps = [(pose.scale * x + dx, pose.scale * y + dy, gap) for x, y, gap in mould.layout.holes_mm]
    findings = [*gap_findings(meshes["gauge"], meshes["peg"], gaps_mm=gaps)]
    for name, mesh in meshes.items():
        findings += printing_findings(
            mesh,
            part=name,
            bed_mm=printer.bed_mm,
            line_mm=printer.line_width_mm,
            layer_mm=printer.layer_height_mm,
        )
        findings += soundness(mesh, part=name)
    return Coupons(design=design, meshes=MappingProxyType(meshes), findings=tuple(findings))


def publish_coupons(made: Coupons, folder: Path) -> Coupons:
    """Write coupons into a folder, whole or not at all, if nothing failed.

    Parameters
    ----------
    made : Coupons
        What is written.
    folder : Path
        Made new, or put in the place of the one that is there.

    Returns
    -------
    Coupons
        With what was found when the files were read back.

    Raises
    ------
    WriteError
        It cannot be written; the old folder is untouched.
    FindingError
        A finding failed; the old folder is untouched.
    KernelError
        A library could not make a file; the old folder is untouched.
    """
    return put_whole(made, folder, _written)


def _written(made: Coupons, folder: Path) -> Coupons:
    bed_mm, found = made.design.printer.bed_mm, list(made.findings)
    with Artist({PICTURE: row_scene(made.meshes)}) as artist:
        for name, mesh in made.meshes.items():
            path = folder / f"{name}.stl"
            path.write_bytes(stl_bytes(mesh))
            found += written_findings(path, mesh)
        picture = artist.png(PICTURE)
    (folder / PICTURE).write_bytes(picture)
    whole = threemf_bytes(
        made.meshes,
        bed_mm=bed_mm,
        title="coupons",
        description=f"Clearance gauge and relief sampler, in {made.design.printer.material}",
        thumbnail=picture,
    )
    (folder / "set.3mf").write_bytes(whole)
    made = Coupons(design=made.design, meshes=made.meshes, findings=tuple(found))
    (folder / DESIGN).write_text(made.design.toml(), encoding="utf-8", newline="\n")
    report = json.dumps(made.report(), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_text(report + "\n", encoding="utf-8", newline="\n")
    return made
