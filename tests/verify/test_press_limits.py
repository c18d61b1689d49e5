"""Strength of a press's members against hand calculations of textbook beams and plates.

The loads and sizes are those of a round press of 52 mm: what a bench calculation gave there.
"""

from dataclasses import replace
from math import pi

import pytest

from moulddesign.verify.press_limits import PressSizes, press_limit_findings

SIZES = PressSizes(
    neck_width_mm=6.0,
    foot_length_mm=16.0,
    foot_depth_mm=10.0,
    lug_root_mm=4.4,
    lug_mm=2.0,
    lug_held_mm=1.4,
    stem_radius_mm=10.0,
    disc_thickness_mm=6.4,
    disc_free_mm=28.0,
    disc_reach_mm=32.7,
    guide_mm=50.0,
    vane_thickness_mm=4.0,
    vane_mm=15.4,
    vane_height_mm=40.0,
    lobe_mm=28.0,
    flange_beyond_disc_mm=0.7,
    lobe_width_mm=26.0,
    flange_thickness_mm=6.0,
    stop_mm2=170.0,
)
STRESSES_MPA = {
    # 20 N at 10 mm on a section of 16 x 6 mm: 200 / (16 * 36 / 6); the pull alone gives 0.5 MPa.
    "neck of the foot": 2.0833,
    # 25 N at 1.3 mm on a root 4.4 mm high, 16 mm long: 32.5 / (16 * 19.36 / 6).
    "lug of the foot": 0.62952,
    # 113 N at 32.7 mm on a bar of 20 mm, less the push: 3695.1 / 785.40 - 113 / 314.16.
    "stem": 4.34506,
    # 113 * 32.7 / 50 N at 15.4 mm on 40 x 4 mm: 1138.1 / (40 * 16 / 6).
    "vane": 10.66961,
    # 0.75 p (r / t)^2 with p = 113 N / (pi 28^2): the radius cancels, 0.75 * 113 / (pi * 6.4^2).
    "palm disc": 0.65862,
    # 60 N at 27.3 mm on 26 x 6 mm: 1638 / (26 * 36 / 6).
    "grip lobe": 10.5,
    # 113 N on 170 mm2.
    "stop": 0.66471,
}
ALONG, ACROSS = 44.0, 25.0
BY_LAYERS = {"neck of the foot": ACROSS, "stem": ACROSS, "stop": ACROSS}


def found(force_n=0.0, **changes):
    sizes = replace(SIZES, **changes)
    made = press_limit_findings(
        sizes, force_n=force_n, along_mpa=ALONG, across_mpa=ACROSS, modulus_mpa=2000.0
    )
    return {finding.name.rpartition(", ")[2]: finding for finding in made}


@pytest.mark.parametrize("member", STRESSES_MPA)
def test_safety_is_strength_by_the_textbook_stress(member):
    strength = BY_LAYERS.get(member, ALONG)
    assert found()[member].measured == pytest.approx(strength / STRESSES_MPA[member], rel=1e-4)


def test_stiff_dough_takes_the_push_that_it_needs():
    # Twice the push, twice the stress, where the palm pushes.
    soft, stiff = found(), found(force_n=226.0)
    for member in ("stem", "vane", "palm disc", "stop"):
        assert stiff[member].measured == pytest.approx(soft[member].measured / 2.0)
    for member in ("neck of the foot", "lug of the foot", "grip lobe"):
        assert stiff[member].measured == soft[member].measured


@pytest.mark.parametrize(
    ("changes", "member", "verdict"),
    [
        # 2 mm of disc: 0.75 * 113 / (pi * 4) = 6.74 MPa, 6.5 fold.
        ({"disc_thickness_mm": 2.0}, "palm disc", "good"),
        ({"disc_thickness_mm": 0.9}, "palm disc", "warn"),
        ({"vane_thickness_mm": 0.85}, "vane", "fail"),
        ({"flange_thickness_mm": 2.0}, "grip lobe", "fail"),
        ({"stem_radius_mm": 6.0}, "stem", "warn"),
        ({"neck_width_mm": 2.4}, "neck of the foot", "warn"),
        ({"lobe_mm": 10.7}, "sleeve: grip for two fingers outside the disc", "warn"),
    ],
)
def test_what_is_too_thin_is_told_with_what_mends_it(changes, member, verdict):
    made = found(**changes)[member]
    assert made.verdict.value == verdict
    assert (made.remedy is None) == (verdict == "good")


@pytest.mark.parametrize(
    ("changes", "member", "key", "least_mm"),
    [
        # Strong from 1.1 mm on, 0.75 * 113 / (pi t^2) = 44 / 2, but level only from 2.29 mm on.
        ({"disc_thickness_mm": 0.9}, "palm disc", "disc_mm", 6.4 * (0.0091974 / 0.2) ** (1 / 3)),
        # 1138.1 / (40 t^2 / 6) = 22 at t = 2.786 mm.
        ({"vane_thickness_mm": 0.85}, "vane", "vane_mm", 2.7857),
        # 1638 / (26 t^2 / 6) = 22 at t = 4.145 mm.
        ({"flange_thickness_mm": 2.0}, "grip lobe", "flange_mm", 4.1452),
        # 20 mm beyond a flange that reaches 0.7 mm beyond the disc.
        ({"lobe_mm": 10.0}, "sleeve: grip for two fingers outside the disc", "lobe_mm", 20.7),
        # Bow goes with 1 / t^3: 1.0798 mm at 2 mm is 0.2 mm at 2 * 5.399^(1/3).
        ({"disc_thickness_mm": 2.0, "disc_free_mm": 53.0},
         "plunger: how far the palm disc bows under a push", "disc_mm", 3.5088),
    ],
)  # fmt: skip
def test_the_mend_is_the_least_that_works(changes, member, key, least_mm):
    value = dict(found(**changes)[member].remedy.values)[key]
    assert least_mm <= value < least_mm + 0.1 + 1e-6


def test_a_disc_bears_more_the_thicker_it_is_whatever_its_width():
    # The same push on a wider disc is a smaller pressure: the stress is 0.75 F / (pi t^2).
    for radius in (14.0, 28.0, 51.0):
        safety = found(disc_free_mm=radius)["palm disc"].measured
        assert safety == pytest.approx(ALONG / (0.75 * 113.0 / (pi * 6.4**2)))


@pytest.mark.parametrize(
    ("radius_mm", "thick_mm", "bow_mm", "verdict"),
    [
        # 0.171 p r^4 / (E t^3) with p = 113 N / (pi r^2): 0.0061507 r^2 / (2 t^3) / 1000 mm.
        (28.0, 6.4, 0.0091974, "good"),
        (53.0, 2.0, 1.0798, "warn"),
    ],
)
def test_a_wide_thin_disc_bows(radius_mm, thick_mm, bow_mm, verdict):
    made = found(disc_free_mm=radius_mm, disc_thickness_mm=thick_mm)
    made = made["plunger: how far the palm disc bows under a push"]
    assert made.measured == pytest.approx(bow_mm, rel=1e-3)
    assert made.verdict.value == verdict


def test_without_lobes_there_is_no_lobe_to_break_but_no_grip():
    made = found(lobe_mm=0.0)
    assert "grip lobe" not in made
    assert made["sleeve: grip for two fingers outside the disc"].verdict.value == "warn"
