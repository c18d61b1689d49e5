"""Contours and templates for carving by hand, against a hollow whose sections are known."""

import io
import re

import ezdxf
import numpy as np
import pytest
import shapely
from export.builds import built
from kept_designs import kept

from moulddesign.core import SpecError
from moulddesign.design import Format
from moulddesign.export import ExportOptions
from moulddesign.export.build_files import BuildFiles
from moulddesign.export.carving_templates import (
    GRIP_MM,
    SHOULDER_MM,
    contour_lines,
    section_template,
)
from moulddesign.export.height_maps import refuse_cast

PIXEL_MM = 0.1
RADIUS_MM = 6.5


@pytest.fixture(scope="module")
def bowl():
    """Return a hollow half of a ball, sqrt(R^2 - r^2) deep."""
    at = (np.arange(161) - 80.0) * PIXEL_MM
    return np.sqrt((RADIUS_MM**2 - at**2 - at[:, None] ** 2).clip(0.0))


@pytest.mark.parametrize("depth_mm", [1.0, 3.0, 6.0])
def test_a_contour_of_a_bowl_is_the_circle_at_that_depth(bowl, depth_mm):
    (line,) = contour_lines(bowl, depth_mm, PIXEL_MM)
    radii = np.hypot(*line.T)
    # Linear between pixels: off by at most p^2 / 8 of the profile's curvature over its slope, and
    # by what is left out of the corners.
    assert radii == pytest.approx(np.sqrt(RADIUS_MM**2 - depth_mm**2), abs=0.03)


@pytest.mark.parametrize("heading_deg", [0.0, 90.0, 45.0])
def test_a_template_fills_a_bowl_to_the_face(bowl, heading_deg):
    template = shapely.Polygon(section_template(bowl, PIXEL_MM, heading_deg).points)
    low_x, low_y, high_x, high_y = template.bounds
    grip_mm2 = GRIP_MM * (high_x - low_x)
    assert template.area - grip_mm2 == pytest.approx(np.pi * RADIUS_MM**2 / 2.0, rel=0.005)
    assert (-low_y, high_y) == pytest.approx((RADIUS_MM, GRIP_MM), abs=0.02)
    assert high_x - low_x == pytest.approx(2.0 * (RADIUS_MM + SHOULDER_MM), abs=3 * PIXEL_MM)


def test_sheets_are_1_to_1_mirrored_and_on_layers_of_their_own():
    build = built("chestnut-75")
    files = BuildFiles(build, ExportOptions(formats=(Format.TEMPLATES,)))
    document = ezdxf.read(io.StringIO(files.file("templates.dxf").decode()))
    space = document.modelspace()
    assert len(space.query('*[layer=="template"]')) == 3
    assert len(space.query('*[layer=="contour"]')) > 0
    # The artwork's edge is that of the pastry, mirrored: the same lengths, the other way round.
    edge = [np.array(line.get_points("xy")) for line in space.query('*[layer=="artwork"]')]
    low, high = np.min([e.min(0) for e in edge], 0), np.max([e.max(0) for e in edge], 0)
    shape = build.pastry.relief[0].shape
    x0, y0, x1, y1 = shape.bounds
    assert (high - low) == pytest.approx([x1 - x0, y1 - y0], abs=0.15)
    svg = files.file("templates.svg").decode()
    width = float(re.search(r'width="([\d.]+)mm"', svg)[1])
    assert f'viewBox="0 0 {width:g} ' in svg


def test_a_cast_mould_is_not_carved():
    build = built("chestnut-75")
    cast = kept("hexagon-cast-30")
    with pytest.raises(SpecError, match="choose kind press or block"):
        refuse_cast(type("Cast", (), {"design": cast})(), "templates")
    refuse_cast(build, "templates")
