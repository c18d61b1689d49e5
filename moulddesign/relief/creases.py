"""Creases of a labelled field: the lines along which one piece ends and another begins.

The field says of each point which piece made its height, so a crease is not looked for in the
heights: it lies where the number of the piece changes. A triangular grid is laid over the outline,
each edge whose ends differ in number is bisected, and where three numbers meet in one triangle,
that triangle is shrunk onto the place where they do.
"""

from typing import Final

import numpy as np
import shapely

from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Field

SPACING_MM: Final = 0.2
"""Of the grid: half of the narrowest stroke that a usual nozzle prints [mm]."""
GRID_SHIFT: Final = (1.37, 1.41)
"""So that no grid point lies on an axis of symmetry, where pieces meet by rule [spacings]."""
BISECTIONS: Final = 11
"""Halvings of a grid edge: 0.2 mm / 2^11 is a fifth of the grid on which creases are noded."""


def creases(field: Field, outline: shapely.Polygon, *, plan_mm: float, height_mm: float) -> Points:
    """Return the creases within an outline as straight pieces, shape (n, 2, 2) [mm].

    Parameters
    ----------
    plan_mm, height_mm : float
        How far leaving out points may move a crease in the plan, and its height [mm].
    """
    places, segments = _crossings(field, outline)
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(places[segments])))
    lines = shapely.get_parts(merged)
    points, line = shapely.get_coordinates(lines, return_index=True)
    if not len(points):
        return np.empty((0, 2, 2))
    kept = simplified_rows(
        np.column_stack([points, field(points).height]), line, plan_mm=plan_mm, height_mm=height_mm
    )
    first, last = kept[:-1], kept[1:]
    within = line[first] == line[last]
    return np.stack([points[first[within]], points[last[within]]], axis=1)


def _crossings(field: Field, outline: shapely.Polygon) -> tuple[Points, Indices]:
    """Return places on creases, and which pairs of them a crease joins within a grid triangle."""
    points, triangles = _grid(outline)
    piece = field(points).piece
    unlike = (piece[triangles] != piece[np.roll(triangles, -1, axis=1)]).any(axis=1)
    triangles = triangles[unlike]
    sides = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2)
    names, side = np.unique(sides[..., 0] * len(points) + sides[..., 1], return_inverse=True)
    edges = np.column_stack(np.divmod(names, len(points)))
    cut = np.flatnonzero(piece[edges[:, 0]] != piece[edges[:, 1]])
    places = _bisected(field, points[edges[cut]], piece[edges[cut, 0]])
    number = np.full(len(edges), -1, dtype=np.int64)
    number[cut] = np.arange(len(cut))
    on_sides = number[side].reshape(-1, 3)
    three = (on_sides >= 0).all(axis=1)
    pairs = np.sort(on_sides[~three], axis=1)[:, 1:]
    middle = _triple_points(field, points[triangles[three]], piece[triangles[three]])
    hub = np.repeat(len(places) + np.arange(len(middle)), 3)
    spokes = np.column_stack([on_sides[three].ravel(), hub])
    return np.concatenate([places, middle]), np.concatenate([pairs, spokes])


def _grid(outline: shapely.Polygon) -> tuple[Points, Indices]:
    """Return the points of a grid over an outline and a little beyond, and its triangles."""
    left, low, right, high = outline.bounds
    x = np.arange(left - GRID_SHIFT[0] * SPACING_MM, right + 2.0 * SPACING_MM, SPACING_MM)
    y = np.arange(low - GRID_SHIFT[1] * SPACING_MM, high + 2.0 * SPACING_MM, SPACING_MM)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    around = outline.buffer(2.0 * SPACING_MM, quad_segs=4)
    shapely.prepare(around)
    near = shapely.contains_xy(around, points[:, 0], points[:, 1])
    row = np.cumsum(near) - 1
    at = np.arange(len(points)).reshape(len(y), len(x))
    a, b, c, d = (part.ravel() for part in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return points[near], row[triangles[near[triangles].all(axis=1)]]


def _bisected(field: Field, ends: Points, piece: Indices) -> Points:
    """Return where on edges, shape (n, 2, 2), the piece of the first end is left."""
    here, there = ends[:, 0].copy(), ends[:, 1].copy()
    for _ in range(BISECTIONS):
        middle = (here + there) / 2.0
        same = field(middle).piece == piece
        here[same], there[~same] = middle[same], middle[~same]
    return (here + there) / 2.0


def _triple_points(field: Field, corners: Points, pieces: Indices) -> Points:
    """Return where three pieces meet in triangles, shape (n, 3, 2), whose corners all differ.

    Of the four triangles between corners and middles of sides, one whose corners all differ holds
    the place; where none does, the place is as near as the triangle is small.
    """
    quarters = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])
    corners, pieces = corners.copy(), pieces.copy()
    for _ in range(BISECTIONS if len(corners) else 0):
        middles = (corners + np.roll(corners, -1, axis=1)) / 2.0
        found = field(middles.reshape(-1, 2)).piece.reshape(-1, 3)
        six = np.concatenate([corners, middles], axis=1)
        six_pieces = np.concatenate([pieces, found], axis=1)
        sub = six_pieces[:, quarters]
        differ = (sub != np.roll(sub, -1, axis=2)).all(axis=2)
        rows = np.flatnonzero(differ.any(axis=1))
        chosen = quarters[differ[rows].argmax(axis=1)]
        corners[rows] = np.take_along_axis(six[rows], chosen[..., None], axis=1)
        pieces[rows] = np.take_along_axis(six_pieces[rows], chosen, axis=1)
    middle: Points = corners.mean(axis=1)
    return middle


def simplified_rows(points: Points, line: Indices, *, plan_mm: float, height_mm: float) -> Indices:
    """Return which points of lines stay when the others move no line by more than two bounds.

    The Douglas-Peucker rule, all lines at once: a stretch is cut at its worst point until none is
    out of bounds, whether in the plan or in height.

    Parameters
    ----------
    points : ndarray
        Points of all lines, each line's in order, shape (n, 3) [mm].
    line : ndarray
        The line of each point, shape (n,).

    References
    ----------
    D. H. Douglas, T. K. Peucker, Cartographica 10 (1973) 112-122.
    """
    change = line[1:] != line[:-1]
    kept = np.concatenate([[True], change]) | np.concatenate([change, [True]])
    # A closed line has no straight stretch between its ends: its middle is kept as well.
    first = np.flatnonzero(np.concatenate([[True], change]))
    last = np.append(first[1:], len(line)) - 1
    closed = (points[first, :2] == points[last, :2]).all(axis=1)
    kept[(first[closed] + last[closed]) // 2] = True
    while True:
        stays = np.flatnonzero(kept)
        stretch = np.cumsum(kept) - 1
        begin, end = points[stays[stretch]], points[stays[np.minimum(stretch + 1, len(stays) - 1)]]
        off = _off_ratio(points, begin, end, plan_mm=plan_mm, height_mm=height_mm)
        off[kept] = 0.0
        worst = np.lexsort([off, stretch])[np.append(stays[1:], len(line)) - 1]
        worst = worst[off[worst] > 1.0]
        if not len(worst):
            return stays
        kept[worst] = True


def _off_ratio(
    points: Points, begin: Points, end: Points, *, plan_mm: float, height_mm: float
) -> Points:
    """Return how far points are off straight stretches, as a multiple of the bounds."""
    along = (end - begin)[:, :2]
    out = (points - begin)[:, :2]
    length2 = np.maximum((along**2).sum(axis=1), 1e-18)
    share = np.clip((out * along).sum(axis=1) / length2, 0.0, 1.0)
    plan = np.linalg.norm(out - share[:, None] * along, axis=1)
    height = np.abs(begin[:, 2] + share * (end - begin)[:, 2] - points[:, 2])
    ratio: Points = np.maximum(plan / plan_mm, height / height_mm)
    return ratio
