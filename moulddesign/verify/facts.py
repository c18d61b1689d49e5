"""What is true of any mesh, whoever made it."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from moulddesign.core import OUR_CHOICE, Finding, Verdict, judged, say
from moulddesign.geometry import Mesh
from moulddesign.verify.measures import closedness, volume_mm3
from moulddesign.verify.printing import bed_finding, overhang_findings, wall_finding
from moulddesign.verify.soundness import soundness

FOOD_MM: Final = (5.0, 600.0)
"""Sizes between which a mould for a pastry lies; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is true of a mesh.

    Parameters
    ----------
    size_mm : tuple of float
        Extent along x, y, z [mm].
    volume_ml : float or None
        Volume enclosed; None where the mesh bounds no solid [mL].
    area_mm2 : float
        Area of all facets [mm^2].
    triangles : int
        Number of triangles.
    watertight : bool
        Whether each edge belongs to exactly two triangles.
    bodies : int
        Pieces of surface that hang together.
    findings : tuple of Finding
        What was judged.
    """

    size_mm: tuple[float, float, float]
    volume_ml: float | None
    area_mm2: float
    triangles: int
    watertight: bool
    bodies: int
    findings: tuple[Finding, ...]

    def report(self) -> dict[str, Any]:
        """Return it as plain values, as `inspect --json` prints them."""
        findings = [finding.report() for finding in self.findings]
        return asdict(replace(self, findings=())) | {"findings": findings}


def facts(
    mesh: Mesh,
    *,
    bed_mm: tuple[float, float, float],
    line_mm: float,
    layer_mm: float,
    stage: Callable[[str], None] = lambda _: None,
) -> Facts:
    """Return what is true of a mesh.

    Whether it bounds a solid can fail; all else only warns, for nobody said what the mesh is for
    or how it will lie on the bed. Walls and overhang are measured where it bounds a solid.

    Parameters
    ----------
    mesh : Mesh
        Welded, as `read_mesh` returns it [mm].
    bed_mm : tuple of float
        Build volume of the printer: x, y, z [mm].
    line_mm, layer_mm : float
        Width of a line and height of a layer [mm].
    stage : callable
        Called with the name of each stage before it starts: checking, overhang, walls.
    """
    stage("checking")
    found, enclosed_mm3 = closedness(mesh), volume_mm3(mesh)
    solid = found.closed and enclosed_mm3 > 0.0
    x, y, z = mesh.size_mm.tolist()
    softer = [_size(mesh), bed_finding(mesh, part="mesh", bed_mm=bed_mm)]
    sound = [_softened(f) if f.id == "verify.bodies" else f for f in soundness(mesh, part="mesh")]
    if solid:
        stage("overhang")
        softer += overhang_findings(mesh, part="mesh", line_mm=line_mm, layer_mm=layer_mm)
        stage("walls")
        softer.append(wall_finding(mesh, part="mesh", line_mm=line_mm))
    return Facts(
        size_mm=(x, y, z),
        volume_ml=enclosed_mm3 / 1000.0 if solid else None,
        area_mm2=mesh.area_mm2,
        triangles=len(mesh.triangles),
        watertight=found.open_edges == found.crowded_edges == 0,
        bodies=found.bodies,
        findings=(*sound, *map(_softened, softer)),
    )


def _softened(finding: Finding) -> Finding:
    return replace(finding, verdict=Verdict.WARN) if finding.verdict is Verdict.FAIL else finding


def _size(mesh: Mesh) -> Finding:
    longest_mm = float(mesh.size_mm.max())
    least_mm, most_mm = FOOD_MM
    return Finding(
        what=say("verify.longest-side"),
        part="mesh",
        measured=longest_mm,
        limit=say("verify.sizes-of-moulds", least_mm=least_mm, most_mm=most_mm),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=least_mm <= longest_mm <= most_mm),
    )
