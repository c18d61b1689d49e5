"""Flat, domed, dished and stepped grounds, and the shoulder that a face runs over.

z = 0 is the plane of a flat ground. A dome is the cap of a sphere whose edge, at z = 0, is the
circle around the outline: on a round piece the dome ends at z = 0 all around, and on a square its
corners do. A dish is the same cap turned over.
"""

from collections.abc import Callable
from functools import partial
from math import sqrt
from typing import Final

import numpy as np

from moulddesign.design.face_tables import GroundForm, GroundTable
from moulddesign.face.surface import Scale, Spots
from moulddesign.relief.field import FieldValues, Heights, piece_of

GROUND_PIECES: Final = 1
"""First piece number of a ground; 0 is never used."""

Ground = Callable[[Spots], FieldValues]
"""Can be sent to another process, as all parts of a field."""


def cap_height(radius: Heights, *, base_mm: float, rise_mm: float) -> Heights:
    """Return the height of a spherical cap over its base, below 0 outside of it.

    Parameters
    ----------
    radius : ndarray, shape (n,)
        Distances from its axis [mm].
    base_mm : float
        Radius of its base circle [mm].
    rise_mm : float
        Height of its top [mm].

    Returns
    -------
    ndarray, shape (n,)
        With the sphere's radius q = (b^2 + h^2) / (2 h): sqrt(q^2 - r^2) - (q - h) [mm].

    Examples
    --------
    >>> cap_height(np.array([0.0, 4.0]), base_mm=4.0, rise_mm=2.0).round(9).tolist()
    [2.0, 0.0]
    """
    ball = (base_mm**2 + rise_mm**2) / (2.0 * rise_mm)
    return np.sqrt(np.maximum(ball**2 - radius**2, 0.0)) - (ball - rise_mm)


def steepest_ground(table: GroundTable, base_mm: float) -> float:
    """Return the steepest slope of a ground within a base circle [mm]; a step's wall aside."""
    if table.form not in {GroundForm.DOMED, GroundForm.DISHED}:
        return 0.0
    ball = (base_mm**2 + table.rise_mm**2) / (2.0 * table.rise_mm)
    return base_mm / (ball - table.rise_mm)


def ground_of(
    table: GroundTable, *, base_mm: float, scale: Scale, start_mm: float, steepest: float
) -> Ground:
    """Return a ground.

    Parameters
    ----------
    base_mm : float
        Radius of the circle around the outline [mm].
    scale : Scale
        Of its rise and of the width of its steps.
    start_mm : float
        Where the first step begins, from the outline inwards [mm].
    steepest : float
        Slope of the walls of steps.
    """
    if table.form is GroundForm.FLAT:
        return _flat
    rise_mm = table.rise_mm * scale.heights
    if table.form is GroundForm.STEPPED:
        return partial(
            _stepped,
            steps=table.steps,
            step_mm=rise_mm / table.steps,
            run_mm=table.run_mm * scale.lengths,
            start_mm=start_mm,
            steepest=steepest,
        )
    sign = 1.0 if table.form is GroundForm.DOMED else -1.0
    return partial(_curved, sign=sign, base_mm=base_mm, rise_mm=rise_mm)


def _flat(spots: Spots) -> FieldValues:
    return piece_of(np.zeros(len(spots.radius)), GROUND_PIECES)


def _curved(spots: Spots, *, sign: float, base_mm: float, rise_mm: float) -> FieldValues:
    height = cap_height(spots.radius, base_mm=base_mm, rise_mm=rise_mm)
    return piece_of(sign * height, GROUND_PIECES)


def _stepped(
    spots: Spots, *, steps: int, step_mm: float, run_mm: float, start_mm: float, steepest: float
) -> FieldValues:
    """Return terraces that follow the outline, each a step higher than the one outside of it."""
    height = np.zeros(len(spots.edge))
    piece = np.full(len(height), GROUND_PIECES, dtype=np.int64)
    for number in range(steps):
        wall = number * step_mm + steepest * (spots.edge - start_mm - number * run_mm)
        level = (number + 1) * step_mm
        raised = np.minimum(wall, level)
        above = raised > height
        height = np.where(above, raised, height)
        piece = np.where(above, GROUND_PIECES + 1 + 2 * number + (wall > level), piece)
    return FieldValues(height, piece)


def shoulder_fall(edge: Heights, radius_mm: float) -> Heights:
    """Return how far a shoulder lies below the top at distances inside the outline [mm].

    An arc from 45 deg at the outline to level, as every shoulder of a pastry:
    r - sqrt(r^2 - x^2), x = r / sqrt 2 - d.

    Examples
    --------
    >>> shoulder_fall(np.array([0.0, 2.0]), 2.0).round(4).tolist()
    [0.5858, 0.0]
    """
    inside = np.maximum(radius_mm * sqrt(0.5) - np.maximum(edge, 0.0), 0.0)
    fall: Heights = radius_mm - np.sqrt(radius_mm**2 - inside**2)
    return fall
