"""The relief from above: what is drawn where, and what is ringed."""

import io

import numpy as np
import pytest
import shapely
from PIL import Image

from moulddesign.artwork.artwork_check import thin_marks
from moulddesign.core import LANGUAGES, say
from moulddesign.design import Design
from moulddesign.export.flat_pictures import (
    DOUGH_COLOUR,
    PAPER_COLOUR,
    RAISED_COLOUR,
    RING_COLOURS,
    SUNK_COLOUR,
    outcome,
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
