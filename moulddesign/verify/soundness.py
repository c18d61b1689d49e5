"""Whether a mesh is one sound solid with the volume it has to have, and what else is true of it.

Nothing here shares code with what made the mesh: sides are compared by their end points' own
bytes, and volumes are summed over the table.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.core import OUR_CHOICE, Finding, Message, Verdict, judged, say
from moulddesign.geometry import Indices, Mesh, Points, sides_and_heights_mm
from moulddesign.geometry.topology import crossing_facets, tolerance_mm
from moulddesign.verify.printing import bed_finding, overhang_findings, wall_finding

SOLID_SOURCE: Final = say("verify.two-triangles-an-edge")
FLAT_MM: Final = 1e-8
"""Least height of a triangle that still has a normal in float64 [mm]."""
MOST_TRIANGLES: Final = 200_000
"""Larger meshes are not searched for crossing facets: that would take a second or more."""


def soundness(mesh: Mesh, *, part: str) -> tuple[Finding, ...]:
    """Return whether a mesh is the surface of one solid, in the precision of the file.

    Corners are rounded to float32 before they are compared. Found are open, crowded and clashing
    edges, bodies, volume, collapsed and flat triangles, and facets that pass through each other.
    """
    written = _written(mesh)
    found, enclosed_mm3 = closedness(written), volume_mm3(written)
    flat = int(np.sum(sides_and_heights_mm(written.corners)[1] < FLAT_MM)) - found.collapsed
    return (
        _none(part, say("verify.open-edges"), found.open_edges, "edges"),
        _none(part, say("verify.crowded-edges"), found.crowded_edges, "edges"),
        _none(part, say("verify.clashing-edges"), found.clashing_edges, "edges"),
        Finding(
            what=say("verify.bodies"),
            part=part,
            measured=found.bodies,
            limit=say("core.exactly", value=1),
            unit="",
            source=say("verify.one-printed-piece"),
            verdict=judged(good=found.bodies == 1),
        ),
        Finding(
            what=say("verify.volume-positive"),
            part=part,
            measured=enclosed_mm3 / 1000.0,
            limit=say("core.above", limit=0),
            unit="mL",
            source=SOLID_SOURCE,
            verdict=judged(good=enclosed_mm3 > 0.0),
        ),
        _none(part, say("verify.collapsed-triangles"), found.collapsed, "triangles"),
        _none(part, say("verify.flat-triangles"), flat, "triangles"),
        _crossing(part, written),
    )


def _crossing(part: str, mesh: Mesh) -> Finding:
    allowed_mm = tolerance_mm(mesh)
    limit = say("verify.none-deeper", depth_mm=allowed_mm)
    if len(mesh.triangles) > MOST_TRIANGLES:
        return Finding(
            what=say("verify.crossing-facets"),
            part=part,
            measured=say("verify.too-large-to-look"),
            limit=limit,
            unit="",
            source=SOLID_SOURCE,
            verdict=Verdict.WARN,
        )
    count = len(crossing_facets(mesh, over_mm=allowed_mm))
    return Finding(
        what=say("verify.crossing-facets"),
        part=part,
        measured=count,
        limit=limit,
        unit="triangles",
        source=SOLID_SOURCE,
        verdict=judged(good=count == 0),
    )


def volume_finding(
    what: Message,
    *,
    part: str = "",
    measured_mm3: float,
    target_mm3: float,
    within_ratio: float = 0.001,
    source: Message,
) -> Finding:
    """Return whether a volume is the target, within a share of it; `source` is of the target.

    Examples
    --------
    >>> from moulddesign.core import DESIGN
    >>> what = say("verify.closed-cavity")
    >>> volume_finding(what, measured_mm3=60050.0, target_mm3=60000.0, source=DESIGN).verdict
    <Verdict.GOOD: 'good'>
    """
    return Finding(
        what=what,
        part=part,
        measured=measured_mm3 / 1000.0,
        limit=say(
            "verify.volume-within", target_ml=target_mm3 / 1000.0, percent=100.0 * within_ratio
        ),
        unit="mL",
        source=source,
        verdict=judged(good=abs(measured_mm3 - target_mm3) <= within_ratio * target_mm3),
    )


def _written(mesh: Mesh) -> Mesh:
    """Return a mesh in float32; itself, whose topology may be known, where it is that already."""
    rounded = mesh.vertices.astype(np.float32).astype(np.float64)
    return mesh if np.array_equal(rounded, mesh.vertices) else Mesh(rounded, mesh.triangles)


def _none(part: str, what: Message, count: int, unit: str) -> Finding:
    return Finding(
        what=what,
        part=part,
        measured=count,
        limit=say("core.exactly", value=0),
        unit=unit,
        source=SOLID_SOURCE,
        verdict=judged(good=count == 0),
    )


SAME_RATIO: Final = 1e-6
"""The part's corners are float32 numbers already, so only the order of summing differs."""


def written_findings(path: Path, mesh: Mesh) -> tuple[Finding, ...]:
    """Return whether a mesh file holds one sound solid of the volume that was made."""
    import trimesh  # noqa: PLC0415 (a third of what a build loads)

    read = trimesh.load_mesh(path, process=True)
    sound = bool(read.is_watertight and read.is_winding_consistent and read.body_count == 1)
    return (
        Finding(
            what=say("verify.read-back-sound"),
            part=path.name,
            measured=say("core.yes") if sound else say("core.no"),
            limit=say("core.yes"),
            unit="",
            source=say("verify.independent-reader"),
            verdict=judged(good=sound),
        ),
        Finding(
            what=say("verify.volume-read-back"),
            part=path.name,
            measured=float(read.volume) / 1000.0,
            limit=say("verify.volume-read-back-within", target_ml=mesh.volume_mm3 / 1000.0),
            unit="mL",
            source=say("verify.independent-reader"),
            verdict=judged(good=abs(read.volume - mesh.volume_mm3) <= SAME_RATIO * mesh.volume_mm3),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Closedness:
    """Counts of what keeps a surface from bounding one solid."""

    open_edges: int
    """Edges with a triangle on one side only."""
    crowded_edges: int
    """Edges where more than two triangles meet."""
    clashing_edges: int
    """Edges whose two triangles are wound against each other."""
    collapsed: int
    """Triangles with two corners in one place."""
    bodies: int
    """Pieces of surface that are connected over edges."""

    @property
    def closed(self) -> bool:
        """Whether each edge has exactly two triangles, wound alike."""
        return self.open_edges == self.crowded_edges == self.clashing_edges == 0


def closedness(mesh: Mesh) -> Closedness:
    """Return how the triangles of a mesh are joined; corners with the same numbers are one."""
    places = _places(mesh.vertices)[mesh.triangles]
    collapsed = np.any(places == np.roll(places, 1, axis=1), axis=1)
    kept = places[~collapsed]
    owners = np.repeat(np.arange(len(kept)), 3)
    tails, heads = kept.reshape(-1), np.roll(kept, -1, axis=1).reshape(-1)
    span = int(places.max(initial=0)) + 1
    # The side a -> b of one triangle and b -> a of its neighbour are the same edge.
    edges, edge, uses = np.unique(
        np.minimum(tails, heads) * span + np.maximum(tails, heads),
        return_inverse=True,
        return_counts=True,
    )
    # A side that runs from its lower place to its higher counts +1, one that runs down -1: two
    # neighbours wound alike cancel.
    net = np.bincount(edge, weights=np.sign(heads - tails), minlength=len(edges))
    return Closedness(
        open_edges=int(np.sum(uses == 1)),
        crowded_edges=int(np.sum(uses > 2)),  # noqa: PLR2004 (an edge has two sides)
        clashing_edges=int(np.sum((uses == 2) & (net != 0))),  # noqa: PLR2004
        collapsed=int(np.sum(collapsed)),
        bodies=_bodies(owners, edge, len(kept), len(edges)),
    )


def _places(vertices: Points) -> Indices:
    """Return a number for each corner, the same where all three coordinates are the same."""
    rows = np.ascontiguousarray(vertices + 0.0)  # -0.0 and 0.0 are one place
    raw = rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1]))).reshape(-1)
    return np.asarray(np.unique(raw, return_inverse=True)[1], dtype=np.int64)


def _bodies(owners: Indices, edge: Indices, facets: int, edges: int) -> int:
    """Return into how many pieces triangles and edges, linked where they touch, fall apart."""
    links = coo_array(
        (np.ones(len(owners), dtype=bool), (owners, facets + edge)), shape=(facets + edges,) * 2
    )
    return int(connected_components(links, directed=False)[0])


def volume_mm3(mesh: Mesh) -> float:
    """Return the volume that a closed mesh encloses, negative where it is inside out [mm^3].

    Each facet stands on a column down to the table: its area seen from above, positive where it
    looks up, times the mean height of its corners.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> round(volume_mm3(box((1, 1, 5), (3, 4, 9))), 9)
    24.0
    """
    if not len(mesh.triangles):
        return 0.0
    corners = mesh.corners - mesh.bounds.mean(axis=0)
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = np.moveaxis(corners, (1, 2), (0, 1))
    plan_mm2 = ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2.0
    return float(plan_mm2 @ (az + bz + cz) / 3.0)


FOOD_MM: Final = (5.0, 600.0)
"""Sizes between which a mould for a pastry lies; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is true of a mesh."""

    size_mm: tuple[float, float, float]
    volume_ml: float | None
    """None where the mesh bounds no solid [mL]."""
    area_mm2: float
    triangles: int
    watertight: bool
    bodies: int
    """Pieces of surface that are connected."""
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

    Whether it bounds a solid can fail; all else only warns, for nobody said what the mesh is for or
    how it will lie on the bed. Walls and overhang are measured where it bounds a solid. `stage` is
    called with the name of each stage before it starts: checking, overhang, walls.
    """
    stage("checking")
    found, enclosed_mm3 = closedness(mesh), volume_mm3(mesh)
    solid = found.closed and enclosed_mm3 > 0.0
    x, y, z = mesh.size_mm.tolist()
    softer = [_size(mesh), bed_finding(mesh, part="mesh", bed_mm=bed_mm)]
    sound = [_as_warning(f) if f.id == "verify.bodies" else f for f in soundness(mesh, part="mesh")]
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
        findings=(*sound, *map(_as_warning, softer)),
    )


def _as_warning(finding: Finding) -> Finding:
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
