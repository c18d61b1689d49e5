"""What lies inside the crust, as bodies for the view's section."""

from collections.abc import Iterable
from math import atan, cos, pi, radians, sin, tan
from typing import Final

import numpy as np
import shapely

from moulddesign.mesh import Mesh, joined, triangulated
from moulddesign.pastry.pastry import Pastry

AROUND: Final = 48
"""Corners of a ball's equator, and of the curves of the filled space."""


def filled_space(pastry: Pastry, crust_mm: float) -> Mesh | None:
    """Return the space inside a crust of even thickness; None where there is none.

    Parameters
    ----------
    pastry : Pastry
        The pressed piece.
    crust_mm : float
        Thickness of the crust [mm].
    """
    lean = tan(radians(pastry.side_draft_deg))
    levels = (crust_mm, pastry.height_mm - crust_mm)
    low, high = (crust_mm / cos(atan(lean)) + level * lean for level in levels)
    inner = pastry.outline.shape.buffer(-low, quad_segs=AROUND // 4)
    half_mm = pastry.outline.width_mm / 2.0
    # Drawn for looking at: where the side leans, the upper outline is the lower one made smaller.
    share = max(half_mm - high, 0.0) / (half_mm - low)
    prisms = [_prism(part, levels, share) for part in shapely.get_parts(inner) if not part.is_empty]
    return joined(prisms) if prisms else None


def centre_balls(pastry: Pastry, diameters_mm: Iterable[float]) -> tuple[Mesh, ...]:
    """Return balls for the centres, side by side around the middle.

    Parameters
    ----------
    pastry : Pastry
        The pressed piece.
    diameters_mm : iterable of float
        Of each centre [mm].
    """
    sizes = tuple(diameters_mm)
    if not sizes:
        return ()
    ring_mm = 0.0 if len(sizes) == 1 else max(sizes) / (2.0 * sin(pi / len(sizes)))
    turns = [2.0 * pi * place / len(sizes) for place in range(len(sizes))]
    middle_mm = pastry.height_mm / 2.0
    return tuple(
        _ball(size / 2.0).moved((ring_mm * cos(turn), ring_mm * sin(turn), middle_mm))
        for size, turn in zip(sizes, turns, strict=True)
    )


def _prism(shape: shapely.Polygon, levels_mm: tuple[float, float], share: float) -> Mesh:
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(shape).exterior)[:-1]
    count = len(ring)
    corners = np.concatenate(
        [
            np.column_stack([ring * size, np.full(count, z)])
            for size, z in zip((1.0, share), levels_mm, strict=True)
        ]
    )
    here, there = np.arange(count), np.roll(np.arange(count), -1)
    flat = triangulated([ring])
    sides = [
        np.column_stack([here, there, there + count]),
        np.column_stack([here, there + count, here + count]),
    ]
    return Mesh(corners, np.concatenate([flat[:, ::-1], flat + count, *sides]))


def _ball(radius_mm: float) -> Mesh:
    """Return a ball around the origin: rows of corners between two poles."""
    rows = AROUND // 2
    tilts = pi * np.arange(1, rows) / rows
    turns = 2.0 * pi * np.arange(AROUND) / AROUND
    x = np.outer(np.sin(tilts), np.cos(turns)).ravel()
    y = np.outer(np.sin(tilts), np.sin(turns)).ravel()
    z = np.repeat(np.cos(tilts), AROUND)
    corners = np.concatenate([np.column_stack([x, y, z]), [[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]])
    top, low = len(corners) - 2, len(corners) - 1
    here, there = np.arange(AROUND), np.roll(np.arange(AROUND), -1)
    facets = [np.column_stack([here, there, np.full(AROUND, top)])]
    for row in range(rows - 2):
        up, down = row * AROUND, (row + 1) * AROUND
        facets.append(np.column_stack([here + up, here + down, there + down]))
        facets.append(np.column_stack([here + up, there + down, there + up]))
    last = (rows - 2) * AROUND
    facets.append(np.column_stack([there + last, here + last, np.full(AROUND, low)]))
    return Mesh(radius_mm * corners, np.concatenate(facets))
