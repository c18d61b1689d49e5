"""What a block and a casting tray bear, and whether a hand can hold and a piece leave them.

None of these limits comes from the request: a design can ask for less than works.
"""

from math import radians, tan
from typing import Final

import shapely

from moulddesign.core import OUR_CHOICE, Finding, Verdict, judged, say, tenths_up
from moulddesign.geometry import Mesh, section_region
from moulddesign.verify.walls import (
    PUSH_N,
    clamped_circle,
    clamped_rectangle,
    strength_finding,
    thick_enough_mm,
)

STRIKE_N: Final = 2.0 * PUSH_N
"""Load of a block that is struck: a load that comes suddenly counts twice; from memory [N]."""
SPREAD_DEG: Final = 45.0
"""A load on one point of a wall's edge spreads at this angle on each side; our choice [deg]."""
LEAST_KNUCKLES_MM: Final = 12.0
"""Least room under a handle, about half of a finger's thickness; our choice [mm]."""
LEVEL_MM: Final = 0.1
"""Walls are measured this far above the floor that they stand on, where it is level [mm]."""


def floor_finding(
    *,
    floor_mm: float,
    sides_mm: tuple[float, float],
    is_round: bool,
    strength_mpa: float,
    part: str,
) -> Finding:
    """Return whether the floor of a struck block holds: a plate clamped at its edges.

    Parameters
    ----------
    floor_mm : float
        Least thickness, under the deepest engraving [mm].
    sides_mm : tuple of float
        Extents of the flat floor [mm].
    is_round : bool
        Whether it is a circle.
    strength_mpa : float
        Strength of the plastic across its layers [MPa].
    part : str
        Its name.
    """
    x, y = sides_mm
    area_mm2 = x * y * (3.0 / 4.0 if is_round else 1.0)  # a circle is a little more
    pressure_mpa = STRIKE_N / area_mm2
    load = (
        clamped_circle(
            pressure_mpa=pressure_mpa, radius_mm=x / 2.0, wall_mm=floor_mm, modulus_mpa=1.0
        )
        if is_round
        else clamped_rectangle(
            pressure_mpa=pressure_mpa, sides_mm=sides_mm, wall_mm=floor_mm, modulus_mpa=1.0
        )
    )
    safety = strength_mpa / load.stress_mpa
    remedy = say("verify.thicker-floor", floor_mm=thick_enough_mm(floor_mm, safety))
    return strength_finding(say("verify.floor-by-stress", floor_mm=floor_mm), part, safety, remedy)


def rim_finding(
    block: Mesh,
    *,
    places_mm: tuple[tuple[float, float], ...],
    floor_mm: float,
    land_mm: float,
    strength_mpa: float,
    part: str,
) -> Finding:
    """Return whether the wall around the cavities holds a strike on its rim.

    It is bent outwards like a cantilever as high as the cavity, as wide as the load has spread on
    its way down, and as thick as the thinnest place at its foot, measured there: stress 6 F h / (b
    t^2). The block lies mouths up on the bed; `places_mm` are points in the cavities and
    `floor_mm` is the level of their flat floor, `land_mm` the width of the flat rim [mm].
    """
    region = section_region(block, floor_mm + LEVEL_MM, say("verify.rim"))
    points = [shapely.Point(place) for place in places_mm]
    walls_mm = [
        float(shapely.LinearRing(ring).distance(one.exterior))
        for one in shapely.get_parts(region)
        for ring in one.interiors
        if any(shapely.Polygon(ring).contains(point) for point in points)
    ]
    wall_mm, height_mm = min(walls_mm, default=0.0), float(block.bounds[1, 2]) - floor_mm
    width_mm = 2.0 * height_mm * tan(radians(SPREAD_DEG))
    safety = strength_mpa * width_mm * wall_mm**2 / (6.0 * STRIKE_N * height_mm)
    what = say("verify.rim-by-stress", wall_mm=wall_mm)
    # The foot grows with the rim. Without any wall there is nothing to reckon from: twice the rim.
    wider_mm = thick_enough_mm(wall_mm, safety) - wall_mm if safety else land_mm
    remedy = say("verify.wider-land", land_mm=tenths_up(land_mm + wider_mm))
    return strength_finding(what, part, safety, remedy)


def handle_finding(
    *, length_mm: float, width_mm: float, thickness_mm: float, strength_mpa: float, part: str
) -> Finding:
    """Return whether a handle holds a push on its end: stress 6 F l / (b t^2).

    It is printed lying, so its strength is that along the layers.

    Parameters
    ----------
    length_mm, width_mm, thickness_mm : float
        Of the handle; the thickness is along the printer's z [mm].
    strength_mpa : float
        Strength along the layers [MPa].
    part : str
        Its name.
    """
    safety = strength_mpa * width_mm * thickness_mm**2 / (6.0 * PUSH_N * length_mm)
    remedy = say("verify.thicker-handle", thick_mm=thick_enough_mm(thickness_mm, safety))
    return strength_finding(say("verify.handle-by-stress"), part, safety, remedy)


def knuckles_finding(room_mm: float, *, part: str) -> Finding:
    """Return whether the knuckles have room between handle and table."""
    good = room_mm >= LEAST_KNUCKLES_MM
    return Finding(
        what=say("verify.room-for-knuckles"),
        part=part,
        measured=room_mm,
        limit=say("core.at-least", limit=LEAST_KNUCKLES_MM),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else say("verify.thinner-handle"),
    )


def tray_wall_finding(
    *, wall_mm: float, sides_mm: tuple[float, float], strength_mpa: float
) -> Finding:
    """Return whether a tray's wall holds a hand that pulls it from the cured silicone.

    A push of a whole hand on a plate that is clamped at its edges.

    Parameters
    ----------
    wall_mm : float
        Thinnest wall [mm].
    sides_mm : tuple of float
        Length and height of the longest side [mm].
    strength_mpa : float
        Strength of the plastic across its layers [MPa].
    """
    load = clamped_rectangle(
        pressure_mpa=PUSH_N / (sides_mm[0] * sides_mm[1]),
        sides_mm=sides_mm,
        wall_mm=wall_mm,
        modulus_mpa=1.0,
    )
    safety = strength_mpa / load.stress_mpa
    remedy = say("verify.thicker-wall", wall_mm=thick_enough_mm(wall_mm, safety))
    what = say("verify.tray-wall-by-stress", wall_mm=wall_mm)
    return strength_finding(what, "master", safety, remedy)
