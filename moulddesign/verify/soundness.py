"""Whether a part is one sound solid with the volume it has to have.

As made and as read back from its file.
"""

from pathlib import Path
from typing import Final

import numpy as np
import trimesh

from moulddesign.core import Finding, Message, Verdict, judged, say
from moulddesign.geometry import Mesh, sides_and_heights_mm
from moulddesign.geometry.crossings import crossing_facets, tolerance_mm
from moulddesign.verify.measures import closedness, volume_mm3

SOLID_SOURCE: Final = say("verify.two-triangles-an-edge")
FLAT_MM: Final = 1e-8
"""Least height of a triangle that still has a normal in float64 [mm]."""
MOST_TRIANGLES: Final = 200_000
"""Larger meshes are not searched for crossing facets: that would take a second or more."""


def soundness(mesh: Mesh, *, part: str) -> tuple[Finding, ...]:
    """Return whether a mesh is the surface of one solid, in the precision of the file.

    Parameters
    ----------
    mesh : Mesh
        As read back from the file; corners are rounded to float32 before they are compared.
    part : str
        Where each finding is made.

    Returns
    -------
    tuple of Finding
        Open, crowded and clashing edges, bodies, volume, collapsed and flat triangles, and facets
        that pass through each other.
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
    """Return whether a volume is the one it has to be.

    Parameters
    ----------
    what : Message
        What was measured.
    part : str
        Where.
    measured_mm3, target_mm3 : float
        Volumes [mm^3].
    within_ratio : float
        Largest deviation as a share of the target.
    source : Message
        Where the target comes from: "the design", "B-rep of the same body".

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
    """Return whether a mesh file holds one sound solid of the volume that was made.

    Parameters
    ----------
    path : Path
        The file; trimesh reads it.
    mesh : Mesh
        What was written.
    """
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
