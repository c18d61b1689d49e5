"""Whether a moulded body comes out of its mould: no undercut, enough draft, a free way."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from moulddesign.core import PRACTICE, Finding, Message, Verdict, judged, say
from moulddesign.geometry import (
    Indices,
    Mesh,
    Points,
    normals_and_areas,
    overlaps_mm3,
    sides_and_heights_mm,
)
from moulddesign.geometry.sampling import first_hits

STICKS_DEG: Final = 3.0
"""Draft below which dough sticks in plastic: layer lines hold it; common practice, no source
[deg]."""
LETS_GO_DEG: Final = 5.0
"""Draft from which on it lets go; common practice, no source [deg]."""
DOUGH_DEG: Final = (LETS_GO_DEG, STICKS_DEG)
SILICONE_DEG: Final = (0.0, 0.0)
"""Silicone bends, so it lets go of an upright wall [deg]."""
TOUCH_MM: Final = 0.02
"""Facets of body and mould this near to each other touch [mm]."""
SLIVER_MM: Final = 0.002
"""A facet narrower than this has no angle of its own: float32 steps turn it by 0.1 deg [mm]."""
ANGLE_DEG: Final = 0.2
"""Error of a facet's angle: 0.1 deg by float32, 0.1 by contours good to 0.002 mm [deg]."""
LEFT_OUT_RATIO: Final = 0.001
"""Share of the touching area that may lean less: corners of contours and slivers."""
STEPS_MM: Final = (0.05, 0.2, 0.8, 3.0, 12.0, 48.0)
"""How far the body is moved out, one after another: at first half of a thin layer; our choice
[mm]."""
NOISE_MM3: Final = 0.1
"""Walls of 100 cm^2 that slide on each other overlap by this for float32 steps [mm^3]."""


def drafts_deg(corners: Points, direction: ArrayLike) -> Points:
    """Return the angle by which each facet leans away from a pull, shape (m,) [deg].

    A floor has 90 deg, a wall along the pull 0; below 0 is an undercut. Corners have the shape (m,
    3, 3) and turn counter-clockwise seen from outside the body that is pulled out.

    Examples
    --------
    >>> floor = [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]
    >>> wall = [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    >>> drafts_deg(np.array([floor, wall]), (0.0, 0.0, 2.0)).tolist()
    [90.0, -0.0]
    """
    way = np.asarray(direction, dtype=np.float64)
    way = way / np.linalg.norm(way)
    outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    along = outward @ way
    # The lean of the facet from the pull is that of its normal from the level; atan2 is exact
    # for both a floor and a wall, where an arc sine loses half the digits near 90 deg.
    across = np.linalg.norm(outward - along[:, None] * way, axis=1)
    drafts: Points = np.degrees(np.arctan2(-along, across))
    return drafts


def pull_findings(
    what: Message,
    *,
    body: Mesh,
    tool: Mesh,
    direction: ArrayLike,
    limits_deg: tuple[float, float] = DOUGH_DEG,
    remedy: Message | None = None,
) -> tuple[Finding, ...]:
    """Return whether a body comes out of a tool along a direction.

    Body and tool are closed and in one pose, the body as it lies in the tool. `KernelError` where a
    mesh is not closed.

    Parameters
    ----------
    direction : array
        The way in which it leaves, of any length.
    limits_deg : tuple of float
        Draft from which on it lets go, and below which it sticks [deg].
    remedy : Message or None
        What gives it draft, said where it has too little.
    """
    way = np.asarray(direction, dtype=np.float64)
    way = way / np.linalg.norm(way)
    return (
        _draft(what, drafted_deg(body, tool, way), limits_deg, remedy),
        _way_out(what, overlaps_mm3(body, tool, _steps_mm(tool)[:, None] * way, step=what)),
    )


def touching(body: Mesh, tool: Mesh) -> Indices:
    """Return the facets of a body that a tool touches: rows of its triangles, slivers left out."""
    wide = np.flatnonzero(sides_and_heights_mm(body.corners)[1] > SLIVER_MM)
    corners = body.corners[wide]
    normals, middles = normals_and_areas(corners)[0], corners.mean(axis=1)
    lines = np.stack([middles - TOUCH_MM * normals, middles + TOUCH_MM * normals], axis=1)
    return np.asarray(wide[np.isfinite(first_hits(tool, lines)[0])])


def drafted_deg(body: Mesh, tool: Mesh, way: Points) -> float:
    """Return the least draft over all but a thousandth of the touching area [deg].

    It is not a number where nothing touches.
    """
    facets = touching(body, tool)
    if not len(facets):
        return float("nan")
    return least_draft_deg(body.corners[facets], way)


def least_draft_deg(corners: Points, way: ArrayLike) -> float:
    """Return the least draft of facets, (m, 3, 3), over all but a thousandth of their area [deg].

    As by `drafts_deg`.
    """
    leaning = drafts_deg(corners, way)
    # Facets from the least draft up: those that make up the first thousandth of the area are
    # skipped.
    order = np.argsort(leaning, kind="stable")
    reach = np.cumsum(normals_and_areas(corners)[1][order])
    return float(leaning[order[np.searchsorted(reach, LEFT_OUT_RATIO * reach[-1])]])


def _steps_mm(tool: Mesh) -> Points:
    far_mm = 2.0 * float(np.linalg.norm(tool.size_mm))
    return np.array([step for step in STEPS_MM if step < far_mm])


def _draft(
    what: Message, measured_deg: float, limits_deg: tuple[float, float], remedy: Message | None
) -> Finding:
    """Return whether a draft lets go, from the one limit on, or sticks, below the other."""
    touched = bool(np.isfinite(measured_deg))
    least_deg, sticks_deg = limits_deg
    good = touched and measured_deg >= least_deg - ANGLE_DEG
    sticks = not touched or measured_deg < sticks_deg - ANGLE_DEG
    return Finding(
        what=say("verify.least-draft", pulled=what),
        measured=measured_deg if touched else say("verify.nothing-touches"),
        limit=say(
            "verify.at-least-or-sticks", limit=least_deg, tolerance=ANGLE_DEG, fails=sticks_deg
        ),
        unit="deg" if touched else "",
        source=PRACTICE,
        verdict=judged(good=good, otherwise=Verdict.FAIL if sticks else Verdict.WARN),
        remedy=None if good else remedy,
    )


def _way_out(what: Message, found_mm3: Points) -> Finding:
    worst_mm3 = float(found_mm3.max())
    return Finding(
        what=say("verify.overlap-on-way-out", pulled=what),
        measured=worst_mm3,
        limit=say("verify.round-off", tolerance=NOISE_MM3),
        unit="mm3",
        source=say("verify.moved-out", steps=len(found_mm3)),
        verdict=judged(good=worst_mm3 <= NOISE_MM3),
    )
