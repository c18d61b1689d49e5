"""Meshes in the precision of their files: float32 corners, and still one closed surface."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Mesh, Points, unfolded

DRAWN_BACK_MM: Final = (1e-3, 2e-3, 4e-3, 4e-3)
"""Steps by which corners draw back where float32 cannot keep two sheets apart [mm]."""


def settled(mesh: Mesh) -> Mesh:
    """Return a mesh whose corners are float32 numbers, so that a binary STL holds it exactly.

    Corners that become one are welded, and triangles that lose their area so are dropped. Where
    that would pinch two sheets of a closed surface together along an edge, the corners there draw
    back to their own sheet first, by micrometres.
    """
    made, number = _rounded(mesh)
    if not _closed(mesh.triangles):
        return made
    vertices = mesh.vertices
    for step_mm in DRAWN_BACK_MM:
        if _closed(made.triangles):
            break
        pinched = np.isin(number, _pinched(made))
        vertices = _drawn_back(vertices, mesh.triangles, pinched, step_mm=step_mm)
        made, number = _rounded(Mesh(vertices, mesh.triangles))
    return made


def _rounded(mesh: Mesh) -> tuple[Mesh, Indices]:
    """Return a mesh in float32 numbers, and which of its corners each given one became or -1."""
    rounded = mesh.vertices.astype(np.float32).astype(np.float64) + 0.0  # no negative zero
    vertices, number = np.unique(rounded, axis=0, return_inverse=True)
    triangles = unfolded(number[mesh.triangles].reshape(-1, 3))
    used, renumbered = np.unique(triangles, return_inverse=True)
    at = np.full(len(vertices), -1)
    at[used] = np.arange(len(used))
    return Mesh(vertices[used], renumbered.reshape(-1, 3)), at[number.ravel()]


def _pinched(mesh: Mesh) -> Indices:
    """Return the corners of edges that run one way more than once, or one way only."""
    edges = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = len(mesh.vertices)
    keys, count = np.unique(edges[:, 0] * size + edges[:, 1], return_counts=True)
    back = keys % size * size + keys // size
    bad = keys[(count > 1) | ~np.isin(back, keys)]
    return np.unique(np.concatenate([bad // size, bad % size]))


def _drawn_back(
    vertices: Points, triangles: Indices, which: NDArray[np.bool_], *, step_mm: float
) -> Points:
    """Move corners by a step towards the middle of their own neighbours."""
    middle, count = np.zeros_like(vertices), np.zeros(len(vertices))
    for corner in range(3):
        for other in (corner - 1, corner - 2):
            np.add.at(middle, triangles[:, corner], vertices[triangles[:, other]])
            np.add.at(count, triangles[:, corner], 1.0)
    way = middle[which] / count[which, None] - vertices[which]
    length = np.linalg.norm(way, axis=1, keepdims=True)
    moved = vertices.copy()
    moved[which] += way * np.minimum(step_mm / np.maximum(length, step_mm), 0.5)
    return moved


def _closed(triangles: Indices) -> bool:
    """Return whether each edge has two triangles, one on either side."""
    edges = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = int(triangles.max(initial=0)) + 1
    there, back = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
    there.sort()
    back.sort()
    return bool(np.array_equal(there, back) and (np.diff(there) > 0).all())
