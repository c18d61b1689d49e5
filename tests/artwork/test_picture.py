"""Pictures against shapes drawn by formula."""

from math import pi

import numpy as np
import pytest
import shapely
from PIL import Image

from moulddesign.artwork.patterns import TRACE_TOLERANCE_PX, picture_regions
from moulddesign.core import FileError, SpecError

SIDE = 400
Y, X = np.mgrid[:SIDE, :SIDE] + 0.5
AWAY = np.hypot(X - 180, Y - 220) - 100
"""Distance of each pixel's middle from a disc of 100 pixels, left of and below the middle."""


@pytest.fixture
def traced(tmp_path):
    def read(brightness, mode="L", name="picture.png", **given):
        path = tmp_path / name
        Image.fromarray(np.uint8(np.clip(brightness, 0, 1) * 255)).convert(mode).save(path)
        return picture_regions(path, **given)

    return read


@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "P", "1"])
def test_disc_is_traced_finer_than_a_pixel(traced, mode):
    (region,) = traced(AWAY + 0.5, mode)
    assert region.depth_share == 1.0
    x, y = shapely.get_coordinates(region.shape).T
    radii = np.hypot(x * SIDE + 20, y * SIDE + 20)
    # edges blended by coverage lie within a tenth of a pixel, stairs within half of one
    within = 0.6 if mode == "1" else 0.1
    assert np.abs(radii - 100).max() < within
    # leaving out points moves the edge by TRACE_TOLERANCE_PX at most, inwards on a disc
    assert (
        2 * (TRACE_TOLERANCE_PX + 0.02) / 100
        > 1 - region.shape.area * SIDE**2 / (pi * 1e4)
        > -0.005
    )


def test_dark_parts_up_to_the_edge_close_there(traced):
    (region,) = traced(np.where(X < 100, 0.0, 1.0))
    left, low, right, high = region.shape.bounds
    # the blur rounds the corners; the edges stay within a pixel
    assert (left, low, right, high) == pytest.approx((-0.5, -0.5, -0.25, 0.5), abs=1 / SIDE)


def test_hole_stays_a_hole(traced):
    (region,) = traced(np.abs(AWAY) - 20 + 0.5)
    (part,) = region.shape.geoms
    assert len(part.interiors) == 1
    ring = pi * (120**2 - 80**2)
    assert region.shape.area * SIDE**2 == pytest.approx(ring, rel=0.02)


def test_clear_pixels_are_paper(tmp_path):
    pixels = np.zeros((SIDE, SIDE, 4), dtype=np.uint8)
    pixels[..., 3] = np.where(AWAY < 0, 255, 0)
    Image.fromarray(pixels).save(tmp_path / "clear.png")
    (region,) = picture_regions(tmp_path / "clear.png")
    assert region.shape.area * SIDE**2 == pytest.approx(pi * 1e4, rel=0.01)


def test_jpeg_lies_on_its_side_as_its_camera_says(tmp_path):
    image = Image.fromarray(np.uint8(np.where((X < 200) & (Y < 100), 0, 255)))
    exif = image.getexif()
    exif[0x0112] = 3  # Exif 2.3, orientation: half a turn
    image.save(tmp_path / "turned.jpg", exif=exif, quality=95)
    (region,) = picture_regions(tmp_path / "turned.jpg")
    assert region.shape.bounds == pytest.approx((0, -0.5, 0.5, -0.25), abs=2 / SIDE)


def test_threshold_chooses_among_tones(traced):
    tones = np.where(AWAY < -50, 0.1, np.where(AWAY < 0, 0.5, 1.0))
    (small,) = traced(tones, threshold=0.3)
    (large,) = traced(tones, threshold=0.75)
    assert small.shape.area * SIDE**2 == pytest.approx(pi * 2500, rel=0.02)
    assert large.shape.area * SIDE**2 == pytest.approx(pi * 1e4, rel=0.02)


def test_sixteen_bits_are_read_whole(tmp_path):
    grey = np.uint16(np.clip(AWAY + 0.5, 0, 1) * 65535)
    Image.fromarray(grey).save(tmp_path / "deep.png")
    (region,) = picture_regions(tmp_path / "deep.png")
    assert region.shape.area * SIDE**2 == pytest.approx(pi * 1e4, rel=0.005)


def test_what_is_no_picture_is_refused(tmp_path, traced):
    with pytest.raises(FileError, match="is one even tone"):
        traced(np.full((SIDE, SIDE), 0.4))
    with pytest.raises(FileError, match="at least 16 pixels"):
        traced(np.zeros((8, 40)))
    with pytest.raises(SpecError, match="above 0 and below 1"):
        traced(AWAY, threshold=float("nan"))
    with pytest.raises(FileError, match="nothing darker than the threshold"):
        traced(np.clip(AWAY, 0.5, 1.0), threshold=0.2)
    path = tmp_path / "text.png"
    path.write_text("no picture")
    with pytest.raises(FileError, match="is not a PNG or JPEG picture"):
        picture_regions(path)
    with pytest.raises(FileError, match=r"cannot be read \(No such file"):
        picture_regions(tmp_path / "missing.png")


def test_broken_and_huge_pictures_are_refused(tmp_path, traced):
    traced(AWAY)
    whole = (tmp_path / "picture.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FileError, match="cannot be read as a picture"):
        picture_regions(tmp_path / "cut.png")
    Image.new("1", (8000, 8000)).save(tmp_path / "huge.png")
    with pytest.raises(FileError, match="more than 50000000 pixels"):
        picture_regions(tmp_path / "huge.png")
    Image.new("1", (20000, 20000)).save(tmp_path / "bomb.png")
    with pytest.raises(FileError, match="more than 50000000 pixels"):
        picture_regions(tmp_path / "bomb.png")
