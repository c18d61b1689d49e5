"""The Mesh value, its measures and moves, and its facets as numbers."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

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


GOLDEN: Final = (0.7548776662466927, 0.5698402909980532)
"""Steps of the additive sequence that fills the square most evenly (plastic number)."""


def normals_and_areas(mesh: Mesh) -> tuple[Points, Points]:
    """Return unit normals, shape (m, 3), and areas, shape (m,) [mm^2]; 0 where there is no area."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    doubled = np.cross(b - a, c - a)
    lengths: Points = np.linalg.norm(doubled, axis=1)
    return doubled / np.where(lengths > 0.0, lengths, 1.0)[:, None], lengths / 2.0


def drafts_deg(normals: Points, direction: ArrayLike) -> Points:
    """Return the angle by which each facet leans away from a pull, shape (m,) [deg].

    Parameters
    ----------
    normals : ndarray, shape (m, 3)
        Outward unit normals of the body that is pulled out.
    direction : array_like, shape (3,)
        Way in which that body leaves, a unit vector.

    Returns
    -------
    ndarray, shape (m,)
        90 for a floor, 0 for a wall along the pull, negative for an undercut [deg].

    Examples
    --------
    >>> drafts_deg(np.array([[0.0, 0.0, -1.0], [1.0, 0.0, 0.0]]), (0.0, 0.0, 1.0)).tolist()
    [90.0, -0.0]
    """
    along = normals @ np.asarray(direction, dtype=np.float64)
    drafts: Points = -np.degrees(np.arcsin(along.clip(-1.0, 1.0)))
    return drafts


def spread_points(mesh: Mesh, count: int) -> tuple[Points, Indices]:
    """Return points spread evenly over a surface, and the facet of each.

    Each point stands for the same area: the facets are cut at equal shares of the whole, then
    each point is placed in its facet by a low-discrepancy sequence. No chance is involved.

    Parameters
    ----------
    mesh : Mesh
        Any triangles.
    count : int
        Number of points.

    Returns
    -------
    points : ndarray, shape (count, 3)
        [mm]
    facets : ndarray of int64, shape (count,)
        Rows of `mesh.triangles`.
    """
    reach = np.cumsum(normals_and_areas(mesh)[1])
    steps = np.arange(count)
    facets = np.searchsorted(reach, (steps + 0.5) / count * reach[-1]).clip(max=len(reach) - 1)
    u, v = ((step * steps + 0.5) % 1.0 for step in GOLDEN)
    folded = u + v > 1.0
    u, v = np.where(folded, 1.0 - u, u), np.where(folded, 1.0 - v, v)
    a, b, c = np.moveaxis(mesh.corners[facets], 1, 0)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), facets.astype(np.int64)
