"""Meshes made to bound a solid: in the float32 corners of their files, and mended where asked."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from moulddesign.core import KernelError, Message, SpecError, say
from moulddesign.geometry.booleans import triangulated, union
from moulddesign.geometry.mesh import Indices, Mesh, Points, sides_and_heights_mm
from moulddesign.geometry.topology import (
    Topology,
    compact,
    distinct,
    first_linked,
    first_near,
    is_closed,
    shells,
    topology,
    unfolded,
    welded,
    without_collapsed,
)

INWARD_STEPS_MM: Final = (1e-4, 1e-3, 2e-3, 4e-3, 4e-3)
"""Steps by which corners draw back where float32 cannot keep two sheets apart. The first is three
of its own at 400 mm: a corner that moves farther than it has to may pass through others [mm]."""

THIN_MM: Final = 1e-7
"""Least height of a triangle that is kept; float32 steps at 10 mm are ten times as wide [mm]."""

SHORT_MM: Final = 5e-5
"""Sides of thin triangles that shrink to a point; float32 steps at 400 mm are 3e-5 [mm]."""


def in_float32(mesh: Mesh) -> Mesh:
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
    for step_mm in INWARD_STEPS_MM:
        if is_closed(made.triangles):
            break
        pinched = np.isin(number, _pinched(made))
        vertices = _shrunk_inward(vertices, mesh.triangles, pinched, step_mm=step_mm)
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
    """Return a mesh whose thin triangles have gone to neighbours, divided at the corner between."""
    # Each flip makes the thinner of two triangles less thin, so this comes to an end.
    while len(thin := np.flatnonzero(is_thin(mesh))):
        triangles = mesh.triangles.copy()
        if not sum(_flip(mesh.vertices, triangles, row) for row in thin.tolist()):
            return mesh
        mesh = Mesh(mesh.vertices, triangles)
    return mesh


def _flip(vertices: Points, triangles: Indices, row: int) -> bool:
    """Flip the longest side of a triangle in place, if the thinner of the two then is less so."""
    sides_mm = sides_and_heights_mm(vertices[triangles[row]][None])[0]
    start, end, between = np.roll(triangles[row], -int(sides_mm.argmax())).tolist()
    beside = np.intersect1d(_around(triangles, start), _around(triangles, end))
    others = set(triangles[beside].ravel().tolist()) - {start, end, between}
    if len(beside) != 2 or len(others) != 1:  # noqa: PLR2004 (where sheets touch, four meet)
        return False
    # The edge start-end, the long side of the thin triangle, is flipped to between-far:
    #
    #           far                   far
    #          /   \                 / | \
    #         /     \      ->       /  |  \      Two triangles stay two. An edge between-far that is
    #     start ----- end       start  |  end    there already would then have four, so it stays as
    #          between              between      it is.
    (far,) = others
    flipped = np.array([[between, start, far], [far, end, between]])
    now_mm, then_mm = (
        sides_and_heights_mm(vertices[pair])[1].min() for pair in (triangles[beside], flipped)
    )
    joined = np.intersect1d(_around(triangles, between), _around(triangles, far))
    if better := bool(then_mm > now_mm) and not len(joined):
        triangles[beside] = flipped
    return better


def _around(triangles: Indices, corner: int) -> Indices:
    """Return the rows of the triangles around a corner."""
    return np.flatnonzero(triangles == corner) // 3


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
    # On a closed surface each directed edge occurs once, and so does its reverse.
    edges = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = len(mesh.vertices)
    keys, count = np.unique(edges[:, 0] * size + edges[:, 1], return_counts=True)
    back = keys % size * size + keys // size
    bad = keys[(count > 1) | ~np.isin(back, keys)]
    return np.unique(np.concatenate([bad // size, bad % size]))


def _shrunk_inward(
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


JOIN_MM: Final = 1e-3
"""Corners nearer than this are one: a hundred float32 steps at 100 mm [mm]."""

Side = tuple[int, int]

Mended = tuple[Mesh, Message | None]
"""A mesh after a step, and what the step did."""


def mended(mesh: Mesh) -> tuple[Mesh, tuple[Message, ...]]:
    """Return a mesh that bounds a solid, and what was done to it; else `SpecError`.

    Corners that nearly meet are joined, facets that collapsed or lie double are dropped, facets are
    wound one way and outwards, holes are closed with flat or fanned lids, shells that overlap are
    made one, and facets without area are taken out. Nothing is done to a mesh that needs nothing.
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
    import trimesh  # noqa: PLC0415 (a third of what a build loads)

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
        rims += _closed_walks(following)
    return [rim for rim in rims if len(rim) > 2]  # noqa: PLR2004 (a hole has three sides or more)


def _closed_walks(following: dict[int, list[int]]) -> list[Indices]:
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
    # The plane of least squares: the last singular vector is its normal, the first two span it.
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
    # The signed volume of shells that overlap counts the overlap twice; a union counts it once.
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
