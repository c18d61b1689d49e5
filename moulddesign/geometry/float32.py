"""Meshes in the precision of their files: float32 corners, and still one closed surface."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moulddesign.geometry.mesh import Indices, Mesh, Points, distinct, unfolded

DRAWN_BACK_MM: Final = (1e-3, 2e-3, 4e-3, 4e-3)
"""Steps by which corners draw back where float32 cannot keep two sheets apart [mm]."""

THIN_MM: Final = 1e-7
"""Least height of a triangle that is kept; float32 steps at 10 mm are ten times as wide [mm]."""

SHORT_MM: Final = 5e-5
"""Sides of thin triangles that shrink to a point; float32 steps at 400 mm are 3e-5 [mm]."""


def settled(mesh: Mesh) -> Mesh:
    """Return a mesh whose corners are float32 numbers, so that a binary STL holds it exactly.

    Corners that become one are welded, and triangles that lose their area so are dropped. Where
    that would pinch two sheets of a closed surface together along an edge, the corners there draw
    back to their own sheet first, by micrometres. A triangle that is as thin as the steps of
    float32 has no direction and goes too: its short side shrinks to a point, or its long side is
    the neighbour's, which is divided at the corner between.
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
    if not _thin(made)[1].any():
        return made
    slim = _divided(_shrunk(made))
    return slim if _closed(slim.triangles) else made


def _shrunk(mesh: Mesh) -> Mesh:
    """Return a mesh whose thin triangles have no short sides: their corners are one."""
    sides_mm, thin = _thin(mesh)
    rows, corners = np.nonzero(thin[:, None] & (sides_mm < SHORT_MM))
    if not len(rows):
        return mesh
    ends = mesh.triangles[rows[:, None], np.column_stack([corners, (corners + 1) % 3])]
    joined = coo_array(
        (np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(mesh.vertices),) * 2
    )
    group = connected_components(joined, directed=False)[1]
    first = np.unique(group, return_index=True)[1][group]
    return _used(mesh.vertices, unfolded(first[mesh.triangles]))[0]


def _divided(mesh: Mesh) -> Mesh:
    """Return a mesh without thin triangles: each neighbour is divided at the corner on its side."""
    sides_mm, thin = _thin(mesh)
    triangles = mesh.triangles.copy()
    for row in np.nonzero(thin)[0]:
        start, end, between = np.roll(triangles[row], -int(sides_mm[row].argmax()))
        beside = np.nonzero((triangles == start).any(axis=1) & (triangles == end).any(axis=1))[0]
        other = beside[beside != row]
        if len(other) != 1:
            continue
        (far,) = set(triangles[other[0]].tolist()) - {start, end}
        if not ((triangles == between).any(axis=1) & (triangles == far).any(axis=1)).any():
            triangles[row] = between, start, far
            triangles[other[0]] = far, end, between
    return Mesh(mesh.vertices, triangles)


def _thin(mesh: Mesh) -> tuple[Points, NDArray[np.bool_]]:
    """Return the sides of each triangle from each corner to the next, and which are thin [mm]."""
    sides = np.roll(mesh.corners, -1, axis=1) - mesh.corners
    sides_mm = np.linalg.norm(sides, axis=2)
    doubled_mm2 = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return sides_mm, doubled_mm2 < THIN_MM * sides_mm.max(axis=1)


def _rounded(mesh: Mesh) -> tuple[Mesh, Indices]:
    """Return a mesh in float32 numbers, and which of its corners each given one became or -1."""
    rounded = mesh.vertices.astype(np.float32).astype(np.float64) + 0.0  # no negative zero
    vertices, number = distinct(rounded)
    triangles = unfolded(number[mesh.triangles])
    made, used = _used(vertices, triangles)
    at = np.full(len(vertices), -1)
    at[used] = np.arange(len(used))
    return made, at[number]


def _used(vertices: Points, triangles: Indices) -> tuple[Mesh, Indices]:
    """Return a mesh without the corners that no triangle has, and which ones stayed."""
    used, renumbered = np.unique(triangles, return_inverse=True)
    return Mesh(vertices[used], renumbered.reshape(-1, 3)), used


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
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    # Even for an edge that runs up, one more for the same edge that runs down.
    keys = 2 * (low * (int(high.max(initial=0)) + 1) + high) + (start > end)
    keys.sort()
    up, down = keys[::2], keys[1::2]
    return bool(np.array_equal(up + 1, down) and (up % 2 == 0).all() and (np.diff(up) > 0).all())
