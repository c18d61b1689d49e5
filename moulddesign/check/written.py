"""Whether a file that was written holds the part that was made, read by a library of its own."""

from pathlib import Path
from typing import Final

import trimesh

from moulddesign.finding import Finding, judged
from moulddesign.mesh import Mesh

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
            name=f"{path.name}: read back watertight, consistently wound, one body",
            measured="yes" if sound else "no",
            limit="yes",
            unit="",
            source="trimesh, an independent reader",
            verdict=judged(good=sound),
        ),
        Finding(
            name=f"{path.name}: volume read back",
            measured=float(read.volume) / 1000.0,
            limit=f"{mesh.volume_mm3 / 1000.0:.6g} within 0.0001 %",
            unit="mL",
            source="trimesh, an independent reader",
            verdict=judged(good=abs(read.volume - mesh.volume_mm3) <= SAME_RATIO * mesh.volume_mm3),
        ),
    )
