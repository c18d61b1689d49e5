"""A z-buffer in numpy: which facet each sample of a picture sees, and where on it."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from moulddesign.geometry import Indices, Points

NOTHING: Final = -1
"""In place of a facet, where a sample sees none."""

FRAGMENTS_AT_ONCE: Final = 300_000
"""Samples of facets that are compared at once, so that memory stays bounded."""

Fragments = tuple[Indices, Indices, Points]
"""Facet, sample and depth of samples that facets cover."""


def nearest_facets(corners: Points, size_px: tuple[int, int]) -> tuple[Indices, Points]:
    """Return which facet is nearest to the eye at the middle of each pixel, and its depth there.

    Scanlines [1]_ and a z-buffer [2]_. A sample on an edge that two facets share belongs to one of
    them, so neighbours leave no crack and a single sheet is met once.

    Parameters
    ----------
    corners : Points
        Corners of each facet, shape (m, 3, 3): x to the right and y downwards [px], depth, larger
        towards the eye.
    size_px : tuple of int
        Width and height of the picture [px].

    Returns
    -------
    tuple of Indices and Points
        Both of shape (height, width): rows of `corners` or `NOTHING`, and depths or minus infinity.

    References
    ----------
    .. [1] C. Wylie et al., "Half-tone perspective drawings by computer", AFIPS 1967.
    .. [2] E. Catmull, "A subdivision algorithm for computer display of curved surfaces", 1974.

    Examples
    --------
    >>> square = np.array([[[0, 0, 5], [2, 0, 5], [2, 2, 5]], [[0, 0, 5], [2, 2, 5], [0, 2, 5]]])
    >>> facet, depth = nearest_facets(square.astype(float), (3, 2))
    >>> depth.tolist()
    [[5.0, 5.0, -inf], [5.0, 5.0, -inf]]
    """
    width, height = size_px
    nearest = np.full(width * height, -np.inf)
    seen = np.full(width * height, NOTHING, dtype=np.int64)
    for facet, sample, depth in _fragments(corners, size_px):
        np.maximum.at(nearest, sample, depth)
        first = nearest[sample] == depth
        seen[sample[first]] = facet[first]
    return seen.reshape(height, width), nearest.reshape(height, width)


def _fragments(corners: Points, size_px: tuple[int, int]) -> Iterator[Fragments]:
    """Yield the samples that facets cover, in spans along the rows of the picture."""
    width, height = size_px
    x, y, depth = np.moveaxis(corners, 2, 0)
    top = np.clip(np.ceil(y.min(axis=1) - 0.5), 0, height).astype(np.int64)
    below = np.clip(np.ceil(y.max(axis=1) - 0.5), 0, height).astype(np.int64)
    facet, row = _counted(top, below - top)
    left, right = _crossings(x, y, facet, row.astype(np.float64) + 0.5)
    start = np.clip(np.ceil(left - 0.5), 0, width).astype(np.int64)
    length = np.clip(np.ceil(right - 0.5), 0, width).astype(np.int64) - start
    filled = length > 0
    facet, row, start, length = facet[filled], row[filled], start[filled], length[filled]
    # Depth is linear over a facet's plane: d = d0 + a (x - x0) + b (y - y0).
    a, b = _slopes(x, y, depth)
    first = (
        depth[facet, 0]
        + a[facet] * (start + 0.5 - x[facet, 0])
        + b[facet] * (row + 0.5 - y[facet, 0])
    )
    sample = row * width + start
    cuts = np.searchsorted(
        np.cumsum(length), np.arange(FRAGMENTS_AT_ONCE, length.sum(), FRAGMENTS_AT_ONCE)
    )
    bounds = [0, *cuts.tolist(), len(length)]
    for some in map(slice, bounds[:-1], bounds[1:]):
        counts = length[some]
        before = np.cumsum(counts) - counts
        number = np.arange(counts.sum())
        slope = a[facet[some]]
        yield (
            np.repeat(facet[some], counts),
            np.repeat(sample[some] - before, counts) + number,
            np.repeat(first[some] - slope * before, counts) + number * np.repeat(slope, counts),
        )


def _counted(first: Indices, counts: Indices) -> tuple[Indices, Indices]:
    """Return which run each number of runs of whole numbers belongs to, and the number."""
    counts = np.maximum(counts, 0)
    run = np.repeat(np.arange(len(counts)), counts)
    return run, np.arange(len(run)) + np.repeat(first - np.cumsum(counts) + counts, counts)


def _crossings(x: Points, y: Points, facet: Indices, at: Points) -> tuple[Points, Points]:
    """Return where lines of constant y enter and leave facets that they meet."""
    # An edge is always followed downwards, so that both of its facets round alike.
    order = np.argsort(y, axis=1, kind="stable")
    x, y = np.take_along_axis(x, order, axis=1), np.take_along_axis(y, order, axis=1)
    long, upper, lower = (_line(x, y, first, last) for first, last in ((0, 2), (0, 1), (1, 2)))
    is_lower = at >= y[facet, 1]
    short = np.stack([upper, lower], axis=1).reshape(-1, 3).take(2 * facet + is_lower, axis=0)
    one, other = (
        line[:, 0] + (at - line[:, 1]) * line[:, 2] for line in (long.take(facet, axis=0), short)
    )
    return np.minimum(one, other), np.maximum(one, other)


def _line(x: Points, y: Points, first: int, last: int) -> Points:
    """Return where each facet's edge begins, and how x changes along y on it, shape (m, 3)."""
    rise = y[:, last] - y[:, first]
    slope = (x[:, last] - x[:, first]) / np.where(rise > 0.0, rise, np.inf)
    return np.stack([x[:, first], y[:, first], slope], axis=1)


def _slopes(x: Points, y: Points, depth: Points) -> tuple[Points, Points]:
    """Return how depth changes along x and y over each facet; 0 where it is seen on edge."""
    ux, uy, ud = (values[:, 1] - values[:, 0] for values in (x, y, depth))
    vx, vy, vd = (values[:, 2] - values[:, 0] for values in (x, y, depth))
    area = ux * vy - vx * uy
    area = np.where(area == 0.0, np.inf, area)
    return (ud * vy - vd * uy) / area, (ux * vd - vx * ud) / area


def corner_weights(corners: Points, at_px: Points) -> Points:
    """Return how much of each corner there is at a place on a facet, shape (n, 3); their sum is 1.

    Parameters
    ----------
    corners : Points
        Corners of each sample's facet, shape (n, 3, 2) [px].
    at_px : Points
        Place of each sample, shape (n, 2) [px]. Outside its facet it counts as at the edge.

    Examples
    --------
    >>> facet = np.array([[[0.0, 0.0], [4.0, 0.0], [0.0, 4.0]]])
    >>> corner_weights(facet, np.array([[1.0, 2.0]])).tolist()
    [[0.25, 0.25, 0.5]]
    """
    ux, uy = (corners[:, 1] - corners[:, 0]).T
    vx, vy = (corners[:, 2] - corners[:, 0]).T
    px, py = (at_px - corners[:, 0]).T
    area = ux * vy - vx * uy
    area = np.where(area == 0.0, np.inf, area)
    second, third = (px * vy - vx * py) / area, (ux * py - px * uy) / area
    weights = np.stack([1.0 - second - third, second, third], axis=1).clip(0.0, 1.0)
    shares: Points = weights / weights.sum(axis=1, keepdims=True)
    return shares
