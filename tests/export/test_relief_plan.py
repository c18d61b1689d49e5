"""The relief from above: what is drawn where, and what is ringed."""

import io

import numpy as np
import pytest
from PIL import Image

from moulddesign.design import Design
from moulddesign.export.flat_pictures import (
    DOUGH_COLOUR,
    PAPER_COLOUR,
    RAISED_COLOUR,
    RING_COLOURS,
    SUNK_COLOUR,
)
from moulddesign.export.pictures import relief_plan
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import portion


def plan(layers, line_mm=0.42):
    changes = {"pastry.width_mm": 54.0, "relief.layers": layers}
    made = pastry(Design().with_values(changes), portion(Design().portion).volume_ml)
    with Image.open(io.BytesIO(relief_plan(made, line_mm=line_mm).png)) as image:
        return made, np.asarray(image.convert("RGB")).reshape(image.height, image.width, 3)


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


def test_pastry_without_relief_is_drawn_plain():
    _, pixels = plan([])
    assert share(pixels, DOUGH_COLOUR) > 0.0
    assert share(pixels, RAISED_COLOUR) == share(pixels, SUNK_COLOUR) == 0.0


def test_same_pastry_gives_the_same_bytes():
    made, _ = plan([{"pattern": "wren"}])
    assert relief_plan(made, line_mm=0.42) == relief_plan(made, line_mm=0.42)
