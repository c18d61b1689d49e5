"""A round press in assembly pose, each measure of which is known."""

from functools import cache

from verify.shapes import as_written, cone, cylinder, mesh_of

from moulddesign.verify.press_checks import Press

BORE_MM = 30.0
"""Radius of the bore [mm]."""
HEIGHT_MM = 20.0
"""Pressed height to the flat face [mm]."""
RIM_MM = 50.0
"""Top of the sleeve [mm]."""


def sleeve(bore_mm=BORE_MM):
    outer = cylinder(bore_mm + 3, 0, RIM_MM) + cylinder(bore_mm + 11, RIM_MM - 4, RIM_MM)
    lead_in = cone(bore_mm, bore_mm + 1.5, RIM_MM - 1, RIM_MM + 0.5)
    return as_written(mesh_of(outer - cylinder(bore_mm, -1, RIM_MM + 1) - lead_in))


def stamp(clearance_mm=0.3, pocket_mm=8.0, engraved=()):
    body = cylinder(BORE_MM - clearance_mm, HEIGHT_MM, HEIGHT_MM + 10)
    body -= cylinder(pocket_mm, HEIGHT_MM + 3, HEIGHT_MM + 11)
    for tool in engraved:
        body -= tool
    return as_written(mesh_of(body))


def plunger(clearance_mm=0.3, past_rim_mm=1.0, vane_mm=65.0):
    """Stem, a guide disc, and the palm disc that meets the sleeve's rim."""
    disc = RIM_MM + HEIGHT_MM + past_rim_mm
    body = cylinder(6, HEIGHT_MM + 10, disc)
    body += cylinder(BORE_MM - clearance_mm, vane_mm - 6, vane_mm)
    body += cylinder(12, HEIGHT_MM + 10, disc) + cylinder(BORE_MM + 6, disc, disc + 5)
    return as_written(mesh_of(body))


def stop(height_mm=HEIGHT_MM):
    """Return a ring on the sleeve's rim, under the palm disc."""
    ring = cylinder(BORE_MM + 5, RIM_MM, RIM_MM + height_mm)
    return as_written(mesh_of(ring - cylinder(BORE_MM + 2, RIM_MM - 1, RIM_MM + height_mm + 1)))


@cache
def whole():
    """Return the press of all known parts; it keeps what was measured on it."""
    return Press(sleeve=sleeve(), stamp=stamp(), plunger=plunger(), stop=stop())


def press(**parts):
    if not parts:
        return whole()
    made = {"sleeve": sleeve(), "stamp": stamp(), "plunger": plunger(), "stop": stop()} | parts
    return Press(**made)
