"""Booleans, sections and shadows of closed meshes (manifold3d, shapely).

The `step` of a call names it in the `KernelError` of a mesh that is not closed, or of a result that
is empty.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache, reduce
from typing import Any, Final

import numpy as np
import shapely
from manifold3d import CrossSection, Error, FillRule, Manifold, Mesh64, OpType, triangulate
from numpy.typing import ArrayLike
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from moulddesign.core import KernelError, Message, say
from moulddesign.geometry.mesh import Indices, Mesh, Points


def box(low_mm: ArrayLike, high_mm: ArrayLike) -> Mesh:
    """Return the box between two corners, each of shape (3,) [mm].

    Examples
    --------
    >>> box((0, 0, 0), (2, 3, 4)).volume_mm3
    24.0
    """
    low = np.asarray(low_mm, dtype=np.float64)
    size = np.asarray(high_mm, dtype=np.float64) - low
    return _mesh(Manifold.cube(size.tolist()).translate(low.tolist()), say("geometry.box"))


def solid_of_revolution(
    profile: Sequence[tuple[float, float]], segments: int, step: Message
) -> Mesh:
    """Return the solid that a closed profile sweeps round the z axis.

    `profile` gives radius, at least 0, and height of each corner, in order round it either way.
    Edges of the flat segments lie on the swept surface, the first in the plane of x and z.

    Examples
    --------
    >>> bar = [(0.0, 0.0), (1.0, 0.0), (1.0, 3.0), (0.0, 3.0)]
    >>> bar = solid_of_revolution(bar, 4, say("geometry.box"))  # a square of diagonal 2
    >>> round(bar.volume_mm3, 6)
    6.0
    """
    area = CrossSection([np.asarray(profile, dtype=np.float64)], FillRule.NonZero)
    # The count is passed with each call; manifold3d's own default is a global.
    return _mesh(_checked(Manifold.revolve(area, segments), step), step)


def union(meshes: Sequence[Mesh], step: Message) -> Mesh:
    """Return the union of closed meshes; `step` names it in a `KernelError`."""
    return _combined(meshes, OpType.Add, step)


def difference(mesh: Mesh, tools: Sequence[Mesh], step: Message) -> Mesh:
    """Return a closed mesh without others; `step` names it in a `KernelError`."""
    return _combined([mesh, *tools], OpType.Subtract, step)


def intersection(meshes: Sequence[Mesh], step: Message) -> Mesh:
    """Return what closed meshes share, an empty mesh where it is nothing."""
    bodies = [manifold_of(mesh, step) for mesh in meshes]
    return _mesh(reduce(lambda a, b: a ^ b, bodies), step)


def bodies(mesh: Mesh, step: Message) -> tuple[Mesh, ...]:
    """Return the connected solids of a closed mesh, in the order of their least corner."""
    parts = [_mesh(part, step) for part in manifold_of(mesh, step).decompose()]
    return tuple(sorted(parts, key=lambda part: tuple(part.bounds[0])))


def pieces_of_air(
    meshes: Sequence[Mesh], low_mm: ArrayLike, high_mm: ArrayLike, *, step: Message
) -> tuple[Mesh, ...]:
    """Return what closed meshes leave of a box between two corners, as connected pieces.

    The kernel's body stays in the kernel in between, which halves the time for large meshes.
    """
    room = box(low_mm, high_mm)
    left = _combined_body([room, *meshes], OpType.Subtract, step)
    return tuple(_mesh(piece, step) for piece in left.decompose())


def triangulated(loops: Sequence[Points]) -> Indices:
    """Return triangles that fill flat loops, outer ones counter-clockwise, holes clockwise.

    Loops are closed without repeating the first point. Triangles, shape (m, 3), are rows of the
    points of all loops, one after another, counter-clockwise. Every point is used, no point is
    added.
    """
    if not loops:
        return np.empty((0, 3), dtype=np.int64)
    return np.asarray(triangulate([np.asarray(loop) for loop in loops]), dtype=np.int64)


def _combined(meshes: Sequence[Mesh], operation: OpType, step: Message) -> Mesh:
    return _mesh(_combined_body(meshes, operation, step), step)


def _combined_body(meshes: Sequence[Mesh], operation: OpType, step: Message) -> Manifold:
    bodies = [manifold_of(mesh, step) for mesh in meshes]
    return _checked(Manifold.batch_boolean(bodies, operation), step)


def _checked(result: Manifold, step: Message) -> Manifold:
    # manifold3d 3.5 raises nothing: bad input is an empty body, and later booleans carry it on.
    if result.status() != Error.NoError:
        raise KernelError(step, say("geometry.library-said", status=result.status().name))
    if result.is_empty():
        raise KernelError(step, say("geometry.nothing-left"))
    return result


def manifold_of(mesh: Mesh, step: Message) -> Manifold:
    """Return the kernel's body of a closed mesh, for what probes it; never to be changed."""
    return _checked(_unchecked(mesh), step)


@lru_cache(maxsize=16)
def _unchecked(mesh: Mesh) -> Manifold:
    # A mesh never changes and is told apart by identity, so its body can be kept: checks cut the
    # same parts many times. manifold3d 3.5 refuses read-only arrays, so both are copied.
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.triangles.astype(np.uint64)))


def forget_bodies() -> None:
    """Give back the bodies that are kept; they are made again when they are asked for."""
    _unchecked.cache_clear()


def _mesh(body: Manifold, step: Message) -> Mesh:
    if body.status() != Error.NoError:
        raise KernelError(step, say("geometry.library-said", status=body.status().name))
    raw: Any = body.to_mesh64()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts, dtype=np.int64))


def overlaps_mm3(moving: Mesh, standing: Mesh, shifts_mm: Points, *, step: Message) -> Points:
    """Return the volume that a closed mesh shares with another after each of several moves.

    Moves have the shape (n, 3), each from where the first mesh is; volumes have the shape (n,).

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> cube, step = box((0, 0, 0), (2, 2, 2)), say("geometry.box")
    >>> overlaps_mm3(cube, cube, np.array([[0, 0, 0], [1, 0, 0], [3, 0, 0]]), step=step).tolist()
    [8.0, 4.0, 0.0]
    """
    one, other = manifold_of(moving, step), manifold_of(standing, step)
    shared = [one.translate(shift) ^ other for shift in shifts_mm.tolist()]
    return np.array([body.volume() for body in shared], dtype=np.float64)


def section(mesh: Mesh, height_mm: float, step: Message) -> tuple[Points, ...]:
    """Return the loops in which a level plane cuts a closed mesh, none where it misses.

    Outer loops turn counter-clockwise, holes clockwise, each of shape (n_i, 2).

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> (loop,) = section(box((0, 0, 0), (2, 3, 4)), 1.0, say("geometry.box"))
    >>> loop.max(axis=0).tolist()
    [2.0, 3.0]
    """
    return tuple(map(np.asarray, manifold_of(mesh, step).slice(height_mm).to_polygons()))


SECTION_DIGITS: Final = 9
"""Of a section's corners: two that rounding errors hold apart would make loops that cross [mm]."""


def upright_section(mesh: Mesh) -> shapely.Geometry:
    """Return the shape in which the plane y = 0 cuts a closed mesh: x to the right, z up.

    A corner in the plane counts as behind it.

    Examples
    --------
    >>> upright_section(box((0, -1, 0), (2, 3, 4))).bounds
    (0.0, 0.0, 2.0, 4.0)
    """
    behind = mesh.vertices[:, 1] >= 0.0
    count = behind[mesh.triangles].sum(axis=1)
    starts = mesh.triangles[(count > 0) & (count < 3)]  # noqa: PLR2004 (corners)
    sides = np.stack([starts, np.roll(starts, -1, axis=1)], axis=2)
    # The cut enters a facet by one side and leaves it by another, by which it enters the next one.
    leads = behind[sides[:, :, 0]].astype(int) - behind[sides[:, :, 1]]
    crossed = np.sort(np.concatenate([sides[leads == 1], sides[leads == -1]]), axis=1)
    crossed, side = np.unique(crossed, axis=0, return_inverse=True)
    front, back = mesh.vertices[crossed].swapaxes(0, 1)
    share = front[:, 1:2] / (front[:, 1:2] - back[:, 1:2])
    points = np.round(front + share * (back - front), SECTION_DIGITS)[:, [0, 2]]
    entered, left = side.reshape(2, -1).tolist()
    following: dict[int, int] = dict(zip(entered, left, strict=True))
    shapes = [shapely.Polygon()]
    while following:
        loop = list(following.popitem())
        while loop[-1] in following:
            loop.append(following.pop(loop[-1]))
        if len(loop) > 3:  # noqa: PLR2004 (the first comes last once more)
            ring = shapely.Polygon(points[loop])
            shapes.append(shapely.make_valid(ring, method="structure", keep_collapsed=False))
    return reduce(shapely.symmetric_difference, shapes)


def region(loops: Iterable[Points]) -> BaseGeometry:
    """Return the region that clean loops bound: inside an odd number of them."""
    rings = [shapely.make_valid(Polygon(loop)) for loop in loops if len(loop) > 2]  # noqa: PLR2004
    return reduce(lambda a, b: a.symmetric_difference(b), rings, MultiPolygon())


def section_region(mesh: Mesh, height_mm: float, step: Message) -> BaseGeometry:
    """Return the region in which a level plane cuts a closed mesh."""
    return region(section(mesh, height_mm, step))


def shadow(mesh: Mesh, step: Message) -> BaseGeometry:
    """Return the region that a closed mesh covers, seen along z; kept, for many checks ask."""
    manifold_of(mesh, step)  # names the step where the mesh is not closed
    return _shadow(mesh)


@lru_cache(maxsize=16)
def _shadow(mesh: Mesh) -> BaseGeometry:
    return region(map(np.asarray, _unchecked(mesh).project().to_polygons()))


def filled(area: BaseGeometry) -> BaseGeometry:
    """Return a region with its holes filled."""
    return shapely.union_all([Polygon(part.exterior) for part in _polygons(area)])


def hole(area: BaseGeometry) -> Polygon:
    """Return the largest hole of a region, an empty polygon where it has none."""
    holes = [Polygon(ring) for part in _polygons(area) for ring in part.interiors]
    return max(holes, key=lambda ring: ring.area, default=Polygon())


def _polygons(area: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
