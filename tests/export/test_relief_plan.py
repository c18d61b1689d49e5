"""The relief from above: what is drawn where, and what is ringed."""

import io
from math import pi

import numpy as np
import pytest
import shapely
from PIL import Image

from moulddesign.artwork.artwork_check import thin_marks
from moulddesign.core import LANGUAGES, say
from moulddesign.design import Design
from moulddesign.export.flat_pictures import (
    DOUGH_COLOUR,
    FREE_SHARE,
    PAPER_COLOUR,
    RAISED_COLOUR,
    RING_COLOURS,
    SIDE_PX,
    SUNK_COLOUR,
    outcome,
    seen_square,
)
from moulddesign.export.pictures import face_seen, relief_plan
from moulddesign.geometry import Mesh
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import portion


def plan(layers, line_mm=0.42):
    changes = {"pastry.width_mm": 54.0, "relief.layers": layers}
    made = pastry(Design().with_values(changes), portion(Design().portion).volume_ml)
    return made, image_of(relief_plan(made, line_mm=line_mm))


def image_of(drawn):
    with Image.open(io.BytesIO(drawn.png)) as image:
        return np.asarray(image.convert("RGB")).reshape(image.height, image.width, 3)


def share(pixels, colour):
    return float((pixels == np.array(colour)).all(axis=2).sum())


def test_areas_are_those_of_the_regions():
    layers = [{"motif": "beads"}, {"pattern": "sun", "size_mm": 30.0, "sense": "sunk"}]
    made, pixels = plan(layers)
    areas = {depth > 0.0: shape.area for shape, depth in made.artwork}
    raised, sunk = share(pixels, RAISED_COLOUR), share(pixels, SUNK_COLOUR)
    # pixels on an edge are mixed: a band of a pixel along it belongs to neither
    assert raised / sunk == pytest.approx(areas[True] / areas[False], rel=0.1)
    assert raised / share(pixels, DOUGH_COLOUR) == pytest.approx(
        areas[True] / (made.outline.area_mm2 - sum(areas.values())), rel=0.1
    )
    assert share(pixels, PAPER_COLOUR) > 0


def test_only_what_is_too_thin_for_the_nozzle_is_ringed():
    rings = [{"motif": "rings", "count": 5, "stroke_mm": 1.6}]
    _, fine = plan(rings, line_mm=0.42)
    assert [share(fine, colour) for colour in RING_COLOURS.values()] == [0.0, 0.0]
    # a line of 1.7 mm is wider than the strokes of 1.6 mm, and two are wider than the gaps
    _, coarse = plan(rings, line_mm=1.7)
    assert all(share(coarse, colour) > 0.0 for colour in RING_COLOURS.values())


def test_a_faces_picture_fills_the_outline_and_no_more():
    made, _ = plan([])
    blue = (0, 0, 255)
    face = np.full((SIDE_PX, SIDE_PX, 3), blue, dtype=np.uint8)
    pixels = image_of(relief_plan(made, line_mm=0.42, face=face))
    radius_px = SIDE_PX / (1.0 + 2.0 * FREE_SHARE) / 2.0
    assert share(pixels, blue) == pytest.approx(pi * radius_px**2, rel=0.01)
    assert share(pixels, DOUGH_COLOUR) == 0.0


def test_a_face_is_seen_from_above_where_it_lies():
    # one ridge along the x axis over a level square: its lit and its dark side meet at y = 0
    x, y = np.meshgrid([-10.0, 10.0], [-10.0, -2.0, 0.0, 2.0, 10.0])
    z = np.repeat([0.0, 0.0, 2.0, 0.0, 0.0], 2)
    rows = [(a, a + 1, a + 3, a, a + 3, a + 2) for a in (0, 2, 4, 6)]
    ridge = Mesh(np.column_stack([x.ravel(), y.ravel(), z]), np.reshape(rows, (-1, 3)))
    seen = face_seen(ridge, shapely.box(-10.0, -10.0, 10.0, 10.0), 5.0)
    light = seen.mean(axis=2)[:, SIDE_PX // 2]
    low, side_mm = seen_square(shapely.box(-10.0, -10.0, 10.0, 10.0))
    up_mm = low[1] + side_mm * (1.0 - (np.arange(SIDE_PX) + 0.5) / SIDE_PX)
    steps = np.abs(np.diff(light))
    steps[np.abs(up_mm[:-1]) > 1.5] = 0.0
    assert up_mm[steps.argmax()] == pytest.approx(0.0, abs=0.1)


def test_pastry_without_relief_is_drawn_plain():
    _, pixels = plan([])
    assert share(pixels, DOUGH_COLOUR) > 0.0
    assert share(pixels, RAISED_COLOUR) == share(pixels, SUNK_COLOUR) == 0.0


def test_same_pastry_gives_the_same_bytes():
    made, _ = plan([{"pattern": "wren"}])
    assert relief_plan(made, line_mm=0.42) == relief_plan(made, line_mm=0.42)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_caption_counts_the_thin_places_that_are_not_ringed(language):
    # 20 strokes of 0.2 mm, far apart
    hairs = shapely.union_all([shapely.box(2 * x, 0, 2 * x + 0.2, 10) for x in range(20)])
    marks = thin_marks(hairs, least_stroke_mm=0.4, least_gap_mm=0.1)
    assert len(marks) == 20
    said = outcome(marks, thickened=True).text(language)
    assert "8" in said
    assert outcome(marks[:12], thickened=False) == say("export.relief-ringed")
    assert outcome([], thickened=False) == say("export.relief-none-thinner")
