"""Motifs on outlines of several kinds: where they lie, how many parts, how wide."""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point

from moulddesign.design import Motif
from moulddesign.errors import SpecError
from moulddesign.pastry.motif import USUAL, motif
from moulddesign.pastry.motif_size import MotifSize

DISC = Point(0, 0).buffer(28, quad_segs=64)
SQUARE = shapely.box(-22, -22, 22, 22).buffer(6)
HEXAGON = shapely.Polygon([(28 * np.cos(k * pi / 3), 28 * np.sin(k * pi / 3)) for k in range(6)])
OUTLINES = {"disc": DISC, "square": SQUARE, "hexagon": HEXAGON}


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES)
@pytest.mark.parametrize("kind", Motif)
def test_motif_is_valid_and_stays_inside_its_outline(kind, outline):
    (region,) = motif(kind, outline, USUAL[kind])
    assert region.shape.is_valid
    assert outline.buffer(1e-5).covers(region.shape)  # the overlay's grid
    assert 0.02 < region.shape.area / outline.area < 0.8


@pytest.mark.parametrize("kind", Motif)
def test_motif_turns_into_itself_or_its_outline(kind):
    # on a disc every motif with n parts maps onto itself when turned by one part
    if kind in (Motif.LATTICE, Motif.SCALES):
        turn = {Motif.LATTICE: 90.0, Motif.SCALES: 360.0}[kind]
    else:
        count = USUAL[kind].count
        turn = 360.0 / count * (2 if kind is Motif.RAYS else 1)
    (region,) = motif(kind, DISC, USUAL[kind])
    turned = shapely.affinity.rotate(region.shape, turn, origin=(0, 0))
    # a track has 720 points on its way: its chords lie within 28 (1 - cos(pi / 720)) = 0.3 um,
    # its tangent within a step; edges move by under 20 um along their length
    assert turned.symmetric_difference(region.shape).area < 0.02 * region.shape.length


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
    (region,) = motif(kind, SQUARE, USUAL[kind])
    expected = USUAL[kind].count * (2 if kind is Motif.BRAID else 1)
    assert len(region.shape.geoms) == expected


@settings(max_examples=15, deadline=None)
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
