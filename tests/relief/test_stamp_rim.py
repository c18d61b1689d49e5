"""The stamp's rim against edges whose tips, ribs and slopes are drawn by hand."""

import numpy as np
import pytest
import shapely
from relief.carved_faces import of

from moulddesign.relief.stamp_rim import REACH_MM, STEP_MM, stamp_rim

SQUARE = shapely.box(-10, -10, 10, 10)


def edge(land_mm, slope, drop_mm):
    """Return a field that is level over a land at the square's edge and then rises to a level."""

    def field(points):
        inside = 10.0 - np.abs(points).max(axis=1)
        return of(np.clip(slope * (inside - land_mm), 0.0, drop_mm), 0)

    return field


def middles(found):
    """Return which places lie off the square's corners, where two sides' ribs meet."""
    return (np.abs(found.places) < 10.0 - REACH_MM).any(axis=1)


@pytest.mark.parametrize(
    ("land_mm", "slope", "tip_mm", "lost_mm"),
    [
        pytest.param(0.0, 1.0, REACH_MM, 0.2, id="a top that falls at 45 deg is no rib"),
        pytest.param(0.0, 0.25, REACH_MM, 0.05, id="a top that merely falls to the edge"),
        pytest.param(0.0, 3.5, 0.0, 0.7, id="a feather"),
        pytest.param(0.5, 3.5, 0.5, 0.0, id="land of 0.5 mm"),
    ],
)
def test_tip_is_the_land_up_to_a_wall(land_mm, slope, tip_mm, lost_mm):
    found = stamp_rim(SQUARE, edge(land_mm, slope, 1.2))
    rows = middles(found)

    assert found.tip_mm[rows] == pytest.approx(tip_mm, abs=1.5 * STEP_MM)
    rib_mm = min(1.2, slope * (REACH_MM - land_mm))
    assert found.rib_mm[rows] == pytest.approx(rib_mm, abs=1e-9)
    assert found.lost_mm[rows] == pytest.approx(lost_mm, abs=1e-9)


def test_a_scratch_is_no_wall():
    # A step of 0.05 mm, a quarter of a layer.
    found = stamp_rim(SQUARE, edge(0.3, 5.0, 0.05))
    assert (found.tip_mm[middles(found)] == REACH_MM).all()


def test_a_face_that_falls_inwards_has_no_rib():
    found = stamp_rim(SQUARE, edge(0.0, -1.0, 0.0))
    falling = stamp_rim(SQUARE, lambda points: of(np.abs(points).max(axis=1), 0))

    assert not found.rib_mm.any()
    assert not falling.rib_mm.any()
    assert not falling.lost_mm.any()
    assert (falling.slope < 0.0).all()
