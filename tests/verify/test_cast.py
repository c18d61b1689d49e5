"""A square tray with round pegs in it, each volume of which is known in closed form."""

from math import pi, sin

import pytest
from verify.shapes import cylinder, manifold_of, mesh_of

from moulddesign.core import KernelError, Verdict
from moulddesign.geometry import box
from moulddesign.verify.block_checks import cast_findings, silicone, standing
from moulddesign.verify.block_checks import tray as held

PEG_MM3 = 12.0 * 10.0**2 * 256 * sin(2.0 * pi / 256) / 2.0
"""12 mm of a regular 256-gon in a circle of 10 mm: n sin(2 pi / n) r^2 / 2 [mm^3]."""


def tray(*heights_mm):
    """60 x 40 mm inside, 20 mm deep; pegs of 10 mm radius stand 30 mm apart on its floor."""
    body = manifold_of(box((-2, -2, 0), (62, 42, 23))) - manifold_of(box((0, 0, 3), (60, 40, 24)))
    for number, height_mm in enumerate(heights_mm):
        body += cylinder(10.0, 2.0, 3.0 + height_mm).translate([15.0 + 30.0 * number, 20.0, 0.0])
    return mesh_of(body)


def found(master, count=2):
    air = 60.0 * 40.0 * 20.0 - count * PEG_MM3
    return cast_findings(master, held(master), pastry_mm3=PEG_MM3, count=count, silicone_mm3=air)


def test_a_master_as_asked_for_is_good():
    findings = found(tray(12.0, 12.0))
    assert [f.verdict for f in findings] == [Verdict.GOOD] * 5
    # Pegs of 10 mm radius stand 15 mm from the side wall, 20 from the others and 30 apart.
    assert findings[4].measured == pytest.approx(5.0, abs=1e-4)
    assert findings[3].measured == pytest.approx(8.0, abs=1e-6)  # float32 steps at 23 mm


def test_a_speck_of_round_off_is_no_pastry_beside_another():
    body = manifold_of(tray(12.0, 12.0))
    body += manifold_of(box((30.0, 1.0, 2.0), (30.0001, 1.0001, 3.2)))
    master = mesh_of(body)
    assert found(master)[4].measured == pytest.approx(5.0, abs=1e-4)  # as without it


def test_the_silicone_is_the_air_in_the_tray():
    master = tray(12.0, 12.0)
    made = silicone(master, held(master))
    # float32 steps of 4e-6 mm over 60 x 40 mm.
    assert made.volume_mm3 == pytest.approx(48_000.0 - 2.0 * PEG_MM3, abs=0.01)


def test_what_stands_in_the_tray_is_found_one_by_one():
    for heights_mm in ((12.0, 12.0), ()):
        master = tray(*heights_mm)
        assert len(standing(master, held(master))) == len(heights_mm)


@pytest.mark.parametrize(
    ("heights_mm", "failing"),
    [
        ((12.0,), ["pastries standing", "silicone to the notch"]),
        ((12.0, 12.1), ["pastry that is furthest"]),
        ((12.0, 16.0), ["pastry that is furthest", "silicone to", "silicone over"]),
    ],
)
def test_what_is_wrong_fails_by_name(heights_mm, failing):
    failed = [f.name for f in found(tray(*heights_mm)) if f.verdict is Verdict.FAIL]
    assert len(failed) == len(failing)
    for name, word in zip(failed, failing, strict=True):
        assert word in name


def test_a_tray_that_holds_nothing_is_an_error():
    with pytest.raises(KernelError, match="the tray holds nothing"):
        held(box((0, 0, 0), (30, 30, 20)))
