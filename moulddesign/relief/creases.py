"""Creases of a labelled field: the lines along which one piece ends and another begins.

The field says of each point which piece made its height, so a crease is not looked for in the
heights: it lies where the number of the piece changes. A triangular grid is laid over the outline,
each edge whose ends differ in number is bisected, and where three numbers meet in one triangle,
tangent planes of the three pieces give the place where they do. Where they do not, the triangle is
divided and looked at again.
"""

from collections.abc import Sequence
from functools import partial
from math import cos, pi, sin
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moulddesign.core.concurrency import Task
from moulddesign.geometry import Indices, Points
from moulddesign.geometry.topology import undirected
from moulddesign.relief.field import Field, Heights

SPACING_MM: Final = 0.2
"""Of the grid: half of the narrowest stroke that a usual nozzle prints [mm]."""
GRID_SHIFT: Final = (1.37, 1.41)
"""So that no grid point lies on an axis of symmetry, where pieces meet by rule [spacings]."""
BISECTIONS: Final = 9
"""Halvings of a grid edge: 0.2 mm / 2^9 is the grid on which creases are noded."""
DIVISIONS: Final = 3
"""How often a triangle is divided: 0.2 mm come down to 0.025 mm."""
SAME_MM: Final = 0.001
"""Places on creases so near to each other are one: twice what bisection leaves open [mm]."""
SLOPE_STEP_MM: Final = 1e-4
"""Over which the slope of a piece is taken beside a place where three meet [mm]."""
TANGENTS: Final = 3
"""Rounds of tangent planes, each from corners four times as near: 0.2 mm come down to 0.01 mm."""
NEARER: Final = 0.25
AROUND_MM: Final = 0.008 * np.array([(cos(k * pi / 4.0), sin(k * pi / 4.0)) for k in range(8)])
"""From a place where three pieces meet to points that lie in them: at walls 0.02 mm in height."""
KINK_REACH_MM: Final = 0.03
"""Over which the change of slope across a crease is taken [mm]."""
LEAST_KINK: Final = 0.1
"""Change of slope below which pieces meet smoothly: facets of 0.6 mm over it are 0.015 mm off."""
MOST_PLAN_MM: Final = 0.05
"""However flat a crease is, leaving out points moves it no further in the plan [mm]."""

PASSED: Final = 2
"""Segments that meet where a line goes on."""
LONGEST_MM: Final = 0.8
"""Piece of a crease: beside a longer one lie slivers that are steeper than the field [mm]."""


def crossing_tasks(field: Field, outline: shapely.Polygon) -> tuple[Task, Task]:
    """Return what finds where creases cross a grid over an outline, in its two halves."""
    points, triangles = _grid(outline, SPACING_MM)
    middle = points[len(points) // 2, 1]  # points come row by row: one row is in both
    first, end = (np.searchsorted(points[:, 1], middle, side) for side in ("left", "right"))
    low = triangles[(triangles < end).all(axis=1)]
    high = triangles[(triangles >= first).all(axis=1)] - first
    return partial(_crossings, field, points[:end], low), partial(
        _crossings, field, points[first:], high
    )


def creases(crossings: Sequence[Task], field: Field, *, error_mm: float) -> Points:
    """Return the creases within an outline as straight pieces, shape (n, 2, 2) [mm].

    Parameters
    ----------
    crossings : sequence of callable
        The `crossing_tasks` of field and outline, or what waits for them.
    error_mm : float
        Largest height error: leaving out points of a crease moves heights beside it by four fifths
        of it, for a kink is off by its change of slope times its way in the plan, and those along
        it by half [mm].
    """
    places, segments = np.empty((0, 2)), np.empty((0, 2), dtype=np.int64)
    for crossing in crossings:
        found_places, pairs = crossing()
        segments = np.concatenate([segments, len(places) + pairs])
        places = np.concatenate([places, found_places])
    kink = _kinks(field, places[segments])
    segments, kink = segments[kink >= LEAST_KINK], kink[kink >= LEAST_KINK]
    # Divided triangles, and both halves, find some places twice.
    _, first, row = np.unique(places @ (1.0, 1.0j), return_index=True, return_inverse=True)
    places, segments = places[first], row[segments]
    steepest = np.zeros(len(places))
    np.maximum.at(steepest, segments.ravel(), np.repeat(kink, 2))
    row, line = _lines(segments)
    points = places[row]
    kept = simplified_rows(
        np.column_stack([points, field(points).height]),
        line,
        plan_mm=np.minimum(error_mm / 1.25 / steepest[row], MOST_PLAN_MM),
        height_mm=error_mm / 2.0,
    )
    first, last = kept[:-1], kept[1:]
    within = line[first] == line[last]
    found: Points = np.stack([points[first[within]], points[last[within]]], axis=1)
    return found


def _lines(segments: Indices) -> tuple[Indices, Indices]:
    """Return ends of segments in order along lines, and the line of each.

    Lines end where other than two segments meet.
    """
    ends = undirected(segments).ravel()
    order = np.argsort(ends, kind="stable")
    size = int(ends.max(initial=-1)) + 1
    begin = np.searchsorted(ends[order], np.arange(size + 1))
    met = np.diff(begin)
    nodes = np.flatnonzero(met)
    starts = nodes[np.argsort(met[nodes] == PASSED, kind="stable")]
    node, ends_at, first = ends.tolist(), order.tolist(), begin.tolist()
    free = [True] * (len(node) // 2)
    rows, count = list[int](), list[int]()
    for start in starts.tolist():
        for end in ends_at[first[start] : first[start + 1]]:
            path, here = [start], end
            while free[here >> 1]:
                free[here >> 1] = False
                # Both ends of a segment differ in their last bit.
                there = here ^ 1
                at = node[there]
                path.append(at)
                both = ends_at[first[at] : first[at + 1]]
                if len(both) == PASSED:
                    here = both[0] if both[1] == there else both[1]
            if len(path) > 1:
                rows += path
                count.append(len(path))
    return np.array(rows, dtype=np.int64), np.repeat(np.arange(len(count)), count)


def coarse_creases(
    field: Field, outline: shapely.Polygon, *, spacing_mm: float
) -> tuple[Points, Points]:
    """Return a grid over an outline, and the creases as they cross its sides, for a quick look.

    No triangle is divided and no point left out: what is narrower than the grid may be missed.

    Returns
    -------
    points : ndarray
        Of the grid, some beyond the outline, shape (n, 2) [mm].
    pieces : ndarray
        Straight pieces of creases, shape (m, 2, 2) [mm].
    """
    points, triangles = _grid(outline, spacing_mm)
    traced = _traced(field, points, triangles, DIVISIONS)
    pieces = traced.places[traced.pairs]
    return points, pieces[_kinks(field, pieces) >= LEAST_KINK]


def _kinks(field: Field, segments: Points) -> Heights:
    """Return the change of slope across segments, 0 where no piece ends along one."""
    along = segments[:, 1] - segments[:, 0]
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-12)
    across = KINK_REACH_MM * along[:, ::-1] * (1.0, -1.0) / length[:, None]
    middle = segments.mean(axis=1)
    right, left = field(middle + across), field(middle - across)
    change = np.abs(right.height + left.height - 2.0 * field(middle).height) / KINK_REACH_MM
    return np.where(right.piece == left.piece, 0.0, change)


def _crossings(field: Field, points: Points, triangles: Indices) -> tuple[Points, Indices]:
    """Return places on creases, and which pairs of them a crease joins within a triangle.

    Triangles in which three pieces meet but not in one point, as by a narrow fourth, or in which a
    narrow piece ends, are divided into four and looked at again.
    """
    places, pairs, triangles = _traced(field, points, triangles, 0)
    for depth in range(1, DIVISIONS + 1):
        if not len(triangles):
            break
        points, triangles = _quartered(points[triangles])
        found = _traced(field, points, triangles, depth)
        # An edge of a divided triangle is one of its neighbour as well, with the same places on it.
        away, near = cKDTree(places).query(found.places)
        row = np.where(away < SAME_MM, near, len(places) + np.arange(len(found.places)))
        places = np.concatenate([places, found.places])
        pairs = np.concatenate([pairs, row[found.pairs]])
        triangles = found.unclear
    return places, pairs


def _quartered(corners: Points) -> tuple[Points, Indices]:
    """Return the points and rows of triangles divided at the middles of their sides."""
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    made = np.concatenate([np.stack(part, axis=1) for part in parts])
    name, row = np.unique(made @ (1.0, 1.0j), return_inverse=True)
    return np.column_stack([name.real, name.imag]), row.reshape(-1, 3)


class _Traced(NamedTuple):
    """What is known of creases in the triangles of a grid."""

    places: Points
    pairs: Indices
    """Rows of places that a crease joins, shape (n, 2)."""
    unclear: Indices
    """Triangles that have to be divided, shape (m, 3)."""


def _traced(field: Field, points: Points, triangles: Indices, depth: int) -> _Traced:
    """Return places on creases in triangles, and which of them are joined.

    A piece that is narrower than the grid may lie between the ends of an edge: then the edge has
    two places, one where the piece of either end is left, and a triangle has two creases.
    """
    piece = field(points).piece
    halvings = BISECTIONS - depth
    unlike = (piece[triangles] != piece[np.roll(triangles, -1, axis=1)]).any(axis=1)
    triangles = triangles[unlike]
    starts, ends = triangles, np.roll(triangles, -1, axis=1)
    low, high = np.minimum(starts, ends), np.maximum(starts, ends)
    names, side = np.unique(low * len(points) + high, return_inverse=True)
    edges = np.column_stack(np.divmod(names, len(points)))
    cut = np.flatnonzero(piece[edges[:, 0]] != piece[edges[:, 1]])
    first, beyond = _bisected(field, points[edges[cut]], piece[edges[cut]], halvings)
    hides = np.flatnonzero(beyond != piece[edges[cut, 1]])
    rest = np.stack([points[edges[cut[hides], 1]], first[hides]], axis=1)
    own = np.column_stack([piece[edges[cut[hides], 1]], beyond[hides]])
    last, _ = _bisected(field, rest, own, halvings)
    at_first, at_last = np.full((2, len(edges)), -1, dtype=np.int64)
    at_first[cut] = at_last[cut] = np.arange(len(cut))
    at_last[cut[hides]] = len(cut) + np.arange(len(hides))
    places = np.concatenate([first, last])
    side = side.reshape(-1, 3)
    at_start = np.where(starts < ends, at_first[side], at_last[side])
    at_end = np.where(starts < ends, at_last[side], at_first[side])
    three = np.flatnonzero((at_start >= 0).all(axis=1))
    middle, met = _triple_points(field, points[triangles[three]], piece[triangles[three]])
    met &= (at_start[three] == at_end[three]).all(axis=1)
    hub, middle = three[met], middle[met]
    spokes = np.column_stack(
        [at_start[hub].ravel(), np.repeat(len(places) + np.arange(len(hub)), 3)]
    )
    unclear = np.empty(0, dtype=np.int64)
    if depth < DIVISIONS:
        # A narrow piece that crosses but one side ends inside.
        ends_inside = np.flatnonzero((at_start != at_end).sum(axis=1) == 1)
        unclear = np.union1d(three[~met], np.setdiff1d(ends_inside, hub))
    others = np.delete(np.arange(len(triangles)), np.concatenate([hub, unclear]))
    # Around a corner a crease runs from the side after it to the side before it, and where but two
    # sides have places another one beyond that.
    cuts = np.stack([at_start, np.roll(at_end, 1, axis=1)], axis=2)[others].reshape(-1, 2)
    two = np.setdiff1d(others, three)
    far = np.stack([at_end, np.roll(at_start, 1, axis=1)], axis=2)[two].reshape(-1, 2)
    pairs = np.concatenate([cuts, far])
    pairs = pairs[(pairs >= 0).all(axis=1) & (pairs[:, 0] != pairs[:, 1])]
    ends = np.concatenate([undirected(pairs), spokes])
    return _Traced(np.concatenate([places, middle]), ends, triangles[unclear])


def _grid(outline: shapely.Polygon, spacing_mm: float) -> tuple[Points, Indices]:
    """Return the points of a grid over an outline and a little beyond, and its triangles."""
    left, low, right, high = outline.bounds
    x = np.arange(left - GRID_SHIFT[0] * spacing_mm, right + 2.0 * spacing_mm, spacing_mm)
    y = np.arange(low - GRID_SHIFT[1] * spacing_mm, high + 2.0 * spacing_mm, spacing_mm)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    around = outline.buffer(2.0 * spacing_mm, quad_segs=4)
    shapely.prepare(around)
    near = shapely.contains_xy(around, points[:, 0], points[:, 1])
    row = np.cumsum(near) - 1
    at = np.arange(len(points)).reshape(len(y), len(x))
    a, b, c, d = (part.ravel() for part in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return points[near], row[triangles[near[triangles].all(axis=1)]]


def _bisected(field: Field, ends: Points, pieces: Indices, halvings: int) -> tuple[Points, Indices]:
    """Return where on edges the piece of the first end is left, and the piece beyond.

    Both are known at the ends: shapes (n, 2, 2) and (n, 2).
    """
    here, there = ends[:, 0].copy(), ends[:, 1].copy()
    own, beyond = pieces[:, 0], pieces[:, 1].copy()
    for _ in range(halvings if len(ends) else 0):
        middle = (here + there) / 2.0
        found = field(middle).piece
        same = found == own
        here[same], there[~same], beyond[~same] = middle[same], middle[~same], found[~same]
    return (here + there) / 2.0, beyond


def _triple_points(
    field: Field, corners: Points, pieces: Indices
) -> tuple[Points, NDArray[np.bool_]]:
    """Return where three pieces meet in triangles whose corners all differ, and whether they do.

    Each piece is taken as level with its tangent plane at its corner; the three planes meet in a
    point. From corners drawn near to it that is done again, and at last all three have to be seen
    around it.
    """
    steps = np.array([[0.0, 0.0], [SLOPE_STEP_MM, 0.0], [0.0, SLOPE_STEP_MM]])
    at, middle = corners, corners.mean(axis=1)
    met = np.ones(len(corners), dtype=bool)
    near = np.zeros((len(corners), 3, 5))
    for round_ in range(TANGENTS if len(corners) else 0):
        found = field((at[:, :, None] + steps).reshape(-1, 2))
        heights = found.height.reshape(-1, 3, 3)
        slopes = (heights[..., 1:] - heights[..., :1]) / SLOPE_STEP_MM
        own = (found.piece.reshape(-1, 3, 3) == pieces[:, :, None]).all(axis=2)
        # Nearer to the place another piece may lie at a corner: then its plane stays what it was.
        new = np.concatenate([at, heights[..., :1], slopes], axis=2)
        near = new if round_ == 0 else np.where(own[..., None], new, near)
        met &= own.all(axis=1) | (round_ > 0)
        slope = near[..., 3:]
        over = near[..., 2] - (slope * (near[..., :2] - middle[:, None])).sum(axis=2)
        (ax, ay), (bx, by) = np.moveaxis(slope[:, 1:] - slope[:, :1], 0, 2)
        a, b = (over[:, :1] - over[:, 1:]).T
        size = ax * by - ay * bx
        sharp = np.abs(size) > LEAST_KINK**2
        size = np.where(sharp, size, 1.0)
        place = middle + np.column_stack([a * by - b * ay, ax * b - bx * a]) / size[:, None]
        met &= sharp & _inside(place, corners)
        middle = np.where(met[:, None], place, middle)
        at = middle[:, None] + NEARER * (at - middle[:, None])
    near_by = field((middle[met, None] + AROUND_MM).reshape(-1, 2)).piece
    seen = near_by.reshape(-1, len(AROUND_MM), 1) == pieces[met, None]
    met[met] = seen.any(axis=1).all(axis=1)
    return middle, met


def _inside(points: Points, corners: Points) -> NDArray[np.bool_]:
    """Return whether points lie in triangles, one each, that run one way around."""
    along = np.roll(corners, -1, axis=1) - corners
    out = points[:, None] - corners
    left = along[..., 0] * out[..., 1] - along[..., 1] * out[..., 0]
    one_side: NDArray[np.bool_] = np.abs(np.sign(left).sum(axis=1)) == left.shape[1]
    return one_side


def simplified_rows(
    points: Points, line: Indices, *, plan_mm: Heights, height_mm: float
) -> Indices:
    """Return which points of lines stay when the others move no line by more than two bounds.

    From each point the farthest is found to which a straight stretch is within the bounds and no
    longer than `LONGEST_MM`; lines take these stretches one after the other from their first point.
    A line halved at its worst points, until none is out of bounds, keeps up to twice as many.

    Parameters
    ----------
    points : ndarray
        Points of all lines, each line's in order, shape (n, 3) [mm].
    line : ndarray
        The line of each point, shape (n,).
    plan_mm : ndarray
        How far leaving out each point may move its line in the plan, shape (n,) [mm].
    height_mm : float
        How far it may move heights along a line [mm].
    """
    farthest = np.arange(len(points))
    last = np.searchsorted(line, line, side="right") - 1
    start, step = np.flatnonzero(farthest < last), 1
    while len(start):
        farthest[start] = start + step
        start, step = start[start + step < last[start]], step + 1
        length = np.linalg.norm(points[start + step, :2] - points[start, :2], axis=1)
        start = start[length <= LONGEST_MM]
        between = start[:, None] + np.arange(1, step)
        ends = (np.repeat(points[row], step - 1, axis=0) for row in (start, start + step))
        rows = between.ravel()
        off = _off_ratio(points[rows], *ends, plan_mm=plan_mm[rows], height_mm=height_mm)
        start = start[(off.reshape(-1, step - 1) <= 1.0).all(axis=1)]
    following, row, kept = farthest.tolist(), 0, []
    while row < len(points):
        kept.append(row)
        row = following[row] if following[row] > row else row + 1
    return np.array(kept, dtype=np.int64)


def _off_ratio(
    points: Points, begin: Points, end: Points, *, plan_mm: Heights, height_mm: float
) -> Points:
    """Return how far points are off straight stretches, as a multiple of the bounds."""
    # Coordinate by coordinate, which takes half the time of rows.
    (x, y, z), (to_x, to_y, to_z) = (points - begin).T.copy(), (end - begin).T.copy()
    length2 = np.maximum(to_x * to_x + to_y * to_y, 1e-18)
    share = np.clip((x * to_x + y * to_y) / length2, 0.0, 1.0)
    plan = np.hypot(x - share * to_x, y - share * to_y)
    height = np.abs(share * to_z - z)
    ratio: Points = np.maximum(plan / plan_mm, height / height_mm)
    return ratio
