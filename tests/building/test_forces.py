"""What force presses a piece and fills its relief, for a dough that was tested or not."""

from math import pi, sqrt

import pytest
from kept_designs import built

from moulddesign.building.press_findings import _groove_width_mm

FORCES = {"verify.hand-force", "verify.relief-fill-force"}


def forces(made):
    return {f.what.id: f for f in made.findings if f.what.id in FORCES and not f.part}


def test_forces_follow_from_yield_stress_width_and_height():
    made = built("chestnut-75")
    found = forces(made)
    assert set(found) == FORCES
    pastry = made.pastry
    radius, height = pastry.outline.width_mm / 2, pastry.height_mm
    # Perfect plasticity, worked out here: k = sqrt(1.4 x 4) kPa where nobody tested the dough.
    k = sqrt(1.4 * 4.0) / 1000
    squash = pi * radius**2 * k * sqrt(3) * (1 + 2 * radius / (3 * sqrt(3) * height))
    assert found["verify.hand-force"].measured == pytest.approx(squash, rel=1e-3)  # a polygon
    (shape, depth) = pastry.artwork[0]
    width = 2 * shape.area / shape.length
    fill = pi * radius**2 * k * (2 + pi + 2 * depth / width)
    assert found["verify.relief-fill-force"].measured == pytest.approx(fill, rel=1e-3)
    least, most = (
        dict(found["verify.hand-force"].limit.values)[name] for name in ("least", "most")
    )
    assert (least / squash, most / squash) == pytest.approx(
        (sqrt(1.4 / 4), sqrt(4 / 1.4)), rel=1e-3
    )


def test_a_strip_is_as_wide_as_it_is():
    from shapely import MultiPolygon, box  # noqa: PLC0415

    strip = MultiPolygon([box(0, 0, 1000, 2)])
    assert _groove_width_mm(strip, None, raised=True) == pytest.approx(2.0, rel=3e-3)
