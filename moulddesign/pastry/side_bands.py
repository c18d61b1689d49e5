"""Bands around a side that leans: its section from the table up to the flat top.

With d the distance from the outline at the table and a the draft, a band of the height h and the
depth w adds c(s) to d, s the share of its height, c(0) = 0 and c(1) = w:

- round: a quarter of an ellipse that bulges, upright below and level above;
- hollow: a quarter of an ellipse that is hollow, level below and upright above;
- ogee: w s^2 (3 - 2 s), upright at both ends;
- fillet: w s, straight;
- step: nothing up to its full height, and there a level ledge of the width w.

None of them ever falls, so d = z tan a + the bands passed never does: each level section of the
piece lies within the one below it, and no place of the side leans less than the draft.
"""

from collections.abc import Callable, Sequence
from math import ceil, pi, sqrt
from typing import Final

import numpy as np

from moulddesign.design import SideBandTable
from moulddesign.design.face_tables import BandSection
from moulddesign.geometry import Points
from moulddesign.relief.profile import arc_angles

PLAIN_MM: Final = 0.4
"""Plain side above the highest band, at the least: two layers; our choice [mm]."""

CHORD_MM: Final = 0.02
"""Largest distance of a facet from the section that it stands for; our choice [mm]."""


def _round(height_mm: float, depth_mm: float) -> Points:
    angles = arc_angles(pi / 2.0, max(height_mm, depth_mm), CHORD_MM)[::-1]
    made = np.column_stack([depth_mm * (1.0 - np.cos(angles)), height_mm * np.sin(angles)])
    made[-1] = depth_mm, height_mm  # exactly: what follows begins there
    return made


def _hollow(height_mm: float, depth_mm: float) -> Points:
    return np.array([depth_mm, height_mm]) - _round(height_mm, depth_mm)[::-1]


def _ogee(height_mm: float, depth_mm: float) -> Points:
    # c'' is 6 w / h^2 at the most, so a chord over the share s is off by up to 6 w s^2 / 8.
    shares = np.linspace(0.0, 1.0, max(4, ceil(sqrt(0.75 * depth_mm / CHORD_MM))) + 1)
    return np.column_stack([depth_mm * shares**2 * (3.0 - 2.0 * shares), height_mm * shares])


def _fillet(height_mm: float, depth_mm: float) -> Points:
    return np.array([[0.0, 0.0], [depth_mm, height_mm]])


def _step(height_mm: float, depth_mm: float) -> Points:
    return np.array([[0.0, 0.0], [0.0, height_mm], [depth_mm, height_mm]])


SECTIONS: Final[dict[BandSection, Callable[[float, float], Points]]] = {
    BandSection.ROUND: _round,
    BandSection.HOLLOW: _hollow,
    BandSection.OGEE: _ogee,
    BandSection.FILLET: _fillet,
    BandSection.STEP: _step,
}
"""Depth and height of each section's corners, from its lower end, shape (n, 2) [mm]."""


def reach_mm(bands: Sequence[SideBandTable]) -> float:
    """Return how far bands reach up from the table, 0 without any [mm]."""
    return sum(band.gap_mm + band.height_mm for band in bands)


def depth_mm(bands: Sequence[SideBandTable]) -> float:
    """Return how much narrower bands make a piece, on each side [mm]."""
    return sum(band.depth_mm for band in bands)


def mean_depth_mm(bands: Sequence[SideBandTable], height_mm: float) -> float:
    """Return how much narrower bands make a piece of a height on average, on each side [mm]."""
    depths, heights = banded_section(bands, lean=0.0, height_mm=height_mm).T
    return float(np.trapezoid(depths, heights)) / height_mm


def banded_section(bands: Sequence[SideBandTable], *, lean: float, height_mm: float) -> Points:
    """Return the corners of a side's section, from the table up.

    Parameters
    ----------
    lean : float
        Tangent of the draft: run over rise of the plain side.
    height_mm : float
        Table to where the side ends, above the bands [mm].

    Returns
    -------
    array
        Distance from the outline at the table and height, both never falling, shape (n, 2) [mm].

    Examples
    --------
    >>> step = SideBandTable(section="step", height_mm=3, depth_mm=2, gap_mm=0)
    >>> banded_section([step], lean=0.1, height_mm=10.0).tolist()
    [[0.0, 0.0], [0.3..., 3.0], [2.3, 3.0], [3.0, 10.0]]
    """
    corners = [np.zeros((1, 2))]
    for band in bands:
        start = corners[-1][-1] + (0.0, band.gap_mm)
        corners.append(start + SECTIONS[band.section](band.height_mm, band.depth_mm))
    end = (corners[-1][-1, 0], height_mm)
    made = np.concatenate([*corners, [end]])
    made[:, 0] += lean * made[:, 1]
    moves = np.diff(made, axis=0, prepend=-1.0).max(axis=1) > 0.0
    kept: Points = made[moves]
    return kept
