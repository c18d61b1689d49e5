"""What lies inside a pastry: crust, filling and centres."""

from collections.abc import Iterable
from math import atan, cos, pi, radians, sin, tan
from typing import Final

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.outline import QUARTER_CHORDS, Outline
from moulddesign.core import SpecError
from moulddesign.geometry import Mesh, joined, triangulated
from moulddesign.pastry.pastry import Pastry


def crust_thickness_mm(
    outline: Outline, height_mm: float, filled_mm3: float, *, side_draft_deg: float = 0.0
) -> float:
    """Return the thickness of a crust that is the same all round.

    Parameters
    ----------
    outline : Outline
        Of the pastry, at the table.
    height_mm : float
        Table to flat top [mm].
    filled_mm3 : float
        Volume inside the crust [mm^3].
    side_draft_deg : float
        Lean of the side inwards from the table [deg].

    Returns
    -------
    float
        t at which the outline inset by t / cos a + z tan a, for z from t to h - t and the draft
        a, encloses the filled volume: A(inset by t) (h - 2 t) where the side is upright. The
        relief is not regarded [mm].

    Raises
    ------
    SpecError
        The filling needs more room than there is without any crust.
    """
    shape, lean = outline.shape, tan(radians(side_draft_deg))
    slant = cos(radians(side_draft_deg))

    def area_mm2(inset_mm: float) -> float:
        # Not `Outline.inset`: near the middle the inset vanishes or falls apart, here it may.
        return float(shape.buffer(-inset_mm, quad_segs=QUARTER_CHORDS).area)

    def inside_mm3(thickness_mm: float) -> float:
        least = thickness_mm / slant
        levels = (thickness_mm, height_mm / 2.0, height_mm - thickness_mm)
        low, middle, high = (area_mm2(least + level * lean) for level in levels)
        # Simpson's rule: exact for areas that are square functions of the height.
        return (low + 4.0 * middle + high) / 6.0 * (height_mm - 2.0 * thickness_mm)

    room_mm3 = inside_mm3(0.0)
    if filled_mm3 >= room_mm3:
        raise SpecError(
            "portion.ratio",
            f"{filled_mm3 / 1000.0:.4g} mL of filling",
            f"leaves no crust in a pastry of {room_mm3 / 1000.0:.4g} mL without its relief; take "
            "more crust or a flatter relief",
        )
    return float(brentq(lambda t: inside_mm3(t) - filled_mm3, 0.0, height_mm / 2.0, xtol=1e-9))


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
