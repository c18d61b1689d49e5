"""The medial axis near the edge: exact up to a distance, and no dearer than it must be.

Walls that stand clear end in lines that a few sums give. The diagram is asked for the rest, with
the clear walls beside it, and the two are sewn together along the lines that they share.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from moulddesign.mesh import Indices, Points
from moulddesign.pastry.boundary import GRID_MM, Boundary, boundary
from moulddesign.pastry.clear import Tops, tops
from moulddesign.pastry.diagram import Diagram, diagram
from moulddesign.pastry.medial import NOBODY, Medial, axis_of, height_over, inside, medial_of

BEYOND_MM: Final = 1e-4
"""How far beyond the distance asked for the axis goes: ten grid steps, to be told apart [mm]."""

FRAME: Final = 4.0
"""How far around the region the frame stands that closes the diagram's cells, in such distances."""


def medial_near(shape: shapely.MultiPolygon, reach_mm: float) -> Medial:
    """Return the medial axis as far as a distance from the edge, and no further where it can.

    Parameters
    ----------
    shape : shapely MultiPolygon
        As `on_grid` returns it [mm], not empty.
    reach_mm : float
        The distance. Beyond it, edges with `NOBODY` on one side close the cells [mm].

    Raises
    ------
    KernelError
        The diagram came out without edges inside the region.
    """
    edge = boundary(shape)
    height = (reach_mm + BEYOND_MM) / GRID_MM
    walls = tops(edge, height)
    if not walls.clear.any():
        return medial_of(edge)
    rest = _rest(edge, walls.clear, FRAME * height)
    sewn = _sewn(edge, walls, rest=rest, height=height)
    return medial_of(edge) if sewn is None else axis_of(edge, sewn, sewn.sites != NOBODY)


def _rest(edge: Boundary, clear: NDArray[np.bool_], apart: float) -> Diagram:
    """Return the diagram of the walls that are not clear, with the clear ones beside them.

    A frame around all of it, so far apart, closes the cells; its sites are `NOBODY`.
    """
    beside = ~clear | ~clear[edge.before] | ~clear[edge.after]
    rows = np.flatnonzero(beside)
    used, pairs = np.unique(edge.segments[rows], return_inverse=True)
    low, high = edge.corners.min(axis=0) - apart, edge.corners.max(axis=0) + apart
    frame = np.rint([low, (high[0], low[1]), high, (low[0], high[1])])
    sides = len(used) + np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
    found = diagram(
        np.concatenate([edge.corners[used], frame]), np.concatenate([pairs.reshape(-1, 2), sides])
    )
    row_of = np.concatenate([used, len(edge.corners) + np.arange(len(found.vertices) - len(used))])
    site_of = np.concatenate([rows, np.full(4, NOBODY), np.full(4, NOBODY), -1 - used[::-1]])
    return Diagram(
        vertices=np.concatenate([edge.corners, found.vertices[len(used) :]]),
        ends=row_of[found.ends],
        # Segments count from the front, corners from the back.
        sites=site_of[found.sites],
        square=found.square,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Edges of an axis with what is nearest on the left and right."""

    ends: Indices
    sites: Indices


def _edges(ends: tuple[Indices, Indices], sites: tuple[Indices, Indices]) -> _Edges:
    return _Edges(np.column_stack(ends), np.column_stack(sites))


def _sewn(edge: Boundary, walls: Tops, *, rest: Diagram, height: float) -> Diagram | None:
    """Return the rest and the clear walls as one; None where the diagram shows no seam."""
    seams = _seams(edge, walls.clear, rest)
    halved = np.flatnonzero(seams.halved)
    if not _complete(edge, walls.clear, seams=seams, vertices=rest.vertices, height=height):
        return None
    begin, end = _rows(edge, seams, len(rest.vertices))
    corner, before = edge.segments[:, 0], edge.before
    whole = np.flatnonzero(walls.clear)
    both = walls.clear & walls.clear[before]
    convex, fan = np.flatnonzero(both & (edge.turn > 0.0)), np.flatnonzero(both & (edge.turn < 0.0))
    nobody = np.full(len(edge.segments), NOBODY)
    other = np.where(walls.clear, NOBODY, np.arange(len(edge.segments)))
    inner = np.concatenate([halved, convex])
    parts = [
        _crowded(edge, walls.clear, rest=rest, seams=seams),
        _edges((corner[inner], begin[inner]), (before[inner], inner)),
        _edges((begin[halved], seams.far[halved]), (other[before[halved]], other[halved])),
        _edges((end[whole], begin[whole]), (whole, nobody[whole])),
        _edges((begin[fan], end[before[fan]]), (-1 - corner[fan], nobody[fan])),
    ]
    sites = np.concatenate([part.sites for part in parts])
    return Diagram(
        vertices=np.concatenate([rest.vertices, walls.begin, walls.end]),
        ends=np.concatenate([part.ends for part in parts]),
        sites=sites,
        square=np.zeros(len(sites), dtype=bool),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Seams:
    """Where a clear wall meets one that is not, by the segment after the corner.

    Parameters
    ----------
    halved : ndarray of bool, shape (s,)
        Convex corners: the seam is the line that halves it.
    edge, far : ndarray of int64, shape (s,)
        The diagram's edge along that line, and its end away from the corner; -1 if there is none.
    upright : ndarray of int64, shape (s, 2)
        Other corners: the seam stands upright on the clear segment; where it ends, at the
        segment's first and last corner. -1 if there is none.
    needed : ndarray of bool, shape (s, 2)
        Which of them are seams.
    """

    halved: NDArray[np.bool_]
    edge: Indices
    far: Indices
    upright: Indices
    needed: NDArray[np.bool_]


def _seams(edge: Boundary, clear: NDArray[np.bool_], rest: Diagram) -> _Seams:
    split = clear != clear[edge.before]
    row, far = _halving(edge, rest)
    blunt = split & (edge.turn <= 0.0)
    return _Seams(
        halved=split & (edge.turn > 0.0),
        edge=row,
        far=far,
        upright=_upright(edge, rest),
        needed=np.column_stack([blunt & clear, blunt[edge.after] & clear]),
    )


def _halving(edge: Boundary, rest: Diagram) -> tuple[Indices, Indices]:
    """Return the edge that leaves each corner between its two segments, and its far end."""
    row, far = np.full((2, len(edge.segments)), -1)
    for first, last in ((0, 1), (1, 0)):
        left, right = rest.sites[:, first], rest.sites[:, last]
        of_two = (left >= 0) & (right >= 0)
        of_two &= edge.before[right * of_two] == left
        of_two &= edge.segments[right * of_two, 0] == rest.ends[:, first]
        at = np.flatnonzero(of_two)
        row[right[at]], far[right[at]] = at, rest.ends[at, last]
    return row, far


def _upright(edge: Boundary, rest: Diagram) -> Indices:
    """Return the end of the edge that stands upright on each end of a segment, inside."""
    found = np.full((len(edge.segments), 2), -1)
    rows = np.flatnonzero(rest.square & (rest.sites != NOBODY).all(axis=1))
    segment, corner = rest.sites[rows].max(axis=1), -1 - rest.sites[rows].min(axis=1)
    a, b = edge.corners[edge.segments[segment, 0]], edge.corners[edge.segments[segment, 1]]
    heights = [height_over(a, b, rest.vertices[rest.ends[rows, end]]) for end in (0, 1)]
    higher = np.argmax(heights, axis=0)
    above = np.flatnonzero(np.max(heights, axis=0) > 0.0)
    last = (edge.segments[segment, 1] == corner).astype(np.int64)
    found[segment[above], last[above]] = rest.ends[rows, higher][above]
    return found


def _complete(
    edge: Boundary, clear: NDArray[np.bool_], *, seams: _Seams, vertices: Points, height: float
) -> bool:
    """Return whether all seams are there and go beyond the clear walls' tops."""
    joint = np.flatnonzero(seams.halved)
    wall = np.where(clear[joint], joint, edge.before[joint])
    segment, end = np.nonzero(seams.needed)
    far = np.concatenate([seams.far[joint], seams.upright[segment, end]])
    pair = edge.segments[np.concatenate([wall, segment])]
    a, b = edge.corners[pair[:, 0]], edge.corners[pair[:, 1]]
    return bool((far >= 0).all() and (height_over(a, b, vertices[far]) > height).all())


def _rows(edge: Boundary, seams: _Seams, base: int) -> tuple[Indices, Indices]:
    """Return the vertices where each top begins and ends: seams' own, or new ones from a base."""
    number = base + np.arange(len(edge.segments))
    end = np.where(edge.turn[edge.after] >= 0.0, number[edge.after], number + len(number))
    begin, end = np.where(seams.needed, seams.upright, np.column_stack([number, end])).T
    return begin, end


def _crowded(edge: Boundary, clear: NDArray[np.bool_], *, rest: Diagram, seams: _Seams) -> _Edges:
    """Return the diagram's edges beside walls that are not clear, without those along seams."""
    crowded = np.zeros(len(edge.corners), dtype=bool)
    crowded[edge.segments[~clear]] = True
    site = rest.sites
    corner = np.where((site < 0) & (site != NOBODY), -1 - site, 0)
    kept = np.where(site >= 0, ~clear[np.maximum(site, 0)], crowded[corner])
    kept &= inside(edge, rest) & ~rest.square[:, None]
    kept[seams.edge[seams.halved]] = False
    some = kept.any(axis=1)
    return _Edges(rest.ends[some], np.where(kept, site, NOBODY)[some])
