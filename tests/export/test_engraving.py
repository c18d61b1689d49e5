"""What a cutter costs a piece: the volume that it leaves, and the height that mends it."""

import io

import numpy as np
import pytest
from export.builds import built, unchecked
from kept_designs import kept
from PIL import Image

from moulddesign.export.engraving import engraving, engraving_png, left_png
from moulddesign.export.height_maps import mapped_pastries, top_heights
from moulddesign.relief.cutter import read_cutter


def cut(build, typed):
    top = top_heights(build, *mapped_pastries(build)[""], 0.1)
    return engraving(build, top, None if typed is None else read_cutter(typed))


@pytest.fixture(scope="module")
def press():
    return built("chestnut-75")


def test_a_needle_leaves_nothing(press):
    assert cut(press, "ball:0.05").left_mm3 == 0.0


def test_the_height_that_mends_it_gives_the_weight_back(press):
    made = cut(press, "ball:1.5")
    area_mm2 = press.pastry.outline.area_mm2
    # Upright sides: a prism of the outline is what the piece gains by standing higher.
    assert made.deeper_mm * area_mm2 == pytest.approx(made.left_mm3, rel=0.01)  # pixels on the edge
    assert 0.0 < made.left_mm3 < press.pastry.relief_mm3
    assert made.report(press)["height_mm"] > press.pastry.height_mm
    assert "press" in str(made.said(press))


def test_a_picture_holds_the_mould_mirrored(press):
    made = cut(press, None)
    figures = made.report(press)
    grey = np.asarray(Image.open(io.BytesIO(engraving_png(made, press))), dtype=np.float64)[::-1]
    heights = figures["black_mm"] + grey * figures["mm_per_step"]
    top = top_heights(press, *mapped_pastries(press)[""], 0.1)
    on_piece = np.where(made.inside, -top.heights_mm[:, ::-1], heights)
    assert np.abs(heights - on_piece).max() <= figures["mm_per_step"]
    assert Image.open(io.BytesIO(left_png(made))).size == made.left_mm.shape[::-1]


def test_a_cavity_keeps_its_rim_and_a_cutter_its_corners():
    block = unchecked(kept("octagon-block-60"))
    made = cut(block, "ball:6")
    assert made.surface_mm.max() == pytest.approx(0.0, abs=1e-6)  # the rim
    assert made.left_mm3 > cut(block, "ball:3").left_mm3 > 0.0
    assert "cavity" in str(made.said(block))
