"""Lettering in a band of a face."""

import pytest
import shapely
from shapely import affinity

from moulddesign.artwork.outline import outline_of_width
from moulddesign.core import MouldError
from moulddesign.design import PastryTable
from moulddesign.design.face_tables import FaceTable
from moulddesign.face.carved_face import carved_face

LAND_MM, WIDTH_MM = 1.0, 5.0


def lettered(name="round", text="ORCHARD", **band):
    table = {
        "land_mm": LAND_MM,
        "bands": [{"fill": "text", "text": text, "width_mm": WIDTH_MM} | band],
    }
    outline = outline_of_width(PastryTable(outline=name), 54.0)
    return outline, carved_face(FaceTable.of(table), outline, draft_deg=15.0)


@pytest.mark.parametrize("name", ["round", "square", "hexagon", "scalloped"])
def test_letters_lie_in_their_band(name):
    outline, made = lettered(name)
    (region,) = made.regions
    band = outline.inset(LAND_MM - 0.01).shape.difference(
        outline.inset(LAND_MM + WIDTH_MM + 0.01).shape
    )
    inside = shapely.intersection(region.shape, band).area / region.shape.area
    # On lobes letters stand on a rounded line, and their feet reach a little further in.
    assert inside > (0.9 if name == "scalloped" else 0.999)
    assert made.room.distance(region.shape) >= 0.0


def test_a_text_repeats_around_the_middle():
    _, made = lettered("square", count=4, text="DATE")
    (region,) = made.regions
    turned = affinity.rotate(region.shape, 90.0, origin=(0.0, 0.0))
    # Corners lie on a grid of 10 nm.
    assert turned.symmetric_difference(region.shape).area < 1e-3 * region.shape.area


def test_a_hollow_band_sinks_its_letters():
    _, made = lettered(section="hollow", height_mm=0.8)
    assert [region.depth_mm for region in made.regions] == [-0.8]


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"name": "square", "count": 3}, "divide the 4"),
        ({"count": 9}, "no room"),
        ({"text": "the community orchard's lantern night in the old chestnut wood at last"}, "fit"),
        ({"text": "\u6817"}, "6817|\u6817"),
        ({"fill": "rope"}, "go together"),
        ({"text": None}, "go together"),
    ],
)
def test_what_cannot_be_laid_is_refused(values, why):
    with pytest.raises(MouldError, match=why):
        lettered(**values)


def test_a_word_that_begins_right_behind_a_corner_is_not_lost():
    # Of this width the second corner ends a rounding error behind where ORCHARD begins.
    outline = outline_of_width(PastryTable(outline="square"), 52.0 * 0.93)
    text = {
        "fill": "text",
        "text": "LANTERN NIGHT \N{MIDDLE DOT} ORCHARD",
        "width_mm": 5.2,
        "gap_mm": 0.4,
    }
    bands = [{"width_mm": 1.2, "gap_mm": 0.4}, text]
    table = FaceTable.of({"drawn_for_mm": 54, "land_mm": 0.4, "bands": bands})
    (region,) = carved_face(table, outline, draft_deg=15.0).regions
    assert len(region.shape.geoms) == len("LANTERNNIGHT.ORCHARD")
