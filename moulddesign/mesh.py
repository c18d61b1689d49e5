"""Our Mesh value, its measures and moves, and the booleans on it (manifold3d)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import Any, TypeVar

import numpy as np
from manifold3d import Error, Manifold, Mesh64, OpType, triangulate
from numpy.typing import ArrayLike, NDArray

from moulddesign.errors import KernelError

Points = NDArray[np.float64]
Indices = NDArray[np.int64]
N = TypeVar("N", np.float64, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh; where it bounds a solid, triangles turn counter-clockwise seen from outside.

    Parameters
    ----------
    vertices : ndarray of float64, shape (n, 3)
        Corners [mm]. Made read-only.
    triangles : ndarray of int64, shape (m, 3)
        Rows of `vertices`. Made read-only.
    """

    vertices: Points
    triangles: Indices

    def __post_init__(self) -> None:
        for name, kind in (("vertices", np.float64), ("triangles", np.int64)):
            array = np.ascontiguousarray(getattr(self, name), dtype=kind).reshape(-1, 3)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def corners(self) -> Points:
        """Corners of each triangle, shape (m, 3, 3) [mm]."""
        corners: Points = self.vertices[self.triangles]
        return corners

    @property
    def bounds(self) -> Points:
        """Least and largest corner of the box around it, shape (2, 3) [mm]."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @property
    def size_mm(self) -> Points:
        """Extent along x, y, z, shape (3,) [mm]."""
        size: Points = np.ptp(self.bounds, axis=0)
        return size

    @property
    def volume_mm3(self) -> float:
        """Volume enclosed, exact for the facets; negative where it is inside out [mm^3]."""
        if not len(self.triangles):
            return 0.0
        a, b, c = np.moveaxis(self.corners - self.vertices.mean(axis=0), 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def area_mm2(self) -> float:
        """Area of all facets [mm^2]."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0)

    def moved(self, by_mm: ArrayLike) -> "Mesh":
        """Return it moved along a vector, shape (3,) [mm]."""
        return Mesh(self.vertices + np.asarray(by_mm, dtype=np.float64), self.triangles)

    def turned_over(self) -> "Mesh":
        """Return it turned by half a turn about the x axis: what was up is down."""
        return Mesh(self.vertices * (1.0, -1.0, -1.0), self.triangles)

    def inside_out(self) -> "Mesh":
        """Return it with every triangle wound the other way."""
        return Mesh(self.vertices, self.triangles[:, ::-1])


def joined(meshes: Iterable[Mesh]) -> Mesh:
    """Return several meshes as one list of triangles, without any boolean or welding."""
    meshes = list(meshes)
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([m.triangles + s for m, s in zip(meshes, starts, strict=False)]),
    )


def box(low_mm: ArrayLike, high_mm: ArrayLike) -> Mesh:
    """Return the box between two corners, each of shape (3,) [mm].

    Examples
    --------
    >>> box((0, 0, 0), (2, 3, 4)).volume_mm3
    24.0
    """
    low = np.asarray(low_mm, dtype=np.float64)
    size = np.asarray(high_mm, dtype=np.float64) - low
    return _mesh(Manifold.cube(size.tolist()).translate(low.tolist()), "a box")


def union(meshes: Sequence[Mesh], step: str) -> Mesh:
    """Return the union of closed meshes; `step` names it in a `KernelError`."""
    return _combined(meshes, OpType.Add, step)


def difference(mesh: Mesh, tools: Sequence[Mesh], step: str) -> Mesh:
    """Return a closed mesh without others; `step` names it in a `KernelError`."""
    return _combined([mesh, *tools], OpType.Subtract, step)


def intersection(meshes: Sequence[Mesh], step: str) -> Mesh:
    """Return what closed meshes share, an empty mesh where it is nothing.

    Raises
    ------
    KernelError
        A mesh is not closed.
    """
    bodies = [manifold_of(mesh, step) for mesh in meshes]
    return _mesh(reduce(lambda a, b: a ^ b, bodies), step)


def bodies(mesh: Mesh, step: str) -> tuple[Mesh, ...]:
    """Return the connected solids of a closed mesh, in the order of their least corner."""
    parts = [_mesh(part, step) for part in manifold_of(mesh, step).decompose()]
    return tuple(sorted(parts, key=lambda part: tuple(part.bounds[0])))


def pieces_of_air(
    meshes: Sequence[Mesh], low_mm: ArrayLike, high_mm: ArrayLike, *, step: str
) -> tuple[Mesh, ...]:
    """Return what closed meshes leave of a box, as connected pieces.

    The kernel's body stays in the kernel in between, which halves the time for large meshes.

    Parameters
    ----------
    meshes : sequence of Mesh
        Closed.
    low_mm, high_mm : array_like, shape (3,)
        Corners of the box [mm].
    step : str
        Names it in a `KernelError`.
    """
    room = box(low_mm, high_mm)
    left = _combined_body([room, *meshes], OpType.Subtract, step)
    return tuple(_mesh(piece, step) for piece in left.decompose())


def unfolded(triangles: Indices) -> Indices:
    """Return triangles without those that have no area by their corners alone.

    Dropped are triangles with one corner twice, and pairs with the same corners wound against
    each other: in both cases the neighbours' edges match without them.

    Parameters
    ----------
    triangles : ndarray of int64, shape (m, 3)
        Rows of some vertices.

    Examples
    --------
    >>> unfolded(np.array([[0, 1, 2], [3, 3, 1], [4, 5, 6], [5, 4, 6]])).tolist()
    [[0, 1, 2]]
    """
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    if not len(triangles):
        return triangles
    lead = triangles.argmin(axis=1)
    rolled = np.take_along_axis(triangles, (lead[:, None] + np.arange(3)) % 3, axis=1)
    different, which = distinct(np.sort(rolled, axis=1))
    if len(different) == len(triangles):
        return triangles
    turn = np.where(rolled[:, 1] < rolled[:, 2], 1, -1)
    net = np.bincount(which, weights=turn)
    kept: Indices = triangles[net[which] != 0]
    return kept


def distinct(rows: NDArray[N]) -> tuple[NDArray[N], Indices]:
    """Return the distinct rows of an array in order, and which of them each given one is.

    It is `np.unique` along the first axis in a quarter of the time.

    Parameters
    ----------
    rows : ndarray, shape (n, k)
        Numbers, none of them not-a-number.

    Examples
    --------
    >>> [found.tolist() for found in distinct(np.array([[2, 1], [0, 3], [2, 1]]))]
    [[[0, 3], [2, 1]], [1, 0, 1]]
    """
    order = np.lexsort(rows.T[::-1])
    ranked = rows[order]
    new = np.ones(len(rows), dtype=bool)
    new[1:] = (ranked[1:] != ranked[:-1]).any(axis=1)
    which = np.empty(len(rows), dtype=np.int64)
    which[order] = np.cumsum(new) - 1
    return ranked[new], which


def triangulated(loops: Sequence[Points]) -> Indices:
    """Return triangles that fill flat loops, outer ones counter-clockwise, holes clockwise.

    Parameters
    ----------
    loops : sequence of ndarray, shape (n_i, 2)
        Closed without repeating the first point [mm].

    Returns
    -------
    ndarray of int64, shape (m, 3)
        Rows of the loops' points one after another, counter-clockwise. Every point is used, no
        point is added.
    """
    if not loops:
        return np.empty((0, 3), dtype=np.int64)
    return np.asarray(triangulate([np.asarray(loop) for loop in loops]), dtype=np.int64)


def _combined(meshes: Sequence[Mesh], operation: OpType, step: str) -> Mesh:
    return _mesh(_combined_body(meshes, operation, step), step)


def _combined_body(meshes: Sequence[Mesh], operation: OpType, step: str) -> Manifold:
    bodies = [manifold_of(mesh, step) for mesh in meshes]
    return _checked(Manifold.batch_boolean(bodies, operation), step)


def _checked(result: Manifold, step: str) -> Manifold:
    # manifold3d 3.5 raises nothing: bad input is an empty body, and later booleans carry it on.
    if result.status() != Error.NoError:
        raise KernelError(step, result.status().name)
    if result.is_empty():
        raise KernelError(step, "nothing is left")
    return result


def manifold_of(mesh: Mesh, step: str) -> Manifold:
    """Return the kernel's body of a closed mesh, for what probes it; never to be changed.

    Raises
    ------
    KernelError
        The mesh is not closed; `step` names it.
    """
    return _checked(_unchecked(mesh), step)


@lru_cache(maxsize=16)
def _unchecked(mesh: Mesh) -> Manifold:
    # A mesh never changes and is told apart by identity, so its body can be kept: checks cut the
    # same parts many times. manifold3d 3.5 refuses read-only arrays, so both are copied.
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.triangles.astype(np.uint64)))


def _mesh(body: Manifold, step: str) -> Mesh:
    if body.status() != Error.NoError:
        raise KernelError(step, body.status().name)
    raw: Any = body.to_mesh64()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts, dtype=np.int64))
