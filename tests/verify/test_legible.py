"""Legible artwork: openings against SciPy's own morphology, and shares by arithmetic."""

import numpy as np
import pytest
import shapely
from scipy.ndimage import binary_opening

from moulddesign.verify.legible import legible_finding, legible_run_mm, opened, reached_mm2

BARS = shapely.union_all([shapely.box(0, 0, 20, 3), shapely.box(0, 6, 20, 6.5)])


@pytest.mark.parametrize("radius", [2, 4, 7])
def test_an_opening_is_scipys(radius):
    # scipy.ndimage.binary_opening by the disc of pixels whose centres are at most r away
    chance = np.random.default_rng(5)
    rough = np.kron(chance.random((14, 14)) > 0.35, np.ones((9, 9))).astype(bool)
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    expected = binary_opening(rough, x**2 + y**2 <= radius**2)
    # the discs here are half a pixel wider, which is where their edge lies
    assert np.mean(opened(rough, float(radius)) != expected) < 0.03


def test_only_strokes_as_wide_as_both_walls_come_to_their_depth():
    # a stroke of width w is at its depth where w is at least twice the run: 3 mm yes, 0.5 mm no;
    # the opening takes (4 - pi) r^2 off the corners of a bar, 0.14 mm2 here
    assert reached_mm2(BARS, BARS, run_mm=0.4) == pytest.approx(60.0 - 0.14, abs=0.1)
    assert reached_mm2(BARS, BARS, run_mm=0.2) == pytest.approx(70.0, abs=0.2)
    assert reached_mm2(BARS, BARS, run_mm=1.6) == 0.0


def test_touching_layers_are_one_stroke():
    # two halves of one bar 3 mm wide, each 1.5 mm: together they hold a disc of 2.4 mm
    half = shapely.box(0, 0, 20, 1.5)
    whole = shapely.box(0, 0, 20, 3)
    assert reached_mm2(half, half, run_mm=1.2) == 0.0
    assert reached_mm2(whole, half, run_mm=1.2) == pytest.approx(30.0, abs=0.7)


def test_the_longest_run_is_half_the_stroke_that_makes_up_a_quarter():
    # 60 of 70 mm2 are 3 mm wide, so discs up to 1.5 mm cover enough; right within half a pixel
    # and a quarter of one more from the bisection
    assert legible_run_mm(BARS) == pytest.approx(1.5, abs=0.75 * 0.05)


def test_less_than_a_quarter_fails():
    assert legible_finding(share=0.24, part="layer-1").verdict.value == "fail"
    assert legible_finding(share=0.25, part="layer-1").verdict.value == "good"
