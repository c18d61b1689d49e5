"""Whether a part is one sound solid with the volume it has to have.

As made and as read back from its file.
"""

from pathlib import Path
from typing import Final

import numpy as np
import trimesh

from moulddesign.core import Finding, Verdict, judged
from moulddesign.geometry import Mesh, Points
from moulddesign.geometry.topology import topology

SOLID_SOURCE: Final = "3MF core specification 1.4.0: each edge shared by exactly two triangles"
FLAT_MM: Final = 1e-8
"""Least height of a triangle that still has a normal in float64 [mm]."""


def soundness(mesh: Mesh, *, name: str) -> tuple[Finding, ...]:
    """Return whether a mesh is the surface of one solid, in the precision of the file.

    Parameters
    ----------
    mesh : Mesh
        As read back from the file; corners are rounded to float32 before they are compared.
    name : str
        The part, as the first word of each finding.

    Returns
    -------
    tuple of Finding
        Open edges, crowded edges, clashing windings, bodies, volume, collapsed and flat triangles.
    """
    written = _written(mesh)
    found, volume_mm3 = topology(written), written.volume_mm3
    flat = int(np.sum(least_heights_mm(written) < FLAT_MM)) - found.collapsed
    return (
        _none(f"{name}: open edges", found.open_edges, "edges"),
        _none(f"{name}: edges of more than two triangles", found.crowded_edges, "edges"),
        _none(f"{name}: edges wound against each other", found.clashing_edges, "edges"),
        Finding(
            name=f"{name}: bodies",
            measured=found.shells,
            limit="1",
            unit="",
            source="the design: one printed piece",
            verdict=judged(good=found.shells == 1),
        ),
        Finding(
            name=f"{name}: volume is positive",
            measured=volume_mm3 / 1000.0,
            limit="above 0",
            unit="mL",
            source=SOLID_SOURCE,
            verdict=judged(good=volume_mm3 > 0.0),
        ),
        _none(f"{name}: triangles that collapse in the file", found.collapsed, "triangles"),
        _none(f"{name}: triangles without area", flat, "triangles", otherwise=Verdict.WARN),
    )


def volume_finding(
    *, name: str, measured_mm3: float, target_mm3: float, within_ratio: float = 0.001, source: str
) -> Finding:
    """Return whether a volume is the one it has to be.

    Parameters
    ----------
    name : str
        What was measured: "pastry volume".
    measured_mm3, target_mm3 : float
        Volumes [mm^3].
    within_ratio : float
        Largest deviation as a share of the target.
    source : str
        Where the target comes from: "the design", "B-rep of the same body".

    Examples
    --------
    >>> volume_finding(name="v", measured_mm3=60050.0, target_mm3=60000.0, source="x").verdict
    <Verdict.GOOD: 'good'>
    """
    return Finding(
        name=name,
        measured=measured_mm3 / 1000.0,
        limit=f"{target_mm3 / 1000.0:.4f} within {within_ratio:.2%}".replace("%", " %"),
        unit="mL",
        source=source,
        verdict=judged(good=abs(measured_mm3 - target_mm3) <= within_ratio * target_mm3),
    )


def least_heights_mm(mesh: Mesh) -> Points:
    """Return the least height of each triangle: twice its area by its longest side.

    Parameters
    ----------
    mesh : Mesh
        With m triangles [mm].

    Returns
    -------
    ndarray, shape (m,)
        0 where a triangle has no longest side [mm].
    """
    sides = np.roll(mesh.corners, -1, axis=1) - mesh.corners
    doubled_mm2 = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    longest_mm = np.linalg.norm(sides, axis=2).max(axis=1)
    heights_mm: Points = doubled_mm2 / np.where(longest_mm > 0.0, longest_mm, 1.0)
    return heights_mm


def _written(mesh: Mesh) -> Mesh:
    """Return a mesh in float32; itself, whose topology may be known, where it is that already."""
    rounded = mesh.vertices.astype(np.float32).astype(np.float64)
    return mesh if np.array_equal(rounded, mesh.vertices) else Mesh(rounded, mesh.triangles)


def _none(name: str, count: int, unit: str, *, otherwise: Verdict = Verdict.FAIL) -> Finding:
    return Finding(
        name=name,
        measured=count,
        limit="0",
        unit=unit,
        source=SOLID_SOURCE,
        verdict=judged(good=count == 0, otherwise=otherwise),
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
