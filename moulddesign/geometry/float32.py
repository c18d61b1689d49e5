"""Meshes in the precision of their files: float32 corners, and still one closed surface."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.geometry.mesh import Indices, Mesh, Points, sides_and_heights_mm
from moulddesign.geometry.topology import is_closed
from moulddesign.geometry.welding import compact, distinct, first_linked, unfolded

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
    if not is_closed(mesh.triangles):
        return made
    vertices = mesh.vertices
    for step_mm in DRAWN_BACK_MM:
        if is_closed(made.triangles):
            break
        pinched = np.isin(number, _pinched(made))
        vertices = _drawn_back(vertices, mesh.triangles, pinched, step_mm=step_mm)
        made, number = _rounded(Mesh(vertices, mesh.triangles))
    return without_thin(made)


def is_thin(mesh: Mesh) -> NDArray[np.bool_]:
    """Return which triangles are as thin as float32's steps, shape (m,)."""
    return np.asarray(sides_and_heights_mm(mesh.corners)[1] < THIN_MM)


def without_thin(mesh: Mesh) -> Mesh:
    """Return a closed mesh without triangles as thin as float32's steps, where it stays closed."""
    if not is_thin(mesh).any():
        return mesh
    slim = _divided(_shrunk(mesh))
    return slim if is_closed(slim.triangles) else mesh


def _shrunk(mesh: Mesh) -> Mesh:
    """Return a mesh whose thin triangles have no short sides: their corners are one."""
    sides_mm = sides_and_heights_mm(mesh.corners)[0]
    rows, corners = np.nonzero(is_thin(mesh)[:, None] & (sides_mm < SHORT_MM))
    if not len(rows):
        return mesh
    ends = mesh.triangles[rows[:, None], np.column_stack([corners, (corners + 1) % 3])]
    first = first_linked(ends, len(mesh.vertices))
    return compact(mesh.vertices, unfolded(first[mesh.triangles]))[0]


def _divided(mesh: Mesh) -> Mesh:
    """Return a mesh without thin triangles: each neighbour is divided at the corner on its side."""
    sides_mm = sides_and_heights_mm(mesh.corners)[0]
    triangles = mesh.triangles.copy()
    for row in np.flatnonzero(is_thin(mesh)):
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


def _rounded(mesh: Mesh) -> tuple[Mesh, Indices]:
    """Return a mesh in float32 numbers, and which of its corners each given one became or -1."""
    rounded = mesh.vertices.astype(np.float32).astype(np.float64) + 0.0  # no negative zero
    vertices, number = distinct(rounded)
    triangles = unfolded(number[mesh.triangles])
    made, used = compact(vertices, triangles)
    at = np.full(len(vertices), -1)
    at[used] = np.arange(len(used))
    return made, at[number]


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
