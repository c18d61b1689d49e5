"""Motifs on outlines of several kinds: where they lie, how many parts, how wide."""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import Point

from moulddesign.artwork.legibility import least_gap_mm, least_stroke_mm
from moulddesign.artwork.motifs import DEFAULT_SIZES, MotifSize, fitted_size, motif
from moulddesign.core import SpecError
from moulddesign.design import Design, Motif
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import portion

DISC = Point(0, 0).buffer(28, quad_segs=64)
SQUARE = shapely.box(-22, -22, 22, 22).buffer(6)
HEXAGON = shapely.Polygon([(28 * np.cos(k * pi / 3), 28 * np.sin(k * pi / 3)) for k in range(6)])
OUTLINES = {"disc": DISC, "square": SQUARE, "hexagon": HEXAGON}


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES)
@pytest.mark.parametrize("kind", Motif)
def test_motif_is_valid_and_stays_inside_its_outline(kind, outline):
    (region,) = motif(kind, outline, DEFAULT_SIZES[kind])
    assert region.shape.is_valid
    assert outline.buffer(1e-5).covers(region.shape)  # the overlay's grid
    assert 0.02 < region.shape.area / outline.area < 0.8


def turned_edge_error_mm(shape, image):
    """Return how far the corners of one region lie from the edges of the other, at the most."""
    return max(
        shapely.distance(other.boundary, shapely.points(shapely.get_coordinates(one))).max()
        for one, other in ((shape, image), (image, shape))
    )


# a track of 720 corners on a circle: the way's direction is right within half a corner's turn,
# pi / 720, so a point 3.5 mm beside it within 0.0153 mm; the arcs' sagitta adds
# 28 (1 - cos(pi / 256)) = 0.002 mm on each of the two edges compared
TURNED_MM = 0.02


@pytest.mark.parametrize("kind", sorted(set(Motif) - {Motif.LATTICE, Motif.SCALES}))
def test_motif_of_n_parts_on_a_disc_is_the_same_after_a_turn_by_one_part(kind):
    (region,) = motif(kind, DISC, DEFAULT_SIZES[kind])
    part_deg = 360.0 / DEFAULT_SIZES[kind].count
    # long and short rays alternate
    turn_deg = 2.0 * part_deg if kind is Motif.RAYS else part_deg
    turned = shapely.affinity.rotate(region.shape, turn_deg, origin=(0, 0))
    assert turned_edge_error_mm(region.shape, turned) < TURNED_MM
    if kind is not Motif.RINGS:
        # half a turn of a braid puts the other strand in place of the first
        quarter = shapely.affinity.rotate(region.shape, turn_deg / 4.0, origin=(0, 0))
        assert turned_edge_error_mm(region.shape, quarter) > 10 * TURNED_MM


def test_lattice_is_the_same_after_a_quarter_turn():
    (region,) = motif(Motif.LATTICE, DISC, DEFAULT_SIZES[Motif.LATTICE])
    turned = shapely.affinity.rotate(region.shape, 90.0, origin=(0, 0))
    # a disc of 256 corners is its own quarter turn; simplifying moves each edge by 0.002 mm
    assert turned_edge_error_mm(region.shape, turned) < 0.005


def test_scales_are_their_own_mirror_image():
    (region,) = motif(Motif.SCALES, DISC, DEFAULT_SIZES[Motif.SCALES])
    mirrored = shapely.affinity.scale(region.shape, -1.0, 1.0, origin=(0, 0))
    # simplifying moves each of the two edges by 0.002 mm
    assert turned_edge_error_mm(region.shape, mirrored) < 0.005


LEAF = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
<path d="M50 4C86 14 98 50 84 76C70 98 30 98 16 76C2 50 14 14 50 4Z"/></svg>"""


PASTRIES = ("round", "square", "scalloped", "hexagon", "octagon", "leaf.svg")


@pytest.mark.parametrize(
    ("kind", "outline"),
    [  # in the usual run each motif lies on one of them, in turn
        pytest.param(kind, outline, marks=pytest.mark.slow if (n + m) % len(PASTRIES) else ())
        for n, kind in enumerate(Motif)
        for m, outline in enumerate(PASTRIES)
    ],
)
def test_usual_motif_prints_and_fills_where_it_lies_on_a_pastry(kind, outline, tmp_path):
    if outline == "leaf.svg":
        (tmp_path / outline).write_text(LEAF)
        outline = str(tmp_path / outline)
    changes = {
        "pastry.outline": outline,
        "pastry.width_mm": 54.0,
        "relief.layers": [{"motif": kind.value}],
    }
    made = pastry(Design().with_values(changes), portion(Design().portion).volume_ml)
    ((shape, _),) = made.artwork
    assert least_stroke_mm(shape, below_mm=0.65) is None
    assert least_gap_mm(shape, below_mm=0.86) is None


def test_rings_have_the_closed_area():
    # n annuli of width w whose outer radii step by (R - r) / n, and a disc of radius r
    outer, count, stroke, bead = 28.0, 5, 1.6, 2.0
    (region,) = motif(Motif.RINGS, DISC, MotifSize(count=count, stroke_mm=stroke, band_mm=bead))
    pitch = (outer - bead) / count
    radii = outer - pitch * np.arange(count)
    area = pi * (radii**2 - (radii - stroke) ** 2).sum() + pi * bead**2
    # 128- and 256-gons lack at most 2 pi^2 / 3 / 128^2 of a disc's area, each edge
    lack = 2 * pi**2 / 3 / 128**2
    edges = pi * (radii**2 + (radii - stroke) ** 2).sum()
    assert region.shape.area == pytest.approx(area, abs=lack * edges)


def test_beads_have_the_closed_area_and_distance():
    (region,) = motif(Motif.BEADS, DISC, MotifSize(count=24, stroke_mm=1.0, band_mm=4.0))
    assert len(region.shape.geoms) == 24
    # 64-gons of radius 2 on a circle of radius 26
    gon = 64 * np.sin(2 * pi / 64) / 2
    assert region.shape.area == pytest.approx(24 * gon * 4, rel=1e-6)
    centres = np.array([part.centroid.coords[0] for part in region.shape.geoms])
    assert np.abs(np.hypot(*centres.T) - 26).max() < 0.01


@pytest.mark.parametrize("kind", [Motif.BRAID, Motif.ROPE])
def test_strands_are_all_apart(kind):
    # a braid of n periods has 2 n crossings, and each cuts the strand below it once
    (region,) = motif(kind, SQUARE, DEFAULT_SIZES[kind])
    expected = DEFAULT_SIZES[kind].count * (2 if kind is Motif.BRAID else 1)
    assert len(region.shape.geoms) == expected


@example(kind=Motif.RAYS, count=1, stroke=1.0, band=1.0, flat=1.0)  # no sector is half a turn
@settings(max_examples=15)
@given(
    kind=st.sampled_from(Motif),
    count=st.integers(1, 30),
    stroke=st.floats(0.2, 6),
    band=st.floats(0.3, 12),
    flat=st.floats(0.5, 1.0),
)
def test_any_size_is_drawn_or_refused_in_a_sentence(kind, count, stroke, band, flat):
    outline = shapely.affinity.scale(DISC, 1.0, flat, origin=(0, 0))
    try:
        (region,) = motif(kind, outline, MotifSize(count=count, stroke_mm=stroke, band_mm=band))
    except SpecError as error:
        assert str(error).endswith(".")  # noqa: PT017 (either outcome is right)
    else:
        assert region.shape.is_valid
        assert outline.buffer(1e-5).covers(region.shape)


@pytest.mark.parametrize(
    ("given_size", "says"),
    [
        ({"count": 0, "stroke_mm": 1.0, "band_mm": 1.0}, "from 1 to 400"),
        ({"count": 5, "stroke_mm": float("nan"), "band_mm": 1.0}, "finite and above 0 mm"),
        ({"count": 5, "stroke_mm": 1.0, "band_mm": float("inf")}, "finite and above 0 mm"),
        ({"count": 5, "stroke_mm": 1.0, "band_mm": -1.0}, "finite and above 0 mm"),
    ],
)
def test_sizes_that_are_none_are_refused(given_size, says):
    with pytest.raises(SpecError, match=says):
        MotifSize(**given_size)


def test_crowded_borders_are_refused():
    with pytest.raises(SpecError, match="the beads touch"):
        motif(Motif.BEADS, DISC, MotifSize(count=400, stroke_mm=2.0, band_mm=4.0))
    with pytest.raises(SpecError, match="too narrow"):
        motif(Motif.ROPE, DISC, MotifSize(count=8, stroke_mm=1.0, band_mm=60.0))


@pytest.mark.parametrize("kind", [Motif.BRAID, Motif.ROPE, Motif.BEADS, Motif.PETALS, Motif.RAYS])
@pytest.mark.parametrize(("outline", "sides"), [(SQUARE, 4), (HEXAGON, 6)], ids=["4", "6"])
def test_usual_counts_match_the_outline(kind, outline, sides):
    size = fitted_size(kind, outline)
    assert size.count % sides == 0
    (region,) = motif(kind, outline, size)
    turned = shapely.affinity.rotate(region.shape, 360.0 / sides, origin=(0, 0))
    # a braid's track of 720 corners cuts each corner of the outline differently
    assert turned.symmetric_difference(region.shape).area < 0.04 * region.shape.area


@pytest.mark.parametrize("width_mm", [34.0, 60.0, 110.0])
def test_usual_braids_are_as_coarse_on_every_size(width_mm):
    disc = Point(0, 0).buffer(width_mm / 2, quad_segs=64)
    pitches = [
        pi * (width - DEFAULT_SIZES[Motif.BRAID].band_mm) / fitted_size(Motif.BRAID, shape).count
        for width, shape in ((width_mm, disc), (60.0, Point(0, 0).buffer(30, quad_segs=64)))
    ]
    # a whole number of repeats, of which there are at least nine
    assert pitches[0] == pytest.approx(pitches[1], rel=0.5 / 9)
