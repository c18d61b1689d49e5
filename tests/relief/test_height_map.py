"""Height maps: reading, releasable envelopes, compressed depth, and where they lie on a face."""

import numpy as np
import pytest
import trimesh
from PIL import Image
from scipy.ndimage import grey_erosion

from moulddesign.core import FileError
from moulddesign.relief.height_map import (
    HeightMap,
    MapPlace,
    carving,
    compressed,
    highest_below,
    read_height_map,
)

SLOPE = 1.0 / np.tan(np.radians(15.0))
ROUGH = np.random.default_rng(3).uniform(0.0, 12.0, (24, 31))


def cone(reach, slope):
    """Return how high a cone stands at each pixel round its tip."""
    steps = np.arange(-reach, reach + 1)
    return slope * np.hypot(*np.meshgrid(steps, steps))


@pytest.mark.parametrize("slope", [0.4, 1.0, SLOPE])
def test_envelope_is_that_of_brute_force(slope):
    """Against the definition, min over all q of h(q) + k |p - q|, on a small grid."""
    places = np.argwhere(ROUGH >= 0.0)
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    exact = (ROUGH.ravel()[None] + slope * apart).min(axis=1).reshape(ROUGH.shape)

    found = highest_below(ROUGH, slope)

    assert np.all(found <= exact + 1e-12)
    assert found == pytest.approx(exact, abs=0.0131 * np.ptp(ROUGH))


def test_envelope_is_scipys_erosion_by_a_cone():
    # J. Serra, Image Analysis and Mathematical Morphology, 1982 (from memory): the lower envelope
    # is the erosion by a cone.
    reach = int(np.ceil(np.ptp(ROUGH) / SLOPE)) + 1
    exact = grey_erosion(ROUGH, structure=-cone(reach, SLOPE), mode="constant", cval=np.inf)

    assert highest_below(ROUGH, SLOPE) == pytest.approx(exact, abs=0.0131 * np.ptp(ROUGH))


def map_of(share):
    return HeightMap(share=share, covered=np.ones(share.shape, dtype=bool))


def steepest(made, box_mm, step_mm=0.02):
    """Return the steepest slope of a carving on a fine raster, by differences."""
    steps = np.arange(-box_mm, box_mm, step_mm)
    x, y = np.meshgrid(steps, steps)
    z = made(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    return np.hypot(*np.gradient(z, step_mm)).max()


def test_no_wall_of_a_carved_step_is_steeper_than_the_draft():
    share = np.zeros((200, 200))
    share[50:150, 50:150] = 1.0

    made = carving(
        map_of(share), MapPlace(size_mm=12.0), depth_mm=2.0, keep_detail=0.0, slope=SLOPE
    )

    assert steepest(made, 8.0) <= SLOPE
    assert made(np.zeros((1, 2)))[0] == pytest.approx(2.0, abs=1e-3)
    assert made(np.array([[7.5, 0.0]]))[0] == pytest.approx(0.0, abs=1e-3)


def test_midway_moves_a_step_by_half_of_what_cutting_does():
    # Beside a step of depth d both envelopes run over d tan a, so midway moves by at most d / 2.
    share = np.zeros((200, 200))
    share[50:150, 50:150] = 1.0

    made = carving(
        map_of(share), MapPlace(size_mm=12.0), depth_mm=2.0, keep_detail=0.0, slope=SLOPE
    )

    assert made.moved_mm == pytest.approx(1.0, abs=0.12)
    assert max(map(abs, made.moved_at_mm)) == pytest.approx(3.0, abs=0.1)  # at the step


def test_a_map_that_releases_already_is_hardly_moved():
    rows, columns = np.mgrid[-1:1:240j, -1:1:240j]
    share = np.maximum(1.0 - rows**2 - columns**2, 0.0)

    made = carving(
        map_of(share), MapPlace(size_mm=24.0), depth_mm=3.0, keep_detail=0.0, slope=SLOPE
    )

    # A Gaussian of the spread s raises a kink from the slope g to level by g s / sqrt(2 pi), and
    # here the slope at the paraboloid's edge is 2 * 3 / 12.
    assert made.moved_mm == pytest.approx(0.5 * 0.12 / np.sqrt(2.0 * np.pi), rel=0.1)


def test_a_turned_and_moved_map_lies_where_it_was_put():
    share = np.zeros((100, 200))
    share[40:60, 150:190] = 1.0  # right of the middle: x from 2.5 to 4.5 of 10 mm
    place = MapPlace(size_mm=10.0, x_mm=3.0, y_mm=-2.0, turn_deg=90.0)

    made = carving(map_of(share), place, depth_mm=0.3, keep_detail=0.0, slope=SLOPE)

    assert made(np.array([[3.0, 1.5]]))[0] == pytest.approx(0.3, abs=0.01)
    assert made(np.array([[6.5, -2.0]]))[0] == pytest.approx(0.0, abs=0.01)
    assert made.covers(np.array([[3.0, 2.9], [3.0, 3.2], [5.4, -2.0], [5.6, -2.0]])).tolist() == [
        True, False, True, False,
    ]  # fmt: skip


def test_compression_gives_up_large_steps_for_fine_detail():
    x = np.linspace(0.0, 1.0, 256)
    share = np.where(x < 0.5, 0.0, 0.9) + 0.05 * np.sin(40.0 * np.pi * x)
    share = np.tile((share - share.min()) / np.ptp(share), (64, 1))

    kept = compressed(share, 0.8)

    def ripple(heights):
        return np.ptp(heights[32, 20:100])

    assert compressed(share, 0.0) is share
    assert ripple(kept) > 1.5 * ripple(share)
    assert (kept.min(), kept.max()) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("kind", "white"), [("I;16", 65535), ("L", 255), ("F", 1.0)], ids=["16 bit", "8 bit", "float"]
)
def test_pictures_of_each_depth_hold_the_same_heights(tmp_path, kind, white):
    share = np.tile(np.linspace(0.0, 1.0, 52), (40, 1))
    types = {"I;16": np.uint16, "L": np.uint8, "F": np.float32}
    path = tmp_path / "map.tiff"
    Image.fromarray((share * white).astype(types[kind])).save(path)

    assert read_height_map(path).share == pytest.approx(share, abs=1.0 / 250.0)


def test_the_first_row_of_a_picture_is_the_far_one(tmp_path):
    tones = np.zeros((40, 40), dtype=np.uint8)
    tones[:10] = 255
    Image.fromarray(tones).save(tmp_path / "map.png")

    share = read_height_map(tmp_path / "map.png").share

    assert share[-1, 0] == 1.0
    assert share[0, 0] == 0.0


def test_a_mesh_is_seen_from_above(tmp_path):
    """A ball of radius r: its height at the distance d from the middle is sqrt(r^2 - d^2)."""
    ball = trimesh.creation.uv_sphere(radius=5.0, count=[128, 128])
    ball.export(tmp_path / "ball.stl")

    made = read_height_map(tmp_path / "ball.stl")
    rows, columns = made.share.shape
    middle = made.share[rows // 2]
    x = (np.arange(columns) + 0.5) / columns * 10.0 - 5.0
    inside = np.abs(x) < 4.5

    assert middle[inside] == pytest.approx(np.sqrt(25.0 - x[inside] ** 2) / 5.0, abs=0.02)
    assert made.covered.mean() == pytest.approx(np.pi / 4.0, abs=0.01)


def test_what_is_no_map_is_told(tmp_path):
    Image.new("L", (40, 40), 90).save(tmp_path / "level.png")
    Image.new("L", (4, 4), 90).save(tmp_path / "tiny.png")
    (tmp_path / "words.png").write_text("no picture")
    (tmp_path / "empty.tiff").write_bytes(b"")

    for name, words in {
        "level.png": "is level",
        "tiny.png": "pixels",
        "words.png": "PNG, TIFF or JPEG",
        "empty.tiff": "PNG, TIFF or JPEG",
        "none.png": "No such file",
    }.items():
        with pytest.raises(FileError, match=words):
            read_height_map(tmp_path / name)
