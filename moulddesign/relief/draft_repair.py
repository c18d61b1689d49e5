"""Facets brought to the draft by the least moves of their heights.

A field is no steeper than the draft allows, yet a facet between three of its points may be, by a
little: its corners lie on a wall that bends. The plan stays, so that no facet can fold; heights
move by averaged projections onto what each facet allows, and by no more than a bound.
"""

from math import radians, tan
from typing import Final, NamedTuple

import numpy as np

from moulddesign.geometry import Indices, Points

ROUNDS: Final = 120
"""Rounds of projections before the rest is left as it is."""
MARGIN_DEG: Final = 0.003
"""By which the draft is overdone, so that round-off does not count [deg]."""
OVERSHOOT: Final = 1.02
"""By which a projection goes beyond its goal: its neighbours take some of it back."""
NEEDLE_MM: Final = 2e-5
"""Facets narrower than this in plan have no slope that a file in float32 would keep [mm]."""


class Repaired(NamedTuple):
    """Corners with heights that keep the draft."""

    vertices: Points
    """Shape (n, 3) [mm]."""
    moved_mm: float
    """The most that a height moved."""


def with_draft(vertices: Points, triangles: Indices, draft_deg: float, most_mm: float) -> Repaired:
    """Return corners moved in height so that facets keep a draft.

    Parameters
    ----------
    draft_deg : float
        Least angle between a facet and the pull direction [deg].
    most_mm : float
        No height moves by more [mm].
    """
    steepest = 1.0 / tan(radians(draft_deg + MARGIN_DEG))
    a, b, c = np.moveaxis(vertices[triangles, :2], 1, 0)
    sides = np.stack([b - a, c - b, a - c], axis=1)
    doubled = sides[:, 0, 0] * -sides[:, 2, 1] + sides[:, 0, 1] * sides[:, 2, 0]
    wide = doubled > NEEDLE_MM * np.sqrt((sides**2).sum(axis=2).max(axis=1))
    rows, sides, doubled = triangles[wide], sides[wide], doubled[wide]
    height = vertices[:, 2].copy()
    low, high = height - most_mm, height + most_mm
    # The gradient is the sum of each corner's height times the opposite side turned by 90 deg.
    turned = np.roll(sides, -1, axis=1)[..., ::-1] * (-1.0, 1.0) / doubled[:, None, None]
    out = vertices[rows, :2] - vertices[rows, :2].mean(axis=1, keepdims=True)
    owner = np.argsort(rows.ravel(), kind="stable") // 3
    start = np.searchsorted(np.sort(rows.ravel()), np.arange(len(vertices) + 1))
    active = np.arange(len(rows))
    for _ in range(ROUNDS):
        gradient = np.einsum("tc,tcx->tx", height[rows[active]], turned[active])
        slope = np.linalg.norm(gradient, axis=1)
        steep = slope > steepest
        if not steep.any():
            break
        bad = active[steep]
        factor = (steepest / slope[steep] - 1.0) * OVERSHOOT
        move = np.einsum("tcx,tx->tc", out[bad], gradient[steep] * factor[:, None])
        corners, at = np.unique(rows[bad], return_inverse=True)
        mean = np.bincount(at.ravel(), weights=move.ravel()) / np.bincount(at.ravel())
        height[corners] = np.clip(height[corners] + mean, low[corners], high[corners])
        around = [owner[start[corner] : start[corner + 1]] for corner in corners.tolist()]
        active = np.unique(np.concatenate(around))
    moved_mm = float(np.abs(height - vertices[:, 2]).max())
    return Repaired(np.column_stack([vertices[:, :2], height]), moved_mm)
