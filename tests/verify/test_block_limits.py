"""Limits of blocks and trays against closed forms worked out by hand."""

import pytest
from verify.shapes import cylinder, manifold_of, mesh_of

from moulddesign.core import Verdict
from moulddesign.geometry import box
from moulddesign.verify.block_limits import (
    floor_finding,
    handle_finding,
    knuckles_finding,
    rim_finding,
    tray_wall_finding,
)
from moulddesign.verify.walls import clamped_circle

PETG_MPA = 25.0
"""Across the layers; published range 25-38 MPa."""


def test_a_clamped_circle_against_the_theory_of_thin_plates():
    """Timoshenko, Theory of Plates and Shells: edge moment p r^2 / 8, bow p r^4 / (64 D), nu 0.3.

    From memory, not confirmed in a copy.
    """
    found = clamped_circle(pressure_mpa=0.1, radius_mm=30.0, wall_mm=3.0, modulus_mpa=3000.0)
    assert found.stress_mpa == pytest.approx(6.0 * (0.1 * 30.0**2 / 8.0) / 3.0**2, rel=1e-9)
    stiffness = 3000.0 * 3.0**3 / (12.0 * (1.0 - 0.3**2))
    assert found.bow_mm == pytest.approx(0.1 * 30.0**4 / (64.0 * stiffness), rel=0.01)


@pytest.mark.parametrize(("floor_mm", "verdict"), [(3.6, "good"), (1.8, "warn"), (0.85, "fail")])
@pytest.mark.parametrize("is_round", [True, False])
def test_a_floor_bears_a_strike(floor_mm, verdict, is_round):
    """226 N over 52 mm: 0.75 (226/2028) 26^2/t^2 = 56.5/t^2, and 0.308 (226/2704) 52^2/t^2."""
    found = floor_finding(
        floor_mm=floor_mm, sides_mm=(52.0, 52.0), is_round=is_round, strength_mpa=PETG_MPA, part="b"
    )
    stress = (56.5 if is_round else 69.6) / floor_mm**2
    assert found.measured == pytest.approx(PETG_MPA / stress, rel=0.01)
    assert found.verdict.value == verdict


def holed(land_mm):
    """Return a block 25 mm high with a cavity of 20 mm radius and 20 mm depth, a land around it."""
    half = 20.0 + land_mm
    body = manifold_of(box((-half, -half, 0), (half, half, 25)))
    return mesh_of(body - cylinder(20.0, 5.0, 26.0))


@pytest.mark.parametrize(("land_mm", "verdict"), [(8.0, "good"), (6.0, "warn"), (2.0, "fail")])
def test_a_rim_bears_a_strike(land_mm, verdict):
    found = rim_finding(
        holed(land_mm), places_mm=((0.0, 0.0),), floor_mm=5.0, land_mm=land_mm,
        strength_mpa=PETG_MPA, part="block",
    )  # fmt: skip
    # A cantilever 20 mm high, 40 mm wide at its foot, struck with 226 N: 6 F h / (b t^2).
    stress = 6.0 * 226.0 * 20.0 / (40.0 * land_mm**2)
    # The circle is a 256-gon with its corners on it: the land is true to 0.001 mm.
    assert found.measured == pytest.approx(PETG_MPA / stress, rel=2e-3)
    assert found.verdict.value == verdict


def test_a_handle_bears_a_push_and_leaves_room():
    """113 N at 80 mm on 26 x 12 mm: 6 x 113 x 80 / (26 x 144) = 14.5 MPa, of 44 along layers."""
    sizes = {"length_mm": 80.0, "width_mm": 26.0, "strength_mpa": 44.0, "part": "block"}
    thick, thin = (handle_finding(thickness_mm=t, **sizes) for t in (12.0, 4.0))
    assert thick.measured == pytest.approx(44.0 / 14.49, rel=0.002)
    assert (thick.verdict, thin.verdict) == (Verdict.GOOD, Verdict.FAIL)
    rooms = [knuckles_finding(room, part="block").verdict for room in (12.0, 11.9)]
    assert rooms == [Verdict.GOOD, Verdict.WARN]


@pytest.mark.parametrize(("wall_mm", "verdict"), [(2.8, "good"), (1.3, "warn"), (0.85, "fail")])
def test_a_tray_wall_bears_a_hand(wall_mm, verdict):
    """113 N over 80 x 45 mm: 0.5 p (45/t)^2 / (0.623 (45/80)^6 + 1) = 31.2/t^2 MPa."""
    found = tray_wall_finding(wall_mm=wall_mm, sides_mm=(80.0, 45.0), strength_mpa=PETG_MPA)
    assert found.measured == pytest.approx(PETG_MPA / (31.2 / wall_mm**2), rel=0.01)
    assert found.verdict.value == verdict
