"""How the triangles of a mesh are joined: open, crowded and clashing edges, and shells."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from moulddesign.geometry.mesh import Indices, Mesh
from moulddesign.geometry.welding import components, has_three_corners, welded

Edges = tuple[Indices, Indices, Indices, Indices]

SIGNED_BITS: Final = 63


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Counts that are all 0, and one shell, for the surface of one sound solid."""

    open_edges: int
    """Edges with a triangle on one side only: the rim of a hole."""
    crowded_edges: int
    """Edges where more than two triangles meet."""
    clashing_edges: int
    """Edges whose two triangles are wound against each other."""
    collapsed: int
    """Triangles with two corners in one place."""
    shells: int
    """Pieces of surface that are connected over edges."""

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
    """Return how the triangles of a mesh are joined.

    Corners in one place count as one corner. The last answers are kept: a mesh never changes, and
    several checks ask.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> topology(box((0, 0, 0), (1, 1, 1)))
    Topology(open_edges=0, crowded_edges=0, clashing_edges=0, collapsed=0, shells=1)
    """
    triangles = welded(mesh).triangles
    whole = has_three_corners(triangles)
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
    return is_closed(triangles[has_three_corners(triangles)])


def is_closed(triangles: Indices) -> bool:
    """Return whether each edge has exactly two triangles, one on either side."""
    tails, heads = _tails_and_heads(triangles)
    # Even for an edge that runs from its lower row up, odd for the same edge that runs down:
    # sorted, a closed surface reads 2k, 2k + 1 for every edge k. An edge that runs up twice gives
    # two even words in a row, and one of four triangles 2k, 2k, 2k + 1, 2k + 1; neither fits.
    names = 2 * _edge_names(triangles, tails, heads) + (tails > heads)
    names.sort()
    up, down = names[::2], names[1::2]
    return bool(np.array_equal(up + 1, down) and (up % 2 == 0).all())


def shells(triangles: Indices) -> Indices:
    """Return the shell of each triangle, shape (m,): 0, 1, 2 ... over shared edges."""
    return _shells(_edges(triangles), len(triangles))


def _shells(edges: Edges, count: int) -> Indices:
    starts, order, _, sides = edges
    owner = order % max(count, 1)
    first = np.repeat(owner[starts], sides)
    return components(np.stack([first, owner]), count)


def _edges(triangles: Indices) -> Edges:
    """Return where each edge starts in the sorted sides, the sort, sum of turns, number of sides.

    Side k belongs to triangle k modulo m; a turn is +1 from the lower row to the higher, else -1.
    """
    tails, heads = _tails_and_heads(triangles)
    names = _edge_names(triangles, tails, heads)
    order = _stable_order(names)
    names = names[order]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]][: len(names)])
    turns = np.add.reduceat(np.sign(heads - tails)[order], starts) if len(starts) else starts
    return starts, order, turns, np.diff(np.r_[starts, len(names)])


def _tails_and_heads(triangles: Indices) -> tuple[Indices, Indices]:
    """Return where the sides of all triangles begin and end: first sides, second, third."""
    return triangles.T.reshape(-1), np.roll(triangles, -1, axis=1).T.reshape(-1)


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
