"""A round press with a sliding foot in assembly pose, each measure of which is known.

Heights are whole layers of 0.2 mm, and walls of head and slot lean by 45 deg or stand upright.
"""

from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection
from verify import shapes
from verify.shapes import as_written, mesh_of

from moulddesign.verify.press_checks import Press
from moulddesign.verify.printed_press import PrintedPress

SIDES = 64
"""Of a round: the fewer, the faster; gaps come out 0.1 % smaller."""
LAYER_MM = 0.2
BLIND_MM = 0.25


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """The measures; heights are from the table, the others half widths or gaps [mm]."""

    bore: float = 26.0
    face: float = 28.4
    back: float = 43.2
    rim: float = 69.6
    disc: float = 101.2
    land_gap: float = 0.6
    vane_gap: float = 0.6
    stem: float = 10.0
    low_stem: float = 10.0
    """The lowest 2 mm of the stem, over the shoulder."""
    vane: float = 2.0
    neck: float = 3.0
    neck_high: float = 2.6
    lug: float = 2.0
    upright: float = 0.4
    half_length: float = 8.0
    longer: float = 0.0
    gap: float = 0.6
    roof_gap: float = 1.0
    ledge: float = 2.3
    """Height of the ledge's upright part on the way in."""
    lip: float = 1.0
    """By this the ledge is lower before the foot than where it hangs."""
    end: float = 8.9
    """The slot's closed end."""
    mouth: float = 0.6
    """Chamfer of the slot on the stamp's back."""
    stop_height: float = 31.6
    stop_inside: float = 28.0
    stop_outside: float = 30.1
    stop_opening: float = 15.0
    lip_gap: float = 0.8
    lip_high: float = 1.6
    key: float = 1.5
    """Depth of the key under the vane at the slot's open end."""
    gusset: float = 6.0
    """Cone under the disc, 6 high."""


def cylinder(radius, low, high):
    return shapes.cylinder(radius, low, high, SIDES)


def cone(low_radius, high_radius, low, high):
    return shapes.cone(low_radius, high_radius, low, high, SIDES)


def along_x(profile, start, end):
    """Return a prism of a profile of (y, z) from one x to another."""
    body = CrossSection([np.array(profile, dtype=float)]).extrude(end - start)
    return body.transform([[0, 0, 1, start], [1, 0, 0, 0], [0, 1, 0, 0]])


def mirrored(half):
    """Return the profile of (y, z) whose half at y above 0 is given, from below."""
    return [*half, *((-y, z) for y, z in reversed(half))]


def foot(s):
    """Return a neck, lugs that lean by 45 deg, an upright edge, and a gable down to the tip."""
    shoulder = s.neck_high + s.lug
    edge = shoulder + s.upright
    wide = s.neck + s.lug
    tip = edge + wide - 0.1 + s.longer
    half = [
        (0.1, s.back - tip),
        (wide, s.back - edge - s.longer),
        (wide, s.back - shoulder),
        (s.neck, s.back - s.neck_high),
        (s.neck, s.back + 1.0),
    ]
    return along_x(mirrored(half), -s.half_length, s.half_length)


def slot(s, ledge, start, end):
    """Return what is cut from the stamp for a foot whose lug and depth are the usual ones."""
    narrow, lug = s.neck + s.gap, 2.0
    wide, depth = narrow + lug, 2.6 + lug + 0.4 + 4.9 + s.roof_gap
    half = [
        (0.1, s.back - depth),
        (wide, s.back - depth + wide - 0.1),
        (wide, s.back - ledge - lug),
        (narrow, s.back - ledge),
        (narrow, s.back + 1.0),
    ]
    return along_x(mirrored(half), start, end)


def slotted(s):
    """Return what is cut from the stamp: way in, place behind the lip, chamfer."""
    body = slot(s, s.ledge, -s.end, 40.0)
    body += slot(s, s.ledge - s.lip, -s.end, s.half_length + s.gap)
    if s.mouth:
        narrow = s.neck + s.gap
        half = [
            (narrow, s.back - s.mouth),
            (narrow + s.mouth + 0.1, s.back + 0.1),
        ]
        body += along_x(mirrored(half), -s.end, 40.0)
    return body


def sleeve(s=None):
    s = s or Sizes()
    body = cylinder(s.bore + 2.8, 0, s.rim - 1) + cylinder(s.bore + 10, s.rim - 6, s.rim)
    body -= cylinder(s.bore, -1, s.rim + 1)
    return body - cone(s.bore, s.bore + 1.4, s.rim - 1.2, s.rim + 0.2)


def stamp(s=None):
    s = s or Sizes()
    land = s.bore - s.land_gap
    body = cylinder(land, s.face, s.face + 3.2) + cylinder(land - 0.5, s.face + 3, s.back)
    return body - slotted(s)


def plunger(s=None):
    s = s or Sizes()
    reach = s.bore - s.vane_gap
    vane = along_x(mirrored([(s.vane, s.back), (s.vane, s.rim - 8)]), -30, 30)
    vanes = (vane + vane.rotate([0, 0, 90])) ^ cylinder(reach, 0, 200)
    body = cylinder(s.stem, s.back + 2, s.disc + 1) + cylinder(s.low_stem, s.back, s.back + 2)
    body += cone(s.stem, s.stem + s.gusset, s.disc - 6, s.disc)
    outside = s.stop_outside + 2.6
    inside = s.stop_outside + s.lip_gap
    lip = cylinder(outside, s.disc - s.lip_high, s.disc + 6.4)
    lip -= cylinder(inside, s.disc - s.lip_high - 1, s.disc)
    side = s.vane - 0.2
    pin = along_x(mirrored([(side, s.back - s.key), (side, s.back + 1)]), 11, reach - 2)
    return body + vanes + lip + foot(s) + pin


def stop(s=None):
    s = s or Sizes()
    top = s.rim + s.stop_height
    ring = cylinder(s.stop_outside, s.rim, top) - cylinder(s.stop_inside, s.rim - 1, top + 1)
    return ring - along_x(mirrored([(s.stop_opening, 0), (s.stop_opening, 200)]), -60, 0)


def printed(s=None, *, error_mm=BLIND_MM, is_measured=False, flare_mm=0.2, **parts):
    """Return the press of these sizes, with parts that take another's place."""
    s = s or Sizes()
    made = {"sleeve": sleeve(s), "stamp": stamp(s), "plunger": plunger(s), "stop": stop(s)} | parts
    meshes = {name: as_written(mesh_of(body)) for name, body in made.items()}
    return PrintedPress(
        press=Press(**meshes),
        layer_mm=LAYER_MM,
        error_mm=error_mm,
        is_measured=is_measured,
        flare_mm=flare_mm,
    )


def taper_press():
    """Return a press of before: a peg of 4 deg, 0.05 mm wider than its pocket."""
    s = Sizes(key=0.0)
    slope = np.tan(np.radians(4.0))
    root, length = 7.8, 7.0
    back = s.back
    peg = cone(root - slope * length, root, back - length, back)
    mouth = root - 0.025
    pocket = cone(mouth - slope * (length + 1), mouth + slope, back - length - 1, back + 1)
    return printed(
        s,
        stamp=cylinder(s.bore - s.land_gap, s.face, back) - pocket,
        plunger=plunger(s) - cylinder(12, 0, back) + peg,
    )
