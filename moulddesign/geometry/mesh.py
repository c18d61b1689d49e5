"""The Mesh value: its measures and moves, and what each of its facets measures."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh; where it bounds a solid, triangles turn counter-clockwise seen from outside.

    Two meshes are equal only where they are the same object, so a mesh can key a cache.
    """

    vertices: Points
    """Corners, shape (n, 3), read-only [mm]."""
    triangles: Indices
    """Rows of `vertices`, shape (m, 3), read-only."""

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
        # Each facet and one common point span a tetrahedron of the signed volume a . (b x c) / 6;
        # what lies outside a closed surface cancels. The middle as that point keeps terms small.
        a, b, c = np.moveaxis(self.corners - self.vertices.mean(axis=0), 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def area_mm2(self) -> float:
        """Area of all facets [mm^2]."""
        return float(normals_and_areas(self.corners)[1].sum())

    def moved(self, by_mm: ArrayLike) -> "Mesh":
        """Return it moved along a vector, shape (3,) [mm]."""
        return Mesh(self.vertices + np.asarray(by_mm, dtype=np.float64), self.triangles)

    def scaled(self, by: float) -> "Mesh":
        """Return the mesh with all lengths multiplied by a factor above 0."""
        return self if by == 1.0 else Mesh(self.vertices * by, self.triangles)

    def turned_over(self) -> "Mesh":
        """Return it turned by half a turn about the x axis: what was up is down."""
        return Mesh(self.vertices * (1.0, -1.0, -1.0), self.triangles)

    def inside_out(self) -> "Mesh":
        """Return it with every triangle wound the other way."""
        return Mesh(self.vertices, self.triangles[:, ::-1])


def volume_over_plane_mm3(corners: Points) -> float:
    """Return the volume between a surface and z = 0, negative below it [mm^3].

    Corners have the shape (m, 3, 3), counter-clockwise seen from above.

    Examples
    --------
    >>> volume_over_plane_mm3(np.array([[[0.0, 0.0, 3.0], [2.0, 0.0, 3.0], [0.0, 1.0, 6.0]]]))
    4.0
    """
    # Under each triangle stands a prism: its area seen from above times its mean height.
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, ac = b - a, c - a
    seen = (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]) / 2.0
    return float(seen @ (a[:, 2] + b[:, 2] + c[:, 2]) / 3.0)


def joined(meshes: Iterable[Mesh]) -> Mesh:
    """Return several meshes as one list of triangles, without any boolean or welding."""
    meshes = list(meshes)
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([m.triangles + s for m, s in zip(meshes, starts, strict=False)]),
    )


def normals_and_areas(corners: Points) -> tuple[Points, Points]:
    """Return the unit normal and the area of each facet; both 0 where it has no area.

    Corners have the shape (m, 3, 3), as `Mesh.corners` gives them. Normals, shape (m, 3), point
    outward where the facets turn counter-clockwise seen from outside.
    """
    a, b, c = np.moveaxis(corners, 1, 0)
    doubled = np.cross(b - a, c - a)
    lengths: Points = np.linalg.norm(doubled, axis=1)
    return doubled / np.where(lengths > 0.0, lengths, 1.0)[:, None], lengths / 2.0


def sides_and_heights_mm(corners: Points) -> tuple[Points, Points]:
    """Return the sides of each facet and its least height: twice its area by its longest side.

    Sides, shape (m, 3), run from each corner to the next. A height is 0 where all corners lie in
    one place or on one line.
    """
    # Coordinates first: numpy is several times as fast along whole rows as along an axis of three.
    a, b, c = np.ascontiguousarray(corners.transpose(1, 2, 0))
    first, second, third = b - a, c - b, a - c
    (x, y, z), (u, v, w) = first, second
    sides_mm = np.stack([_lengths(side) for side in (first, second, third)], axis=1)
    longest_mm = np.maximum(np.maximum(*sides_mm.T[:2]), sides_mm[:, 2])
    doubled_mm2 = _lengths((y * w - z * v, z * u - x * w, x * v - y * u))
    heights_mm: Points = doubled_mm2 / np.where(longest_mm > 0.0, longest_mm, 1.0)
    return sides_mm, heights_mm


def _lengths(vectors: Sequence[Points]) -> Points:
    """Return the lengths of vectors given by their coordinates, each of shape (m,)."""
    x, y, z = vectors
    return np.sqrt(x * x + y * y + z * z)


GOLDEN: Final = (0.7548776662466927, 0.5698402909980532)
"""Steps of the additive sequence that fills the square most evenly (plastic number)."""


def spread_points(mesh: Mesh, count: int) -> tuple[Points, Indices]:
    """Return points spread evenly over a surface, shape (count, 3), and the facet of each.

    Each point stands for the same area: the facets are cut at equal shares of the whole, then each
    point is placed in its facet by a low-discrepancy sequence. No chance is involved.
    """
    reach = np.cumsum(normals_and_areas(mesh.corners)[1])
    steps = np.arange(count)
    facets = np.searchsorted(reach, (steps + 0.5) / count * reach[-1]).clip(max=len(reach) - 1)
    u, v = ((step * steps + 0.5) % 1.0 for step in GOLDEN)
    # The unit square folded over its diagonal is a triangle, and areas stay in proportion.
    folded = u + v > 1.0
    u, v = np.where(folded, 1.0 - u, u), np.where(folded, 1.0 - v, v)
    a, b, c = np.moveaxis(mesh.corners[facets], 1, 0)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), facets.astype(np.int64)
