"""Coupons in a folder of their own: printed before a mould, to find out what it needs."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from moulddesign import __version__
from moulddesign.core import Finding, Message, Verdict, ml_from_mm3, say
from moulddesign.design import DESIGN_FILE, Design
from moulddesign.export.folder import REPORT
from moulddesign.export.formats import stl_bytes, threemf_bytes
from moulddesign.export.pictures import SceneRenderer, row_scene
from moulddesign.export.publishing import PARTS_PNG, write_if_good
from moulddesign.geometry import Mesh
from moulddesign.mould import CLEARANCES_MM, DEPTHS_MM, STROKES_MM, coupons, filament
from moulddesign.verify.block_checks import gap_findings
from moulddesign.verify.printing import printing_findings
from moulddesign.verify.soundness import soundness, written_findings

INSTRUCTIONS: Final[tuple[Message, ...]] = (
    say("export.coupons-print"),
    say("export.coupons-read-gauge"),
    say("export.coupons-press-sampler"),
    say("export.coupons-read-sampler"),
)
"""What to do with the coupons, step by step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupons:
    """Coupons and what was found of them."""

    design: Design
    """Whose printer they are for."""
    meshes: Mapping[str, Mesh]
    """As they are printed, by name [mm]."""
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
            "how": [str(step) for step in INSTRUCTIONS],
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
    """Return the coupons for a design's printer, measured.

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


def publish_coupons(coupons: Coupons, folder: Path) -> Coupons:
    """Write coupons into a folder, whole or not at all, if no finding failed.

    Parameters
    ----------
    coupons : Coupons
        What is written.
    folder : Path
        Made new; earlier coupons there are replaced.

    Returns
    -------
    Coupons
        The same with what was found when the files were read back.

    Raises
    ------
    WriteError
        The folder cannot be written, or holds something else; it is as it was.
    FindingError
        A finding failed; the folder is as it was.
    KernelError
        A library could not make a file; the folder is as it was.
    """
    return write_if_good(coupons, folder, _write)


def _write(coupons: Coupons, folder: Path) -> Coupons:
    printer, findings = coupons.design.printer, list(coupons.findings)
    with SceneRenderer({PARTS_PNG: row_scene(coupons.meshes)}) as renderer:
        for name, mesh in coupons.meshes.items():
            path = folder / f"{name}.stl"
            path.write_bytes(stl_bytes(mesh))
            findings += written_findings(path, mesh)
        picture = renderer.png(PARTS_PNG)
    (folder / PARTS_PNG).write_bytes(picture)
    whole = threemf_bytes(
        coupons.meshes,
        bed_mm=printer.bed_mm,
        title="coupons",
        description=f"Clearance gauge and relief sampler, in {printer.material}",
        thumbnail=picture,
    )
    (folder / "set.3mf").write_bytes(whole)
    coupons = replace(coupons, findings=tuple(findings))
    (folder / DESIGN_FILE).write_text(coupons.design.toml(), encoding="utf-8", newline="\n")
    report = json.dumps(coupons.report(), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_text(report + "\n", encoding="utf-8", newline="\n")
    return coupons
