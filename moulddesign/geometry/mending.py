"""Mending a mesh where that is asked for, so that it bounds a solid."""

from typing import Final

import numpy as np
import trimesh
from shapely import Polygon

from moulddesign.core import KernelError, Message, SpecError, say
from moulddesign.geometry.booleans import triangulated, union
from moulddesign.geometry.float32 import is_thin, without_thin
from moulddesign.geometry.mesh import Indices, Mesh, Points
from moulddesign.geometry.topology import Topology, shells, topology
from moulddesign.geometry.welding import first_near, welded, without_collapsed

JOIN_MM: Final = 1e-3
"""Corners nearer than this are one: a hundred float32 steps at 100 mm [mm]."""

Side = tuple[int, int]

Mended = tuple[Mesh, Message | None]
"""A mesh after a step, and what the step did."""


def mended(mesh: Mesh) -> tuple[Mesh, tuple[Message, ...]]:
    """Return a mesh that bounds a solid, and what was done to it.

    Corners that nearly meet are joined, facets that collapsed or lie double are dropped, facets
    are wound one way and outwards, holes are closed with flat or fanned lids, shells that overlap
    are made one, and facets without area are taken out. Nothing is done to a mesh that needs
    nothing.

    Parameters
    ----------
    mesh : Mesh
        As read [mm].

    Raises
    ------
    SpecError
        It still bounds no solid after all that.
    """
    now, done = welded(mesh), []
    for step in (_join, _drop, _turn_alike, _close, _turn_outwards, _unite, _thin_out):
        now, said = step(now, topology(now))
        done += [said] if said is not None else []
    left = topology(now)
    if not left.solid or now.volume_mm3 <= 0.0:
        raise SpecError(
            "mesh",
            f"{len(mesh.triangles)} triangles",
            say(
                "geometry.cannot-be-mended",
                open=left.open_edges,
                crowded=left.crowded_edges,
                clashing=left.clashing_edges,
            ),
        )
    return now, tuple(done)


def _join(mesh: Mesh, found: Topology) -> Mended:
    """Join corners that nearly meet, where there are open edges."""
    if not found.open_edges:
        return mesh, None
    kept, rows = np.unique(first_near(mesh.vertices, JOIN_MM), return_inverse=True)
    count = len(mesh.vertices) - len(kept)
    if not count:
        return mesh, None
    made = welded(Mesh(mesh.vertices[kept], rows[mesh.triangles]))
    return made, say("geometry.corners-joined", count=count, within_mm=JOIN_MM)


def _drop(mesh: Mesh, _: Topology) -> Mended:
    """Drop facets with two corners in one place, and all but one of facets that lie double."""
    whole = without_collapsed(mesh)
    first = np.unique(np.sort(whole.triangles, axis=1), axis=0, return_index=True)[1]
    dropped = len(mesh.triangles) - len(first)
    made = Mesh(whole.vertices, whole.triangles[np.sort(first)])
    return (made, say("geometry.facets-dropped", count=dropped)) if dropped else (mesh, None)


def _turn_alike(mesh: Mesh, found: Topology) -> Mended:
    """Wind facets as their neighbours are."""
    if not found.clashing_edges:
        return mesh, None
    body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    trimesh.repair.fix_winding(body)
    turned = int(np.sum(np.any(body.faces != mesh.triangles, axis=1)))
    made = Mesh(mesh.vertices, np.array(body.faces))
    return made, say("geometry.facets-turned", count=turned)


def _close(mesh: Mesh, found: Topology) -> Mended:
    """Close each hole with a lid."""
    if not found.open_edges:
        return mesh, None
    sides = np.stack([mesh.triangles, np.roll(mesh.triangles, -1, axis=1)], axis=2).reshape(-1, 2)
    known = {(tail, head) for tail, head in sides.tolist()}
    rims = _rims(known)
    points, lids = [mesh.vertices], [mesh.triangles]
    for rim in rims:
        middle, lid = _lid(mesh.vertices[rim], rim, sum(len(part) for part in points))
        if len(middle) == 0 and known & {(b, a) for a, b in _inner_sides(lid, rim)}:
            middle, lid = _fan(mesh.vertices[rim], rim, sum(len(part) for part in points))
        points.append(middle)
        lids.append(lid)
    made = welded(Mesh(np.concatenate(points), np.concatenate(lids)))
    if len(rims) == 1:
        return made, say("geometry.hole-closed")
    return made, say("geometry.holes-closed", count=len(rims))


def _rims(known: set[Side]) -> list[Indices]:
    """Return the corners around each hole, so that a lid wound that way fits."""
    following: dict[int, list[int]] = {}
    for tail, head in sorted(known):
        if (head, tail) not in known:
            following.setdefault(head, []).append(tail)
    rims: list[Indices] = []
    while following:
        rims += _walked(following)
    return [rim for rim in rims if len(rim) > 2]  # noqa: PLR2004 (a hole has three sides or more)


def _walked(following: dict[int, list[int]]) -> list[Indices]:
    """Take the rims out of the sides that one walk closes; each passes a corner once."""
    here, path, rims = min(following), [], []
    while here in following:
        path.append(here)
        nexts = following[here]
        here = nexts.pop()
        if not nexts:
            del following[path[-1]]
        if here in path:
            start = path.index(here)
            rims.append(np.array(path[start:]))
            del path[start:]
    return rims


def _lid(rim: Points, rows: Indices, next_row: int) -> tuple[Points, Indices]:
    """Return a new middle corner, if one is needed, and the facets of a lid."""
    middle = rim.mean(axis=0)
    axes = np.linalg.svd(rim - middle)[2]
    flat = (rim - middle) @ axes[:2].T
    if signed_area := np.linalg.det(np.stack([flat, np.roll(flat, -1, axis=0)], axis=1)).sum():
        flat = flat * (1.0, np.sign(signed_area))
    if Polygon(flat).is_valid:
        return np.empty((0, 3)), rows[triangulated([flat])]
    return _fan(rim, rows, next_row)


def _fan(rim: Points, rows: Indices, next_row: int) -> tuple[Points, Indices]:
    """Return a middle corner and a lid of facets around it."""
    fan = np.stack([rows, np.roll(rows, -1), np.full(len(rows), next_row)], axis=1)
    return rim.mean(axis=0)[None], fan


def _inner_sides(lid: Indices, rim: Indices) -> set[Side]:
    """Return the sides of a lid's facets that are not the rim's own."""
    sides = np.stack([lid, np.roll(lid, -1, axis=1)], axis=2).reshape(-1, 2)
    around = np.stack([rim, np.roll(rim, -1)], axis=1)
    return {(a, b) for a, b in sides.tolist()} - {(a, b) for a, b in around.tolist()}


def _turn_outwards(mesh: Mesh, found: Topology) -> Mended:
    """Turn a closed mesh that is inside out."""
    if found.solid and mesh.volume_mm3 < 0.0:
        return mesh.inside_out(), say("geometry.turned-inside-out")
    return mesh, None


def _unite(mesh: Mesh, found: Topology) -> Mended:
    """Make shells that overlap one; hollows inside, wound inwards, stay as they are."""
    if not found.solid or found.shells == 1:
        return mesh, None
    number = shells(mesh.triangles)
    parts = [Mesh(mesh.vertices, mesh.triangles[number == k]) for k in range(found.shells)]
    if min(part.volume_mm3 for part in parts) <= 0.0:
        return mesh, None
    try:
        made = welded(union(parts, say("geometry.union-of-shells")))
    except KernelError:
        return mesh, None
    lost_mm3 = mesh.volume_mm3 - made.volume_mm3
    if lost_mm3 <= 1e-6 * mesh.volume_mm3:
        return mesh, None
    return made, say("geometry.shells-united", count=found.shells, twice_ml=lost_mm3 / 1000.0)


def _thin_out(mesh: Mesh, found: Topology) -> Mended:
    """Take out facets without area: their neighbours are divided at the corner between."""
    made = without_thin(mesh) if found.solid else mesh
    if not len(made.triangles):  # dust, all of it: what writes it says that no file can hold it
        return mesh, None
    count = int(is_thin(mesh).sum() - is_thin(made).sum())
    return (made, say("geometry.flat-facets-gone", count=count)) if count else (mesh, None)
