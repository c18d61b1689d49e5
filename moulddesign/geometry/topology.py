"""How the triangles of a mesh are joined, facets that run through each other.

Mending where it is asked for.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import Polygon

from moulddesign.core import KernelError, SpecError
from moulddesign.geometry.booleans import triangulated, union
from moulddesign.geometry.mesh import Indices, Mesh, Points

Edges = tuple[Indices, Indices, Indices, Indices]

MIXERS: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
"""Odd multipliers that spread the bits of coordinates; any odd ones would do."""
SIGNED_BITS: Final = 63
A_FEW: Final = 1000
"""Points that are looked at before all are: a file's own order shows soon."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Counts that are all 0, and one shell, for the surface of one sound solid.

    Parameters
    ----------
    open_edges : int
        Edges with a triangle on one side only: the rim of a hole.
    crowded_edges : int
        Edges where more than two triangles meet.
    clashing_edges : int
        Edges whose two triangles are wound against each other.
    collapsed : int
        Triangles with two corners in one place.
    shells : int
        Pieces of surface that hang together over edges.
    """

    open_edges: int
    crowded_edges: int
    clashing_edges: int
    collapsed: int
    shells: int

    @property
    def watertight(self) -> bool:
        """Whether each edge belongs to exactly two triangles."""
        return self.open_edges == self.crowded_edges == 0

    @property
    def solid(self) -> bool:
        """Whether the mesh bounds a solid: watertight, and wound one way."""
        return self.watertight and self.clashing_edges == 0


@lru_cache(maxsize=2)
def topology(mesh: Mesh) -> Topology:
    """Return how the triangles of a mesh hang together.

    Parameters
    ----------
    mesh : Mesh
        Corners in one place count as one corner. The last ones' answers are kept: a mesh never
        changes, and several checks ask.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> topology(box((0, 0, 0), (1, 1, 1)))
    Topology(open_edges=0, crowded_edges=0, clashing_edges=0, collapsed=0, shells=1)
    """
    triangles = welded(mesh).triangles
    whole = _whole(triangles)
    edges = _edges(triangles[whole])
    starts, _, turns, sides = edges
    shared = sides == 2  # noqa: PLR2004 (an edge between two triangles)
    return Topology(
        open_edges=int(np.sum(sides == 1)),
        crowded_edges=int(len(starts) - np.sum(shared) - np.sum(sides == 1)),
        clashing_edges=int(np.sum(shared & (turns != 0))),
        collapsed=int(np.sum(~whole)),
        shells=len(np.unique(_shells(edges, int(np.sum(whole))))),
    )


def bounds_a_solid(mesh: Mesh) -> bool:
    """Whether a mesh bounds a solid, as `Topology.solid` says, in a third of the time.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> bounds_a_solid(box((0, 0, 0), (1, 1, 1)))
    True
    """
    triangles = welded(mesh).triangles
    if not np.all(_whole(triangles)):
        return topology(mesh).solid
    tails = triangles.T.reshape(-1)
    heads = np.roll(triangles, -1, axis=1).T.reshape(-1)
    names = _edge_names(triangles, tails, heads)
    names = np.sort(2 * names + (tails > heads))
    # Each edge is passed once from its lower row and once from its higher one.
    once, back = names[::2], names[1::2]
    return len(once) == len(back) and bool(np.all(once % 2 == 0) and np.all(back == once + 1))


def welded(mesh: Mesh) -> Mesh:
    """Return a mesh in which each place is one row of `vertices`, in order of x, y, z."""
    if _in_order(mesh.vertices):
        return mesh
    places, rows = _unique_rows(mesh.vertices + 0.0)  # -0.0 and 0.0 are one place
    return Mesh(places, rows[mesh.triangles])


def without_collapsed(mesh: Mesh) -> Mesh:
    """Return a welded mesh without the triangles that have two corners in one place."""
    return Mesh(mesh.vertices, mesh.triangles[_whole(mesh.triangles)])


def shells(triangles: Indices) -> Indices:
    """Return the shell of each triangle, shape (m,): 0, 1, 2 ... over shared edges."""
    return _shells(_edges(triangles), len(triangles))


def _shells(edges: Edges, count: int) -> Indices:
    starts, order, _, sides = edges
    owner = order % max(count, 1)
    first = np.repeat(owner[starts], sides)
    links = coo_array((np.ones(len(owner), dtype=np.int8), (first, owner)), shape=(count,) * 2)
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _whole(triangles: Indices) -> NDArray[np.bool_]:
    whole: NDArray[np.bool_] = np.all(triangles != np.roll(triangles, 1, axis=1), axis=1)
    return whole


def _edges(triangles: Indices) -> Edges:
    """Return where each edge starts in the sorted sides, the sort, sum of turns, number of sides.

    Side k belongs to triangle k modulo m; a turn is +1 from the lower row to the higher, else -1.
    """
    tails = triangles.T.reshape(-1)
    heads = np.roll(triangles, -1, axis=1).T.reshape(-1)
    names = _edge_names(triangles, tails, heads)
    order = _stable_order(names)
    names = names[order]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]][: len(names)])
    turns = np.add.reduceat(np.sign(heads - tails)[order], starts) if len(starts) else starts
    return starts, order, turns, np.diff(np.r_[starts, len(names)])


def _edge_names(triangles: Indices, tails: Indices, heads: Indices) -> Indices:
    """Return a number for each side that both its triangles give it."""
    names: Indices = np.minimum(tails, heads) * (triangles.max(initial=0) + 1)
    names += np.maximum(tails, heads)
    return names


def _stable_order(names: Indices) -> Indices:
    """Return what sorts numbers from 0 on, equal ones in their order.

    Numbers and places in one word sort in a third of the time that places alone take.
    """
    bits = len(names).bit_length()
    if int(names.max(initial=0)).bit_length() + bits > SIGNED_BITS:
        return np.asarray(np.argsort(names, kind="stable"), dtype=np.int64)
    packed = (names << bits) | np.arange(len(names))
    packed.sort()
    order: Indices = packed & ((1 << bits) - 1)
    return order


def _in_order(points: Points) -> bool:
    """Whether the points are distinct and in order already."""
    if len(points) > A_FEW and not _in_order(points[:A_FEW]):
        return False
    x, y, z = np.diff(points, axis=0).T
    return bool(np.all((x > 0) | ((x == 0) & ((y > 0) | ((y == 0) & (z > 0))))))


def _unique_rows(points: Points) -> tuple[Points, Indices]:
    """Return the distinct points in order and the row of each.

    Equal points are brought together by a hash first, for a file names each corner six times and
    sorting by three coordinates takes long. Where the hash fails, equal points are only found a
    step later.
    """
    order = _mixed_order(points)
    ranked = points[order]
    new = _begins(ranked)
    group = np.empty(len(points), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    places, rows = _sorted_rows(ranked[new])
    return places, rows[group]


def _sorted_rows(points: Points) -> tuple[Points, Indices]:
    order = np.lexsort(points.T[::-1])
    ranked = points[order]
    new = _begins(ranked)
    rows = np.empty(len(points), dtype=np.int64)
    rows[order] = np.cumsum(new) - 1
    return ranked[new], rows


def _begins(ranked: Points) -> NDArray[np.bool_]:
    """Whether each point differs from the one before."""
    new = np.ones(len(ranked), dtype=bool)
    new[1:] = np.any(ranked[1:] != ranked[:-1], axis=1)
    return new


def _mixed_order(points: Points) -> Indices:
    """Return an order in which equal points stand together, all but surely."""
    bits = len(points).bit_length()
    mixed = np.zeros(len(points), dtype=np.uint64)
    for along, mixer in zip(points.T, MIXERS, strict=True):
        mixed += np.ascontiguousarray(along).view(np.uint64)
        mixed *= np.uint64(mixer)
        mixed ^= mixed >> np.uint64(32)
    mixed >>= np.uint64(bits)
    mixed <<= np.uint64(bits)
    mixed |= np.arange(len(points), dtype=np.uint64)
    mixed.sort()
    return (mixed & np.uint64((1 << bits) - 1)).astype(np.int64)


MOST_TRIANGLES: Final = 200_000
"""Larger meshes are not searched: the search takes some seconds for this many."""
CHUNK: Final = 200_000
"""Facets whose neighbours are looked up at once, and pairs that are tried at once."""


def crossing_facets(mesh: Mesh) -> int | None:
    """Return how many facets another facet runs through, neighbours left out.

    A side of one that pierces the inside of the other counts; facets that lie on each other in
    one plane do not.

    Parameters
    ----------
    mesh : Mesh
        Welded [mm].

    Returns
    -------
    int or None
        None where the mesh has more than 200,000 triangles: not looked for.
    """
    if len(mesh.triangles) > MOST_TRIANGLES:
        return None
    crossed = np.zeros(len(mesh.triangles), dtype=bool)
    low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    tree = shapely.STRtree(boxes)
    for start in range(0, len(boxes), CHUNK // 50):
        some = np.arange(start, min(start + CHUNK // 50, len(boxes)))
        row, two = tree.query(boxes[some])
        one = some[row]
        near = (one < two) & (low[one, 2] <= high[two, 2]) & (low[two, 2] <= high[one, 2])
        _mark(mesh, np.stack([one[near], two[near]], axis=1), crossed)
    return int(crossed.sum())


def _mark(mesh: Mesh, pairs: Indices, crossed: NDArray[np.bool_]) -> None:
    for some in np.array_split(pairs, len(pairs) // CHUNK + 1):
        apart = some[~_share_a_corner(mesh.triangles[some[:, 0]], mesh.triangles[some[:, 1]])]
        one, two = mesh.corners[apart[:, 0]], mesh.corners[apart[:, 1]]
        crossed[apart[_pierces(one, two) | _pierces(two, one)].reshape(-1)] = True


def _share_a_corner(one: Indices, two: Indices) -> NDArray[np.bool_]:
    return np.asarray(np.any(one[:, :, None] == two[:, None, :], axis=(1, 2)), dtype=bool)


def _pierces(one: Points, two: Points) -> NDArray[np.bool_]:
    """Return for each pair whether a side of the first runs through the second."""
    pierced = np.zeros(len(one), dtype=bool)
    for k in range(3):
        pierced |= _side_pierces(one[:, k], one[:, (k + 1) % 3], two)
    return pierced


def _side_pierces(start: Points, end: Points, facet: Points) -> NDArray[np.bool_]:
    before, after = _sixfold(facet, start), _sixfold(facet, end)
    corners = [facet[:, k] for k in (0, 1, 2, 0)]
    fans = [(np.stack([start, end, p], axis=1), q) for p, q in pairwise(corners)]
    turns = np.sign([_sixfold(fan, q) for fan, q in fans])
    return np.asarray((before * after < 0.0) & (np.abs(turns.sum(axis=0)) == 3.0), dtype=bool)  # noqa: PLR2004


def _sixfold(facet: Points, d: Points) -> Points:
    """Return six times the volume of each tetrahedron, with its sign."""
    a, b, c = np.moveaxis(facet, 1, 0)
    volume: Points = np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)
    return volume


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
