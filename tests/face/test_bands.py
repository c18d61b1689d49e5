"""Where the repeats of bands begin on drawn outlines, whose corners are known."""

from pathlib import Path

import numpy as np
import pytest

from moulddesign.artwork.outline import drawn_outline
from moulddesign.face.bands import CHORD, CORNER_SPAN_MM, corners_of

DESIGNS = Path(__file__).parents[1] / "designs"
STEP_MM = CORNER_SPAN_MM / (2 * CHORD)
"""Between the places at which a corner is looked for."""


@pytest.mark.parametrize("width_mm", [40.0, 54.3, 66.6, 70.681, 88.0])
def test_the_tip_of_a_leaf_is_one_corner(width_mm):
    outline = drawn_outline(str(DESIGNS / "leaf.svg"), width_mm)
    (corner,) = corners_of(outline)
    tip = outline.points[outline.points[:, 1].argmax()]
    assert np.hypot(*(corner - tip)) < STEP_MM


@pytest.mark.parametrize("turn_deg", [0, 11, 45])
@pytest.mark.parametrize("corners", [3, 4, 5])
def test_each_corner_of_a_polygon_is_one(tmp_path, corners, turn_deg):
    turn = np.radians(turn_deg) + 2.0 * np.pi * np.arange(corners) / corners
    drawn = " ".join(f"{50 + 40 * np.cos(a):.6f},{50 + 40 * np.sin(a):.6f}" for a in turn)
    file = tmp_path / "polygon.svg"
    file.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        f'<polygon points="{drawn}"/></svg>'
    )
    outline = drawn_outline(str(file), 60.0)
    found = corners_of(outline)
    off = np.hypot(*np.moveaxis(found[:, None] - outline.points[None], 2, 0)).min(axis=1)
    assert len(found) == corners
    assert (off < STEP_MM).all()


def test_a_line_that_turns_evenly_has_no_corner(tmp_path):
    file = tmp_path / "egg.svg"
    file.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        '<ellipse cx="50" cy="50" rx="40" ry="30"/></svg>'
    )
    outline = drawn_outline(str(file), 60.0)
    assert corners_of(outline).tolist() == [[0.0, outline.points[:, 1].max()]]
