"""How much a mould holds: the air that does not run out of it, cut out by a boolean."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import shapely

from moulddesign.check.assembly import closed_cavity_mm3, face_mm
from moulddesign.check.basins import Basin, basins
from moulddesign.check.regions import filled, hole, section_region, shadow
from moulddesign.check.topology import bounds_a_solid, topology
from moulddesign.errors import SpecError
from moulddesign.mesh import Mesh, Points, pieces_of_air

BELOW_MM: Final = 0.001
"""The air is cut this far below the spill level, so that float32 noise of the rim opens no leak."""
SAME_MM: Final = 0.0005
"""Cavities that spill within this of each other are cut out at once [mm]."""
STEP: Final = "the air in the mould"

Stage = Callable[[str], None]


class Up(StrEnum):
    """Which way is up when the mould is filled."""

    PLUS_X = "+x"
    MINUS_X = "-x"
    PLUS_Y = "+y"
    MINUS_Y = "-y"
    PLUS_Z = "+z"
    MINUS_Z = "-z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cavity:
    """What one hollow holds, filled to the level at which it spills.

    Parameters
    ----------
    volume_mm3 : float
        Pour volume [mm^3].
    rim_mm : float
        Level at which it spills, measured along the way up from the file's origin [mm].
    depth_mm : float
        From that level down to the lowest point [mm].
    mouth_mm2 : float
        Area of the water's face [mm^2].
    """

    volume_mm3: float
    rim_mm: float
    depth_mm: float
    mouth_mm2: float


def _silent(_: str) -> None:
    """Tell nobody which stage begins."""


def pour_cavities(mesh: Mesh, up: Up = Up.PLUS_Z, *, stage: Stage = _silent) -> tuple[Cavity, ...]:
    """Return every cavity that opens upward and holds water, the largest first.

    Dents are left out: hollows under 0.2 mm deep, and those that hold less than 1 % of the
    largest. Each cavity is filled to its own spill level, so rims may differ in height and
    slope; a wall inside that is lower than the rim is under water, and both sides are one cavity.

    Parameters
    ----------
    mesh : Mesh
        Welded, as `read_mesh` returns it [mm].
    up : Up
        Which way is up.
    stage : callable
        Called with the name of each stage before it starts: checking, basins, cavities.

    Returns
    -------
    tuple of Cavity
        None where it holds nothing that way up.

    Raises
    ------
    SpecError
        The mesh does not bound a solid.
    """
    stage("checking")
    _bounds_a_solid(mesh)
    stage("basins")
    turned = upright(mesh, up)
    found = sorted(basins(turned), key=lambda basin: basin.spill_mm)
    if not found:
        return ()
    stage("cavities")
    spills = np.array([basin.spill_mm for basin in found])
    groups = np.split(np.arange(len(found)), np.flatnonzero(np.diff(spills) > SAME_MM) + 1)
    cavities = [c for group in groups for c in _cut_out(turned, [found[i] for i in group])]
    return tuple(sorted(cavities, key=lambda cavity: -cavity.volume_mm3))


def upright(mesh: Mesh, up: Up) -> Mesh:
    """Return a mesh turned so that the way up is z; it is not mirrored.

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> upright(box((0, 0, 0), (1, 2, 3)), Up.PLUS_X).bounds.tolist()
    [[0.0, 0.0, 0.0], [2.0, 3.0, 1.0]]
    """
    axis = "xyz".index(up[1])
    order = [(axis + 1) % 3, (axis + 2) % 3, axis]
    # Turning the axis over and swapping the other two keeps right-handed what was.
    if up[0] == "-":
        order[:2] = order[1::-1]
    return Mesh(mesh.vertices[:, order] * (1.0, 1.0, float(up[0] + "1")), mesh.triangles)


def press_volume_mm3(sleeve: Mesh, stamp: Mesh, *, height_mm: float) -> float:
    """Return what a press mould holds with its stamp's flat face at a height over the table.

    Parameters
    ----------
    sleeve : Mesh
        Either end up, its bore along z [mm].
    stamp : Mesh
        Relief up, turned about z as it enters the sleeve [mm].
    height_mm : float
        From the table to the stamp's flat face [mm].

    Returns
    -------
    float
        Closed cavity between table, bore and stamp, relief counted [mm^3].

    Raises
    ------
    SpecError
        The stamp does not enter the sleeve, or the height is not inside the sleeve.
    KernelError
        A mesh is not closed.
    """
    standing = _narrow_end_down(sleeve)
    bore = hole(shadow(standing, "the bore"))
    if not 0.0 < height_mm < standing.bounds[1, 2]:
        raise SpecError("height_mm", height_mm, "must be above 0 and inside the sleeve")
    placed = _at(stamp.turned_over(), bore, height_mm)
    if not bore.contains(filled(shadow(placed, "the stamp"))):
        raise SpecError("stamp", "mesh", "must be narrower than the sleeve's bore and turned alike")
    return closed_cavity_mm3(standing, placed)


def _narrow_end_down(sleeve: Mesh) -> Mesh:
    """Return the sleeve on z = 0 with the end down that has no lead-in."""
    ends = [mesh.moved((0.0, 0.0, -mesh.bounds[0, 2])) for mesh in (sleeve, sleeve.turned_over())]
    areas = [hole(section_region(end, 0.05, "the bore's end")).area for end in ends]
    if max(areas) == 0.0:
        raise SpecError("sleeve", "mesh", "must have a bore along z that is open at its end")
    return min(zip(areas, ends, strict=True), key=lambda pair: (pair[0] == 0.0, pair[0]))[1]


def _at(stamp: Mesh, bore: shapely.Polygon, height_mm: float) -> Mesh:
    plan = shadow(stamp, "the stamp").centroid
    x, y = bore.centroid.x - plan.x, bore.centroid.y - plan.y
    return stamp.moved((x, y, height_mm - face_mm(stamp)))


def _bounds_a_solid(mesh: Mesh) -> None:
    if not bounds_a_solid(mesh):
        found = topology(mesh)
        raise SpecError(
            "mesh",
            f"{len(mesh.triangles)} triangles",
            f"must bound a solid, and has {found.open_edges} open, {found.crowded_edges} crowded "
            f"and {found.clashing_edges} clashing edges; ask for it to be mended",
        )
    if mesh.volume_mm3 <= 0.0:
        raise SpecError(
            "mesh",
            f"{len(mesh.triangles)} triangles",
            "must not be inside out; ask for it to be mended",
        )


def _cut_out(mesh: Mesh, group: list[Basin]) -> list[Cavity]:
    """Return the cavities of basins that spill at one level."""
    level_mm = group[0].spill_mm
    low, high = mesh.bounds + np.array([[-1.0], [1.0]])
    high[2] = level_mm - BELOW_MM
    air = pieces_of_air([mesh], low, high, step=STEP)
    points = shapely.points([basin.deepest_mm for basin in group])
    closed = [part for part in air if _within(part, low, high)]
    faces = [(part, _face(part, high[2])) for part in closed]
    return [_cavity(part, face, level_mm) for part, face in faces if _over(face, points)]


def _within(part: Mesh, low: Points, high: Points) -> bool:
    """Whether a piece of air reaches neither the sides nor the bottom of the box."""
    return bool(np.all(part.bounds[0] > low + 0.5) and np.all(part.bounds[1, :2] < high[:2] - 0.5))


def _face(part: Mesh, top_mm: float) -> Points:
    """Return the facets of the water's face, shape (n, 3, 2) [mm]."""
    high = part.vertices[:, 2] > top_mm - BELOW_MM / 2.0
    return part.vertices[part.triangles[np.all(high[part.triangles], axis=1)], :2]


def _over(face: Points, points: np.ndarray) -> bool:
    """Whether one of the points lies over the water's face."""
    tree = shapely.STRtree(shapely.polygons(face))
    return bool(tree.query(points, predicate="intersects").size)


def _cavity(part: Mesh, face: Points, level_mm: float) -> Cavity:
    mouth_mm2 = float(shapely.area(shapely.polygons(face)).sum())
    return Cavity(
        volume_mm3=part.volume_mm3 + mouth_mm2 * BELOW_MM,
        rim_mm=level_mm,
        depth_mm=level_mm - float(part.bounds[0, 2]),
        mouth_mm2=mouth_mm2,
    )
