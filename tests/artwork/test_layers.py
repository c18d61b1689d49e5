"""Layers: size, place, turn, copies, mirror images, gaps; later over earlier."""

from math import pi

import pytest
import shapely
from shapely import Point

from moulddesign.artwork.layers import largest_mm, layer_regions
from moulddesign.core import SpecError
from moulddesign.design import Along, Layer, Motif

ROOM = Point(0, 0).buffer(30, quad_segs=64)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{}</svg>'
BOX = '<rect width="10" height="10"/>'
CORNER = '<path d="M0 0H10V5H5V10H0z"/>'


@pytest.fixture
def lay(tmp_path):
    (tmp_path / "box.svg").write_text(SVG.format(BOX))
    (tmp_path / "corner.svg").write_text(SVG.format(CORNER))

    def on_top(*layers):
        return layer_regions([Layer(**layer) for layer in layers], ROOM, tmp_path)

    return on_top


def test_size_place_and_turn(lay):
    (part,) = lay({"pattern": "box.svg", "size_mm": 8, "x_mm": 5, "y_mm": -3, "turn_deg": 90})
    assert part.shape.bounds == pytest.approx((1, -7, 9, 1), abs=1e-6)  # Clipper's grid at 8 mm
    (part,) = lay({"pattern": "corner.svg", "size_mm": 8, "turn_deg": 90})
    # counter-clockwise: the notch at the lower right comes to the upper right
    assert not part.shape.contains(Point(2, 2))
    assert part.shape.contains(Point(2, -2))
    assert part.shape.area == pytest.approx(48, abs=1e-5)


def test_a_square_is_as_large_as_the_disc_takes(lay):
    (part,) = lay({"pattern": "box.svg"})
    # a square in a circle of 30 mm has sides of 30 sqrt(2); the 256-gon is a touch smaller
    assert part.shape.area == pytest.approx(2 * 900, rel=1e-3)


def test_copies_go_around_the_middle(lay):
    (part,) = lay({"pattern": "box.svg", "size_mm": 4, "y_mm": 20, "copies": 6})
    assert len(part.shape.geoms) == 6
    assert part.shape.area == pytest.approx(96, abs=1e-4)
    assert part.shape.centroid.coords[0] == pytest.approx((0, 0), abs=1e-6)


def test_mirror_image_is_added_left_to_right(lay):
    (part,) = lay({"pattern": "corner.svg", "size_mm": 4, "x_mm": 10, "mirrored": True})
    left, right = sorted(part.shape.geoms, key=lambda piece: piece.centroid.x)
    flipped = shapely.transform(left, lambda points: points * (-1, 1))
    assert flipped.symmetric_difference(right).area < 1e-5


def test_later_layers_win_and_keep_their_gap(lay):
    under, over = lay(
        {"pattern": "box.svg", "size_mm": 20}, {"pattern": "box.svg", "size_mm": 8, "gap_mm": 1}
    )
    assert over.shape.area == pytest.approx(64, abs=1e-5)
    # a square grown by 1 mm: 64 + 4 x 8 + pi; the circle is a 96-gon
    assert under.shape.area == pytest.approx(400 - 64 - 32 - pi, abs=0.01)
    assert under.shape.distance(over.shape) == pytest.approx(1, abs=1e-3)
    first, second = lay({"pattern": "box.svg", "size_mm": 20}, {"pattern": "box.svg", "size_mm": 8})
    assert first.shape.intersection(second.shape).area == 0


def test_a_covered_layer_vanishes(lay):
    parts = lay({"pattern": "box.svg", "size_mm": 8}, {"pattern": "box.svg", "size_mm": 20})
    assert [part.layer.size_mm for part in parts] == [20]


def test_strokes_are_thickened_on_demand(lay, tmp_path):
    (tmp_path / "bar.svg").write_text(SVG.format('<rect y="4.9" width="10" height=".2"/>'))
    (part,) = lay({"pattern": "bar.svg", "size_mm": 20, "least_stroke_mm": 1})
    cut = shapely.intersection(part.shape, shapely.LineString([(0, -5), (0, 5)]))
    # a quarter of the bar's 0.4 mm over the 1.0 asked for at most
    assert 1.0 - 0.01 <= cut.length <= 1.1 + 0.01


def test_motif_and_lettering_fit_the_top(lay):
    parts = lay(
        {"motif": Motif.SCALLOPS},
        {"text": "LANTERN NIGHT", "along": Along.UPPER_RIM, "size_mm": 5, "radius_mm": 17},
        {"text": "date", "size_mm": 20},
    )
    assert [part.layer.text for part in parts] == [None, "LANTERN NIGHT", "date"]
    assert all(ROOM.buffer(0.01).covers(part.shape) for part in parts)
    left, _, right, _ = parts[2].shape.bounds
    assert right - left == pytest.approx(20, abs=1e-3)


@pytest.mark.parametrize(
    ("layer", "says"),
    [
        ({"pattern": "box.svg", "size_mm": 50}, r"it takes 42\.4\d mm at most"),
        ({"pattern": "box.svg", "x_mm": 31}, "off the top"),
        ({"pattern": "box.svg", "size_mm": 10, "x_mm": 28}, "does not fit"),
        ({"motif": "beads", "count": 400}, "the beads touch"),
    ],
)
def test_what_does_not_fit_is_refused(lay, layer, says):
    with pytest.raises(SpecError, match=says):
        lay(layer)


def test_largest_square_in_a_square():
    # a diamond of half diagonal 1 in a square of half side 7 fits 7 times
    diamond = shapely.Polygon([(1, 0), (0, 1), (-1, 0), (0, -1)])
    assert largest_mm(diamond, shapely.box(-7, -7, 7, 7)) == pytest.approx(7, abs=2e-6)


@pytest.mark.parametrize(("along", "text"), [(Along.LOWER_RIM, "gjpqy"), (Along.UPPER_RIM, "HIDE")])
def test_letters_along_a_rim_stay_on_the_top_and_come_near_its_edge(lay, along, text):
    """Below, descenders point outwards; above, capitals do: either ends just inside the edge."""
    (part,) = lay({"text": text, "along": along, "size_mm": 6})
    reach = shapely.get_coordinates(part.shape)
    farthest = (reach**2).sum(axis=1).max() ** 0.5
    # The room that is kept is a little more than the letters need, at most a tenth of the em.
    assert 30.0 - 0.6 < farthest < 30.0


TWO_SHADES = ((0, 10, "#333"), (6, 9, "#999"))


def test_a_threshold_takes_what_is_darker_at_full_depth(tmp_path):
    # brightness by ITU-R BT.601: #333 is 0.2 of white, #999 is 0.6
    dark, light = (f'<rect y="{y}" width="{w}" height="4" fill="{c}"/>' for y, w, c in TWO_SHADES)
    (tmp_path / "two.svg").write_text(SVG.format(dark + light))
    for threshold, area_mm2 in ((0.5, 40.0), (0.7, 76.0)):
        layer = Layer(pattern="two.svg", size_mm=10, threshold=threshold)
        (part,) = layer_regions([layer], ROOM, tmp_path)
        assert part.depth_share == 1.0
        assert part.shape.area == pytest.approx(area_mm2, abs=1e-4)
