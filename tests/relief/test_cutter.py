"""What a cutter leaves, against its definition by brute force, and SciPy's grey morphology."""

import numpy as np
import pytest
from scipy.ndimage import grey_dilation, grey_erosion

from moulddesign.core import SpecError
from moulddesign.relief.cutter import Cutter, as_cut, read_cutter

PIXEL_MM = 0.25
FAR = 1e6
CUTTERS = ["ball:1.6", "flat:1", "flat:1.6", "v:60", "v:90:0.5", "ball:0.1"]


def surface(seed, shape=(13, 11)):
    return np.random.default_rng(seed).uniform(-2.0, 0.0, shape)


def swept(mould, cutter):
    """Return the lowest surface that the cutter sweeps, its tip as deep as it goes everywhere."""
    rows, columns = np.indices(mould.shape)
    at = np.column_stack([rows.ravel(), columns.ravel()])
    apart = PIXEL_MM * np.hypot(*(at[:, None] - at).transpose(2, 0, 1))
    over = np.vectorize(lambda r: FAR if (h := cutter.height_mm(r)) is None else h)(apart)
    tips = (mould.ravel() - over).max(axis=1)
    return (tips + over).min(axis=1).reshape(mould.shape)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("typed", CUTTERS)
def test_a_cut_is_what_the_cutter_sweeps_when_it_gouges_nowhere(typed, seed):
    mould, cutter = surface(seed), read_cutter(typed)
    assert as_cut(mould, cutter, PIXEL_MM) == pytest.approx(swept(mould, cutter), abs=1e-12)


@pytest.mark.parametrize("typed", CUTTERS)
def test_a_cut_is_the_grey_closing_of_scipy(typed):
    mould, cutter = surface(7, (40, 30)), read_cutter(typed)
    most = 8
    way = PIXEL_MM * np.arange(-most, most + 1)
    over = np.vectorize(lambda r: FAR if (h := cutter.height_mm(r)) is None else h)(
        np.hypot(way, way[:, None])
    )
    tips = grey_dilation(mould, structure=-over, mode="constant", cval=-2 * FAR)
    closed = grey_erosion(tips, structure=-over, mode="constant", cval=2 * FAR)
    assert as_cut(mould, cutter, PIXEL_MM) == pytest.approx(closed, abs=1e-9)


def test_cutting_twice_changes_nothing_more():
    mould, cutter = surface(3), read_cutter("ball:1.6")
    once = as_cut(mould, cutter, PIXEL_MM)
    assert (once >= mould).all()
    assert as_cut(once, cutter, PIXEL_MM) == pytest.approx(once, abs=1e-12)


def test_a_ball_leaves_the_corner_of_a_groove_that_geometry_says():
    # A groove 4 mm wide with upright walls, and a ball of 2 mm: in each lower corner stays the
    # square of its radius less a quarter of its circle, (1 - pi / 4) mm^2.
    pixel_mm = 0.02
    groove = np.zeros((3, 301))
    groove[:, 50:251] = -3.0
    left = as_cut(np.repeat(groove, 67, axis=0), read_cutter("ball:2"), pixel_mm)[100] - groove[1]
    # A wall is off by up to half a pixel over the radius of 1 mm, at both ends of each corner.
    expected = 2.0 * (1.0 - np.pi / 4.0)
    assert left.sum() * pixel_mm == pytest.approx(expected, abs=2.0 * pixel_mm)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("drill:3", "must be a cutter such as ball:3"),
        ("ball:0", "must be wider than 0"),
        ("flat:nan", "must be a number"),
        ("flat:300", "at most 20 mm"),
        ("v:180", "10 to 150 deg"),
        ("ball", "must be a cutter"),
        ("v:60:-1", "must be wider than 0"),
    ],
)
def test_a_cutter_that_nobody_has_is_refused(typed, said):
    with pytest.raises(SpecError, match=said):
        read_cutter(typed)


def test_a_v_is_told_as_it_is_typed():
    assert str(read_cutter("V : 60 : 0,2 mm")) == "v:60:0.2"
    assert read_cutter("flat:2mm") == Cutter(form=read_cutter("flat:1").form, diameter_mm=2.0)
