"""Mending a mesh that bounds no solid, only where it is asked for, and telling what was done."""

from typing import Final

import numpy as np
import trimesh
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import Polygon

from moulddesign.check.topology import Topology, shells, topology, welded, without_collapsed
from moulddesign.errors import KernelError, SpecError
from moulddesign.mesh import Indices, Mesh, Points, triangulated, union

JOIN_MM: Final = 1e-3
"""Corners nearer than this are one: a hundred float32 steps at 100 mm [mm]."""

Side = tuple[int, int]


def mended(mesh: Mesh) -> tuple[Mesh, tuple[str, ...]]:
    """Return a mesh that bounds a solid, and what was done to it in sentences.

    Corners that nearly meet are joined, facets that collapsed or lie double are dropped, facets
    are wound one way and outwards, holes are closed with flat or fanned lids, and shells that
    overlap are made one. Nothing is done to a mesh that needs nothing.

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
    for step in (_join, _drop, _turn_alike, _close, _turn_outwards, _unite):
        now, said = step(now, topology(now))
        done += [said] if said else []
    left = topology(now)
    if not left.solid or now.volume_mm3 <= 0.0:
        raise SpecError(
            "mesh",
            f"{len(mesh.triangles)} triangles",
            f"cannot be mended: {left.open_edges} open, {left.crowded_edges} crowded and "
            f"{left.clashing_edges} clashing edges are left; mend it in a mesh editor",
        )
    return now, tuple(done)


def _join(mesh: Mesh, found: Topology) -> tuple[Mesh, str]:
    """Join corners that nearly meet, where there are open edges."""
    pairs = cKDTree(mesh.vertices).query_pairs(JOIN_MM, output_type="ndarray")
    if not found.open_edges or not len(pairs):
        return mesh, ""
    count = len(mesh.vertices)
    links = coo_array((np.ones(len(pairs), dtype=bool), pairs.T), shape=(count, count))
    group = connected_components(links, directed=False)[1]
    first = np.unique(group, return_index=True)[1]
    made = welded(Mesh(mesh.vertices[first], group.astype(np.int64)[mesh.triangles]))
    return made, f"{count - len(first)} corners were joined that lay within {JOIN_MM:g} mm"


def _drop(mesh: Mesh, _: Topology) -> tuple[Mesh, str]:
    """Drop facets with two corners in one place, and all but one of facets that lie double."""
    whole = without_collapsed(mesh)
    first = np.unique(np.sort(whole.triangles, axis=1), axis=0, return_index=True)[1]
    dropped = len(mesh.triangles) - len(first)
    made = Mesh(whole.vertices, whole.triangles[np.sort(first)])
    return (made, f"{dropped} collapsed or double facets were dropped") if dropped else (mesh, "")


def _turn_alike(mesh: Mesh, found: Topology) -> tuple[Mesh, str]:
    """Wind facets as their neighbours are."""
    if not found.clashing_edges:
        return mesh, ""
    body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    trimesh.repair.fix_winding(body)
    turned = int(np.sum(np.any(body.faces != mesh.triangles, axis=1)))
    return Mesh(mesh.vertices, np.array(body.faces)), f"{turned} facets were turned over"


def _close(mesh: Mesh, found: Topology) -> tuple[Mesh, str]:
    """Close each hole with a lid."""
    if not found.open_edges:
        return mesh, ""
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
    return made, f"{len(rims)} {'hole was' if len(rims) == 1 else 'holes were'} closed"


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


def _turn_outwards(mesh: Mesh, found: Topology) -> tuple[Mesh, str]:
    """Turn a closed mesh that is inside out."""
    if found.solid and mesh.volume_mm3 < 0.0:
        return mesh.inside_out(), "the whole was turned inside out"
    return mesh, ""


def _unite(mesh: Mesh, found: Topology) -> tuple[Mesh, str]:
    """Make shells that overlap one; hollows inside, wound inwards, stay as they are."""
    if not found.solid or found.shells == 1:
        return mesh, ""
    number = shells(mesh.triangles)
    parts = [Mesh(mesh.vertices, mesh.triangles[number == k]) for k in range(found.shells)]
    if min(part.volume_mm3 for part in parts) <= 0.0:
        return mesh, ""
    try:
        made = welded(union(parts, "the union of the shells"))
    except KernelError:
        return mesh, ""
    lost_mm3 = mesh.volume_mm3 - made.volume_mm3
    if lost_mm3 <= 1e-6 * mesh.volume_mm3:
        return mesh, ""
    return made, f"{found.shells} shells were united; {lost_mm3 / 1000.0:.3g} mL counted twice"
